"""Outlines that share ink with a neighbour: ribs nested on a datum, whose undersides run into one line."""

import heapq
import math
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from digitize.continuation import STRAIGHT_ON_RAD, THIN_LINE, LineGraph, Side
from digitize.faces import Walk
from digitize.link_sizes import link_lengths_px
from digitize.pens import usual_width_px

BACK_RAD = math.radians(40)
"""Where a line ends on another, the two are the sides of a tip when they open by less than this."""

LEAVE_RAD = math.radians(20)
"""A line is left for one that it runs into as unwillingly as it is bent by this much."""

MERGE_RAD = math.radians(55)
"""A line runs into ink that it shares with others at up to this: a nose's underside bends until there, and the last
line width of its way is not seen. There it may turn onto a line that runs on, which is no more one line than
itself."""

RUNS_ON = 2.0
"""... but so much more unwillingly, in LEAVE_RAD."""

LEAST_WIDTHS = 12.0
"""A line that runs free for less than this, in line widths, shows no outline of its own."""

RING_WIDTHS = 2.0
"""A line within merged ink wanders by as much as this, in line widths."""

OWN_SHARE = 0.4
"""An outline has at least this much of its length to itself: its whole far side and its nose. What has less is made
of its neighbours' lines, closed by a datum between their tips."""

SLACK_WIDTHS = 1.0
"""Bends smaller than this, in line widths, are noise and the steps of merged ink, not the line's."""


def sharing_strokes(graph: LineGraph, block: list[int], walls: set[int]) -> list[Walk]:
    """Closed walks through lines that no closed stroke has, each sharing lines with others where they run together.

    Such a walk carries on wherever its line does. Where its line runs into another at a shallow angle and ends, it
    goes on along that one; where it ends on another as one side of a tip, it turns back along it, once. It never
    turns from one line that runs on to another. Of all such walks through a line, the one that bends least in all is
    the line's own: an outline goes round once, while one made of two neighbours turns about at both its ends.

    Parameters
    ----------
    graph : LineGraph
    block : list of int
        Links of one block.
    walls : set of int
        Links of it that outlines run along already.
    """
    ways = _ways(graph, block)
    free = [link for link in block if link not in walls]
    long_px = link_lengths_px(graph.strokes)
    free.sort(key=lambda link: -long_px[link])
    seen = set(walls)
    found: list[Walk] = []
    for link in free:
        line = graph.strokes.links[link]
        if link in seen or long_px[link] < LEAST_WIDTHS * line.width_px:
            continue
        walk = _least_bent(ways, 2 * link)
        if walk is None or len({graph.place_of(side) for side in walk}) < len(walk):
            continue
        lengths = {side >> 1: long_px[side >> 1] for side in walk}
        if sum(lengths[link] for link in lengths.keys() - seen) < OWN_SHARE * sum(lengths.values()):
            continue
        if sum(way.is_back for way in _steps(ways, walk)) > 1:
            continue
        seen.update(lengths)
        found.append(walk)
    return found


@dataclass(frozen=True, slots=True)
class _Way:
    """A side that may follow and how much it and its link bend.

    `is_back` tells that it turns back at a tip, and `is_tip` that it does so from a line that runs on or onto one.
    """

    side: Side
    bend_rad: float
    is_back: bool
    is_tip: bool


