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
    if not sides:
        return []
    links = [strokes.links[side >> 1] for side in sides]
    widths_px = np.array([link.width_px for link in links])
    seen = [
        towards(link, side)[::-1][: max(3, int(SEEN_WIDTHS * link.width_px))]
        for link, side in zip(links, sides, strict=True)
    ]
    count = np.array([len(points) for points in seen])
    points, first = np.concatenate(seen), np.cumsum(count) - count
    reach = np.maximum.reduceat(points, first) - np.minimum.reduceat(points, first)
    short = np.hypot(reach[:, 0], reach[:, 1]) < SHORT_WIDTHS * widths_px
    spoilt = np.minimum((SPOILT_WIDTHS * widths_px).astype(np.int64), np.maximum(count - LEAST_POINTS, 0))
    places = points[first]
    axes = points[first + spoilt] - points[first + count - 1]
    axes = axes / np.maximum(np.hypot(axes[:, 0], axes[:, 1]), 1e-9)[:, None]
    of = np.repeat(np.arange(len(sides)), count)
    clean = np.arange(len(points)) >= (first + spoilt)[of]
    of, away = of[clean], (points - places[of])[clean]
    x = (away * axes[of]).sum(axis=1)
    y = away[:, 1] * axes[of, 0] - away[:, 0] * axes[of, 1]
    bows, slopes, levels = _parabolas(x, y, count - spoilt)
    plain = count - spoilt < LEAST_POINTS
    bows[plain] = slopes[plain] = levels[plain] = 0.0
    normals = np.column_stack([-axes[:, 1], axes[:, 0]])
    ways = (axes + slopes[:, None] * normals) / np.hypot(1.0, slopes)[:, None]
    bends = 2 * bows / (1 + slopes**2) ** 1.5
    places = places + levels[:, None] * normals
    return [
        LineEnd(*one)
        for one in zip(sides, places, ways, bends.tolist(), widths_px.tolist(), short.tolist(), strict=True)
    ]


def _parabolas(x: Floats, y: Floats, count: NDArray[np.int64]) -> tuple[Floats, Floats, Floats]:
    """The bow, slope and level at x = 0 of the parabolas through runs of so many points, by least squares."""
    first = np.cumsum(count) - count

    def mean(values: Floats) -> Floats:
        means: Floats = np.add.reduceat(values, first) / count
        return means

    middle = mean(x)
    u = x - np.repeat(middle, count)
    # Powers of x about their middle, each freed of the lower ones: what is fitted of one leaves the others alone.
    spread = np.maximum(mean(u * u), 1e-9)
    skew = mean(u**3) / spread
    square = u * u - np.repeat(spread, count) - np.repeat(skew, count) * u
    bow = mean(square * y) / np.maximum(mean(square * square), 1e-9)
    slope = mean(u * y) / spread
    return (
        bow,
        slope - bow * (2 * middle + skew),
        mean(y) - slope * middle + bow * (middle * (middle + skew) - spread),
    )
