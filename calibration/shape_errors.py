"""How sure a value is that changes with the places of marks: through the map, and through the marks' own errors."""

import math

import numpy as np

from calibration.calibration import Calibration
from calibration.map_slopes import local_scales, plane_slopes
from calibration.observations import CalibrationError
from calibration.plane_map import Floats, moving, plane_from_picture


def on_plane(calibration: Calibration, points_px: Floats, what: str) -> Floats:
    """Give marks (N, 2), picture px, as mm on the map's own plane, which the plan turns and shifts.

    Raises
    ------
    CalibrationError
        If a mark of the `what` is no place, or lies beyond the plan's horizon.
    """
    if not np.isfinite(points_px).all():
        raise CalibrationError(f"A mark of the {what} is no pair of numbers of pixels: mark it again.")
    plane_mm = plane_from_picture(calibration.values, points_px, calibration.size)
    hidden = np.flatnonzero(~np.isfinite(plane_mm).all(axis=1))
    if len(hidden):
        x, y = points_px[hidden[0]]
        raise CalibrationError(
            f"The mark of the {what} at {x:g},{y:g} px lies beyond the plan's horizon; all marks must lie on the "
            "plan: mark it again."
        )
    return np.asarray(plane_mm)


def value_sigma(calibration: Calibration, points_px: Floats, slopes: Floats, *, mark_sigma_px: float | Floats) -> float:
    """Give the one-sigma error of a value that changes by `slopes` (N, 2) per mm each mark moves on the plane.

    The delta method: through the map's covariance, and through the marks' own errors in the picture, one for all or
    (N,).
    """
    values, size = calibration.values, calibration.size
    free = moving(values)
    _, moved = plane_slopes(values, points_px, size, free)
    by_map = (moved * slopes).sum(axis=(1, 2))
    by_marks = np.einsum("ni,nij->nj", slopes, local_scales(values, points_px, size))
    own = (np.broadcast_to(mark_sigma_px, len(points_px)) ** 2 * (by_marks**2).sum(axis=1)).sum()
    return math.sqrt(max(float(by_map @ calibration.covariance[np.ix_(free, free)] @ by_map + own), 0.0))
