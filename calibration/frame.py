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
    x, y = size.middle_px
    skew = 0.0
    for seen in observations:
        if isinstance(seen, Skew) and kind is not Kind.PHOTO:
            skew = seen.angle_rad
    # Clockwise as seen is from x to y where y runs down.
    return _direction_rad((x, y), (x + math.cos(skew), y + math.sin(skew)), values, size)


def _direction_rad(start: PointPx, end: PointPx, values: Floats, size: PictureSize) -> float:
    (x0, y0), (x1, y1) = plane_from_picture(values, np.array([start, end]), size)
    return math.atan2(y1 - y0, x1 - x0)


def _rectangle(observations: Sequence[Observation]) -> Corners | None:
    """Give the rectangle that the plan frame belongs to: a person's first, then one with a size, then any."""
    rectangles = [seen for seen in observations if isinstance(seen, Corners)]
    return min(rectangles, key=lambda corners: (corners.label == FOUND_BORDER, corners.width_mm is None), default=None)
