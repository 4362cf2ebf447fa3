"""Which line carries on as which through the places where lines meet."""

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from digitize.link_sizes import link_lengths_px
from digitize.strokes import Strokes

STRAIGHT_ON_RAD = math.radians(38)
"""Largest turn of one line through a junction. Directions there err by some 10°; a brace leaves at 45° or more."""

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
    crossing share one. `centres_px` (N, 2) is the middle of each place.
    `live` (L,) tells the links that are lines, not spurs, not insides of
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

    def sides_at(self, links: Iterable[int]) -> dict[int, list[Side]]:
        """The sides of some links at each place that they have."""
        at: dict[int, list[Side]] = {}
        for link in links:
            for side in (2 * link, 2 * link + 1):
                at.setdefault(self.place_of(side), []).append(side)
        return at


def line_graph(strokes: Strokes, leave_out: NDArray[np.bool_]) -> LineGraph:
    """Make crossings whole and pair the links that carry on through each.

    At a crossing the two links that lie best on one gentle curve are one line, then the next two, while
    the turn between them stays under 38°. Two links alone at a place always carry on (a corner). Where one
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
    lengths_px = np.array(link_lengths_px(strokes))
    widths_px = np.array([link.width_px for link in strokes.links])
    live = ~leave_out
    _drop_spurs(strokes, ends, lengths_px, widths_px, live)
    blots_px = np.array([link.blot_px for link in strokes.links])
    places = _places(strokes, ends, lengths_px, blots_px, live)
    at: dict[int, list[Side]] = {}
    for link in np.flatnonzero(live).tolist():
        for side in (0, 1):
            at.setdefault(int(places[ends[link, side]]), []).append(2 * link + side)
    mate = np.full(2 * count, -1, dtype=np.int64)
    meetings = [sides for sides in at.values() if len(sides) >= 3]
    for sides in at.values():
        if len(sides) == 2:
            mate[sides[0]], mate[sides[1]] = sides[1], sides[0]
    looks = _looks(strokes, meetings)
    leaving = np.full(2 * count, np.nan)
    leaving[list(looks.row)] = looks.leaving_rad
    _pair_all(meetings, looks, mate)
    return LineGraph(strokes, places, _centres_px(strokes, places), live, mate, leaving)


def _centres_px(strokes: Strokes, places: NDArray[np.int64]) -> NDArray[np.float64]:
    count = np.bincount(places, minlength=len(places)).clip(min=1)
    sums = [np.bincount(places, weights=strokes.nodes_px[:, axis], minlength=len(places)) for axis in (0, 1)]
    middles: NDArray[np.float64] = np.column_stack(sums) / count[:, None]
    return middles


def length_px(points_px: NDArray[np.float64]) -> float:
    """Length of a polyline."""
    steps = points_px[1:] - points_px[:-1]
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
        for link in np.flatnonzero(live).tolist():
            for side in (0, 1):
                if int(ends[link, side]) in wanted:
                    at.setdefault(int(ends[link, side]), []).append(2 * link + side)
    looks = _looks(strokes, list(at.values()))
    for link in np.flatnonzero(merged).tolist():
        inside[link] = all(_splits_ahead(looks, 2 * link + side, at[int(ends[link, side])]) for side in (0, 1))
    root = list(range(len(strokes.nodes_px)))

    def find(node: int) -> int:
        while root[node] != node:
            root[node] = root[root[node]]
            node = root[node]
        return node

    for link in np.flatnonzero(inside).tolist():
        root[find(int(ends[link, 0]))] = find(int(ends[link, 1]))
        live[link] = False
    return np.array([find(node) for node in range(len(root))], dtype=np.int64)


def _splits_ahead(looks: "_Looks", side: Side, here: list[Side]) -> bool:
    """Tell whether a link opens at this side into two that both carry on nearly straight."""
    others = [other for other in here if other >> 1 != side >> 1]
    back = looks.rad(side)
    return len(others) == 2 and all(_turn_rad(back, looks.rad(other)) < STRAIGHT_ON_RAD for other in others)


def _turn_rad(leaving_a: float, leaving_b: float) -> float:
    """Turn of a line that comes in along one link and leaves along another: 0 is straight on."""
    return abs((leaving_a - leaving_b) % (2 * math.pi) - math.pi)


STATIONS = 24
"""Samples of a link by which it is told where it goes."""

LOOK_WIDTHS = (1.0, 16.0)
"""They lie between these distances from the node: beyond the stretch that thinning bends, which is as long as the
widest ink that meets there, and far enough to tell a centre line through a trailing edge from the edge's two sides,
some degrees off it."""

NEAR_STATIONS = 12
"""The direction at the node is that of the nearer samples, within one curvature."""


@dataclass(frozen=True, slots=True)
class _Looks:
    """How links leave their places: `row` of each side, samples (S, 24, 2) px, and directions (S,) at the node."""

    row: dict[Side, int]
    samples_px: NDArray[np.float64]
    leaving_rad: NDArray[np.float64]
    width_px: list[float]

    def rad(self, side: Side) -> float:
        return float(self.leaving_rad[self.row[side]])


def _looks(strokes: Strokes, meetings: list[list[Side]]) -> _Looks:
    """Sample the links near the sides that meet; their directions there are those of quadratics through the samples.

    The direction is carried back to the node along the line's own curvature, by at most 30°.
    """
    sides = [side for here in meetings for side in here]
    widest_px = [
        px for here in meetings for px in [max(strokes.links[side >> 1].width_px for side in here)] * len(here)
    ]
    samples, stations = _sampled(strokes, sides, np.array(widest_px))
    widths_px = [strokes.links[side >> 1].width_px for side in sides]
    near = stations[:, :NEAR_STATIONS]
    middle = near.mean(axis=1, keepdims=True)
    reach = near[:, -1:] - middle
    # A link without length points nowhere; the ridge keeps its equations solvable.
    reach = np.where(reach > 0, reach, 1.0)
    s = (near - middle) / reach
    powers = np.stack([np.ones_like(s), s, s * s], axis=2)
    square = powers.transpose(0, 2, 1) @ powers + 1e-9 * np.eye(3)
    fit = (
        np.linalg.solve(square, powers.transpose(0, 2, 1) @ samples[:, :NEAR_STATIONS])
        if len(sides)
        else np.empty((0, 3, 2))
    )
    mean_rad = np.arctan2(fit[:, 1, 1], fit[:, 1, 0])
    at_node = fit[:, 1] - 2 * (middle / reach) * fit[:, 2]
    bend = (np.arctan2(at_node[:, 1], at_node[:, 0]) - mean_rad + math.pi) % (2 * math.pi) - math.pi
    limit = math.radians(30)
    leaving_rad = mean_rad + np.clip(bend, -limit, limit)
    return _Looks({side: row for row, side in enumerate(sides)}, samples, leaving_rad, widths_px)


def _sampled(
    strokes: Strokes, sides: list[Side], widest_px: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Samples (S, 24, 2) of the links at the given sides, and their distances (S, 24) along them from there."""
    links = sorted({side >> 1 for side in sides})
    if not links:
        return np.empty((0, STATIONS, 2)), np.empty((0, STATIONS))
    points = np.concatenate([strokes.links[link].points_px for link in links])
    counts = np.array([len(strokes.links[link].points_px) for link in links])
    ends = np.cumsum(counts) - 1
    along = np.cumsum(np.concatenate([[0.0], np.hypot(*np.diff(points, axis=0).T)]))
    row_of = {link: row for row, link in enumerate(links)}
    rows = np.array([row_of[side >> 1] for side in sides])
    at_end = np.array([side & 1 for side in sides], dtype=bool)
    first, last = along[ends[rows] - counts[rows] + 1], along[ends[rows]]
    width_px = np.array([strokes.links[side >> 1].width_px for side in sides])
    far = np.minimum(LOOK_WIDTHS[1] * width_px, 0.9 * (last - first))
    near = np.where(far < 2 * LOOK_WIDTHS[0] * widest_px, 0.3 * far, LOOK_WIDTHS[0] * widest_px)
    stations = near[:, None] + (far - near)[:, None] * np.linspace(0, 1, STATIONS)
    at = np.where(at_end[:, None], last[:, None] - stations, first[:, None] + stations)
    return np.stack([np.interp(at, along, points[:, axis]) for axis in (0, 1)], axis=2), stations


