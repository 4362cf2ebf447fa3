"""Grey or RGB from the channel orders that OpenCV decodes to: grey, blue-green-red, blue-green-red-alpha."""

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from pictures.reading import Channels
from pictures.tones import holds_colour

SMALL_SIDE_PX = 600
"""Longer side of the reduced picture in which colour is looked for: blocks averaged, so that noise is small."""

STRIP_PIXELS = 1_000_000
"""Pixels mixed at a time: the wide sums take 16 MB."""


def as_channels(pixels: NDArray[np.uint8], channels: Channels) -> NDArray[np.uint8]:
    """Give (H, W) grey or (H, W, 3) RGB from (H, W) grey or (H, W, 3) blue-green-red."""
    codes = {
        (2, Channels.COLOUR): cv2.COLOR_GRAY2RGB,
        (3, Channels.GREY): cv2.COLOR_BGR2GRAY,
        (3, Channels.COLOUR): cv2.COLOR_BGR2RGB,
    }
    code = codes.get((pixels.ndim, channels))
    if code is None:
        return pixels
    return np.asarray(cv2.cvtColor(pixels, code), np.uint8)


def over_white(bgra: NDArray[Any]) -> NDArray[Any]:
    """Lay (H, W, 4) blue-green-red-alpha, uint8 or uint16, over white: (H, W, 3) of the same type."""
    top = int(np.iinfo(bgra.dtype).max)
    bgr: NDArray[Any] = np.empty((*bgra.shape[:2], 3), bgra.dtype)
    rows = max(1, STRIP_PIXELS // bgra.shape[1])
    for row in range(0, len(bgra), rows):
        strip = bgra[row : row + rows].astype(np.uint32)
        alpha = strip[..., 3:]
        bgr[row : row + rows] = (strip[..., :3] * alpha + (top - alpha) * top + top // 2) // top
    return bgr


def bgr_holds_colour(bgr: NDArray[np.uint8]) -> bool:
    """Look for colour beyond the paper's tone in a full (H, W, 3) blue-green-red picture."""
    height, width = bgr.shape[:2]
    factor = max(1, max(width, height) // SMALL_SIDE_PX)
    size = max(1, width // factor), max(1, height // factor)
    return holds_colour(np.asarray(cv2.resize(bgr, size, interpolation=cv2.INTER_AREA), np.uint8))
