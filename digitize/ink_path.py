"""The way along drawn lines from point to point: what a person traces with a few clicks."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import csr_array
from scipy.sparse.csgraph import dijkstra

from digitize.continuation import LineGraph, Side, line_graph
from digitize.strokes import Strokes
from drawing.paths import Point

Floats = NDArray[np.float64]

TURN_WIDTHS = 12.0
"""What a right-angled turn off the line costs where lines meet, in line widths of way: a detour that much longer is
taken to go straight on. Much less, and parallel lines close together are changed at every rung between them; much more,
and a way that really turns must be clicked at every corner."""

LEAVE_WIDTHS = 2.0
"""What any turn off the line costs at least: lines that part at a few degrees are told by their mates alone."""

LONGEST_TIMES, LONGEST_WIDTHS = 6.0, 150.0
"""A way longer than this many times the straight distance and this many line widths more leads around something
else: it is no way between the two points."""

PLACE_WIDTHS = 1.0
"""A point this near a crossing, corner or end, in line widths, lies on it: every line there may be followed."""

PIECE_POINTS = 32
"""Points of a link that are looked up together."""


@dataclass(frozen=True, slots=True)
class Foot:
    """The nearest place on a line: `at_px`, `along_px` from the start of `link`, `far_px` away.

    `place` is the crossing, corner or end that it lies on, or -1.
    """

    at_px: Point
    far_px: float
    link: int
    along_px: float
    place: int


@dataclass(frozen=True, slots=True)
class Stretch:
    """A link or part of one: its points (N, 2) in the order they are passed, picture px, and which link it is.

    `place` is the crossing or corner at which it begins, -1 where it begins within a line.
    """

    points_px: Floats
    link: int
    place: int


@dataclass(frozen=True, slots=True, eq=False)
class InkGraph:
    """Strokes made ready for ways along them. Made once a picture by `ink_graph`, and kept."""

    lines: LineGraph
    lengths_px: Floats
    along_px: tuple[Floats, ...]
    sides_at: dict[int, list[Side]]
    steps: csr_array
    pieces: shapely.STRtree
    piece_link: NDArray[np.int64]
    width_px: float

    def foot(self, point_px: Point, *, reach_px: float) -> Foot | None:
        """Give the nearest place on a line, None when there is none within reach."""
        if not len(self.piece_link):
            return None
        point = shapely.Point(point_px)
        found = self.pieces.query_nearest(point, max_distance=reach_px, all_matches=False)
        if not len(found):
            return None
        link = int(self.piece_link[found[0]])
        line = shapely.LineString(self.lines.strokes.links[link].points_px)
        along = float(shapely.line_locate_point(line, point))
        at = shapely.line_interpolate_point(line, along)
        x, y = float(shapely.get_x(at)), float(shapely.get_y(at))
        return Foot((x, y), math.dist((x, y), point_px), link, along, self._place_near(link, along))

    def _place_near(self, link: int, along_px: float) -> int:
        near_px = PLACE_WIDTHS * self.lines.strokes.links[link].width_px
        left_px = self.lengths_px[link] - along_px
        if min(along_px, left_px) > near_px:
            return -1
        return self.lines.place_of(2 * link if along_px <= left_px else 2 * link + 1)


def ink_graph(strokes: Strokes) -> InkGraph:
    """Make strokes ready: which turn costs what, and where every line lies."""
    lines = line_graph(strokes, np.zeros(len(strokes.links), dtype=bool))
    along = tuple(
        np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(link.points_px, axis=0).T))]) for link in strokes.links
    )
    lengths = np.array([one[-1] for one in along])
    widths = np.array([link.width_px for link in strokes.links])
    width_px = float(np.median(widths)) if len(widths) else 0.0
    pieces, piece_link = _pieces(lines)
    sides_at: dict[int, list[Side]] = {}
    for link in np.flatnonzero(lines.live).tolist():
        for side in (2 * link, 2 * link + 1):
            sides_at.setdefault(lines.place_of(side), []).append(side)
    steps = _steps(lines, sides_at, lengths, width_px)
    return InkGraph(lines, lengths, along, sides_at, steps, shapely.STRtree(pieces), piece_link, width_px)


def way_along(graph: InkGraph, start: Foot, end: Foot) -> list[Stretch] | None:
    """Give the shortest way along lines between two places on them, or None when there is none of sensible length.

    Where lines meet, straight on is preferred to a turn; at a corner of one line turning costs nothing.
    """
    straight_px = math.dist(start.at_px, end.at_px)
    limit_px = LONGEST_TIMES * straight_px + LONGEST_WIDTHS * graph.width_px
    best = _on_one_link(graph, start, end)
    found = _searched(graph, start, end, limit_px if best is None else best[0])
    if found is not None and (best is None or found[0] < best[0]):
        best = found
    return None if best is None or best[0] > limit_px else best[1]


def _pieces(lines: LineGraph) -> tuple[NDArray[np.object_], NDArray[np.int64]]:
    """Live links in pieces of a few points, so that a long one is not gone through for every question."""
    runs, owners = [], []
    for which in np.flatnonzero(lines.live).tolist():
        points = lines.strokes.links[which].points_px
        for first in range(0, len(points) - 1, PIECE_POINTS):
            runs.append(points[first : first + PIECE_POINTS + 1])
            owners.append(which)
    if not runs:
        return np.empty(0, dtype=object), np.empty(0, dtype=np.int64)
    counts = np.array([len(run) for run in runs])
    pieces = shapely.linestrings(np.concatenate(runs), indices=np.repeat(np.arange(len(runs)), counts))
    return np.asarray(pieces), np.array(owners, dtype=np.int64)


LEAST_STEP_PX = 1e-6
"""A sparse matrix holds no step of no length."""


def _steps(lines: LineGraph, sides_at: dict[int, list[Side]], lengths_px: Floats, width_px: float) -> csr_array:
    """Costs from side to side: coming out at the far end of a link entered at one side, on to that of the next."""
    sides = 2 * len(lengths_px)
    pairs = [(arrives, leaves) for here in sides_at.values() for arrives in here for leaves in here]
    pairs = [pair for pair in pairs if pair[0] != pair[1]]
    if not pairs:
        return csr_array((sides, sides))
    arrives, leaves = np.array(pairs, dtype=np.int64).T
    turn = np.abs((lines.leaving_rad[arrives] - lines.leaving_rad[leaves]) % (2 * math.pi) - math.pi)
    straight_on = (lines.mate[arrives] == leaves) | np.isnan(turn)
    cost = np.where(straight_on, 0.0, width_px * (LEAVE_WIDTHS + TURN_WIDTHS * turn / (math.pi / 2)))
    return csr_array(
        (np.maximum(cost + lengths_px[leaves >> 1], LEAST_STEP_PX), (arrives ^ 1, leaves)), shape=(sides, sides)
    )


def _on_one_link(graph: InkGraph, start: Foot, end: Foot) -> tuple[float, list[Stretch]] | None:
    """The way within one link; around a closed one the shorter way."""
    if start.link != end.link or (start.place >= 0 and end.place >= 0 and start.place != end.place):
        return None
    link, low, high = start.link, start.along_px, end.along_px
    direct = abs(high - low), [Stretch(_between(graph, link, low, high), link, -1)]
    closed = graph.lines.place_of(2 * link) == graph.lines.place_of(2 * link + 1)
    around_px = float(graph.lengths_px[link]) - direct[0]
    if not closed or direct[0] <= around_px:
        return direct
    last = float(graph.lengths_px[link])
    ends = (last, 0.0) if high < low else (0.0, last)
    place = graph.lines.place_of(2 * link)
    return around_px, [
        Stretch(_between(graph, link, low, ends[0]), link, -1),
        Stretch(_between(graph, link, ends[1], high), link, place),
    ]


def _searched(graph: InkGraph, start: Foot, end: Foot, limit_px: float) -> tuple[float, list[Stretch]] | None:
    """The cheapest way over one place or more, by Dijkstra's search over sides."""
    out = _ways_out(graph, start)
    if not out:
        return None
    source = 2 * len(graph.lengths_px)
    steps = graph.steps
    # One more row: from the start to every side it may go on by.
    with_start = csr_array(
        (
            np.concatenate([steps.data, [max(cost, LEAST_STEP_PX) for cost, _ in out.values()]]),
            np.concatenate([steps.indices, list(out)]),
            np.concatenate([steps.indptr, [steps.indptr[-1] + len(out)]]),
        ),
        shape=(source + 1, source + 1),
    )
    longest_px = float(graph.lengths_px[end.link])
    far, before = dijkstra(with_start, indices=source, return_predecessors=True, limit=limit_px + longest_px)
    # Coming along a side to the end's place: what lies beyond it is not gone.
    costs = [(float(far[side]) - beyond, side) for side, beyond in _ways_in(graph, end) if np.isfinite(far[side])]
    if not costs:
        return None
    cost, side = min(costs)
    passed = [side]
    while before[passed[-1]] != source:
        passed.append(int(before[passed[-1]]))
    passed.reverse()
    return cost, _stretches(graph, start, end, out[passed[0]][1], passed)


