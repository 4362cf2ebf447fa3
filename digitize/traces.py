"""Lines traced by hand: kept as curves in picture px, added to the strokes by sampling."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TypeAlias

import numpy as np
import shapely
from numpy.typing import NDArray

from digitize.strokes import DigitizeError, Link, NodeKind, Strokes
from drawing.paths import Point

CubicPx: TypeAlias = tuple[Point, Point, Point]
"""First control point, second control point and end of a cubic Bezier curve, picture px."""


@dataclass(frozen=True, slots=True)
class Trace:
    """A line traced by hand: cubic Bezier curves from `start_px` on, picture px (y down).

    A closed trace's last curve ends exactly at `start_px`.
    """

    start_px: Point
    cubics_px: tuple[CubicPx, ...]
    closed: bool

    def __post_init__(self) -> None:
        if not self.cubics_px:
            raise DigitizeError(f"A traced line at {self.start_px} px has no length; trace it again or delete it.")
        points = [self.start_px, *(point for cubic in self.cubics_px for point in cubic)]
        if not all(math.isfinite(value) for point in points for value in point):
            raise DigitizeError(f"A traced line at {self.start_px} px has a point that is no number: trace it again.")
        if self.closed and self.cubics_px[-1][2] != self.start_px:
            raise DigitizeError(
                f"A closed traced line starts at {self.start_px} and ends at {self.cubics_px[-1][2]} px; "
                "both must be one point: close it again."
            )


PEN_WIDTH_PX = 3.0
"""Width given to traced lines where there is no ink to take it from: a thin line at 200 dpi."""

STEP_PX = 1.0
"""Points of a trace lie this far apart, as those of a found line do."""

TRACE_SIGMA_PX = 0.3
"""One-sigma error across a line put by hand and moved to the ink."""

CORNER_TURN_RAD = math.radians(12)
"""Curves that meet at a larger angle were traced as a corner; handles dragged smooth meet within a few degrees."""


JOIN_WIDTHS = 1.5
"""A trace's end this close to a node or a line, in line widths, was meant to lie on it."""


IN_INK_WIDTHS = 0.5
"""A trace within half a line's width of its middle lies in its ink."""

COVERED_PART = 0.2
"""A trace in a line's ink is as long as the stretch it covers to within this part: a hand wavers."""


def with_traces(strokes: Strokes, traces: Sequence[Trace]) -> Strokes:
    """Give the strokes with every trace added as links of its own.

    A trace is split at its corners and where it crosses lines, and they with it. Its ends join a node, or else
    a line, that lies within one line width and a half, so that a gap traced over closes the line. One that runs in
    the ink of a line that is there already adds nothing.

    Parameters
    ----------
    strokes : Strokes
    traces : sequence of Trace

    Returns
    -------
    Strokes
        The nodes of `strokes` first and in their order; links that were split give way to their pieces.
    """
    if not traces:
        return strokes
    nodes = [np.asarray(node, dtype=float) for node in strokes.nodes_px]
    links = list(strokes.links)
    kinds = list(strokes.kinds.tolist())
    for trace in traces:
        first: int | None = None
        at: int | None = None
        runs = _runs(trace)
        if not trace.closed and _is_drawn(np.concatenate(runs), links):
            continue
        for index, run in enumerate(runs):
            begin = _node_at(run[0], nodes, links, kinds) if at is None else at
            first = begin if first is None else first
            closes = trace.closed and index == len(runs) - 1
            end = first if closes else _node_at(run[-1], nodes, links, kinds)
            points = run.copy()
            points[0], points[-1] = nodes[begin], nodes[end]
            _add_run(points, begin, end, nodes, links, kinds)
            at = end
    return Strokes(np.array(nodes).reshape(-1, 2), _kinds(kinds, strokes, links), tuple(links))


