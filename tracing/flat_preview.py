"""A small flat picture while corners are dragged: the plan at its true shape, made in the blink of an eye."""

import math
from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.calibration import Calibration
from calibration.flatten import flatten, whole_plan_bounds_mm
from calibration.observations import CalibrationError

WIDEST_PX = 1600
"""Widest preview: what a screen shows of it."""

QUALITY = 80
"""JPEG quality: no line is lost at it, and half a second of a slow connection is saved."""


def flat_preview(
    levels: Sequence[NDArray[np.uint8]],
    calibration: Calibration,
    *,
    width_px: int,
    sheet_px: NDArray[np.float64] | None,
) -> bytes:
    """Give a flattened JPEG, at most `width_px` and 1600 px a side, of the whole plan.

    Parameters
    ----------
    levels : sequence of (H, W) or (H, W, 3) uint8
        The picture and its halves: pixel (i, j) of level k covers 2**k by 2**k pixels. Only the level that suits is
        read.
    calibration : Calibration
    width_px : int
        Wanted width.
    sheet_px : (K, 2) array or None
        The paper's outline, if known: what lies beside it is left out.

    Raises
    ------
    CalibrationError
        If the plan reaches to the horizon.
    """
    longest_px = min(max(int(width_px), 1), WIDEST_PX)
    x0, y0, x1, y1 = whole_plan_bounds_mm(
        calibration, width_px=calibration.size.width_px, height_px=calibration.size.height_px, sheet_px=sheet_px
    )
    if not (all(map(math.isfinite, (x0, y0, x1, y1))) and x0 < x1 and y0 < y1):
        raise CalibrationError(
            "The picture reaches to the plan's horizon, so it has no flat picture as a whole; the corners must lie "
            "well on the paper: mark them again."
        )
    # A hair less, so that rounding up makes no more px than were asked for.
    px_per_m = max(1, math.floor(1000 * (longest_px - 1) / max(x1 - x0, y1 - y0)))
    level = _level(len(levels), px_per_m * calibration.mm_per_px / 1000)
    flat = flatten(levels[level], _Halved(calibration, level), bounds_mm=(x0, y0, x1, y1), px_per_m=px_per_m)
    shown = flat.pixels if flat.pixels.ndim == 2 else cv2.cvtColor(flat.pixels, cv2.COLOR_RGB2BGR)
    done, data = cv2.imencode(".jpg", shown, [cv2.IMWRITE_JPEG_QUALITY, QUALITY])
    assert done
    return data.tobytes()


def _level(count: int, preview_px_per_picture_px: float) -> int:
    """The coarsest level that still has a pixel for every pixel of the preview."""
    halvings = math.floor(math.log2(1 / preview_px_per_picture_px)) if preview_px_per_picture_px > 0 else 0
    return min(max(halvings, 0), count - 1)


class _Halved:
    """The map of a level: its pixel (0, 0) is the middle of 2**k by 2**k pixels of the picture."""

    def __init__(self, calibration: Calibration, level: int) -> None:
        self._calibration = calibration
        self._size: int = 2**level
        self._shift = (self._size - 1) / 2

    def to_plan(self, points_px: NDArray[np.float64], /) -> NDArray[np.float64]:
        """Plan mm for px of the level."""
        plan_mm: NDArray[np.float64] = self._calibration.to_plan(points_px * self._size + self._shift)
        return plan_mm

    def to_picture(self, points_mm: NDArray[np.float64], /) -> NDArray[np.float64]:
        """Px of the level for plan mm."""
        points_px: NDArray[np.float64] = (self._calibration.to_picture(points_mm) - self._shift) / self._size
        return points_px

    @property
    def mm_per_px(self) -> float:
        """At the picture's middle."""
        return self._calibration.mm_per_px * self._size