def _ways_out(graph: InkGraph, start: Foot) -> dict[Side, tuple[float, Side | None]]:
    """For every side that may be gone along first as a whole: the cost to its far end, and the side left by before.

    From within a link one first comes to either of its ends, which may lead back onto the very same link.
    """
    if start.place >= 0:
        return {side: (float(graph.lengths_px[side >> 1]), None) for side in graph.sides_at[start.place]}
    length = float(graph.lengths_px[start.link])
    out: dict[Side, tuple[float, Side | None]] = {}
    for left, rest_px in ((2 * start.link, length - start.along_px), (2 * start.link + 1, start.along_px)):
        row = slice(graph.steps.indptr[left], graph.steps.indptr[left + 1])
        for side, step in zip(graph.steps.indices[row].tolist(), graph.steps.data[row].tolist(), strict=True):
            if side not in out or rest_px + step < out[side][0]:
                out[side] = rest_px + step, left
    return out


def _ways_in(graph: InkGraph, end: Foot) -> list[tuple[Side, float]]:
    """The sides along which one may come, and what of each lies beyond."""
    if end.place >= 0:
        return [(side ^ 1, 0.0) for side in graph.sides_at[end.place]]
    length = float(graph.lengths_px[end.link])
    return [(2 * end.link, length - end.along_px), (2 * end.link + 1, end.along_px)]


