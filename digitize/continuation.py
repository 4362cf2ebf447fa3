"""Which line carries on as which through the places where lines meet."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from digitize.strokes import Strokes

STRAIGHT_ON_RAD = math.radians(38)
"""Largest turn of one line through a junction. Directions near a junction err by some 10°; a brace leaves at 45° or more."""

ONE_PLACE_WIDTHS = 1.5
"""Junctions closer than this, in line widths, are one crossing that thinning took apart."""

MERGED_WIDTHS = 8.0
"""Two lines that cross at a shallow angle run as one for up to about w / sin(7°)."""

SPUR_WIDTHS = 2.5
"""A free end this short, in line widths, is an overshoot or a thorn of thinning: no line."""

Side = int
"""One end of a link: 2 * link for its start, 2 * link + 1 for its end."""


@dataclass(frozen=True, slots=True)
class LineGraph:
    """The strokes' graph with crossings made whole.

    `places` (N,) gives for each node of the strokes the place it belongs to: nodes of one
    crossing share one. `centres_px` (N, 2) is the middle of each place. `live` (L,) tells the links that are lines, not spurs, not insides of
    a crossing, not left out. `mate` (2L,) gives for each side of a link the side that carries on,
    or -1. `leaving_rad` (2L,) is the direction in which a link leaves its place, picture frame.
    """

    strokes: Strokes
    places: NDArray[np.int64]
    centres_px: NDArray[np.float64]
    live: NDArray[np.bool_]
    mate: NDArray[np.int64]
    leaving_rad: NDArray[np.float64]

    def place_of(self, side: Side) -> int:
        """The place a link's side lies at."""
        link = self.strokes.links[side >> 1]
        return int(self.places[link.end if side & 1 else link.start])


def line_graph(strokes: Strokes, leave_out: NDArray[np.bool_]) -> LineGraph:
    """Make crossings whole and pair the links that carry on through each.

    At a crossing the two links with the smallest turn between them are one line, and so on while
    the turn stays under 38°. Two links alone at a place always carry on (a corner). Where one
    line passes straight and just two links are left, those two are one line whatever their
    turn: an outline's corner crossed by a centre line.

    Parameters
    ----------
    strokes : Strokes
    leave_out : (L,) array of bool
        Links to ignore (lettering, border).
    """
    count = len(strokes.links)
    ends = np.array([(link.start, link.end) for link in strokes.links], dtype=np.int64).reshape(-1, 2)
    lengths_px = np.array([length_px(link.points_px) for link in strokes.links])
    widths_px = np.array([link.width_px for link in strokes.links])
    live = ~leave_out
    _drop_spurs(strokes, ends, lengths_px, widths_px, live)
    places = _places(strokes, ends, lengths_px, widths_px, live)
    leaving = np.full(2 * count, np.nan)
    at: dict[int, list[Side]] = {}
    for link in np.flatnonzero(live):
        for side in (0, 1):
            at.setdefault(int(places[ends[link, side]]), []).append(2 * int(link) + side)
    mate = np.full(2 * count, -1, dtype=np.int64)
    for sides in at.values():
        if len(sides) == 2:
            mate[sides[0]], mate[sides[1]] = sides[1], sides[0]
        if len(sides) >= 3:
            for side in sides:
                leaving[side] = _leaving_rad(strokes, side)
            _pair(sides, leaving, mate)
    return LineGraph(strokes, places, _centres_px(strokes, places), live, mate, leaving)


def _centres_px(strokes: Strokes, places: NDArray[np.int64]) -> NDArray[np.float64]:
    count = np.bincount(places, minlength=len(places)).clip(min=1)
    sums = [np.bincount(places, weights=strokes.nodes_px[:, axis], minlength=len(places)) for axis in (0, 1)]
    return np.column_stack(sums) / count[:, None]


def length_px(points_px: NDArray[np.float64]) -> float:
    """Length of a polyline."""
    steps = np.diff(points_px, axis=0)
    return float(np.sqrt((steps * steps).sum(axis=1)).sum())


def points_from(strokes: Strokes, side: Side) -> NDArray[np.float64]:
    """A link's points, picture px, run from the given side."""
    points = strokes.links[side >> 1].points_px
    return points[::-1] if side & 1 else points


