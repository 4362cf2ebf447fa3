"""Decode a JPEG, whole or not at all."""

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

_BAD_DATA = ("Corrupt JPEG data", "Unsupported marker", "Invalid SOS", "Inconsistent progression")
"""How it says that it went on after nonsense."""


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
    if any(phrase in said.text for phrase in _CUT_SHORT) or not _ends(data):
        raise damaged(file.path, FileKind.JPEG, "the picture data ends too early")
    if pixels.shape[:2] != (size[1], size[0]):
        raise damaged(file.path, FileKind.JPEG, "its headers disagree about its size")
    findings: tuple[Finding, ...] = ()
    if any(phrase in said.text for phrase in _BAD_DATA):
        text = (
            f"The decoder met nonsense in {file.path.name} and went on; parts of the picture may be shifted or grey: "
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
        small = beside.submit(_imdecode, encoded, cv2.IMREAD_REDUCED_COLOR_8) if look else None
        pixels = _imdecode(encoded, wanted)
        small_bgr = small.result() if small is not None else None
    if pixels is None:
        raise damaged(file.path, FileKind.JPEG, "its data cannot be decoded")
    return pixels, small_bgr is not None and holds_colour(small_bgr)


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


def _ends(data: bytes) -> bool:
    """Tell whether the picture's data has an end (EOI); phones append things after it, so it need not be last."""
    if data.rstrip(b"\0\n\r ").endswith(_END):
        return True
    # The last scan starts after the last SOS; an EXIF preview's own end comes before that.
    return data.find(_END, data.rfind(b"\xff\xda")) >= 0
