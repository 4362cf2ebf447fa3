"""One tile of the picture, encoded for the browser."""

from collections import OrderedDict
from threading import Lock

import cv2
import numpy as np

from tracing.level_sizes import TILE_PX
from tracing.pyramid import Pyramid

JPEG_QUALITY = 92
"""Above 90 the ripples around thin lines are below what a screen shows."""

_AS_JPEG = [
    cv2.IMWRITE_JPEG_QUALITY,
    JPEG_QUALITY,
    # Colour at full resolution too: halved, thin red and blue lines are smeared.
    cv2.IMWRITE_JPEG_SAMPLING_FACTOR,
    cv2.IMWRITE_JPEG_SAMPLING_FACTOR_444,
]

KEPT_BYTES = 32 << 20
"""Encoded tiles held: some hundred, what goes in and out of sight while panning to and fro."""


class Tiles:
    """The tiles of one picture; may be asked from several threads."""

    def __init__(self, pyramid: Pyramid) -> None:
        self._pyramid = pyramid
        self._kept: OrderedDict[tuple[int, int, int], tuple[bytes, str]] = OrderedDict()
        self._bytes = 0
        self._lock = Lock()

    def tile(self, level: int, x: int, y: int) -> tuple[bytes, str] | None:
        """Give (bytes, media type) of the tile in column x and row y of a level, or None when there is none.

        At full size pixels must be seen as they are, so that level is PNG; what is zoomed out is JPEG.
        """
        key = (level, x, y)
        with self._lock:
            if found := self._kept.get(key):
                self._kept.move_to_end(key)
                return found
        levels = self._pyramid.levels
        if not 0 <= level < len(levels) or x < 0 or y < 0:
            return None
        height, width = levels[level].shape[:2]
        if x * TILE_PX >= width or y * TILE_PX >= height:
            return None
        rows = slice(y * TILE_PX, (y + 1) * TILE_PX)
        found = _encoded(np.ascontiguousarray(levels[level][rows, x * TILE_PX : (x + 1) * TILE_PX]), sharp=level == 0)
        with self._lock:
            if key not in self._kept:
                self._kept[key] = found
                self._bytes += len(found[0])
            while self._bytes > KEPT_BYTES:
                self._bytes -= len(self._kept.popitem(last=False)[1][0])
        return found


def _encoded(pixels: np.ndarray, *, sharp: bool) -> tuple[bytes, str]:
    if pixels.ndim == 3:
        pixels = cv2.cvtColor(pixels, cv2.COLOR_RGB2BGR)
    if sharp:
        return cv2.imencode(".png", pixels, [cv2.IMWRITE_PNG_COMPRESSION, 1])[1].tobytes(), "image/png"
    return cv2.imencode(".jpg", pixels, _AS_JPEG)[1].tobytes(), "image/jpeg"
