"""Decode a JPEG, whole or not at all."""

import re
from concurrent.futures import ThreadPoolExecutor
from io import BytesIO

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, UnidentifiedImageError

from drawing.findings import Finding, Level
from pictures.claims import Claims, read_claims
from pictures.limits import check_page, check_size
from pictures.native_output import captured_messages
from pictures.picture import PictureError
from pictures.plan_file import FileKind, PlanFile, damaged
from pictures.reading import Channels, Reading
from pictures.tones import holds_colour
from pictures.upright import put_upright

_AS_STORED = cv2.IMREAD_IGNORE_ORIENTATION
_END = b"\xff\xd9"

_CUT_SHORT = ("Premature end", "premature end")
"""How the decoder (libjpeg) says that it made up the rest of the picture in grey."""

_EXTRA_BYTES = re.compile(r"Corrupt JPEG data: \d+ extraneous bytes before marker 0x([0-9a-f]{2})")
"""How it says that it skipped bytes between two parts of the file: harmless, unless a restart marker (0xd0 to 0xd7)
follows, for then they were picture."""

_BAD_DATA = ("Corrupt JPEG data", "Invalid SOS", "Inconsistent progression")
"""How it says that it went on after nonsense in the picture itself."""


def read_jpeg(file: PlanFile, *, page: int, channels: Channels) -> Reading:
    """Decode a JPEG file; of a file of several pictures (a phone's depth map) the first.

    Raises
    ------
    PictureError
        If it is cut short, damaged, of a form that cannot be decoded, or too large.
    """
    data = file.path.read_bytes()
    with captured_messages() as said:
        claims, size, components = _header(file, data)
        check_page(file.path, page=page, pages=1)
        check_size(file.path, width_px=size[0], height_px=size[1])
        if components == 4:
            pixels, colour = _decode_cmyk(file, data, channels)
        else:
            pixels, colour = _decode(file, data, channels, components)
    if any(phrase in said.text for phrase in _CUT_SHORT) or not jpeg_ends(data):
        raise damaged(file.path, FileKind.JPEG, "the picture data ends too early")
    if pixels.shape[:2] != (size[1], size[0]):
        raise damaged(file.path, FileKind.JPEG, "its headers disagree about its size")
    if _lost_picture(said.text):
        raise damaged(file.path, FileKind.JPEG, "part of the picture data is lost")
    findings: tuple[Finding, ...] = ()
    if _EXTRA_BYTES.search(said.text):
        text = (
            f"{file.path.name} holds bytes that belong to nothing, so parts of the picture may be shifted or grey: "
            "look at it, and fetch it again if a part is wrong."
        )
        findings = (Finding("picture-damaged", Level.DECIDE, file.path.name, text),)
    return Reading(put_upright(pixels, claims.orientation), claims, colour=colour, findings=findings)


def _header(file: PlanFile, data: bytes) -> tuple[Claims, tuple[int, int], int]:
    """Claims, (width, height) px as stored, and how many components; nothing is decoded."""
    try:
        with Image.open(BytesIO(data), formats=("JPEG", "MPO")) as image:
            return read_claims(image), image.size, len(image.getbands())
    except (UnidentifiedImageError, OSError, ValueError, SyntaxError, KeyError, IndexError, TypeError) as error:
        raise damaged(file.path, FileKind.JPEG, "it has no readable header") from error


def _decode(file: PlanFile, data: bytes, channels: Channels, components: int) -> tuple[NDArray[np.uint8], bool]:
    """Pixels as stored, and whether there is colour; the small colour picture is decoded beside the grey one."""
    encoded = np.frombuffer(data, np.uint8)
    wanted = cv2.IMREAD_GRAYSCALE if channels is Channels.GREY else cv2.IMREAD_COLOR_RGB
    with ThreadPoolExecutor(1) as beside:
        look = components == 3 and channels is Channels.GREY
        looking = beside.submit(_looks_coloured, encoded) if look else None
        pixels = _imdecode(encoded, wanted)
        colour = looking is not None and looking.result()
    if pixels is None:
        raise damaged(file.path, FileKind.JPEG, "its data cannot be decoded")
    return pixels, colour


def _looks_coloured(encoded: NDArray[np.uint8]) -> bool:
    """Look for colour in the picture at an eighth of its size."""
    small_bgr = _imdecode(encoded, cv2.IMREAD_REDUCED_COLOR_8)
    return small_bgr is not None and holds_colour(small_bgr)


def _imdecode(encoded: NDArray[np.uint8], flags: int) -> NDArray[np.uint8] | None:
    """Decode as stored; None if it cannot be."""
    try:
        pixels = cv2.imdecode(encoded, flags | _AS_STORED)
    except cv2.error:
        return None
    return None if pixels is None else np.asarray(pixels, np.uint8)


def _decode_cmyk(file: PlanFile, data: bytes, channels: Channels) -> tuple[NDArray[np.uint8], bool]:
    """Decode four inks (Pillow knows that Adobe stores them inverted)."""
    from pictures.pillow_pixels import pillow_colour, pillow_pixels

    try:
        with Image.open(BytesIO(data), formats=("JPEG", "MPO")) as image:
            image.load()
            return pillow_pixels(image, channels), pillow_colour(image)
    except PictureError:
        raise
    except (OSError, ValueError, SyntaxError) as error:
        raise damaged(file.path, FileKind.JPEG, "its data cannot be decoded") from error


def _lost_picture(said: str) -> bool:
    """Tell from the decoder's words whether some of the picture is made up."""
    if any("d0" <= marker <= "d7" for marker in _EXTRA_BYTES.findall(said)):
        return True
    return any(phrase in _EXTRA_BYTES.sub("", said) for phrase in _BAD_DATA)


def jpeg_ends(data: bytes) -> bool:
    """Tell whether the picture's data has an end (EOI); phones append things after it, so it need not be last."""
    if data.rstrip(b"\0\n\r ").endswith(_END):
        return True
    # The last scan starts after the last SOS; an EXIF preview's own end comes before that.
    return data.find(_END, data.rfind(b"\xff\xda")) >= 0
