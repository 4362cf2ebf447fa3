"""Where the straight lines of a rectangle's sides meet: what a corner's own mark is checked by.

A corner that is left out as wrong is still held by its sides where these were measured. Without that, the one wrong
length near a corner and that corner explain each other's misfit, and nothing tells which is wrong.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

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

AT_ITS_END = 3.0
"""What a parabola leaves of a line, rms, is so many times larger at its end (2.6 for a cubic, in closed form)."""


def off_its_sides(corners: Corners, observations: Sequence[Observation]) -> int | None:
    """Give the one corner that does not lie where its sides meet, while the three others do; None otherwise."""
    off: list[int] = []
    for corner, mark in enumerate(corners.points_px):
        met = _met(corners, corner, observations)
        if met is None:
            return None
        place, left_px = met
        # Sides of paper that lies in waves are no parabolas: where they meet is that much less sure.
        if math.dist(place, mark) > OFF_SIGMAS * math.hypot(corners.sigma_px, SETTLED_SIGMA_PX, AT_ITS_END * left_px):
            off.append(corner)
    return off[0] if len(off) == 1 else None


def corner_by_sides(corners: Corners, corner: int, observations: Sequence[Observation]) -> PointPx | None:
    """Give where the two straight lines that end nearest to a corner meet, px; None where no two do."""
    met = _met(corners, corner, observations)
    return None if met is None else met[0]


def _met(corners: Corners, corner: int, observations: Sequence[Observation]) -> tuple[PointPx, float] | None:
    """Give where two sides meet, and what their parabolas leave of them, rms px."""
    place = np.array(corners.points_px[corner])
    ending = sorted(
        (away, n)
        for n, seen in enumerate(observations)
        if isinstance(seen, StraightLine) and (away := _away_part(seen, place)) < BEYOND_PART
    )
    lines = [seen for _, n in ending if isinstance(seen := observations[n], StraightLine)]
    bows = [_Bow.of(line) for line in lines]
    for line, bow in zip(lines[1:], bows[1:], strict=True):
        met = _crossing(bows[0], bow, place)
        if met is not None and max(_away_part(one, met) for one in (lines[0], line)) < BEYOND_PART:
            return (float(met[0]), float(met[1])), max(bows[0].left_px, bow.left_px)
    return None


def _away_part(line: StraightLine, place: Floats) -> float:
    """Give how far the line's nearer end is, as part of its length."""
    start, end = line.points_px[0], line.points_px[-1]
    length = max(math.dist(start, end), 1e-9)
    return min(math.dist(start, place), math.dist(end, place)) / length


@dataclass(frozen=True, slots=True)
class _Bow:
    """The parabola through a line's points: about its middle, along and across, in half lengths; px.

    `left_px` is what it leaves of them, rms.
    """

    middle: Floats
    along: Floats
    half_px: float
    bow: Floats
    left_px: float

    @classmethod
    def of(cls, line: StraightLine) -> "_Bow":
        points = np.asarray(line.points_px, dtype=np.float64)
        half = (points[-1] - points[0]) / 2
        half_px = math.hypot(*half)
        along = half / half_px
        middle = (points[0] + points[-1]) / 2
        off = (points - middle) / half_px
        t, aside = off @ along, off @ _turned(along)
        bow = polynomial.polyfit(t, aside, 2)
        left_px = half_px * float(np.sqrt(np.mean((aside - polynomial.polyval(t, bow)) ** 2)))
        return cls(middle, along, half_px, bow, left_px)

    def at(self, place: Floats) -> tuple[Floats, Floats]:
        """Give the parabola's place beside a point, and its direction there (unit)."""
        across = _turned(self.along)
        t = float((place - self.middle) @ self.along) / self.half_px
        direction = self.along + polynomial.polyval(t, polynomial.polyder(self.bow)) * across
        where = self.middle + self.half_px * (t * self.along + polynomial.polyval(t, self.bow) * across)
        return np.asarray(where), np.asarray(direction / math.hypot(*direction))


def _crossing(first: _Bow, second: _Bow, near: Floats) -> Floats | None:
    """Give where two parabolas cross, from a place near it."""
    point = near
    for _ in range(ROUNDS):
        a, along_a = first.at(point)
        b, along_b = second.at(point)
        sine = along_a[0] * along_b[1] - along_a[1] * along_b[0]
        if abs(sine) < LEAST_SINE:
            return None
        off = b - a
        point = a + (off[0] * along_b[1] - off[1] * along_b[0]) / sine * along_a
    return point


def _turned(along: Floats) -> Floats:
    return np.array([-along[1], along[0]])