def _drop_spurs(
    strokes: Strokes,
    ends: NDArray[np.int64],
    lengths_px: NDArray[np.float64],
    widths_px: NDArray[np.float64],
    live: NDArray[np.bool_],
) -> None:
    """Take short free ends at junctions out of `live`."""
    degree = np.bincount(ends[live].ravel(), minlength=len(strokes.nodes_px))
    free = (degree[ends] == 1).any(axis=1) & (degree[ends] >= 3).any(axis=1)
    live &= ~(free & (lengths_px < SPUR_WIDTHS * widths_px))


def _places(
    strokes: Strokes,
    ends: NDArray[np.int64],
    lengths_px: NDArray[np.float64],
    widths_px: NDArray[np.float64],
    live: NDArray[np.bool_],
) -> NDArray[np.int64]:
    """Join the junctions of one crossing; the links inside it leave `live`."""
    degree = np.bincount(ends[live].ravel(), minlength=len(strokes.nodes_px))
    junction = degree >= 3
    short = live & junction[ends].all(axis=1) & (ends[:, 0] != ends[:, 1])
    inside = short & (lengths_px < ONE_PLACE_WIDTHS * widths_px)
    merged = short & ~inside & (lengths_px < MERGED_WIDTHS * widths_px) & (degree[ends] == 3).all(axis=1)
    at: dict[int, list[Side]] = {}
    if merged.any():
        wanted = set(ends[merged].ravel().tolist())
        for link in np.flatnonzero(live):
            for side in (0, 1):
                if int(ends[link, side]) in wanted:
                    at.setdefault(int(ends[link, side]), []).append(2 * int(link) + side)
    for link in np.flatnonzero(merged):
        inside[link] = all(_splits_ahead(strokes, 2 * int(link) + side, at[int(ends[link, side])]) for side in (0, 1))
    root = list(range(len(strokes.nodes_px)))

    def find(node: int) -> int:
        while root[node] != node:
            root[node] = root[root[node]]
            node = root[node]
        return node

    for link in np.flatnonzero(inside):
        root[find(int(ends[link, 0]))] = find(int(ends[link, 1]))
        live[link] = False
    return np.array([find(node) for node in range(len(root))], dtype=np.int64)


def _splits_ahead(strokes: Strokes, side: Side, here: list[Side]) -> bool:
    """Tell whether a link opens at this side into two that both carry on nearly straight."""
    others = [other for other in here if other >> 1 != side >> 1]
    back = _leaving_rad(strokes, side)
    return len(others) == 2 and all(_turn_rad(back, _leaving_rad(strokes, other)) < STRAIGHT_ON_RAD for other in others)


def _leaving_rad(strokes: Strokes, side: Side) -> float:
    """Direction in which a link leaves, rid of the stretch where thinning bends it and of the line's own curvature.

    The direction is taken over two stretches beyond one line width from the node and carried back to it.
    """
    width_px = strokes.links[side >> 1].width_px
    points = points_from(strokes, side)[: int(12 * width_px) + 4]
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    stations = np.array([1.0, 3.5, 6.0]) * width_px
    if along[-1] < stations[-1]:
        stations = np.array([0.2, 0.6, 1.0]) * along[-1]
    x, y = (np.interp(stations, along, points[:, axis]) for axis in (0, 1))
    first, second = (math.atan2(y[i + 1] - y[i], x[i + 1] - x[i]) for i in (0, 1))
    bend = (second - first + math.pi) % (2 * math.pi) - math.pi
    middles = (stations[:-1] + stations[1:]) / 2
    back = bend * middles[0] / (middles[1] - middles[0])
    limit = math.radians(30)
    return first - min(limit, max(-limit, back))


def _turn_rad(leaving_a: float, leaving_b: float) -> float:
    """Turn of a line that comes in along one link and leaves along another: 0 is straight on."""
    return abs((leaving_a - leaving_b) % (2 * math.pi) - math.pi)


def _pair(sides: list[Side], leaving: NDArray[np.float64], mate: NDArray[np.int64]) -> None:
    turns = sorted((_turn_rad(leaving[a], leaving[b]), a, b) for i, a in enumerate(sides) for b in sides[i + 1 :])
    for turn, a, b in turns:
        if turn > STRAIGHT_ON_RAD:
            break
        if mate[a] < 0 and mate[b] < 0:
            mate[a], mate[b] = b, a
    left = [side for side in sides if mate[side] < 0]
    if len(left) == 2 and len(sides) >= 4:
        mate[left[0]], mate[left[1]] = left[1], left[0]
