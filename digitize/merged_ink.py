"""Which lines are the ink of several that run together, and whither lines head that run into such ink."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from digitize.continuation import STRAIGHT_ON_RAD, THIN_LINE, LineGraph, Side, points_from
from digitize.link_sizes import link_lengths_px
from digitize.pens import usual_width_px

CLEAR_PX = 1.0
"""How much farther from merged ink than both half widths a line is seen alone, px: blur darkens the paper between."""

HEADING_WIDTHS = 8.0
"""A line's direction is that of so much of it, in line widths."""

OWN_BAND_WIDTHS = 1.0, 4.0
"""Merged ink's own direction is that of its middle between these distances from its end, in its widths: nearer, the
middle leans to what meets there, and a step of it turns it."""

LONG_WIDTHS = 12.0
"""Merged ink at least so long in all, in line widths, is that of lines that run along each other: where hatching meets
an edge, or lines cross, it is shorter."""

STUB_WIDTHS = 3.0
"""A link that meets merged ink and is no longer than this, in that ink's widths, is the way of thinning into it."""

SHORT_WIDTHS = 4.0
"""Merged ink no longer than this, in its widths, shows no direction of its own."""


@dataclass(frozen=True, slots=True)
class MergedInk:
    """Which links of a block are merged ink: all `wide` ones, and those of long stretches of it.

    `long` holds the latter with the stubs by which other lines lead into them, `short` those of them that are too short
    to show a direction.
    """

    wide: frozenset[int]
    long: frozenset[int]
    short: frozenset[int]


def merged_ink(graph: LineGraph, block: Sequence[int], at: Mapping[int, Sequence[Side]]) -> MergedInk:
    """Tell which links are the ink of several lines: wider than the block's usual one by as much as two pens differ.

    Parameters
    ----------
    graph : LineGraph
    block : sequence of int
    at : mapping
        The block's sides at each place.
    """
    lengths_px = link_lengths_px(graph.strokes)
    widths_px = {link: graph.strokes.links[link].width_px for link in block}
    usual_px = usual_width_px(np.array(list(widths_px.values())), np.array([lengths_px[link] for link in block]))
    wide = {link for link in block if THIN_LINE * widths_px[link] > usual_px}
    long: set[int] = set()
    for piece in _pieces(graph, wide, at):
        # A page that draws its lines as paths tells them apart however they lie.
        inked_px = sum(lengths_px[link] for link in piece if graph.strokes.links[link].blot_px > 0)
        is_long = inked_px >= LONG_WIDTHS * usual_px
        if is_long and any(_goes_on(graph, sides, piece) for sides in at.values()):
            long |= piece
    short = {link for link in long if lengths_px[link] < SHORT_WIDTHS * widths_px[link]}
    for sides in at.values():
        most_px = max((widths_px[side >> 1] for side in sides if side >> 1 in long & wide), default=0.0)
        short |= {side >> 1 for side in sides if lengths_px[side >> 1] < STUB_WIDTHS * most_px}
    return MergedInk(frozenset(wide), frozenset(long | short), frozenset(short))


def _goes_on(graph: LineGraph, sides: Sequence[Side], piece: set[int]) -> bool:
    """Whether a piece of wide ink ends at a place and goes on there as a line that is not.

    An outline drawn with a wider pen than what it bounds is as wide as merged ink, and closes on itself.
    """
    ends = [side for side in sides if side >> 1 in piece]
    if len(ends) != 1:
        return False
    turns = [
        abs((graph.leaving_rad[ends[0]] - graph.leaving_rad[side]) % (2 * math.pi) - math.pi)
        for side in sides
        if side != ends[0]
    ]
    return any(turn <= STRAIGHT_ON_RAD for turn in turns)


def _pieces(graph: LineGraph, links: set[int], at: Mapping[int, Sequence[Side]]) -> list[set[int]]:
    """Links in pieces that hang together."""
    left, pieces = set(links), []
    while left:
        piece, edge = set(), {left.pop()}
        while edge:
            link = edge.pop()
            piece.add(link)
            for side in (2 * link, 2 * link + 1):
                edge |= {other >> 1 for other in at[graph.place_of(side)]} & left
            left -= edge
        pieces.append(piece)
    return pieces


def headings_at_merged_ink(graph: LineGraph, at: Mapping[int, Sequence[Side]], merged: MergedInk) -> dict[Side, float]:
    """Give the directions in which links leave the places where merged ink meets, picture frame, rad.

    Thinning leads a line that runs into other ink at a shallow angle round into its middle, over the last stretch of
    its way. Its direction is taken from where it is first seen alone.

    Parameters
    ----------
    graph : LineGraph
    at : mapping
        The sides at each place.
    merged : MergedInk
    """
    found: dict[Side, float] = {}
    for sides in at.values():
        bands = {side >> 1 for side in sides if side >> 1 in merged.long}
        if not bands:
            continue
        for side in sides:
            link = graph.strokes.links[side >> 1]
            points = points_from(graph.strokes, side)
            if side >> 1 in bands:
                low, high = (round(widths * link.width_px) for widths in OWN_BAND_WIDTHS)
            else:
                low = _first_clear(graph, points, link.width_px, bands)
                high = low + round(HEADING_WIDTHS * link.width_px)
            found[side] = _heading_rad(points, low, high)
    return found


def _first_clear(graph: LineGraph, points_px: NDArray[np.float64], width_px: float, bands: set[int]) -> int:
    """The number of the first point of a line that lies clear of all merged ink; of the last where none does."""
    places = shapely.points(points_px)
    clear = np.ones(len(points_px), np.bool_)
    for band in sorted(bands):
        other = graph.strokes.links[band]
        apart_px = shapely.distance(places, shapely.LineString(other.points_px))
        clear &= apart_px > (other.width_px + width_px) / 2 + CLEAR_PX
    return int(np.argmax(clear)) if clear.any() else len(points_px) - 1


def _heading_rad(points_px: NDArray[np.float64], low: int, high: int) -> float:
    """The direction from one of a line's points to another; its whole chord where it has not as many."""
    high = min(high, len(points_px) - 1)
    x, y = (points_px[high] - points_px[low if low < high - 1 else 0]).tolist()
    return math.atan2(y, x)
