"""The output folder: filled beside its place, moved in whole, report.json last."""

import errno
import hashlib
import shutil
import tempfile
from collections.abc import Callable
from pathlib import Path

from job.errors import JobError
from job.readable import is_readable_text

LAST = "report.json"
"""A folder without it is unfinished."""


def write_folder(folder: Path, fill: Callable[[Path], None], seal: Callable[[dict[str, str]], bytes]) -> None:
    """Fill a folder so that it is never half-written and never mixes two runs.

    `fill` writes every file but report.json into an empty folder on the same disk; then the old
    report.json goes, the files move into place, and `seal`, given each file's sha256, makes the new
    report.json, which comes last. Whatever else lies in the folder stays.

    Raises
    ------
    JobError
        When the place cannot be written or the disk is full; the old files are then as they were.
    """
    try:
        _refuse_bad_place(folder)
        folder.parent.mkdir(parents=True, exist_ok=True)
        beside = Path(tempfile.mkdtemp(prefix=f".{folder.name}-", dir=folder.parent))
        try:
            fill(beside)
            written = sorted(path for path in beside.iterdir())
            hashes = {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in written}
            (beside / LAST).write_bytes(seal(hashes))
            _move_in(folder, beside, [path.name for path in written])
        finally:
            shutil.rmtree(beside, ignore_errors=True)
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


def _move_in(folder: Path, beside: Path, names: list[str]) -> None:
    folder.mkdir(exist_ok=True)
    # From here until report.json is back, whoever looks sees an unfinished folder, never two scales.
    (folder / LAST).unlink(missing_ok=True)
    for name in names:
        (beside / name).replace(folder / name)
    (beside / LAST).replace(folder / LAST)


def _said(folder: Path, error: OSError) -> JobError:
    if error.errno == errno.ENOSPC:
        return JobError(
            f"The disk is full while writing {folder}; nothing there was changed: "
            "free some space or name another place with -o."
        )
    why = (error.strerror or str(error)).lower()
    return JobError(f"{folder} cannot be written ({why}); a folder you may write to is needed: name another with -o.")
