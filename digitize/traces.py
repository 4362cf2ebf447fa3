"""Lines traced by hand: kept as curves in picture px, added to the strokes by sampling."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
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


STEP_PX = 1.0
"""Points of a trace lie this far apart, as those of a found line do."""

TRACE_SIGMA_PX = 0.3
"""One-sigma error across a line put by hand and moved to the ink."""

CORNER_TURN_RAD = math.radians(12)
"""Curves that meet at a larger angle were traced as a corner; handles dragged smooth meet within a few degrees."""


def with_traces(strokes: Strokes, traces: Sequence[Trace]) -> Strokes:
    """Give the strokes with every trace added as links of its own.

    A trace is split at its corners. Its ends join a node of the strokes that lies within
    one line width and a half, so that a gap traced over closes the line.

    Parameters
    ----------
    strokes : Strokes
    traces : sequence of Trace

    Returns
    -------
    Strokes
        The nodes and links of `strokes` first and in their order.
    """
    nodes = [tuple(node) for node in strokes.nodes_px]
    links = list(strokes.links)
    width_px = float(np.median([link.width_px for link in links])) if links else 3.0
    found = strokes.nodes_px

    def node_at(point: Point) -> int:
        if len(found):
            far = np.hypot(*(found - point).T)
            nearest = int(far.argmin())
            if far[nearest] <= 1.5 * width_px:
                return nearest
        nodes.append(point)
        return len(nodes) - 1

    for trace in traces:
        runs = _runs(trace)
        first = node_at(trace.start_px)
        at = first
        for index, run in enumerate(runs):
            last = index == len(runs) - 1
            after = first if last and trace.closed else node_at((float(run[-1, 0]), float(run[-1, 1])))
            points = run.copy()
            points[0], points[-1] = nodes[at], nodes[after]
            links.append(Link(at, after, points, TRACE_SIGMA_PX, width_px))
            at = after
    return Strokes(np.array(nodes, dtype=float).reshape(-1, 2), _kinds(strokes, len(nodes), links), tuple(links))


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


def _kinds(strokes: Strokes, count: int, links: Sequence[Link]) -> NDArray[np.uint8]:
    """Kinds of all nodes: those a trace has touched follow from how many links now meet there."""
    degree_before = np.zeros(count, dtype=int)
    degree = np.zeros(count, dtype=int)
    for index, link in enumerate(links):
        for node in (link.start, link.end):
            degree[node] += 1
            degree_before[node] += index < len(strokes.links)
    kinds = np.full(count, NodeKind.CORNER, dtype=np.uint8)
    kinds[: len(strokes.kinds)] = strokes.kinds
    touched = degree != degree_before
    kinds[touched & (degree == 1)] = NodeKind.END
    kinds[touched & (degree == 2)] = NodeKind.CORNER
    kinds[touched & (degree >= 3)] = NodeKind.JUNCTION
    for link in links[len(strokes.links) :]:
        if link.start == link.end and degree[link.start] == 2:
            kinds[link.start] = NodeKind.LOOP
    return kinds
