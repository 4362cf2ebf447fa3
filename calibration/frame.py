"""Where the plan's origin lies and which way +x runs."""

import math
from collections.abc import Sequence

import numpy as np

from calibration.kind import Kind
from calibration.observations import Across, Corners, Observation, PointPx, Skew
from calibration.plane_map import Floats, PictureSize, plane_from_picture

FOUND_BORDER = "drawn border"
"""The label of a rectangle that the program found; one that a person gave comes before it."""


def lower_left_px(observations: Sequence[Observation], size: PictureSize) -> PointPx:
    """Give the rectangle's lower-left corner, else the lower-left pixel."""
    rectangle = _rectangle(observations)
    return (0.0, float(size.height_px - 1)) if rectangle is None else rectangle.points_px[3]


def turn_rad(observations: Sequence[Observation], values: Floats, size: PictureSize, kind: Kind) -> float:
    """Give the direction of plan +x on the plane, anticlockwise from the plane's x.

    The line laid straight, else a rectangle's lower side, else a scan's skew, else the picture's x.
    """
    for seen in observations:
        if isinstance(seen, Across):
            return _direction_rad(seen.start_px, seen.end_px, values, size)
    rectangle = _rectangle(observations)
    if rectangle is not None:
        return _direction_rad(rectangle.points_px[3], rectangle.points_px[2], values, size)
    for seen in observations:
        if isinstance(seen, Skew) and kind is not Kind.PHOTO:
            return _laid_rad(seen, values, size)
    return _laid_rad(Skew(0.0, 1.0), values, size)


def _laid_rad(skew: Skew, values: Floats, size: PictureSize) -> float:
    """Give the direction on the plane of the lines along, and of those across less a right angle: their mean."""
    x, y = size.middle_px
    # Clockwise as seen is from x to y where y runs down.
    along = _direction_rad((x, y), (x + math.cos(skew.angle_rad), y + math.sin(skew.angle_rad)), values, size)
    if skew.across_rad is None:
        return along
    down = (x - math.sin(skew.across_rad), y + math.cos(skew.across_rad))
    across = _direction_rad((x, y), down, values, size) + math.pi / 2
    share = skew.sigma_rad**2 / (skew.sigma_rad**2 + skew.across_sigma_rad**2)
    return along + share * math.remainder(across - along, 2 * math.pi)


def _direction_rad(start: PointPx, end: PointPx, values: Floats, size: PictureSize) -> float:
    (x0, y0), (x1, y1) = plane_from_picture(values, np.array([start, end]), size)
    return math.atan2(y1 - y0, x1 - x0)


def _rectangle(observations: Sequence[Observation]) -> Corners | None:
    """Give the rectangle that the plan frame belongs to: a person's first, then one with a size, then any."""
    rectangles = [seen for seen in observations if isinstance(seen, Corners)]
    return min(rectangles, key=lambda corners: (corners.label == FOUND_BORDER, corners.width_mm is None), default=None)
