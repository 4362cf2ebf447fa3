"""How much of the plan's picture something drawn over it would hide."""

from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from printing.part_labels import InkUnder
from printing.shown_flat import ShownFlat


def ink_under(shown: ShownFlat, *, fraction: Fraction) -> InkUnder:
    """Give a function from boxes in build mm to the mean darkness of the whitened picture in each, 0 outside it."""
    flat, summed = shown.flat, shown.dark_sums
    height, width = summed.shape[0] - 1, summed.shape[1] - 1
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
