import errno
import hashlib
import json
import os
import signal
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from job.errors import JobError
from job.folder import write_folder


def _fill(text: str) -> Callable[[Path], None]:
    def fill(folder: Path) -> None:
        (folder / "a.txt").write_text(text)
        (folder / "b.txt").write_text(text * 2)

    return fill


def _seal(hashes: dict[str, str]) -> bytes:
    return json.dumps(hashes).encode()


def test_a_folder_holds_every_file_and_their_hashes(tmp_path: Path) -> None:
    write_folder(tmp_path / "out", _fill("x"), _seal)

    hashes = json.loads((tmp_path / "out" / "report.json").read_text())
    assert hashes == {name: hashlib.sha256((tmp_path / "out" / name).read_bytes()).hexdigest() for name in hashes}
    assert set(hashes) == {"a.txt", "b.txt"}
    assert os.listdir(tmp_path) == ["out"]


def test_what_else_lies_in_the_folder_stays(tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "mine.txt").write_text("keep")

    write_folder(tmp_path / "out", _fill("x"), _seal)

    assert (tmp_path / "out" / "mine.txt").read_text() == "keep"


@pytest.mark.parametrize("stop", [KeyboardInterrupt(), OSError(errno.ENOSPC, "No space left on device")])
def test_stopped_while_filling_the_old_run_stays_whole(tmp_path: Path, stop: BaseException) -> None:
    out = tmp_path / "out"
    write_folder(out, _fill("old"), _seal)
    before = {path.name: path.read_bytes() for path in out.iterdir()}

    def fill(folder: Path) -> None:
        (folder / "a.txt").write_text("new")
        raise stop

    with pytest.raises((KeyboardInterrupt, JobError)) as told:
        write_folder(out, fill, _seal)

    assert {path.name: path.read_bytes() for path in out.iterdir()} == before
    assert os.listdir(tmp_path) == ["out"]
    if isinstance(told.value, JobError):
        assert "disk is full" in str(told.value)


def test_stopped_while_moving_in_the_folder_shows_that_it_is_unfinished(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    out = tmp_path / "out"
    write_folder(out, _fill("old"), _seal)
    replace = Path.replace

    def interrupted(self: Path, target: Path) -> Path:
        if self.name == "b.txt":
            raise KeyboardInterrupt
        return replace(self, target)

    monkeypatch.setattr(Path, "replace", interrupted)
    with pytest.raises(KeyboardInterrupt):
        write_folder(out, _fill("new"), _seal)

    assert not (out / "report.json").exists()


def test_a_file_in_the_way_is_named(tmp_path: Path) -> None:
    (tmp_path / "out").write_text("a file")

    with pytest.raises(JobError, match="is a file; a folder is needed"):
        write_folder(tmp_path / "out", _fill("x"), _seal)


def test_a_place_that_cannot_be_made_is_named(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("a file")

    with pytest.raises(JobError, match="cannot be written"):
        write_folder(tmp_path / "file" / "deep" / "out", _fill("x"), _seal)


def test_a_folder_where_a_file_belongs_is_refused_and_nothing_moves(tmp_path: Path) -> None:
    out = tmp_path / "out"
    write_folder(out, _fill("old"), _seal)
    (out / "b.txt").unlink()
    (out / "b.txt").mkdir()

    with pytest.raises(JobError, match="is a folder"):
        write_folder(out, _fill("new"), _seal)

    assert (out / "a.txt").read_text() == "old"
    assert sorted(os.listdir(out)) == ["a.txt", "b.txt", "report.json"]


def test_the_picture_itself_is_never_overwritten(tmp_path: Path) -> None:
    picture = tmp_path / "out" / "a.txt"
    picture.parent.mkdir()
    picture.write_text("the plan")

    with pytest.raises(JobError, match="is the picture itself"):
        write_folder(tmp_path / "out", _fill("x"), _seal, spare=(picture,))

    assert picture.read_text() == "the plan"
    assert os.listdir(tmp_path / "out") == ["a.txt"]


@pytest.mark.skipif(os.name == "nt", reason="links need rights there")
def test_a_link_to_a_folder_is_followed(tmp_path: Path) -> None:
    (tmp_path / "link").symlink_to(tmp_path / "elsewhere")

    write_folder(tmp_path / "link", _fill("x"), _seal)

    assert sorted(os.listdir(tmp_path / "elsewhere")) == ["a.txt", "b.txt", "report.json"]
    assert (tmp_path / "link").is_symlink()


def test_two_runs_at_once_leave_the_files_of_one(tmp_path: Path) -> None:
    out = tmp_path / "out"

    with ThreadPoolExecutor(8) as pool:
        list(pool.map(lambda n: write_folder(out, _fill(str(n) * 9), _seal), range(32)))

    hashes = json.loads((out / "report.json").read_text())
    assert hashes == {name: hashlib.sha256((out / name).read_bytes()).hexdigest() for name in hashes}
    assert sorted(os.listdir(out)) == ["a.txt", "b.txt", "report.json"]


@pytest.mark.skipif(os.name == "nt", reason="signals are raised otherwise there")
def test_an_interrupt_while_files_move_waits_until_all_have(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    out = tmp_path / "out"
    replace = Path.replace

    def interrupted(self: Path, target: Path) -> Path:
        os.kill(os.getpid(), signal.SIGINT)
        return replace(self, target)

    monkeypatch.setattr(Path, "replace", interrupted)
    write_folder(out, _fill("x"), _seal)

    assert sorted(os.listdir(out)) == ["a.txt", "b.txt", "report.json"]
    assert os.listdir(tmp_path) == ["out"]


@pytest.mark.parametrize("edited", [None, "edited by hand", ""])
def test_a_file_edited_while_the_run_went_on_is_not_written_over(tmp_path: Path, edited: str | None) -> None:
    out = tmp_path / "out"
    out.mkdir()
    (out / "a.txt").write_text("before")

    def fill(folder: Path) -> None:
        _fill("x")(folder)
        if edited is None:
            (out / "a.txt").unlink()
        else:
            (out / "a.txt").write_text(edited)

    with pytest.raises(JobError, match="changed while this ran"):
        write_folder(out, fill, _seal, unchanged={"a.txt": b"before", "b.txt": None})

    assert (out / "a.txt").exists() == (edited is not None)
    if edited is not None:
        assert (out / "a.txt").read_text() == edited
    assert not (out / "b.txt").exists()
