"""The flat picture: a plan resampled to its true shape, to be looked at and printed, never measured."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class FlatPicture:
    """A plan at its true shape with square pixels.

    `pixels` is (H, W) or (H, W, 3) uint8 (RGB). `px_per_m` is a whole number so that a PNG's
    pHYs tag is exact. `origin_mm` is where the OUTER lower-left corner of the
    picture lies in the frame that `mm_per_px` belongs to (plan frame, y up, full size).
    """

    pixels: NDArray[np.uint8]
    px_per_m: int
    origin_mm: tuple[float, float]

    @property
    def mm_per_px(self) -> float:
        """Side of a pixel, mm at full size."""
        return 1000 / self.px_per_m

    def plan_to_flat_px(self, points_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """Turn y: (N, 2) plan mm to (N, 2) flat-picture px, (0, 0) at the centre of the top-left pixel."""
        height = self.pixels.shape[0]
        x = (points_mm[:, 0] - self.origin_mm[0]) / self.mm_per_px - 0.5
        y = height - 0.5 - (points_mm[:, 1] - self.origin_mm[1]) / self.mm_per_px
        return np.column_stack([x, y])

    def flat_px_to_plan(self, points_px: NDArray[np.float64]) -> NDArray[np.float64]:
        """Turn y back: (N, 2) flat-picture px to (N, 2) plan mm; the inverse of `plan_to_flat_px`."""
        height = self.pixels.shape[0]
        x = self.origin_mm[0] + (points_px[:, 0] + 0.5) * self.mm_per_px
        y = self.origin_mm[1] + (height - 0.5 - points_px[:, 1]) * self.mm_per_px
        return np.column_stack([x, y])
