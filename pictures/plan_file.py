"""What kind of file is it: told by its first bytes, never by its name."""

import hashlib
import stat
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from pictures.limits import MAX_FILE_MB
from pictures.picture import PictureError

READABLE = "JPEG, PNG, TIFF, HEIC, PDF, BMP, GIF or WebP"


class FileKind(StrEnum):
    """A file format that can be read."""

    JPEG = "JPEG"
    PNG = "PNG"
    TIFF = "TIFF"
    HEIC = "HEIC"
    PDF = "PDF"
    BMP = "BMP"
    GIF = "GIF"
    WEBP = "WebP"
    AVIF = "AVIF"


@dataclass(frozen=True, slots=True)
class PlanFile:
    """A file that is there and of a kind that can be read; `sha256` is of all its bytes, in hexadecimal."""

    path: Path
    kind: FileKind
    sha256: str


def open_plan_file(path: Path) -> PlanFile:
    """Give the kind and the hash of a file.

    Raises
    ------
    PictureError
        If it is missing, is no plain file, is empty, may not be read, or is of no kind that can be read.
    """
    try:
        status = path.stat()
        if stat.S_ISDIR(status.st_mode):
            raise PictureError(f"{path} is a folder; one picture file was needed: name a file in it.")
        if not stat.S_ISREG(status.st_mode):
            raise PictureError(
                f"{path} is a device or a pipe; a plain file was needed: copy what it gives into a file first."
            )
        if status.st_size == 0:
            raise PictureError(
                f"{path.name} is empty (0 bytes); a picture of the plan was needed: fetch or save it again."
            )
        if status.st_size > MAX_FILE_MB * 1e6:
            raise PictureError(
                f"{path.name} is {status.st_size / 1e6:.0f} MB; at most {MAX_FILE_MB} MB can be read: "
                "save it in grey, compressed, at 300 dpi."
            )
        with path.open("rb") as file:
            head = file.read(1024)
            kind = _kind(head)
            if kind is None:
                raise PictureError(
                    f"{path.name} is {_looks_like(head)}; a {READABLE} file was needed: save the plan as one of these."
                )
            file.seek(0)
            sha256 = hashlib.file_digest(file, "sha256").hexdigest()
    except FileNotFoundError as error:
        raise PictureError(f"There is no file {path}; a picture of the plan was needed: check the name.") from error
    except PermissionError as error:
        raise PictureError(
            f"{path} may not be read by this user; leave to read it was needed: change its permissions or copy it."
        ) from error
    except (OSError, ValueError) as error:
        # ValueError: a name with a null character in it.
        reason = error.strerror if isinstance(error, OSError) else str(error)
        raise PictureError(
            f"{str(path)!r} cannot be opened ({reason}); a readable picture file was needed: check the name."
        ) from error
    return PlanFile(path, kind, sha256)


def damaged(path: Path, kind: FileKind, what: str) -> PictureError:
    """Give the error for a file that is of a known kind but cannot be decoded whole."""
    return PictureError(
        f"{path.name} is a damaged {kind} file ({what}); a whole picture was needed: "
        "fetch it again, or open and save it anew in a picture program."
    )


# Signatures: ISO 10918-1, PNG 1.2, TIFF 6.0 and BigTIFF, ISO 32000-1, ISO 14496-12 with 23008-12, GIF89a, RIFF.
def _kind(head: bytes) -> FileKind | None:
    """Tell a format by its signature."""
    starts = {
        b"\xff\xd8": FileKind.JPEG,
        b"\x89PNG\r\n\x1a\n": FileKind.PNG,
        b"II*\x00": FileKind.TIFF,
        b"MM\x00*": FileKind.TIFF,
        b"II+\x00": FileKind.TIFF,
        b"MM\x00+": FileKind.TIFF,
        b"GIF87a": FileKind.GIF,
        b"GIF89a": FileKind.GIF,
    }
    for start, kind in starts.items():
        if head.startswith(start):
            return kind
    if head.startswith(b"BM") and head[6:10] == b"\0\0\0\0":
        return FileKind.BMP
    if head.startswith(b"RIFF") and head[8:12] == b"WEBP":
        return FileKind.WEBP
    if head[4:8] == b"ftyp":
        brands = head[8 : max(12, int.from_bytes(head[:4], "big"))]
        if b"avif" in brands or b"avis" in brands:
            return FileKind.AVIF
        if any(brand in brands for brand in (b"heic", b"heix", b"heim", b"heis", b"hevc", b"mif1", b"msf1")):
            return FileKind.HEIC
    # Readers accept a header anywhere in the first 1024 bytes (ISO 32000-1, annex H, note 13).
    return FileKind.PDF if b"%PDF-" in head else None


def _looks_like(head: bytes) -> str:
    """Name a file that cannot be read, as far as its first bytes tell."""
    if head.startswith(b"PK\x03\x04"):
        return "a ZIP archive or an office document"
    if head.startswith(b"%!PS"):
        return "a PostScript file"
    if head.startswith(b"AC10"):
        return "a DWG drawing"
    if head[4:8] == b"ftyp":
        return "a video"
    try:
        text = head.decode("utf-8", errors="strict") if len(head) < 1024 else head[:1000].decode("utf-8", "ignore")
    except UnicodeDecodeError:
        return "of an unknown kind"
    if len(text.encode()) < 0.9 * min(len(head), 1000) or "\0" in text:
        return "of an unknown kind"
    if "<svg" in text:
        return "an SVG drawing"
    if "<html" in text.lower():
        return "a web page"
    return "a text file"
