"""How far each part's size may be off: its give or take, from the calibration and the lines themselves."""

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from calibration.calibration import Calibration
from drawing.drawing import Drawing
from drawing.path_extremes import path_extremes_mm

OUTLINE_SIGMA_PX = 0.1
"""One-sigma error of an outline's extreme point across its line, when the strokes say nothing better."""


def with_give_or_take(plan: Drawing, calibration: Calibration) -> Drawing:
    """Give the full-size drawing with `u95_mm` of every outline: that of its width or height, the larger.

    The 95 % interval holds the calibration's, the line's own, and the fit's measured deviation.
    """
    if not plan.outlines:
        return plan
    ends_mm = path_extremes_mm([outline.boundary for outline in plan.outlines])
    points_px = calibration.to_picture(ends_mm.reshape(-1, 2)).reshape(-1, 4, 2)
    starts = points_px[:, [0, 2]].reshape(-1, 2)
    stops = points_px[:, [1, 3]].reshape(-1, 2)
    _, u95_mm = calibration.lengths_u95(starts, stops, mark_sigma_px=OUTLINE_SIGMA_PX)
    larger = u95_mm.reshape(-1, 2).max(axis=1)
    return Drawing(
        tuple(
            replace(outline, u95_mm=math.hypot(float(u95), outline.deviation_mm))
            for outline, u95 in zip(plan.outlines, larger, strict=True)
        ),
        plan.lines,
    )


def longest_part_px(
    plan: Drawing, to_picture: Callable[[NDArray[np.float64]], NDArray[np.float64]]
) -> tuple[tuple[float, float], tuple[float, float]] | None:
    """Give the two ends of the longest part in the picture, px, or None when there is no part.

    Its length is the longer side of its upright box: what a builder lays a ruler along.
    """
    if not plan.outlines:
        return None
    pairs_mm = path_extremes_mm([outline.boundary for outline in plan.outlines]).reshape(-1, 2, 2)
    longest = int(np.hypot(*(pairs_mm[:, 1] - pairs_mm[:, 0]).T).argmax())
    (x0, y0), (x1, y1) = to_picture(pairs_mm[longest])
    return (float(x0), float(y0)), (float(x1), float(y1))
