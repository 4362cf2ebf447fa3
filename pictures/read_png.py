"""Decode a PNG, every chunk's checksum looked at first."""

import struct
import zlib
from typing import Any

import cv2
import numpy as np
from PIL import Image

from pictures.channels import as_channels, bgr_holds_colour, over_white
from pictures.claims import read_claims
from pictures.depth import to_8_bits
from pictures.limits import check_page, check_size
from pictures.native_output import captured_messages
from pictures.picture import PictureError
from pictures.pillow_pixels import UNDECODABLE, pillow_reading
from pictures.plan_file import FileKind, PlanFile, damaged
from pictures.reading import Channels, Reading
from pictures.upright import put_upright

_SIGNATURE_BYTES = 8
_SIZE_BYTES = 13
_SEVERAL_CHANNELS = (2, 4, 6)
"""Colour types RGB, grey with alpha, RGB with alpha (PNG 1.2, 4.1.1)."""

_PIECE_BYTES = 1 << 20


def read_png(file: PlanFile, *, page: int, channels: Channels) -> Reading:
    """Decode a PNG file of any depth; what is transparent lies over white.

    Raises
    ------
    PictureError
        If a chunk's checksum is wrong, the end is missing, or it is too large.
    """
    check_page(file.path, page=page, pages=1)
    width, height, depth, colour_type = _check_chunks(file)
    check_size(file.path, width_px=width, height_px=height)
    with captured_messages():
        try:
            with Image.open(file.path, formats=("PNG",)) as image:
                if depth == 16 and colour_type in _SEVERAL_CHANNELS:
                    return _decode_deep_colour(file, image, channels)
                return pillow_reading(image, channels, name=file.path.name)
        except PictureError:
            raise
        except UNDECODABLE as error:
            raise damaged(file.path, FileKind.PNG, "its data cannot be decoded") from error


def _check_chunks(file: PlanFile) -> tuple[int, int, int, int]:
    """Give width, height, depth, colour type; refuse a missing end or a wrong checksum (PNG 1.2, 5.3 and 11.2.2)."""
    header = None
    with file.path.open("rb") as stream:
        stream.seek(_SIGNATURE_BYTES)
        while len(head := stream.read(8)) == 8:
            left, name = int.from_bytes(head[:4], "big"), head[4:]
            if header is None and (name != b"IHDR" or left != _SIZE_BYTES):
                raise damaged(file.path, FileKind.PNG, "it does not begin with a header")
            checksum = zlib.crc32(name)
            piece = b""
            while left > 0 and (piece := stream.read(min(left, _PIECE_BYTES))):
                checksum = zlib.crc32(piece, checksum)
                left -= len(piece)
            stored = stream.read(4)
            if left > 0 or len(stored) < 4:
                break
            # A fault in a chunk that no decoder needs (lower-case first letter) does no harm, but for transparency.
            if int.from_bytes(stored, "big") != checksum and (name[:1].isupper() or name == b"tRNS"):
                raise damaged(file.path, FileKind.PNG, "a checksum is wrong")
            if header is None:
                header = piece
            if name == b"IEND":
                width, height, depth, colour_type = struct.unpack(">IIBB", header[:10])
                return width, height, depth, colour_type
    raise damaged(file.path, FileKind.PNG, "the picture data ends too early")


def _decode_deep_colour(file: PlanFile, image: Image.Image, channels: Channels) -> Reading:
    """Decode 16 bits a channel with OpenCV: Pillow drops the lower 8 before they can be stretched."""
    try:
        samples: Any = cv2.imdecode(
            np.fromfile(file.path, np.uint8), cv2.IMREAD_UNCHANGED | cv2.IMREAD_IGNORE_ORIENTATION
        )
    except cv2.error:
        samples = None
    if samples is None or samples.shape[:2] != (image.height, image.width):
        raise damaged(file.path, FileKind.PNG, "its data cannot be decoded")
    if samples.ndim == 3 and samples.shape[2] == 4:
        samples = over_white(samples)
    pixels, findings = to_8_bits(samples, name=file.path.name)
    claims = read_claims(image)
    coloured = pixels.ndim == 3 and bgr_holds_colour(pixels)
    upright = put_upright(as_channels(pixels, channels), claims.orientation)
    return Reading(upright, claims, colour=coloured, findings=findings)