def _pair_all(meetings: list[list[Side]], looks: _Looks, mate: NDArray[np.int64]) -> None:
    """Pair the sides at every meeting, the two that lie best on one curve first."""
    pairs = [(a, b) for sides in meetings for i, a in enumerate(sides) for b in sides[i + 1 :]]
    if not pairs:
        return
    rows = np.array([(looks.row[a], looks.row[b]) for a, b in pairs])
    turns = np.abs((looks.leaving_rad[rows[:, 0]] - looks.leaving_rad[rows[:, 1]]) % (2 * math.pi) - math.pi)
    strays = np.where(
        turns <= STRAIGHT_ON_RAD, _strays_px(looks.samples_px[rows[:, 0]], looks.samples_px[rows[:, 1]]), 0
    )
    at = 0
    for sides in meetings:
        number = len(sides) * (len(sides) - 1) // 2
        here = slice(at, at + number)
        at += number
        ranked = sorted(zip(strays[here].tolist(), turns[here].tolist(), pairs[here], strict=True))
        through = _through_tip(sides, looks)
        if through is not None:
            best = next((stray for stray, turn, _ in ranked if turn <= STRAIGHT_ON_RAD), 0.0)
            width_px = looks.width_px[looks.row[sides[0]]]
            ranked.sort(key=lambda one: not (one[2] == through and one[0] <= 3 * best + TIP_STRAY * width_px))
        for stray, turn, (a, b) in ranked:
            if turn <= STRAIGHT_ON_RAD and mate[a] < 0 and mate[b] < 0 and not math.isnan(stray):
                mate[a], mate[b] = b, a
        left = [side for side in sides if mate[side] < 0]
        if len(left) == 3 and len(sides) == 3:
            left = _without_inner(left, looks)
        if len(left) == 2 and (len(sides) >= 4 or (len(sides) == 3 and mate[list(sides)].max() < 0)):
            mate[left[0]], mate[left[1]] = left[1], left[0]


