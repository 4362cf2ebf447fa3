"""Outlines that share ink with a neighbour: ribs nested on a datum, whose undersides run into one line."""

import heapq
import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from digitize.continuation import STRAIGHT_ON_RAD, LineGraph, Side
from digitize.faces import Walk
from digitize.link_sizes import link_lengths_px
from digitize.loop import Role, is_thin, loop_along
from digitize.merged_ink import MergedInk, headings_at_merged_ink, merged_ink

BACK_RAD = math.radians(40)
"""Where a line ends on another, the two are the sides of a tip when they open by less than this."""

LEAVE_RAD = math.radians(20)
"""A line is left for one that it runs into as unwillingly as it is bent by this much."""

MERGE_RAD = math.radians(55)
"""A line runs into ink that it shares with others at up to this: a nose's underside bends until there, and the last
line width of its way is not seen. There it may turn onto a line that runs on, which is no more one line than
itself."""

NOSE_RAD = math.radians(150)
"""Where ink hides how a line bends, it is taken to bend by up to this once, as at a nose: its sides open by more."""

GAP_WIDTHS = 2.0
"""What such a walk goes round is broader than this, in widths of the merged ink: between the noses of nested ribs lie
fields as broad as one."""

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


_TIP, _NOSE, _IN_NOSE = 1, 2, 4
"""What an outline does but once, and whether it is within a nose: ink too short to show how it bends there."""


def sharing_strokes(graph: LineGraph, block: list[int], walls: set[int]) -> list[Walk]:
    """Closed walks through lines that no closed stroke has, each sharing lines with others where they run together.

    Such a walk carries on wherever its line does. Where its line runs into another at a shallow angle and ends, it
    goes on along that one; where it ends on another as one side of a tip, it turns back along it, once. Where its line
    meets long merged ink, it may bend into that as far as a nose does, once. It never turns from one line that runs on
    to another. Of all such walks through a line, the one that bends least in all is the line's own: an outline goes
    round once, while one made of two neighbours turns about at both its ends.

    Parameters
    ----------
    graph : LineGraph
    block : list of int
        Links of one block.
    walls : set of int
        Links of it that outlines run along already.
    """
    at = graph.sides_at(block)
    ways = _ways(graph, block, at)
    free = [link for link in block if link not in walls]
    long_px = link_lengths_px(graph.strokes)
    free.sort(key=lambda link: -long_px[link])
    seen = set(walls)
    found: list[Walk] = []
    for link in free:
        line = graph.strokes.links[link]
        if link in seen or long_px[link] < LEAST_WIDTHS * line.width_px:
            continue
        taken = _least_bent(ways, 2 * link)
        walk = tuple(way.side for way in taken)
        if not walk or len({graph.place_of(side) for side in walk}) < len(walk):
            continue
        lengths = {side >> 1: long_px[side >> 1] for side in walk}
        if sum(lengths[link] for link in lengths.keys() - seen) < OWN_SHARE * sum(lengths.values()):
            continue
        if any(way.spends & _NOSE for way in taken) and _is_gap(graph, walk, at):
            continue
        seen.update(lengths)
        found.append(walk)
    return found


@dataclass(frozen=True, slots=True)
class _Way:
    """A side that may follow and how much it and its link bend.

    `spends` is what an outline does but once: turn back, as at a tip, and bend farther than is seen, as at a nose in
    merged ink.
    """

    side: Side
    bend_rad: float
    spends: int


def _ways(graph: LineGraph, block: list[int], at: Mapping[int, list[Side]]) -> dict[Side, list[_Way]]:
    """For each side at which a link is entered, the sides that may follow at the link's other end."""
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
            leaving[side] = float(own if np.isnan(graph.leaving_rad[side]) else graph.leaving_rad[side])
    merged = merged_ink(graph, block, at)
    leaving |= headings_at_merged_ink(graph, at, merged)
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
    ways: dict[Side, list[_Way]] = {}
    for sides in at.values():
        for end in sides:
            ways[end ^ 1] = []
            for after in sides:
                is_own, is_back = graph.mate[end] == after, math.pi - turn[end, after] < BACK_RAD
                own, other = end >> 1, after >> 1
                into = (own in merged.wide) != (other in merged.wide)
                is_along = turn[end, after] <= (MERGE_RAD if into else STRAIGHT_ON_RAD)
                is_nose = not is_along and turn[end, after] <= NOSE_RAD and _is_unseen(merged, own, other)
                may = (is_back or is_nose or is_along) and (into or not (firm[end] and firm[after]))
                if after == end or not (is_own or may):
                    continue
                unwilling = 0.0 if is_own else LEAVE_RAD * (1 + RUNS_ON * (firm[end] and firm[after]))
                bend = turn[end, after] + bends[after >> 1] + unwilling
                if not is_nose or is_back or is_own:
                    ways[end ^ 1].append(_Way(after, bend, _TIP * is_back))
                if is_nose and not is_own:
                    nose = _NOSE + _IN_NOSE * (after >> 1 in merged.short)
                    ways[end ^ 1].append(_Way(after, bend, nose))
    return ways


def _is_unseen(merged: MergedInk, own: int, other: int) -> bool:
    """Whether ink hides how a line bends from one link to another: one is merged ink and the other not, or a piece too
    short to show it."""
    return not merged.short.isdisjoint((own, other)) or (own in merged.long) != (other in merged.long)


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


def _least_bent(ways: dict[Side, list[_Way]], first: Side) -> list[_Way]:
    """The closed walk of least bend that enters a link by the given side, with one tip and one nose (Dijkstra 1959).

    Returns
    -------
    list of _Way
        That by which `first` is entered comes first. Empty where there is no such walk.
    """
    state = (first, 0)
    best = {state: 0.0}
    came: dict[tuple[Side, int], tuple[tuple[Side, int], _Way]] = {}
    queue = [(0.0, first, 0)]
    while queue:
        bend, side, spent = heapq.heappop(queue)
        if came and side == first:
            break
        for way in ways.get(side, ()) if bend <= best[side, spent] else ():
            # Coming back to the first is never better than having begun there: it is the end.
            state = (way.side, _spent(spent, way.spends))
            known = best.get(state, math.inf) if way.side != first or state in came else math.inf
            if bend + way.bend_rad < known and _has_left(spent, way.spends):
                best[state], came[state] = bend + way.bend_rad, ((side, spent), way)
                heapq.heappush(queue, (bend + way.bend_rad, *state))
    else:
        return []
    taken: list[_Way] = []
    at = (side, spent)
    while not taken or at[0] != first:
        at, way = came[at]
        taken.append(way)
    return [taken[0], *reversed(taken[1:])]


def _has_left(spent: int, spends: int) -> bool:
    """Whether a walk has not yet done what it does but once; a nose begun may bend at its other end too."""
    done = spent & ~_NOSE if spent & _IN_NOSE else spent
    return not done & spends & (_TIP | _NOSE)


def _spent(spent: int, spends: int) -> int:
    both = spent | spends
    return both & ~_IN_NOSE if spent & _IN_NOSE or not spends & _IN_NOSE else both


def _is_gap(graph: LineGraph, walk: Walk, at: Mapping[int, list[Side]]) -> bool:
    """Whether a walk goes round a gap beside merged ink, hardly broader than that."""
    widest_px = max(graph.strokes.links[side >> 1].width_px for one in walk for side in at[graph.place_of(one)])
    return is_thin(loop_along(graph, walk, Role.PART, 0.0, ""), widest_px, least_widths=GAP_WIDTHS)
