"""Put stored pixels upright."""

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

# EXIF 2.3 / TIFF 6.0 tag 274: where the stored first row and first column lie in the picture as displayed: 1 top, left;
# 2 top, right; 3 bottom, right; 4 bottom, left; 5 left, top; 6 right, top; 7 right, bottom; 8 left, bottom.


def put_upright(pixels: NDArray[np.uint8], orientation: int) -> NDArray[np.uint8]:
    """Give the picture as displayed, from its stored pixels.

    Parameters
    ----------
    pixels : (H, W) or (H, W, 3) uint8
        As stored in the file.
    orientation : int
        EXIF orientation, 1..8.

    Returns
    -------
    (H, W) or (W, H) uint8, with the channels of `pixels`
        Contiguous; for orientation 1 the same array.
    """
    turned: Any = pixels
    match orientation:
        case 2:
            turned = cv2.flip(pixels, 1)
        case 3:
            turned = cv2.flip(pixels, -1)
        case 4:
            turned = cv2.flip(pixels, 0)
        case 5:
            turned = cv2.transpose(pixels)
        case 6:
            turned = cv2.rotate(pixels, cv2.ROTATE_90_CLOCKWISE)
        case 7:
            turned = cv2.transpose(pixels)
            cv2.flip(turned, -1, turned)
        case 8:
            turned = cv2.rotate(pixels, cv2.ROTATE_90_COUNTERCLOCKWISE)
    return np.asarray(turned, np.uint8)
