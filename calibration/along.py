"""Lengths known along a direction only: from a line to the farthest point of a curved tip, say half a span.

Such a length ends at the foot, on the line through its first mark in that direction, of the perpendicular from its
second. Where the foot lies depends on the map, and the map on the length: each is found from the other in turn.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from calibration.calibration import Calibration
from calibration.observations import CalibrationError, CheckLength, KnownDistance, Observation
from calibration.plane_map import Floats, PictureSize, picture_from_plane, plane_from_picture

SETTLED_PX = 1e-3
"""Feet that move by less are where they belong: a hundredth of what ink tells."""

ROUNDS = 12
"""Each brings a foot nearer by the part of its length that it was off by; three or four do."""

LEAST_LINE_PX = 1.0
"""Two marks nearer than a px tell no direction."""

LEAST_PART = 0.2
"""A second mark nearer to the foot of its own line than this part of its distance says more aside than along."""

Fit = Callable[[Sequence[Observation]], Calibration]
Map = Callable[[Floats], Floats]


def fitted_along(observations: Sequence[Observation], fit: Fit, *, start: Floats, size: PictureSize) -> Calibration:
    """Fit to observations of which some are known along a direction; `fit` takes those between two places only.

    `start` are parameters of a map that tells how the camera leaned, of whatever scale.

    Raises
    ------
    CalibrationError
        For a direction of no length, a second mark that lies aside of it, feet that do not come to rest, and all that
        `fit` refuses.
    """

    def to_plane(points_px: Floats) -> Floats:
        return plane_from_picture(start, points_px, size)

    def from_plane(points_mm: Floats) -> Floats:
        return picture_from_plane(start, points_mm, size)

    placed = [_with_foot(seen, to_plane, from_plane) for seen in observations]
    for _ in range(ROUNDS):
        calibration = fit(placed)
        before = placed
        placed = [_with_foot(seen, calibration.to_plan, calibration.to_picture) for seen in observations]
        if max(map(_moved_px, before, placed)) < SETTLED_PX:
            return calibration
    named = next(seen for seen in observations if isinstance(seen, KnownDistance | CheckLength) and seen.along_px)
    raise CalibrationError(
        f"Where {named.label} ends along its line comes out otherwise each time it is worked out, so no scale follows; "
        "mark four corners of a rectangle, or give a length between two marks as well."
    )


def known_along(seen: Observation) -> bool:
    """Whether only the part of it along a direction is known."""
    return isinstance(seen, KnownDistance | CheckLength) and seen.along_px is not None


def _with_foot(seen: Observation, to_plan: Map, to_picture: Map) -> Observation:
    """Give a length that ends at the foot, its give widened by what the direction's own marks leave open."""
    if not isinstance(seen, KnownDistance | CheckLength) or seen.along_px is None:
        return seen
    first, second = seen.along_px
    if math.dist(first, second) < LEAST_LINE_PX:
        raise CalibrationError(
            f"The line that {seen.label} is measured along has both ends at ({first[0]:g}, {first[1]:g}) px; it needs "
            "two places: mark its other end."
        )
    start, end, low, high = to_plan(np.array([seen.start_px, seen.end_px, first, second], dtype=np.float64))
    reach = math.dist(low, high)
    along = (high - low) / reach
    ahead = float((end - start) @ along)
    aside = float(np.hypot(*(end - start - ahead * along)))
    if abs(ahead) < LEAST_PART * aside:
        raise CalibrationError(
            f"{seen.label.capitalize()} is measured along a line that its two marks lie across; the second mark must "
            "lie farther along it than aside of it: mark a line that runs the way the length does."
        )
    foot_px = to_picture((start + ahead * along)[None])[0]
    turn_rad = math.sqrt(2) * seen.sigma_px / math.dist(first, second)
    by_turn_mm = seen.length_mm * aside / abs(ahead) * turn_rad
    # A give is the half width of a rectangular distribution, of which one sigma is a root of three less.
    give_mm = math.hypot(seen.give_mm, math.sqrt(3) * by_turn_mm)
    return replace(seen, end_px=(float(foot_px[0]), float(foot_px[1])), give_mm=give_mm, along_px=None)


def _moved_px(before: Observation, after: Observation) -> float:
    if isinstance(before, KnownDistance | CheckLength) and isinstance(after, KnownDistance | CheckLength):
        return math.dist(before.end_px, after.end_px)
    return 0.0
