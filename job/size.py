"""How large the whole drawing comes out, and how sure that is."""

import numpy as np

from drawing.paths import sampled
from job.made import Made
from job.part_errors import OUTLINE_SIGMA_PX, SAMPLED_MM
from report.facts import OverallSize


def overall_size(made: Made) -> OverallSize:
    """Give the size over all parts, or over all lines when there is no part."""
    paths = [outline.boundary for outline in made.plan.outlines] or list(made.plan.lines)
    points_mm = np.concatenate([sampled(path, tolerance_mm=SAMPLED_MM) for path in paths])
    x, y = points_mm.T
    ends_px = made.calibration.to_picture(points_mm[[x.argmin(), x.argmax(), y.argmin(), y.argmax()]])
    _, u95_mm = made.calibration.lengths_u95(ends_px[[0, 2]], ends_px[[1, 3]], mark_sigma_px=OUTLINE_SIGMA_PX)
    fraction = float(made.fraction)
    return OverallSize(float(np.ptp(x)) * fraction, float(np.ptp(y)) * fraction, float(u95_mm.max()) * fraction)
