"""Decode a PNG, every chunk's checksum looked at first."""

import struct
import zlib
from dataclasses import dataclass
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

_CHANNELS = {0: 1, 2: 3, 3: 1, 4: 2, 6: 4}
"""Channels of each colour type (PNG 1.2, 4.1.1)."""

_PASSES = ((0, 0, 8, 8), (0, 4, 8, 8), (4, 0, 8, 4), (0, 2, 4, 4), (2, 0, 4, 2), (0, 1, 2, 2), (1, 0, 2, 1))
"""First row, first column, step of rows, step of columns of each interlaced pass (PNG 1.2, 2.6)."""

_PIECE_BYTES = 1 << 20


def read_png(file: PlanFile, *, page: int, channels: Channels) -> Reading:
    """Decode a PNG file of any depth; what is transparent lies over white.

    Raises
    ------
    PictureError
        If a chunk's checksum is wrong, the end is missing, or it is too large.
    """
    check_page(file.path, page=page, pages=1)
    header = _check_chunks(file)
    check_size(file.path, width_px=header.width_px, height_px=header.height_px)
    with captured_messages():
        try:
            with Image.open(file.path, formats=("PNG",)) as image:
                if header.depth == 16 and header.colour_type in _SEVERAL_CHANNELS:
                    return _decode_deep_colour(file, image, channels)
                reading = pillow_reading(image, channels, name=file.path.name)
                _check_rows(file, header, image)
                return reading
        except PictureError:
            raise
        except UNDECODABLE as error:
            raise damaged(file.path, FileKind.PNG, "its data cannot be decoded") from error


@dataclass(frozen=True, slots=True)
class _Header:
    """What IHDR says (PNG 1.2, 4.1.1)."""

    width_px: int
    height_px: int
    depth: int
    colour_type: int
    interlaced: bool

    def data_bytes(self) -> int:
        """How many bytes the picture data inflates to: each row has a filter byte (PNG 1.2, 2.3 and 2.6)."""
        bits = self.depth * _CHANNELS[self.colour_type]
        passes = _PASSES if self.interlaced else ((0, 0, 1, 1),)
        total = 0
        for row, column, down, across in passes:
            rows = max(0, -(-(self.height_px - row) // down))
            columns = max(0, -(-(self.width_px - column) // across))
            total += rows * (1 + (columns * bits + 7) // 8) if columns else 0
        return total


def _check_chunks(file: PlanFile) -> _Header:
    """Read the header; refuse a missing end or a wrong checksum (PNG 1.2, 3.2 and 3.4)."""
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
                width, height, depth, colour_type, _, _, interlace = struct.unpack(">IIBBBBB", header)
                if colour_type not in _CHANNELS or depth not in (1, 2, 4, 8, 16):
                    raise damaged(file.path, FileKind.PNG, "its header makes no sense")
                return _Header(width, height, depth, colour_type, interlace == 1)
    raise damaged(file.path, FileKind.PNG, "the picture data ends too early")


def _check_rows(file: PlanFile, header: _Header, image: Image.Image) -> None:
    """Refuse a picture with rows missing: the decoder leaves them 0 without a word.

    A last row that is not 0 is there; else, and where rows are interlaced, the data is inflated once more and counted.
    """
    last_row = np.asarray(image.crop((0, image.height - 1, image.width, image.height)))
    if last_row.any() and not header.interlaced:
        return
    inflate, inflated = zlib.decompressobj(), 0
    with file.path.open("rb") as stream:
        stream.seek(_SIGNATURE_BYTES)
        while len(head := stream.read(8)) == 8:
            left, name = int.from_bytes(head[:4], "big"), head[4:]
            if name != b"IDAT":
                stream.seek(left + 4, 1)
                continue
            while left > 0 and (piece := stream.read(min(left, _PIECE_BYTES))):
                left -= len(piece)
                while piece:
                    inflated += len(inflate.decompress(piece, _PIECE_BYTES))
                    piece = inflate.unconsumed_tail
            stream.seek(4, 1)
    if inflated < header.data_bytes():
        raise damaged(file.path, FileKind.PNG, "rows of the picture are missing")


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