def _is_drawn(points: NDArray[np.float64], links: Sequence[Link]) -> bool:
    """Whether a trace runs in the ink of one link that is there already.

    It then covers as much of the link as it is long: over a small gap both ends of a link lie near as well.
    """
    lines = [shapely.LineString(link.points_px) for link in links]
    if not lines:
        return False
    nearest = int(shapely.STRtree(lines).nearest(shapely.Point(points[len(points) // 2])))
    line = lines[nearest]
    if not shapely.dwithin(line, shapely.points(points), IN_INK_WIDTHS * links[nearest].width_px).all():
        return False
    begin_px, end_px = (float(shapely.line_locate_point(line, shapely.Point(end))) for end in points[[0, -1]])
    covered_px, long_px = abs(end_px - begin_px), float(np.hypot(*np.diff(points, axis=0).T).sum())
    return abs(covered_px - long_px) <= COVERED_PART * long_px


def _width_px(links: Sequence[Link]) -> float:
    return float(np.median([link.width_px for link in links])) if links else PEN_WIDTH_PX


def _node_at(point: NDArray[np.float64], nodes: list[NDArray[np.float64]], links: list[Link], kinds: list[int]) -> int:
    """The node a trace's end belongs to: one near by, one put on a line near by, or a new one."""
    reach_px = JOIN_WIDTHS * _width_px(links)
    if nodes:
        far = np.hypot(*(np.array(nodes) - point).T)
        if far.min() <= reach_px:
            return int(far.argmin())
    if links:
        lines = [shapely.LineString(link.points_px) for link in links]
        nearest = int(shapely.STRtree(lines).nearest(shapely.Point(point)))
        if shapely.distance(lines[nearest], shapely.Point(point)) <= reach_px:
            return _split(
                nearest, float(shapely.line_locate_point(lines[nearest], shapely.Point(point))), nodes, links, kinds
            )
    nodes.append(point)
    kinds.append(int(NodeKind.END))
    return len(nodes) - 1


def _split(which: int, along_px: float, nodes: list[NDArray[np.float64]], links: list[Link], kinds: list[int]) -> int:
    """Cut a link in two at a distance along it; gives the new node's number."""
    link = links[which]
    far = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(link.points_px, axis=0).T))])
    point = np.array([np.interp(along_px, far, link.points_px[:, axis]) for axis in (0, 1)])
    before, after = link.points_px[far < along_px - 1e-6], link.points_px[far > along_px + 1e-6]
    nodes.append(point)
    kinds.append(int(NodeKind.JUNCTION))
    node = len(nodes) - 1
    links[which] = replace(link, end=node, points_px=np.vstack([before, point]), own=None)
    links.append(replace(link, start=node, points_px=np.vstack([point, after]), own=None))
    return node


def _add_run(
    points: NDArray[np.float64],
    begin: int,
    end: int,
    nodes: list[NDArray[np.float64]],
    links: list[Link],
    kinds: list[int],
) -> None:
    """Add one run of a trace, cut wherever it crosses a link away from its own ends."""
    width_px = _width_px(links)
    line = shapely.LineString(points)
    cuts: list[tuple[float, int]] = []
    found = len(links)
    for which in range(found):
        met = shapely.intersection(line, shapely.LineString(links[which].points_px))
        for x, y in shapely.get_coordinates(shapely.centroid(shapely.get_parts(met))).tolist():
            here = np.array([x, y])
            if min(np.hypot(*(here - nodes[node])) for node in (begin, end)) <= JOIN_WIDTHS * width_px:
                continue
            place = _crossing_node(here, which, width_px, nodes, links, kinds)
            cuts.append((float(shapely.line_locate_point(line, shapely.Point(here))), place))
    far = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    last_px, last_node = 0.0, begin
    for along_px, node in [*sorted(cuts), (float(far[-1]), end)]:
        if node == last_node and node != end:
            continue
        inner = points[(far > last_px + 0.5) & (far < along_px - 0.5)]
        piece = np.vstack([nodes[last_node], inner, nodes[node]])
        links.append(Link(last_node, node, piece, TRACE_SIGMA_PX, width_px))
        last_px, last_node = along_px, node


