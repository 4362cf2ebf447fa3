"""Ruled lines: straight links, and the straight stretches that links in line make across breaks."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from digitize.continuation import LineGraph, Side

Floats: TypeAlias = NDArray[np.float64]

LEAST_WIDTHS = 4.0
"""A link shorter than this, in line widths, shows no direction."""

BOW_WIDTHS, BOW_SHARE = 0.6, 0.004
"""A ruled line leaves its chord by no more than this, in line widths or parts of its length (a lens bends it)."""

IN_LINE_WIDTHS = 1.2
"""Pieces of one ruled line lie this near to it..."""

IN_LINE_RAD = np.radians(4)
"""... and along it to within this."""

BREAK_WIDTHS = 45.0
"""A dimension line is broken for its figure over no more than this: five figures 3.5 mm high beside a 0.25 mm line."""


@dataclass(frozen=True, slots=True)
class Ruled:
    """A straight link: its two ends, the unit direction from the first to the second, and its width."""

    link: int
    ends_px: Floats
    way: Floats
    width_px: float


@dataclass(frozen=True, slots=True)
class Stretch:
    """Straight links on one line: where it begins and ends, the places there, and the links."""

    links: tuple[int, ...]
    ends_px: Floats
    last_sides: tuple[Side, Side]
    width_px: float
    is_broken: bool
    is_stopped: bool
    """Whether it is stopped at both ends; else it ends in a corner at one or both."""


def ruled_links(graph: LineGraph) -> list[Ruled]:
    """Give the links that are straight."""
    ruled = []
    for link in np.flatnonzero(graph.live).tolist():
        one = graph.strokes.links[link]
        chord = one.points_px[-1] - one.points_px[0]
        long_px = float(np.hypot(*chord))
        if long_px < LEAST_WIDTHS * one.width_px:
            continue
        off = one.points_px - one.points_px[0]
        bow_px = np.abs(off[:, 0] * chord[1] - off[:, 1] * chord[0]).max() / long_px
        if bow_px < max(BOW_WIDTHS * one.width_px, BOW_SHARE * long_px):
            ruled.append(Ruled(link, one.points_px[[0, -1]], chord / long_px, one.width_px))
    return ruled


def stretches(ruled: list[Ruled], ending: dict[Side, Side], corners: dict[Side, Side]) -> Iterable[Stretch]:
    """Straight lines, across breaks, from one side that is stopped to another, or to a corner."""
    middles = np.array([one.ends_px for one in ruled]).reshape(-1, 2, 2).mean(axis=1)
    ways = np.array([one.way for one in ruled])
    for number, one in enumerate(ruled):
        for first in (2 * one.link, 2 * one.link + 1):
            if first not in ending and first not in corners:
                continue
            way = one.way if first % 2 == 0 else -one.way
            start = one.ends_px[first % 2]
            yield from _from(ruled, middles, ways, number, first, start, way, ending, corners)


def _from(
    ruled: list[Ruled],
    middles: Floats,
    ways: Floats,
    number: int,
    first: Side,
    start: Floats,
    way: Floats,
    ending: dict[Side, Side],
    corners: dict[Side, Side],
) -> Iterable[Stretch]:
    one = ruled[number]
    off = middles - start
    aside = np.abs(off[:, 0] * way[1] - off[:, 1] * way[0])
    along = off @ way
    near = aside < IN_LINE_WIDTHS * one.width_px + np.sin(IN_LINE_RAD) / 4 * np.abs(along)
    near &= (np.abs(ways @ way) > np.cos(IN_LINE_RAD)) & (along > 0)
    order = np.flatnonzero(near)[np.argsort(along[near])]
    links: list[int] = []
    reached, axis, is_broken = 0.0, way, False
    for other in order.tolist():
        piece = ruled[other]
        toward = piece.ends_px if piece.way @ way > 0 else piece.ends_px[::-1]
        begin, end = ((toward - start) @ axis).tolist()
        miss = toward - start - ((toward - start) @ axis)[:, None] * axis
        if begin < reached - IN_LINE_WIDTHS * one.width_px or np.hypot(*miss.T).max() > IN_LINE_WIDTHS * one.width_px:
            continue
        if begin > reached + BREAK_WIDTHS * one.width_px:
            return
        is_broken |= begin > reached + IN_LINE_WIDTHS * one.width_px
        links.append(piece.link)
        reached = end
        # The longer the line has become the better its direction is known.
        axis = (toward[1] - start) / max(float(np.hypot(*(toward[1] - start))), 1e-9)
        last = 2 * piece.link + int(piece.way @ way > 0)
        if first < last and (last in ending or last in corners):
            sides = tuple(ending.get(side, corners.get(side, side)) for side in (first, last))
            yield Stretch(
                tuple({*links, sides[0] >> 1, sides[1] >> 1}),
                np.array([start, toward[1]]),
                (sides[0], sides[1]),
                one.width_px,
                is_broken,
                first in ending and last in ending,
            )
