"""Which closed walks bound the faces of a drawn figure, and which its outside."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from digitize.continuation import LineGraph, Side, points_from

Walk = tuple[Side, ...]
"""A closed walk: the side at which each link is entered, in order."""


@dataclass(frozen=True, slots=True)
class Faces:
    """The walks of one block: `inner` bound its faces, `outer` bounds it from outside (the same way round)."""

    inner: tuple[Walk, ...]
    outer: Walk


def faces(graph: LineGraph, block: list[int]) -> Faces:
    """Walk around every face of a block, turning as far as possible to one side at each place.

    All inner walks run one way round (positive area in the picture frame, y down); `outer` is
    given the same way round. Lines that bound no area (a crossing's remains) give an empty `outer` and no faces.
    """
    if len(block) == 1:
        walk: Walk = (2 * block[0],)
        walk = walk if area_px2(walk_points(graph, walk)) > 0 else reversed_walk(walk)
        return Faces((walk,), walk)
    at = graph.sides_at(block)
    for look_widths in LOOKS_WIDTHS:
        after = _order(graph, at, look_widths)
        walks = _walks(after)
        # Euler: a flat figure in one piece has so many faces, its outside included. Noise can change the order of
        # lines that leave a sharp tip almost together; farther out they lie apart.
        if len(walks) == len(block) - len(at) + 2:
            break
    else:
        walks = _flattened(after, at, len(block) - len(at) + 2) or walks
    inner: list[Walk] = []
    outer: Walk = ()
    outer_area_px2 = 0.0
    for walk in walks:
        area = area_px2(walk_points(graph, walk))
        if area < outer_area_px2:
            if outer:
                inner.append(reversed_walk(outer))
            outer, outer_area_px2 = walk, area
        elif area > 0:
            inner.append(walk)
    return Faces(tuple(inner), reversed_walk(outer))


LOOKS_WIDTHS = (2.0, 5.0, 10.0, 20.0)
"""How far out lines are put in order around a place, in line widths, nearest first."""


def _flattened(after: dict[Side, Side], at: dict[int, list[Side]], count: int) -> list[Walk]:
    """The walks of a figure whose lines lie over one another beside a place, so that they are in wrong order all around
    it: with three lines turned round at one such place, where that makes the figure flat; else none."""
    for sides in list(at.values())[:MOST_TRIED]:
        if len(sides) == 3:
            turned = {after[side]: side for side in sides}
            walks = _walks({**after, **turned})
            if len(walks) == count:
                return walks
    return []


MOST_TRIED = 200
"""So many places are tried: a walk around all faces is taken for each."""


def _order(graph: LineGraph, at: dict[int, list[Side]], look_widths: float) -> dict[Side, Side]:
    """For each side at a place the next around it."""
    after: dict[Side, Side] = {}
    for sides in at.values():
        turned = sorted(sides, key=lambda side: _rad(graph, side, look_widths)) if len(sides) > 2 else sides
        after.update(zip(turned, turned[-1:] + turned[:-1], strict=True))
    return after


def _walks(after: dict[Side, Side]) -> list[Walk]:
    """All closed walks that leave each place by the side next to the one they came by."""
    walks: list[Walk] = []
    seen: set[Side] = set()
    for start in after:
        steps: list[Side] = []
        side = start
        while side not in seen:
            seen.add(side)
            steps.append(side)
            side = after[side ^ 1]
        if steps:
            walks.append(tuple(steps))
    return walks


def closed_strokes(graph: LineGraph, block: list[int]) -> list[Walk]:
    """Walks that carry on at every place and come back to their start without visiting a place twice."""
    members = set(block)
    seen: set[int] = set()
    found: list[Walk] = []
    for first in block:
        if first in seen:
            continue
        steps: list[Side] = []
        places: set[int] = set()
        side = 2 * first
        while True:
            seen.add(side >> 1)
            steps.append(side)
            place = graph.place_of(side)
            if place in places:
                break
            places.add(place)
            side = int(graph.mate[side ^ 1])
            if side < 0 or side >> 1 not in members or (side >> 1 in seen and side != 2 * first):
                break
            if side == 2 * first:
                found.append(tuple(steps))
                break
    return found


def walk_points(graph: LineGraph, walk: Walk) -> NDArray[np.float64]:
    """Points along a walk, picture px; each link's last point is left to the next link."""
    return np.concatenate([points_from(graph.strokes, side)[:-1] for side in walk])


def reversed_walk(walk: Walk) -> Walk:
    """The same walk run the other way."""
    return tuple(side ^ 1 for side in reversed(walk))


def area_px2(points_px: NDArray[np.float64]) -> float:
    """Signed area inside a closed polyline (shoelace), picture frame: positive runs clockwise as seen."""
    x, y = points_px[:, 0], points_px[:, 1]
    # `np.roll` takes five times as long.
    next_x, next_y = np.concatenate([x[1:], x[:1]]), np.concatenate([y[1:], y[:1]])
    return float(x @ next_y - y @ next_x) / 2


def _rad(graph: LineGraph, side: Side, look_widths: float) -> float:
    """Direction of a link's point so far out from its place."""
    link = graph.strokes.links[side >> 1]
    points = points_from(graph.strokes, side)
    ahead = points[min(len(points) - 1, max(1, round(look_widths * link.width_px)))]
    centre = graph.centres_px[graph.place_of(side)]
    return math.atan2(ahead[1] - centre[1], ahead[0] - centre[0])
