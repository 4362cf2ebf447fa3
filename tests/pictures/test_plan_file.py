import hashlib
import os
from pathlib import Path

import pytest

from pictures.picture import PictureError
from pictures.plan_file import FileKind, open_plan_file


def refusal(path: Path) -> str:
    with pytest.raises(PictureError) as refused:
        open_plan_file(path)
    return str(refused.value)


def test_hash_is_of_all_bytes_and_the_kind_of_the_first(tmp_path: Path) -> None:
    path = tmp_path / "named.jpg"
    path.write_bytes(b"%PDF-1.4\n" + bytes(3_000_000))

    file = open_plan_file(path)

    assert file.kind is FileKind.PDF
    assert file.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()


def test_missing_file(tmp_path: Path) -> None:
    assert "There is no file" in refusal(tmp_path / "gone.png")


def test_folder(tmp_path: Path) -> None:
    assert "is a folder" in refusal(tmp_path)


def test_empty_file(tmp_path: Path) -> None:
    path = tmp_path / "empty.png"
    path.touch()

    assert "empty (0 bytes)" in refusal(path)


def test_name_with_a_null_character(tmp_path: Path) -> None:
    assert "cannot be opened" in refusal(tmp_path / "a\0b")


def test_name_too_long_for_the_disk(tmp_path: Path) -> None:
    assert "cannot be opened" in refusal(tmp_path / ("n" * 400))


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no pipes in folders")
def test_pipe_is_refused_at_once(tmp_path: Path) -> None:
    path = tmp_path / "pipe"
    os.mkfifo(path)

    assert "a device or a pipe" in refusal(path)


@pytest.mark.skipif(not Path("/dev/zero").exists(), reason="this system has no such device")
def test_device_is_refused_at_once() -> None:
    assert "a device or a pipe" in refusal(Path("/dev/zero"))


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="this user may read everything")
def test_file_that_may_not_be_read(tmp_path: Path) -> None:
    path = tmp_path / "locked.png"
    path.write_bytes(b"\x89PNG\r\n\x1a\n")
    path.chmod(0)

    assert "may not be read" in refusal(path)


@pytest.mark.parametrize(
    ("data", "what"),
    [
        (b"Spar 3/16 sq spruce, ribs 1/16 balsa.\n" * 40, "a text file"),
        ("Holm 5 × 5 mm Kiefer\n".encode() * 100, "a text file"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "an SVG drawing"),
        (b"<!DOCTYPE html><html><body>404</body></html>", "a web page"),
        (b"PK\x03\x04" + bytes(100), "a ZIP archive"),
        (b"AC1032" + bytes(100), "a DWG drawing"),
        (b"\0\0\0\x18ftypmp42\0\0\0\0mp42isom", "a video"),
        (b"%!PS-Adobe-3.0\n", "a PostScript file"),
        (bytes(range(256)) * 8, "of an unknown kind"),
    ],
)
def test_what_is_no_picture_is_named(tmp_path: Path, data: bytes, what: str) -> None:
    path = tmp_path / "plan.jpg"
    path.write_bytes(data)

    said = refusal(path)

    assert what in said
    assert "JPEG, PNG, TIFF" in said
