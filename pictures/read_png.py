"""Decode a PNG, every chunk's checksum looked at first."""

import struct
import zlib
from io import BytesIO
from typing import Any

import cv2
import numpy as np
from PIL import Image, UnidentifiedImageError

from drawing.findings import Finding
from pictures.channels import as_channels, bgr_holds_colour, over_white
from pictures.claims import read_claims
from pictures.depth import to_8_bits
from pictures.limits import check_page, check_size
from pictures.native_output import captured_messages
from pictures.plan_file import FileKind, PlanFile, damaged
from pictures.reading import Channels, Reading
from pictures.upright import put_upright

_AS_STORED = cv2.IMREAD_IGNORE_ORIENTATION
_SIGNATURE_BYTES = 8
_ALPHA_TYPES = (4, 6)
_COLOUR_TYPES = (2, 3, 6)


def read_png(file: PlanFile, *, page: int, channels: Channels) -> Reading:
    """Decode a PNG file of any depth; what is transparent lies over white.

    Raises
    ------
    PictureError
        If a chunk's checksum is wrong, the end is missing, or it is too large.
    """
    data = file.path.read_bytes()
    check_page(file.path, page=page, pages=1)
    transparent = _check_chunks(file, data)
    width, height, _, colour_type = struct.unpack(">IIBB", data[16:26])
    check_size(file.path, width_px=width, height_px=height)
    with captured_messages():
        try:
            with Image.open(BytesIO(data), formats=("PNG",)) as image:
                claims = read_claims(image)
        except (UnidentifiedImageError, OSError, ValueError, SyntaxError, KeyError, IndexError, TypeError) as error:
            raise damaged(file.path, FileKind.PNG, "its header makes no sense") from error
        wants_all = transparent or colour_type in _ALPHA_TYPES
        flags = (
            cv2.IMREAD_UNCHANGED
            if wants_all
            else cv2.IMREAD_ANYDEPTH | (cv2.IMREAD_COLOR if colour_type in _COLOUR_TYPES else cv2.IMREAD_GRAYSCALE)
        )
        try:
            samples: Any = cv2.imdecode(np.frombuffer(data, np.uint8), flags | _AS_STORED)
        except cv2.error:
            samples = None
    if samples is None or samples.shape[:2] != (height, width):
        raise damaged(file.path, FileKind.PNG, "its data cannot be decoded")
    del data
    findings: tuple[Finding, ...] = ()
    if samples.ndim == 3 and samples.shape[2] == 4:
        samples = over_white(samples)
    if samples.dtype != np.uint8:
        samples, findings = to_8_bits(samples, name=file.path.name)
    coloured = colour_type in _COLOUR_TYPES and samples.ndim == 3 and bgr_holds_colour(samples)
    pixels = put_upright(as_channels(samples, channels), claims.orientation)
    return Reading(pixels, claims, colour=coloured, findings=findings)


def _check_chunks(file: PlanFile, data: bytes) -> bool:
    """Refuse a PNG with a missing end or a wrong checksum (PNG 1.2, 5.3); tell whether it has a tRNS chunk."""
    view = memoryview(data)
    at = _SIGNATURE_BYTES
    transparent = False
    first = True
    while at + 12 <= len(data):
        length = int.from_bytes(view[at : at + 4], "big")
        name = bytes(view[at + 4 : at + 8])
        end = at + 12 + length
        if first and (name != b"IHDR" or length != 13):
            raise damaged(file.path, FileKind.PNG, "it does not begin with a header")
        first = False
        if end > len(data):
            break
        # A fault in a chunk that no decoder needs (lower-case first letter) does no harm, but for transparency.
        needed = name[:1].isupper() or name == b"tRNS"
        if needed and zlib.crc32(view[at + 4 : end - 4]) != int.from_bytes(view[end - 4 : end], "big"):
            raise damaged(file.path, FileKind.PNG, "a checksum is wrong")
        if name == b"IEND":
            return transparent
        transparent |= name == b"tRNS"
        at = end
    raise damaged(file.path, FileKind.PNG, "the picture data ends too early")