THIN_LINE = 0.75
"""Dimension and centre lines are drawn thinner than outlines by this much or more where they differ at all (ISO 128:
half)."""


def _without_inner(sides: list[Side], looks: _Looks) -> list[Side]:
    """Of three lines none of which carries straight on, the two that are an outline's corner, or its nose.

    That is where one is thinner than both others, as a datum that begins at a nose, or lies between them, as a brace
    that ends in a corner; three where neither tells.
    """
    by_width = sorted(sides, key=lambda side: looks.width_px[looks.row[side]])
    widths_px = [looks.width_px[looks.row[side]] for side in by_width]
    if widths_px[0] < THIN_LINE * widths_px[1]:
        return by_width[1:]
    if widths_px[1] < THIN_LINE * widths_px[2]:
        return sides
    around = sorted(sides, key=looks.rad)
    for before, inner, after in (around, around[1:] + around[:1], around[2:] + around[:2]):
        if (looks.rad(after) - looks.rad(before)) % (2 * math.pi) < WITHIN_RAD:
            return [side for side in sides if side != inner]
    return sides


WITHIN_RAD = math.radians(170)
"""A line ends inside a corner when the corner's sides open by less than this; nearer to straight on, it is a fork."""

TIP_STRAY = 0.1
"""How much worse, in line widths, the line in a tip's middle may fit the line beyond it than the tip's sides do."""


def _through_tip(sides: list[Side], looks: _Looks) -> tuple[Side, Side] | None:
    """Where three lines meet a fourth that carries on from all of them: the middle one and the fourth.

    That is a tip with a centre line through it: the tip's sides lie on either side of the line.
    """
    if len(sides) != 4:
        return None
    centre = np.mean([looks.samples_px[looks.row[side], 0] for side in sides], axis=0)
    # The sides of a thin tip leave it almost along the line: their order shows farther out.
    far_rad = {}
    for side in sides:
        x, y = (looks.samples_px[looks.row[side], -1] - centre).tolist()
        far_rad[side] = math.atan2(y, x)
    for beyond in sides:
        others = [side for side in sides if side != beyond]
        if all(_turn_rad(looks.rad(side), looks.rad(beyond)) <= STRAIGHT_ON_RAD for side in others):
            back = far_rad[beyond] + math.pi
            middle = sorted(others, key=lambda side: (far_rad[side] - back + math.pi) % (2 * math.pi))[1]
            return (middle, beyond) if sides.index(middle) < sides.index(beyond) else (beyond, middle)
    return None


def _strays_px(first: NDArray[np.float64], second: NDArray[np.float64]) -> NDArray[np.float64]:
    """Root mean square distance of two links' samples (P, 24, 2) from the one parabola over their chord."""
    both = np.concatenate([first[:, ::-1], second], axis=1)
    chord = both[:, -1] - both[:, 0]
    long = np.hypot(chord[:, 0], chord[:, 1])
    unit = np.where(long[:, None] > 0, chord, [1.0, 0.0]) / np.where(long > 0, long, 1)[:, None]
    off = both - both.mean(axis=1, keepdims=True)
    x = off[..., 0] * unit[:, :1] + off[..., 1] * unit[:, 1:]
    y = off[..., 1] * unit[:, :1] - off[..., 0] * unit[:, 1:]
    scale = np.maximum(np.abs(x).max(axis=1, keepdims=True), 1e-9)
    x = x / scale
    powers = np.stack([np.ones_like(x), x, x * x], axis=2)
    square = powers.transpose(0, 2, 1) @ powers + 1e-9 * np.eye(3)
    fit = np.linalg.solve(square, (powers.transpose(0, 2, 1) @ y[..., None]))[..., 0]
    rest = y - (powers * fit[:, None, :]).sum(axis=2)
    strays: NDArray[np.float64] = np.sqrt((rest * rest).mean(axis=1))
    return strays