def _crossing_node(
    here: NDArray[np.float64],
    which: int,
    width_px: float,
    nodes: list[NDArray[np.float64]],
    links: list[Link],
    kinds: list[int],
) -> int:
    """The node where a trace crosses a link: one of the link's own if near, else a new one on it.

    A link cut before may hold the crossing in its later piece, at the end of the list.
    """
    pieces = [which, *range(len(links) - 1, which, -1)]
    point = shapely.Point(here)
    far_px = [float(shapely.distance(shapely.LineString(links[piece].points_px), point)) for piece in pieces]
    nearest = pieces[far_px.index(min(far_px))]
    link = links[nearest]
    for node in (link.start, link.end):
        if np.hypot(*(here - nodes[node])) <= JOIN_WIDTHS * width_px:
            return int(node)
    along_px = float(shapely.line_locate_point(shapely.LineString(link.points_px), point))
    return _split(nearest, along_px, nodes, links, kinds)


def _runs(trace: Trace) -> list[NDArray[np.float64]]:
    """Sampled points of a trace, split where its curves meet at an angle."""
    runs: list[list[NDArray[np.float64]]] = []
    start = np.array(trace.start_px, dtype=float)
    leaving = None
    for cubic in trace.cubics_px:
        control = np.array([start, *cubic], dtype=float)
        enters, leaves = _end_directions(control)
        points = _cubic_points(control)
        if leaving is None or _turn_rad(leaving, enters) > CORNER_TURN_RAD:
            runs.append([points])
        else:
            runs[-1].append(points[1:])
        start, leaving = control[3], leaves
    return [np.concatenate(run) for run in runs]


def _cubic_points(control: NDArray[np.float64]) -> NDArray[np.float64]:
    """Points on a cubic about STEP_PX apart, ends included."""
    reach_px = float(np.hypot(*np.diff(control, axis=0).T).sum())
    t = np.linspace(0, 1, max(2, math.ceil(reach_px / STEP_PX) + 1))[:, None]
    u = 1 - t
    points: NDArray[np.float64] = (
        u**3 * control[0] + 3 * u**2 * t * control[1] + 3 * u * t**2 * control[2] + t**3 * control[3]
    )
    return points


def _end_directions(control: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Directions a cubic starts and ends in; a control point on its end gives way to the next."""
    steps = np.diff(control, axis=0)
    long = [step for step in steps if np.hypot(*step) > 0]
    if not long:
        return steps[0], steps[0]
    return long[0], long[-1]


def _turn_rad(before: NDArray[np.float64], after: NDArray[np.float64]) -> float:
    cross = before[0] * after[1] - before[1] * after[0]
    return abs(math.atan2(cross, float(before @ after)))


def _kinds(kinds: list[int], strokes: Strokes, links: Sequence[Link]) -> NDArray[np.uint8]:
    """Kinds of all nodes: those whose number of links a trace has changed follow from how many now meet there."""
    before = np.zeros(len(kinds), dtype=int)
    for link in strokes.links:
        before[link.start] += 1
        before[link.end] += 1
    degree = np.zeros(len(kinds), dtype=int)
    for link in links:
        degree[link.start] += 1
        degree[link.end] += 1
    known = np.array(kinds, dtype=np.uint8)
    touched = degree != before
    known[touched & (degree == 1)] = NodeKind.END
    known[touched & (degree == 2)] = NodeKind.CORNER
    known[touched & (degree >= 3)] = NodeKind.JUNCTION
    for link in links:
        if link.start == link.end and touched[link.start] and degree[link.start] == 2 and not _turns(link):
            known[link.start] = NodeKind.LOOP
    return known


def _turns(link: Link) -> bool:
    """Tell whether a closed link has a corner where it closes."""
    points = link.points_px
    return _turn_rad(points[-1] - points[-2], points[1] - points[0]) > CORNER_TURN_RAD
