"""How much of the plan's picture something drawn over it would hide."""

from fractions import Fraction

import cv2
import numpy as np
from numpy.typing import NDArray

from pictures.flat import FlatPicture
from printing.part_labels import InkUnder
from printing.tile_picture import PaperWhite, reduced, whitened

# Long side of the copy that is looked at: a line on A0 is still a px wide.
_LONG_SIDE_PX = 3000


def ink_under(flat: FlatPicture, white: PaperWhite, *, fraction: Fraction) -> InkUnder:
    """Give a function from boxes in build mm to the mean darkness of the whitened picture in each, 0 outside it."""
    small = reduced(flat.pixels, _LONG_SIDE_PX)
    clean = whitened(small, white, (0, 0, small.shape[1], small.shape[0]))
    grey = clean if clean.ndim == 2 else cv2.cvtColor(clean, cv2.COLOR_RGB2GRAY)
    height, width = small.shape[:2]
    summed = cv2.integral(255 - grey)
    px_per_mm = width / (flat.pixels.shape[1] * flat.mm_per_px * float(fraction))
    left, low = (origin * float(fraction) for origin in flat.origin_mm)

    def darkness(boxes_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        # y turns here, as in every writer of the flat picture.
        x0, x1 = (np.clip(np.round((boxes_mm[:, i] - left) * px_per_mm), 0, width).astype(int) for i in (0, 2))
        y0, y1 = (np.clip(np.round(height - (boxes_mm[:, i] - low) * px_per_mm), 0, height).astype(int) for i in (3, 1))
        total = summed[y1, x1] - summed[y0, x1] - summed[y1, x0] + summed[y0, x0]
        area = np.maximum((x1 - x0) * (y1 - y0), 1)
        return np.asarray(total / (255.0 * area))

    return darkness