def _ways(graph: LineGraph, block: list[int]) -> dict[Side, list[_Way]]:
    """For each side at which a link is entered, the sides that may follow at the link's other end."""
    at: dict[int, list[Side]] = {}
    leaving: dict[Side, float] = {}
    bends: dict[int, float] = {}
    for link in block:
        line = graph.strokes.links[link]
        plain = shapely.get_coordinates(
            shapely.simplify(shapely.LineString(line.points_px), SLACK_WIDTHS * line.width_px)
        )
        steps = np.diff(plain, axis=0)
        headings = np.arctan2(steps[:, 1], steps[:, 0])
        bends[link] = float(np.abs((np.diff(headings) + math.pi) % (2 * math.pi) - math.pi).sum())
        for side, own in ((2 * link, headings[0]), (2 * link + 1, headings[-1] + math.pi)):
            at.setdefault(graph.place_of(side), []).append(side)
            leaving[side] = float(own if np.isnan(graph.leaving_rad[side]) else graph.leaving_rad[side])
    turn = {
        (end, after): abs((leaving[end] - leaving[after]) % (2 * math.pi) - math.pi)
        for sides in at.values()
        for end in sides
        for after in sides
    }
    firm = {
        side: (mate := int(graph.mate[side])) >= 0 and turn.get((side, mate), math.inf) <= STRAIGHT_ON_RAD
        for side in leaving
    }
    merged = _merged(graph, block)
    ways: dict[Side, list[_Way]] = {}
    for sides in at.values():
        for end in sides:
            ways[end ^ 1] = []
            for after in sides:
                is_own, is_back = graph.mate[end] == after, math.pi - turn[end, after] < BACK_RAD
                into = merged[end >> 1] != merged[after >> 1]
                may = is_back or turn[end, after] <= (MERGE_RAD if into else STRAIGHT_ON_RAD)
                may = may and (into or not (firm[end] and firm[after]))
                if after != end and (is_own or may):
                    unwilling = 0.0 if is_own else LEAVE_RAD * (1 + RUNS_ON * (firm[end] and firm[after]))
                    bend = turn[end, after] + bends[after >> 1] + unwilling
                    ways[end ^ 1].append(_Way(after, bend, is_back, is_back and not is_own))
    return ways


def _merged(graph: LineGraph, block: list[int]) -> dict[int, bool]:
    """Which links are the ink of several lines: wider than the block's usual one by as much as two pens differ."""
    widths_px = np.array([graph.strokes.links[link].width_px for link in block])
    usual_px = usual_width_px(widths_px, np.array([link_lengths_px(graph.strokes)[link] for link in block]))
    return dict(zip(block, (THIN_LINE * widths_px > usual_px).tolist(), strict=True))


def _steps(ways: dict[Side, list[_Way]], walk: Walk) -> list[_Way]:
    """The ways a walk takes from each side to the next."""
    return [
        next(way for way in ways[side] if way.side == after)
        for side, after in zip(walk, walk[1:] + walk[:1], strict=True)
    ]


def ring_bend_rad(ring_px: NDArray[np.float64], width_px: float) -> float:
    """How much a closed line bends in all, bends within two line widths left out: a full turn where it bends one way.

    Parameters
    ----------
    ring_px : (N, 2) float
        Its points, the first not repeated.
    width_px : float
    """
    first = int(np.argmax(((ring_px - ring_px.mean(axis=0)) ** 2).sum(axis=1)))
    ring = shapely.LineString(np.vstack([np.roll(ring_px, -first, axis=0), ring_px[first]]))
    plain = shapely.get_coordinates(shapely.simplify(ring, RING_WIDTHS * width_px, preserve_topology=False))[:-1]
    steps = np.roll(plain, -1, axis=0) - plain
    headings = np.arctan2(steps[:, 1], steps[:, 0])
    turns = (np.roll(headings, -1) - headings + math.pi) % (2 * math.pi) - math.pi
    return float(np.abs(turns).sum())


def _least_bent(ways: dict[Side, list[_Way]], first: Side) -> Walk | None:
    """The closed walk of least bend that enters a link by the given side, with one tip on a line (Dijkstra 1959)."""
    state = (first, False)
    best = {state: 0.0}
    came: dict[tuple[Side, bool], tuple[Side, bool]] = {}
    queue = [(0.0, first, False)]
    while queue:
        bend, side, tipped = heapq.heappop(queue)
        if came and side == first:
            break
        for way in ways.get(side, ()) if bend <= best[side, tipped] else ():
            # Coming back to the first is never better than having begun there: it is the end.
            state = (way.side, tipped or way.is_tip)
            known = best.get(state, math.inf) if way.side != first or state in came else math.inf
            if bend + way.bend_rad < known and not (tipped and way.is_tip):
                best[state], came[state] = bend + way.bend_rad, (side, tipped)
                heapq.heappush(queue, (bend + way.bend_rad, *state))
    else:
        return None
    walk: list[Side] = []
    at = (side, tipped)
    while not walk or at[0] != first:
        at = came[at]
        walk.append(at[0])
    return tuple(reversed(walk))
