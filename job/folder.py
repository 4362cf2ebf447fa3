"""The output folder: filled beside its place, moved in whole, report.json last."""

import errno
import hashlib
import os
import signal
import sys
import tempfile
import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from pathlib import Path

from job.errors import JobError
from job.readable import is_readable_text

LAST = "report.json"
"""A folder without it is unfinished."""


def write_folder(
    folder: Path,
    fill: Callable[[Path], None],
    seal: Callable[[dict[str, str]], bytes],
    *,
    spare: Sequence[Path] = (),
    unchanged: Mapping[str, bytes | None] | None = None,
) -> None:
    """Fill a folder so that it is never half-written and never mixes two runs.

    `fill` writes every file but report.json into an empty folder on the same disk; then the old
    report.json goes, the files move into place, and `seal`, given each file's sha256, makes the new
    report.json, which comes last. Whatever else lies in the folder stays. While files move,
    an interrupt waits, and so does another run that has the same folder. A file of `unchanged` that no longer
    holds what it held (None: was not there) was edited meanwhile, and is not written over.

    Raises
    ------
    JobError
        When the place cannot be written, the disk is full, or a file of `spare` (the picture
        that all this was made from) would be overwritten; the old files are then as they were.
    """
    try:
        _refuse_bad_place(folder)
        folder.parent.mkdir(parents=True, exist_ok=True)
        # On the disk of the folder itself, which may be a link or a whole stick: moving there is a matter of names.
        real = folder.resolve()
        home = real if real.is_dir() else real.parent
        with tempfile.TemporaryDirectory(prefix=".scantling-", dir=home, ignore_cleanup_errors=True) as name:
            beside = Path(name)
            fill(beside)
            written = sorted(path for path in beside.iterdir())
            hashes = {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in written}
            (beside / LAST).write_bytes(seal(hashes))
            names = [path.name for path in written]
            _refuse_taken(real, [*names, LAST], spare)
            _refuse_edited(real, unchanged or {})
            _move_in(real, beside, names)
    except OSError as error:
        raise _said(folder, error) from error


def _refuse_bad_place(folder: Path) -> None:
    if not is_readable_text(str(folder)):
        raise JobError(
            f"The folder name {folder.name!a} is not readable text; a name that can be printed is needed: "
            "name another with -o."
        )
    if folder.exists() and not folder.is_dir():
        raise JobError(f"{folder} is a file; a folder is needed for the results: name another with -o.")


def _refuse_taken(folder: Path, names: Sequence[str], spare: Sequence[Path]) -> None:
    for path in (folder / name for name in names):
        if path.is_dir():
            raise JobError(
                f"{path} is a folder, and a file of that name is to be written; "
                "its place is needed: move it away, or name another folder with -o."
            )
        if any(path.exists() and kept.exists() and path.samefile(kept) for kept in spare):
            raise JobError(
                f"{path} is the picture itself, and a result of that name would overwrite it; "
                "results need a place of their own: name another folder with -o."
            )


def content_of(path: Path) -> bytes | None:
    """Give what a file holds; None when there is none."""
    try:
        return path.read_bytes()
    except (FileNotFoundError, NotADirectoryError):
        return None


def _refuse_edited(folder: Path, unchanged: Mapping[str, bytes | None]) -> None:
    for name, before in unchanged.items():
        if content_of(folder / name) != before:
            raise JobError(
                f"{folder / name} was changed while this ran, so nothing was written over it: run it once more, "
                "and the change counts."
            )


def _move_in(folder: Path, beside: Path, names: Sequence[str]) -> None:
    folder.mkdir(exist_ok=True)
    with ExitStack() as stack:
        stack.enter_context(_uninterrupted())
        stack.enter_context(_alone_in(folder))
        # From here until report.json is back, whoever looks sees an unfinished folder, never two scales.
        (folder / LAST).unlink(missing_ok=True)
        for name in names:
            (beside / name).replace(folder / name)
        (beside / LAST).replace(folder / LAST)


@contextmanager
def _uninterrupted() -> Iterator[None]:
    """Let Ctrl-C wait for the moment that moving takes: all is done by then, so it is not raised again."""
    if threading.current_thread() is not threading.main_thread():
        # Interrupts reach the main thread alone.
        yield
        return
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


@contextmanager
def _alone_in(folder: Path) -> Iterator[None]:
    """Keep other runs from moving files into the same folder at the same time."""
    if sys.platform == "win32":
        # A folder cannot be locked there, and a file being replaced is refused to the second run anyway.
        yield
        return
    import fcntl

    handle = os.open(folder, os.O_RDONLY)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX)
        yield
    finally:
        os.close(handle)


def _said(folder: Path, error: OSError) -> JobError:
    if error.errno == errno.ENOSPC:
        return JobError(
            f"The disk is full while writing {folder}; nothing there was changed: "
            "free some space or name another place with -o."
        )
    why = (error.strerror or str(error)).lower()
    return JobError(f"{folder} cannot be written ({why}); a folder you may write to is needed: name another with -o.")
