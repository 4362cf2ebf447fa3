"""Which parts closed along a centre line may be openings in a half that is not closed itself.

Where a line of a half is lost, the opening in it that ends on the same centre line is closed all the same, and nothing
around it tells that it is one but the half's own ends: they stop on the line before the opening and after it.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from digitize.continuation import LineGraph, Side, points_from
from digitize.dashed_lines import is_straight
from digitize.dashes_in_line import ENDS_WIDTHS
from digitize.faces import Walk
from digitize.link_sizes import link_lengths_px
from digitize.loop import Loop, Role

Floats = NDArray[np.float64]

IN_DOUBT = 0.6
"""Confidence, at most, of what may be an opening: the same as that of a half with an opening that may be a part."""

LONE = (
    "closed along its centre line between the ends of a line around it that is not closed: it may be an opening there"
)


def said_if_lone_openings(loops: Sequence[Loop], graph: LineGraph, lettering: NDArray[np.bool_]) -> list[Loop]:
    """Give the loops, parts in doubt that may be openings in a half that was not found.

    Such a part has a straight stretch of a line that runs on past it at both its ends. The next lines that stop on that
    line on the part's side, before and after it and no farther off than the stretch is long, hang together, and are of
    no other part.

    Parameters
    ----------
    loops : sequence of Loop
    graph : LineGraph
    lettering : (L,) array of bool
        Links that are lettering: nothing hangs together by them.
    """
    parts = [loop for loop in loops if loop.role is Role.PART]
    done = []
    for loop in loops:
        edge = _edge(graph, loop) if loop.role is Role.PART and loop.confidence > IN_DOUBT else ()
        around = _around(graph, loop, edge) if edge else ()
        others = {link for part in parts if part is not loop for link in part.links}
        if around and others.isdisjoint(around) and _hang_together(graph, around, edge, lettering):
            done.append(replace(loop, confidence=IN_DOUBT, why=LONE))
        else:
            done.append(loop)
    return done


def _edge(graph: LineGraph, loop: Loop) -> Walk:
    """The sides of a loop that lie on a straight line which runs on past them at both ends, nothing where none do."""

    def runs_on(side: Side) -> bool:
        mate = int(graph.mate[side])
        return mate >= 0 and mate >> 1 not in loop.links

    count = len(loop.walk)
    for first in range(count):
        for long in range(1, count) if runs_on(loop.walk[first]) else ():
            sides = tuple(loop.walk[at % count] for at in range(first, first + long))
            if not is_straight(_points(graph, sides), graph.strokes.links[sides[0] >> 1].width_px):
                break
            if runs_on(sides[-1] ^ 1):
                return sides
    return ()


def _around(graph: LineGraph, loop: Loop, edge: Walk) -> tuple[int, ...]:
    """The links that stop on a loop's line next before its edge and next after it, on its side; nothing where one is
    missing."""
    points = _points(graph, edge)
    along = points[-1] - points[0]
    long_px = float(np.hypot(*along))
    square = np.array([-along[1], along[0]]) / max(long_px, 1e-9)
    inward = float(np.sign((loop.points_px.mean(axis=0) - points[0]) @ square))
    lengths_px = link_lengths_px(graph.strokes)
    at = graph.sides_at(np.flatnonzero(graph.live).tolist())
    found = []
    for end in (edge[0], edge[-1] ^ 1):
        side, gone_px = int(graph.mate[end]), 0.0
        while side >= 0 and gone_px <= long_px:
            gone_px += lengths_px[side >> 1]
            far = side ^ 1
            stops = []
            for other in at[graph.place_of(far)]:
                link = graph.strokes.links[other >> 1]
                off = inward * (points_from(graph.strokes, other) - points[0]) @ square
                if other != far and np.max(off) > ENDS_WIDTHS * link.width_px:
                    stops.append(other >> 1)
            if stops:
                found.append(stops[0])
                break
            side = int(graph.mate[far])
    return tuple(found) if len(found) == 2 else ()


def _hang_together(graph: LineGraph, around: tuple[int, ...], edge: Walk, lettering: NDArray[np.bool_]) -> bool:
    """Whether two links hang together by others than those that lie on the line of an edge."""
    links = graph.strokes.links
    points = _points(graph, edge)
    along = (points[-1] - points[0]) / np.hypot(*(points[-1] - points[0]))
    square = np.array([-along[1], along[0]])
    ends = np.array([(link.start, link.end) for link in links], dtype=np.int64)
    some_px = [link.points_px[[0, len(link.points_px) // 2, -1]] for link in links]
    off_px = np.abs((np.array(some_px) - points[0]) @ square).max(axis=1)
    beside = ~lettering & (off_px > ENDS_WIDTHS * np.array([link.width_px for link in links]))
    some = graph.places[ends[beside]]
    count = len(graph.places)
    joined = coo_array((np.ones(len(some)), some.T), shape=(count, count))
    piece = connected_components(joined, directed=False)[1]
    one, other = (piece[graph.places[links[link].start]] for link in around)
    return bool(one == other)


def _points(graph: LineGraph, sides: Walk) -> Floats:
    return np.concatenate([points_from(graph.strokes, side) for side in sides])
