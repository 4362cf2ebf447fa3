"""The one adjustment: from everything given to the map of picture px to plan mm, with its uncertainty."""

import math
from collections.abc import Sequence

import numpy as np

from calibration.calibration import Calibration
from calibration.kind import Kind
from calibration.observations import Across, Corners, Observation, PointPx, Skew
from calibration.parameters import priors
from calibration.plane_map import Floats, PictureSize, plane_from_picture
from calibration.problem import build, solve
from calibration.refusals import refuse_impossible
from calibration.start import starts
from calibration.uncertainty import map_covariance

FOUND_BORDER = "drawn border"
"""The label of a rectangle that the program found; one that a person gave comes before it."""


def adjust(
    observations: Sequence[Observation],
    *,
    width_px: int,
    height_px: int,
    kind: Kind,
    focal_35mm: float | None = None,
    sheet_px: Floats | None = None,
    longest_px: tuple[PointPx, PointPx] | None = None,
    tag_mm_per_px: tuple[float, float] | None = None,
    origin_px: PointPx | None = None,
) -> Calibration:
    size = PictureSize(width_px, height_px)
    refuse_impossible(observations, kind=kind, size=size)
    told = priors(kind=kind, focal_35mm=focal_35mm)
    problem = build(observations, size=size, priors=told)
    found = [solve(problem, start) for start in starts(observations, kind=kind, size=size, priors=told)]
    best = min(found, key=lambda s: float(s.rows @ s.rows))
    corner = origin_px or _lower_left_px(observations, size)
    return Calibration(
        kind=kind,
        size=size,
        values=best.values,
        covariance=map_covariance(best),
        turn_rad=_turn_rad(observations, best.values, size, kind),
        origin_px=corner,
        sheet_px=sheet_px,
    )


def _lower_left_px(observations: Sequence[Observation], size: PictureSize) -> PointPx:
    rectangle = _rectangle(observations)
    return (0.0, float(size.height_px - 1)) if rectangle is None else rectangle.points_px[3]


def _turn_rad(observations: Sequence[Observation], values: Floats, size: PictureSize, kind: Kind) -> float:
    """Give the direction of plan +x on the plane, anticlockwise."""
    rectangle = _rectangle(observations)
    for seen in observations:
        if isinstance(seen, Across):
            return _direction_rad(seen.start_px, seen.end_px, values, size)
    if rectangle is not None:
        return _direction_rad(rectangle.points_px[3], rectangle.points_px[2], values, size)
    x, y = size.middle_px
    angle = 0.0
    for seen in observations:
        if isinstance(seen, Skew) and kind is not Kind.PHOTO:
            angle = seen.angle_rad
    # Clockwise as seen is from x to y where y runs down.
    return _direction_rad((x, y), (x + math.cos(angle), y + math.sin(angle)), values, size)


def _direction_rad(start: PointPx, end: PointPx, values: Floats, size: PictureSize) -> float:
    (x0, y0), (x1, y1) = plane_from_picture(values, np.array([start, end]), size)
    return math.atan2(y1 - y0, x1 - x0)


def _rectangle(observations: Sequence[Observation]) -> Corners | None:
    """Give the rectangle that the plan frame belongs to: a person's first, then one with a size, then any."""
    rectangles = [seen for seen in observations if isinstance(seen, Corners)]
    return min(rectangles, key=lambda corners: (corners.label == FOUND_BORDER, corners.width_mm is None), default=None)