def _stretches(graph: InkGraph, start: Foot, end: Foot, left: Side | None, passed: Sequence[Side]) -> list[Stretch]:
    stretches = []
    if left is not None:
        far_end = 0.0 if left & 1 else float(graph.lengths_px[start.link])
        stretches.append(Stretch(_between(graph, start.link, start.along_px, far_end), start.link, -1))
    for number, side in enumerate(passed):
        link = side >> 1
        first, last = (0.0, float(graph.lengths_px[link]))[:: -1 if side & 1 else 1]
        if number == len(passed) - 1 and end.place < 0:
            last = end.along_px
        stretches.append(Stretch(_between(graph, link, first, last), link, graph.lines.place_of(side)))
    return stretches


def _between(graph: InkGraph, link: int, first_px: float, last_px: float) -> Floats:
    """A link's points from one distance along it to another."""
    points, along = graph.lines.strokes.links[link].points_px, graph.along_px[link]
    low, high = sorted((first_px, last_px))
    inner = points[(along > low + NEARER_PX) & (along < high - NEARER_PX)]
    ends = np.column_stack([np.interp([low, high], along, points[:, axis]) for axis in (0, 1)])
    run = np.vstack([ends[:1], inner, ends[1:]])
    return run[::-1] if last_px < first_px else run


NEARER_PX = 1e-6
"""Points nearer than this are one."""
