"""Where the straight lines of a rectangle's sides meet: what a corner's own mark is checked by.

A corner that is left out as wrong is still held by its sides where these were measured. Without that, the one wrong
length near a corner and that corner explain each other's misfit, and nothing tells which is wrong.
"""

import math
from collections.abc import Sequence

import numpy as np
from numpy.polynomial import polynomial

from calibration.observations import SETTLED_SIGMA_PX, Corners, Observation, PointPx, StraightLine
from calibration.plane_map import Floats

BEYOND_PART = 0.1
"""A line may end before the corner by this part of itself: further a curve through its points is a guess."""

LEAST_SINE = 0.5
"""Sine of the sharpest crossing (30 degrees): flatter ones move far along when a line moves across."""

ROUNDS = 4
"""Tangents are crossed so often; on the gentlest of curves two do."""


OFF_SIGMAS = 8.0
"""A mark further from where its sides meet is not theirs, or wrong; by chance some come to five where a side sags."""


def off_its_sides(corners: Corners, observations: Sequence[Observation]) -> int | None:
    """Give the one corner that does not lie where its sides meet, while the three others do; None otherwise."""
    off: list[int] = []
    for corner, mark in enumerate(corners.points_px):
        met = corner_by_sides(corners, corner, observations)
        if met is None:
            return None
        if math.dist(met, mark) > OFF_SIGMAS * math.hypot(corners.sigma_px, SETTLED_SIGMA_PX):
            off.append(corner)
    return off[0] if len(off) == 1 else None


def corner_by_sides(corners: Corners, corner: int, observations: Sequence[Observation]) -> PointPx | None:
    """Give where the two straight lines that end nearest to a corner meet, px; None where no two do."""
    place = np.array(corners.points_px[corner])
    ending = sorted(
        (away, n)
        for n, seen in enumerate(observations)
        if isinstance(seen, StraightLine) and (away := _away_part(seen, place)) < BEYOND_PART
    )
    lines = [seen for _, n in ending if isinstance(seen := observations[n], StraightLine)]
    for other in lines[1:]:
        met = _crossing(lines[0], other, place)
        if met is not None and max(_away_part(line, met) for line in (lines[0], other)) < BEYOND_PART:
            return float(met[0]), float(met[1])
    return None


def _away_part(line: StraightLine, place: Floats) -> float:
    """Give how far the line's nearer end is, as part of its length."""
    start, end = line.points_px[0], line.points_px[-1]
    length = max(math.dist(start, end), 1e-9)
    return min(math.dist(start, place), math.dist(end, place)) / length


def _crossing(first: StraightLine, second: StraightLine, near: Floats) -> Floats | None:
    """Give where the parabolas through two lines' points cross, from a place near it."""
    point = near
    for _ in range(ROUNDS):
        a, along_a = _at(first, point)
        b, along_b = _at(second, point)
        sine = along_a[0] * along_b[1] - along_a[1] * along_b[0]
        if abs(sine) < LEAST_SINE:
            return None
        off = b - a
        point = a + (off[0] * along_b[1] - off[1] * along_b[0]) / sine * along_a
    return point


def _at(line: StraightLine, place: Floats) -> tuple[Floats, Floats]:
    """Give the place of a line's parabola beside a point, and its direction there (unit)."""
    points = np.asarray(line.points_px, dtype=np.float64)
    half = (points[-1] - points[0]) / 2
    half_px = math.hypot(*half)
    along = half / half_px
    across = np.array([-along[1], along[0]])
    middle = (points[0] + points[-1]) / 2
    off = (points - middle) / half_px
    bow = polynomial.polyfit(off @ along, off @ across, 2)
    t = float((place - middle) @ along) / half_px
    direction = along + polynomial.polyval(t, polynomial.polyder(bow)) * across
    where = middle + half_px * (t * along + polynomial.polyval(t, bow) * across)
    return np.asarray(where), np.asarray(direction / math.hypot(*direction))
