"""How a line runs where it ends: its place, its direction and its bend, told from its last stretch."""

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from digitize.facing_ends import Side, towards
from digitize.strokes import Strokes

Floats: TypeAlias = NDArray[np.float64]

SEEN_WIDTHS = 10.0
"""A line's direction and bend at its end are those of its last so many line widths."""

SPOILT_WIDTHS = 0.5
"""Within this of its end, in line widths, a line is pulled aside by how its ink broke off."""

LEAST_POINTS = 6
"""Fewer points show no bend."""

SHORT_WIDTHS = 2.0
"""What is left of a line that is shorter than this, in line widths, hardly shows a direction."""


@dataclass(frozen=True, slots=True)
class LineEnd:
    """A line's free end, picture px: its place, the unit direction it points in, its bend, the line's width, and
    whether so little is left of it that its direction is a rough one.

    The bend is in 1/px, positive where the line turns from x towards y.
    """

    side: Side
    at_px: Floats
    way: Floats
    bend_per_px: float
    width_px: float
    is_short: bool = False


def line_ends(strokes: Strokes, sides: list[Side]) -> list[LineEnd]:
    """Give how lines run at their free ends."""
    return [_end(strokes, side) for side in sides]


def _end(strokes: Strokes, side: Side) -> LineEnd:
    link = strokes.links[side >> 1]
    points = towards(link, side)[::-1][: max(3, int(SEEN_WIDTHS * link.width_px))]
    at = points[0]
    spoilt = min(int(SPOILT_WIDTHS * link.width_px), max(len(points) - LEAST_POINTS, 0))
    shown = points[spoilt:]
    short = float(np.hypot(*np.ptp(points, axis=0))) < SHORT_WIDTHS * link.width_px
    axis = shown[0] - shown[-1]
    axis = axis / max(float(np.hypot(*axis)), 1e-9)
    away = shown - at
    x, y = away @ axis, away[:, 1] * axis[0] - away[:, 0] * axis[1]
    if len(shown) < LEAST_POINTS:
        return LineEnd(side, at, axis, 0.0, link.width_px, short)
    square, slope, level = np.polyfit(x, y, 2)
    normal = np.array([-axis[1], axis[0]])
    way = axis + slope * normal
    way = way / float(np.hypot(*way))
    bend = float(2 * square / (1 + slope**2) ** 1.5)
    return LineEnd(side, at + level * normal, way, bend, link.width_px, short)
