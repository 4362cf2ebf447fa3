"""A picture sent by the page: kept whole under its own name, or not at all."""

import asyncio
from collections.abc import AsyncIterator
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.small_plan import SmallPlan
from tracing.uploads import UploadError, keep_upload, plain_name


def test_it_is_kept_in_the_folder_of_its_job(small_plan: SmallPlan, tmp_path: Path) -> None:
    content = small_plan.path.read_bytes()

    path = _send("my plan.png", content, tmp_path)

    assert path == tmp_path / "my plan-scantling" / "my plan.png"
    assert path.read_bytes() == content
    assert _files(tmp_path) == ["my plan-scantling/my plan.png"]


def test_the_same_again_is_not_kept_twice(small_plan: SmallPlan, tmp_path: Path) -> None:
    content = small_plan.path.read_bytes()

    assert _send("a.png", content, tmp_path) == _send("a.png", content, tmp_path)
    assert _files(tmp_path) == ["a-scantling/a.png"]


def test_another_of_the_name_has_its_own_place(small_plan: SmallPlan, tmp_path: Path) -> None:
    content = small_plan.path.read_bytes()
    first = _send("a.png", content, tmp_path)

    second = _send("a.png", content + b"x", tmp_path)

    assert first.read_bytes() == content
    assert second == tmp_path / "a-scantling-2" / "a.png"


def test_what_is_no_picture_leaves_nothing(tmp_path: Path) -> None:
    with pytest.raises(UploadError, match=r"^a\.png is a web page; a JPEG, .* file was needed"):
        _send("a.png", b"<html></html>", tmp_path)
    with pytest.raises(UploadError, match=r"^a\.png is empty"):
        _send("a.png", b"", tmp_path)

    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("stem", ["a very old plan of a glider, " * 8 + "scanned", "平面図" * 60])
def test_a_very_long_name_is_cut_and_keeps_its_ending(stem: str, small_plan: SmallPlan, tmp_path: Path) -> None:
    content = small_plan.path.read_bytes()

    path = _send(f"{stem}.png", content, tmp_path)

    assert stem.startswith(path.stem)
    # Common disks take 255 bytes a name; the folder's is the longer one of the two.
    assert 100 < len(path.name.encode()) <= 120
    assert path.suffix == ".png"
    assert path.parent == tmp_path / f"{path.stem}-scantling"
    assert path.read_bytes() == content


def test_a_link_in_its_place_is_not_followed(small_plan: SmallPlan, tmp_path: Path) -> None:
    outside = tmp_path / "outside"
    outside.mkdir()
    cwd = tmp_path / "cwd"
    cwd.mkdir()
    (cwd / "a-scantling").symlink_to(outside)

    path = _send("a.png", small_plan.path.read_bytes(), cwd)

    assert path == cwd / "a-scantling-2" / "a.png"
    assert list(outside.iterdir()) == []


@pytest.mark.parametrize(
    "name",
    [
        "", ".", "..", "../a.png", "..\\a.png", "/etc/passwd", "C:\\a.png", "C:a.png", "a/b.png", "a\\b.png", ".bashrc",
        "a\0.png", "a\n.png", "a\x1b[2J.png", "con", "CON.png", "nul.tar.png", "lpt1", "a.", "a.png ", " a.png",
        "a*.png", "\ud800.png", "\u202egnp.exe",
    ],
)  # fmt: skip
def test_a_name_that_leads_elsewhere_is_refused(name: str, tmp_path: Path) -> None:
    with pytest.raises(UploadError):
        _send(name, b"\x89PNG\r\n\x1a\n", tmp_path)

    assert list(tmp_path.iterdir()) == []


@given(st.text(max_size=40))
def test_whatever_the_name_it_is_refused_or_names_a_file_right_there(name: str) -> None:
    try:
        plain = plain_name(name)
    except UploadError:
        return
    assert (Path("/somewhere") / plain).parent == Path("/somewhere")
    assert plain not in ("", ".", "..")
    plain.encode()


def test_a_sender_that_goes_away_leaves_nothing(tmp_path: Path) -> None:
    async def broken() -> AsyncIterator[bytes]:
        yield b"\x89PNG\r\n\x1a\n"
        raise ConnectionResetError

    with pytest.raises(UploadError):
        asyncio.run(keep_upload("a.png", broken(), beside=tmp_path))

    assert list(tmp_path.iterdir()) == []


def _send(name: str, content: bytes, beside: Path) -> Path:
    async def pieces() -> AsyncIterator[bytes]:
        for start in range(0, len(content), 1 << 16):
            yield content[start : start + (1 << 16)]

    return asyncio.run(keep_upload(name, pieces(), beside=beside))


def _files(folder: Path) -> list[str]:
    return sorted(str(path.relative_to(folder)) for path in folder.rglob("*") if path.is_file())
