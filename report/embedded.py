"""A picture made small enough to sit inside a page."""

import base64
from dataclasses import dataclass

import cv2
import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray

# Drawn lines show rings below this, and nobody sees the difference above.
JPEG_QUALITY = 82


@dataclass(frozen=True, slots=True)
class EmbeddedPicture:
    """A picture as a data URI. `width_px` and `height_px` are those of the whole picture it shows, not its own."""

    uri: Markup
    width_px: int
    height_px: int


def embedded(pixels: NDArray[np.uint8], *, longest_px: int) -> EmbeddedPicture:
    """Give a picture as a JPEG inside a page, reduced where its longer side is above `longest_px`.

    Parameters
    ----------
    pixels : (H, W) or (H, W, 3) array of uint8, RGB
        Left as it is.
    """
    height, width = pixels.shape[:2]
    factor = longest_px / max(height, width)
    small: NDArray[np.uint8] = pixels
    if factor < 1:
        # Area averaging keeps pixel edges on pixel edges, so the outer corners of both pictures are the same.
        size = max(1, round(width * factor)), max(1, round(height * factor))
        small = np.asarray(cv2.resize(pixels, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)
    if small.ndim == 3:
        small = np.asarray(cv2.cvtColor(small, cv2.COLOR_RGB2BGR), dtype=np.uint8)
    _, encoded = cv2.imencode(".jpg", small, [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY])
    data = base64.b64encode(encoded.tobytes()).decode("ascii")
    return EmbeddedPicture(Markup("data:image/jpeg;base64," + data), width, height)
