"""A picture sent by the page: kept under its own name, in the folder of the job it begins."""

import asyncio
import contextlib
import errno
import os
import tempfile
import unicodedata
from collections.abc import AsyncIterator
from pathlib import Path, PurePosixPath, PureWindowsPath

from drawing.errors import ScantlingError
from pictures.plan_file import open_plan_file

LONGEST_NAME_BYTES = 120
"""Every common disk takes names of 255 bytes; the folder's name and a number must fit as well."""

NOT_IN_NAMES = '<>:"/\\|?*'
"""Signs that no name may have on one system or another."""

DEVICES = {"con", "prn", "aux", "nul", *(f"{kind}{n}" for kind in ("com", "lpt") for n in range(10))}
"""Names that are devices on Windows, whatever follows the dot."""

MOST_PLACES = 99


class UploadError(ScantlingError):
    """A picture that cannot be kept."""


async def keep_upload(name: str, pieces: AsyncIterator[bytes], *, beside: Path) -> Path:
    """Write a picture to `<stem>-scantling/<name>` in the folder `beside`; give its path.

    The bytes go to a temporary file first: what breaks off leaves nothing. Where that place
    holds another picture of the name, the next free `<stem>-scantling-<n>` is taken; where it
    holds the same, nothing is written.

    Raises
    ------
    ScantlingError
        When the name is no plain file name, the bytes are no picture, or the disk does not take them.
    """
    name = plain_name(name)
    handle, temporary = await asyncio.to_thread(_begin, beside)
    try:
        with os.fdopen(handle, "wb") as file:
            async for piece in pieces:
                await asyncio.to_thread(file.write, piece)
        return await asyncio.to_thread(_settle, Path(temporary), name, beside)
    except OSError as error:
        raise _said(beside, error) from error
    finally:
        with contextlib.suppress(OSError):
            Path(temporary).unlink(missing_ok=True)


def plain_name(name: str) -> str:
    """Give a file's name without anything that could lead elsewhere; a very long one is cut.

    Raises
    ------
    UploadError
        When it is a path, hidden, empty, or not writable on every system.
    """
    name = unicodedata.normalize("NFC", name)
    plain = (
        name == PurePosixPath(name).name == PureWindowsPath(name).name
        and not name.startswith(".")
        and name == name.strip()
        and not name.endswith(".")
        and all(sign.isprintable() and sign not in NOT_IN_NAMES for sign in name)
        and name.split(".")[0].strip().lower() not in DEVICES
    )
    if not plain or not name:
        raise UploadError(
            f"{name[:80]!a} is no plain file name; a name without folders and odd signs was needed: rename the file."
        )
    return _shortened(name)


def _shortened(name: str) -> str:
    """Give a name that fits every disk: of a very long one the beginning, and what it ends in."""
    encoded = name.encode("utf-8", "replace")
    if len(encoded) <= LONGEST_NAME_BYTES:
        return name
    ending = PurePosixPath(name).suffix
    room = LONGEST_NAME_BYTES - len(ending.encode("utf-8", "replace"))
    if room < 1:
        return encoded[:LONGEST_NAME_BYTES].decode("utf-8", "ignore").rstrip(" .")
    return encoded[:room].decode("utf-8", "ignore").rstrip(" .") + ending


def _begin(beside: Path) -> tuple[int, str]:
    try:
        return tempfile.mkstemp(prefix=".scantling-upload-", dir=beside)
    except OSError as error:
        raise _said(beside, error) from error


def _settle(temporary: Path, name: str, beside: Path) -> Path:
    """Move the file into its place, or find that it is there already."""
    try:
        sent = open_plan_file(temporary)
    except ScantlingError as error:
        # The sentence must name the file as the builder knows it.
        raise UploadError(str(error).replace(str(temporary), name).replace(temporary.name, name)) from error
    first = f"{Path(name).stem}-scantling"
    for folder in (beside / first, *(beside / f"{first}-{n}" for n in range(2, MOST_PLACES))):
        place = folder / name
        if place.is_symlink() or folder.is_symlink():
            # What a link points to is not ours to write.
            continue
        if place.exists():
            if place.is_file() and open_plan_file(place).sha256 == sent.sha256:
                return place
            continue
        if folder.is_file():
            continue
        folder.mkdir(exist_ok=True)
        # A temporary file is its owner's alone; a picture is kept as any other file.
        temporary.chmod(0o644)
        # A link fails where another upload has been faster, unlike a rename.
        try:
            os.link(temporary, place)
        except FileExistsError:
            continue
        except OSError:
            temporary.rename(place)
        return place
    raise UploadError(f"{first} and {MOST_PLACES - 2} folders after it hold other pictures called {name}: rename it.")


def _said(folder: Path, error: OSError) -> UploadError:
    if error.errno == errno.ENOSPC:
        return UploadError(
            f"The disk of {folder} is full, so the picture was not kept: free some space, send it again."
        )
    why = (error.strerror or str(error)).lower()
    return UploadError(f"{folder} cannot be written ({why}); start the program in a folder you may write to.")
