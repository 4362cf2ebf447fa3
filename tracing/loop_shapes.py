"""Loops that were found, as path data: areas to point at, not lines to cut along."""

import numpy as np
import shapely
from numpy.typing import NDArray

SLACK_PX = 0.3
"""How far a shown loop may be from the found one: below what is told on a screen at full size, with a tenth of the
points."""


def loop_data(points_px: NDArray[np.float64]) -> str:
    """Give a closed loop (N, 2), picture px, as path data within a third of a px."""
    ring = shapely.simplify(shapely.LineString(np.vstack([points_px, points_px[:1]])), SLACK_PX)
    corners = np.round(shapely.get_coordinates(ring)[:-1], 1)
    return f"M{'L'.join(['%.7g %.7g'] * len(corners))}Z" % tuple(corners.ravel().tolist())
