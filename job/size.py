"""How large the whole drawing comes out, and how sure that is."""

from fractions import Fraction

import numpy as np

from calibration.calibration import Calibration
from drawing.drawing import Drawing
from drawing.path_extremes import path_extremes_mm
from job.made import Made
from job.part_errors import OUTLINE_SIGMA_PX
from report.facts import OverallSize


def overall_size(made: Made) -> OverallSize:
    """Give the size over all parts, or over all lines when there is no part."""
    return size_over_all(made.plan, made.calibration, made.fraction)


def size_over_all(plan: Drawing, calibration: Calibration, fraction: Fraction) -> OverallSize:
    """Give the same for a full-size drawing that holds a part or a line."""
    paths = [outline.boundary for outline in plan.outlines] or list(plan.lines)
    points_mm = path_extremes_mm(paths).reshape(-1, 2)
    x, y = points_mm.T
    ends_px = calibration.to_picture(points_mm[[x.argmin(), x.argmax(), y.argmin(), y.argmax()]])
    _, u95_mm = calibration.lengths_u95(ends_px[[0, 2]], ends_px[[1, 3]], mark_sigma_px=OUTLINE_SIGMA_PX)
    n = float(fraction)
    return OverallSize(float(np.ptp(x)) * n, float(np.ptp(y)) * n, float(u95_mm.max()) * n)
