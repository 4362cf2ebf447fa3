"""The job file on disk: read, compared by its hash, written beside and renamed, kept aside when two differ."""

import hashlib
import os
import secrets
from pathlib import Path

from job.errors import JobError
from job.folder import content_of

MOST_ASIDE = 1000
"""Files kept aside before something is plainly wrong."""


def hash_of(content: bytes | None) -> str | None:
    """Give a content's SHA-256; None for no file."""
    return None if content is None else hashlib.sha256(content).hexdigest()


def write_in_place(path: Path, content: bytes) -> None:
    """Write a file so that at any moment it holds the old content or the new, whole.

    Raises
    ------
    OSError
        When it cannot be written; the old file is then as it was.
    """
    beside = path.with_name(f".{path.name}-{secrets.token_hex(4)}")
    try:
        # Exclusive, and with the rights that any file made here has.
        with beside.open("xb") as file:
            file.write(content)
        beside.replace(path)
    except BaseException:
        beside.unlink(missing_ok=True)
        raise


def keep_aside(path: Path, content: bytes, whose: str) -> Path:
    """Write a content beside a file, as `job.toml.theirs-1` or the next number that is free."""
    for number in range(1, MOST_ASIDE):
        aside = path.with_name(f"{path.name}.{whose}-{number}")
        try:
            handle = os.open(aside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o666)
        except FileExistsError:
            if content_of(aside) == content:
                return aside
            continue
        with os.fdopen(handle, "wb") as file:
            file.write(content)
        return aside
    raise JobError(f"{path.parent} holds {MOST_ASIDE - 1} files {path.name}.{whose}-...; move the old ones away.")
