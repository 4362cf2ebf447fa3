"""The flat picture as a PNG whose size tag is exact."""

import struct
import zlib

import cv2

from pictures.flat import FlatPicture

# Level 1 with run lengths: measured on photographed paper 12 % faster and smaller than level 1's default strategy,
# 1.6 times faster than Pillow at level 1.
# Where OpenCV can be told to, each row is filtered by the one above: trying all five filters on every
# row took half of the time and saved 5 % of a photo's file.
PNG_SETTINGS = [cv2.IMWRITE_PNG_COMPRESSION, 1, cv2.IMWRITE_PNG_STRATEGY, cv2.IMWRITE_PNG_STRATEGY_RLE]
if hasattr(cv2, "IMWRITE_PNG_FILTER"):
    PNG_SETTINGS += [cv2.IMWRITE_PNG_FILTER, cv2.IMWRITE_PNG_FILTER_UP]

_HEADER_END = 33
"""Bytes of a PNG up to the end of its IHDR chunk: 8 of signature, 4 + 4 + 13 + 4 of the chunk (PNG 1.2, 11.2.2)."""


def flat_png(flat: FlatPicture) -> bytes:
    """Give a flat picture as a PNG file with a pHYs tag of exactly `flat.px_per_m` px per metre both ways.

    Safe in a thread: the picture is only read, and the encoder leaves other threads running.
    """
    blue_first = flat.pixels if flat.pixels.ndim == 2 else cv2.cvtColor(flat.pixels, cv2.COLOR_RGB2BGR)
    _, encoded = cv2.imencode(".png", blue_first, PNG_SETTINGS)
    return b"".join((encoded[:_HEADER_END].data, _physical_size(flat.px_per_m), encoded[_HEADER_END:].data))


def _physical_size(px_per_m: int) -> bytes:
    """Give the pHYs chunk: px per unit in x and y, unit 1 = metre (PNG 1.2, 11.3.5.3)."""
    body = b"pHYs" + struct.pack(">IIB", px_per_m, px_per_m, 1)
    return struct.pack(">I", 9) + body + struct.pack(">I", zlib.crc32(body))
