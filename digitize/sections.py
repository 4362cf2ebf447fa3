"""A closed walk or an open line in mm, cut at its corners into runs that are smooth."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from digitize.circle_fit import fit_circle
from digitize.continuation import LineGraph, Side, length_px
from digitize.straight_fit import fit_straight
from digitize.strokes import NodeKind, PlanStrokes

NEAR_JUNCTION_WIDTHS = 1.5
"""Points closer to a junction than this, in line widths, are bent by the line that joins there."""

NEAR_CORNER_WIDTHS = 1.0
"""Points closer to a corner than this, in line widths, are bent by the other side."""

CORNER_RAD = math.radians(16)
"""At a junction a larger turn is a corner: directions there err by a few degrees, and a smaller turn, rounded off
between points one and a half line widths away, stays within a fifth of a line width."""

SIDE_WIDTHS = 8.0
"""A side's direction at a corner is taken over this many line widths: long against noise, short against curvature."""


@dataclass(frozen=True, slots=True)
class Section:
    """A smooth run: equally spaced `points_mm` (N, 2), `weights` (N,) 1 where measured and 0 where filled in.

    An open run starts and ends at corners (or free ends), a closed one does not repeat its first
    point. `sigma_mm` is the one-sigma error of a point, `width_mm` the ink's width.
    """

    points_mm: NDArray[np.float64]
    weights: NDArray[np.float64]
    sigma_mm: float
    width_mm: float
    closed: bool


def closed_sections(graph: LineGraph, plan: PlanStrokes, walk: Sequence[Side]) -> list[Section]:
    """Cut a closed walk at its corners; a smooth one gives a single closed section."""
    pairs = list(zip(walk, [*walk[1:], walk[0]], strict=True))
    corners = [_is_corner(graph, side, after) for side, after in pairs]
    if not any(corners):
        return [_section(graph, plan, walk, None, None)]
    first = corners.index(True) + 1
    turned = [*walk[first:], *walk[:first]]
    ends_here = [*corners[first:], *corners[:first]]
    runs: list[list[Side]] = [[]]
    for side, is_end in zip(turned, ends_here, strict=True):
        runs[-1].append(side)
        if is_end:
            runs.append([])
    runs.pop()
    at = [_corner_mm(graph, plan, run[-1], after[0]) for run, after in zip(runs, [*runs[1:], runs[0]], strict=True)]
    return [
        _section(graph, plan, run, before, after)
        for run, before, after in zip(runs, [at[-1], *at[:-1]], at, strict=True)
    ]


def open_sections(graph: LineGraph, plan: PlanStrokes, walk: Sequence[Side]) -> list[Section]:
    """Cut an open line at its corners."""
    runs: list[list[Side]] = [[]]
    for side, after in pairwise(walk):
        runs[-1].append(side)
        if _is_corner(graph, side, after):
            runs.append([])
    runs[-1].append(walk[-1])
    at = [plan.links_mm[walk[0] >> 1][-1 if walk[0] & 1 else 0]]
    at += [_corner_mm(graph, plan, run[-1], after[0]) for run, after in pairwise(runs)]
    at.append(plan.links_mm[walk[-1] >> 1][0 if walk[-1] & 1 else -1])
    return [_section(graph, plan, run, at[i], at[i + 1]) for i, run in enumerate(runs)]


def mm_per_px(plan: PlanStrokes, link: int) -> float:
    """Scale along a link."""
    px = length_px(plan.strokes.links[link].points_px)
    return length_px(plan.links_mm[link]) / px if px else 0.0


def _is_corner(graph: LineGraph, side: Side, after: Side) -> bool:
    """Tell whether a walk turns sharply from one link to the next."""
    arrives = side ^ 1
    link = graph.strokes.links[side >> 1]
    kind = graph.strokes.kinds[link.start if side & 1 else link.end]
    is_alone = bool(np.isnan(graph.leaving_rad[arrives]))
    if is_alone and kind != NodeKind.JUNCTION:
        return bool(kind != NodeKind.LOOP)
    if is_alone:
        turn = _side_turn_rad(graph, arrives, after)
    else:
        turn = abs((graph.leaving_rad[arrives] - graph.leaving_rad[after]) % (2 * math.pi) - math.pi)
    return turn > CORNER_RAD and not _is_round(graph, arrives, after)


ROUND_LOOK_WIDTHS = 4.5
"""Points up to here, in line widths, tell a rounded nose from a corner: 1 mm of a 0.25 mm line."""

ROUND_STRAY_WIDTHS = 0.06
"""Root mean square distance from one circle, in line widths, up to which both sides of a node are one smooth line.
A corner of 30° strays by 0.08, a right angle by 0.3; thinning and noise by 0.03 to 0.05."""


def _is_round(graph: LineGraph, arrives: Side, after: Side) -> bool:
    """Tell whether the points on both sides of a node, those nearest left out, lie on one circle."""
    near = []
    widths = []
    for side in (arrives, after):
        width_px = graph.strokes.links[side >> 1].width_px
        points = _points(graph, side)[: int(2 * ROUND_LOOK_WIDTHS * width_px) + 2]
        far = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
        picked = points[(far >= width_px) & (far <= ROUND_LOOK_WIDTHS * width_px)]
        if len(picked) < 3:
            return False
        near.append(picked)
        widths.append(width_px)
    back, on = near
    both = np.concatenate([back[::-1], on])
    allowed_px = ROUND_STRAY_WIDTHS * max(widths) + graph.strokes.links[after >> 1].sigma_px
    circle = fit_circle(both, np.ones(len(both)))
    if circle is None:
        line = fit_straight(both, np.ones(len(both)))
        return bool(np.sqrt((line.off_mm(both) ** 2).mean()) <= allowed_px)
    way = both - circle.centre_mm
    stray_px = float(np.sqrt(((np.hypot(*way.T) - circle.radius_mm) ** 2).mean()))
    # The points must run on around the circle, not back along it as the sides of a sharp tip do.
    turned = way[1:, 1] * way[:-1, 0] - way[1:, 0] * way[:-1, 1]
    gap = len(back) - 1
    return stray_px <= allowed_px and bool(np.sign(turned[gap]) == np.sign(turned.sum()))


def _side_turn_rad(graph: LineGraph, arrives: Side, after: Side) -> float:
    """Turn between the sides at a node that only two lines are left at."""
    back, on = (_side_line(_points(graph, s), graph.strokes.links[s >> 1].width_px)[1] for s in (arrives, after))
    return math.pi - math.acos(float(np.clip(back @ on, -1, 1)))


def _points(graph: LineGraph, side: Side) -> NDArray[np.float64]:
    points = graph.strokes.links[side >> 1].points_px
    return points[::-1] if side & 1 else points


def _side_line(points: NDArray[np.float64], width: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """A point on a side near its start and its unit direction away from there."""
    far = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    picked = (far >= NEAR_JUNCTION_WIDTHS * width) & (far <= (NEAR_JUNCTION_WIDTHS + SIDE_WIDTHS) * width)
    used = points[picked] if picked.sum() >= 3 else points
    middle = used.mean(axis=0)
    direction = np.linalg.svd(used - middle, full_matrices=False)[2][0]
    if direction @ (used[-1] - used[0]) < 0:
        direction = -direction
    return middle, direction


def _corner_mm(graph: LineGraph, plan: PlanStrokes, side: Side, after: Side) -> NDArray[np.float64]:
    """Where two sides meet: the node's place at a true corner, at a junction the crossing of the sides."""
    link = graph.strokes.links[side >> 1]
    node = link.start if side & 1 else link.end
    if graph.strokes.kinds[node] != NodeKind.JUNCTION:
        return np.asarray(plan.nodes_mm[node])
    scale = mm_per_px(plan, side >> 1)
    width_mm = link.width_px * scale
    ends = (plan.links_mm[side >> 1][:: 1 if side & 1 else -1], plan.links_mm[after >> 1][:: -1 if after & 1 else 1])
    other = graph.strokes.links[after >> 1]
    nodes = (node, other.end if after & 1 else other.start)
    centre = (plan.nodes_mm[nodes[0]] + plan.nodes_mm[nodes[1]]) / 2
    (a, u), (b, v) = (_side_line(points, width_mm) for points in ends)
    cross = float(u[0] * v[1] - u[1] * v[0])
    opening_rad = math.acos(float(np.clip(u @ v, -1, 1)))
    if abs(cross) < math.sin(math.radians(4)):
        return np.asarray(centre)
    along = float((b - a)[0] * v[1] - (b - a)[1] * v[0]) / cross
    met: NDArray[np.float64] = a + along * u
    # Two sides run as one line until they are a line width apart: their corner lies that much farther out.
    beyond_mm = width_mm / (2 * math.tan(opening_rad / 2))
    if np.hypot(*(met - centre)) <= 2 * width_mm + 1.5 * beyond_mm:
        return met
    if opening_rad < math.radians(45):
        bisector = -(u + v) / np.hypot(*(u + v))
        return np.asarray(centre + bisector * beyond_mm)
    return np.asarray(centre)


def _section(
    graph: LineGraph,
    plan: PlanStrokes,
    run: Sequence[Side],
    start_mm: NDArray[np.float64] | None,
    end_mm: NDArray[np.float64] | None,
) -> Section:
    links = [graph.strokes.links[side >> 1] for side in run]
    scales = [mm_per_px(plan, side >> 1) for side in run]
    step_mm = float(np.median(scales))
    pieces = []
    if start_mm is not None:
        pieces.append(start_mm[None, :])
    for side, link, scale in zip(run, links, scales, strict=True):
        points = plan.links_mm[side >> 1]
        kinds = graph.strokes.kinds[[link.start, link.end]]
        kept = _trimmed(points, kinds, link.width_px * scale)
        pieces.append(kept[::-1] if side & 1 else kept)
    if end_mm is not None:
        pieces.append(end_mm[None, :])
    points = np.concatenate(pieces)
    closed = start_mm is None
    if closed:
        points = np.vstack([points, points[:1]])
    moved = np.concatenate([[True], np.hypot(*np.diff(points, axis=0).T) > 1e-3 * step_mm])
    if len(points) > 1 and not moved[-1] and moved[:-1].sum() > 1:
        moved[np.flatnonzero(moved)[-1]], moved[-1] = False, True
    points = points[moved]
    even, weights = _evenly(points, step_mm, is_end_corner=not closed)
    if closed:
        even, weights = even[:-1], weights[:-1]
    weight_px = np.array([len(link.points_px) for link in links], dtype=float)
    sigma_mm = float(np.average([k.sigma_px * s for k, s in zip(links, scales, strict=True)], weights=weight_px))
    width_mm = float(np.average([k.width_px * s for k, s in zip(links, scales, strict=True)], weights=weight_px))
    return Section(even, weights, sigma_mm, width_mm, closed)


def _trimmed(points: NDArray[np.float64], kinds: NDArray[np.uint8], width_mm: float) -> NDArray[np.float64]:
    """A link's points without those that another line bends."""
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    cut = [
        {NodeKind.JUNCTION: NEAR_JUNCTION_WIDTHS, NodeKind.LOOP: 0.0, NodeKind.END: 0.0}.get(
            NodeKind(kind), NEAR_CORNER_WIDTHS
        )
        * width_mm
        for kind in kinds.tolist()
    ]
    total = float(along[-1])
    if sum(cut) > 0.5 * total:
        cut = [c * 0.5 * total / sum(cut) for c in cut]
    kept = points[(along >= cut[0]) & (along <= total - cut[1])]
    return kept if len(kept) else points[len(points) // 2 : len(points) // 2 + 1]


GAP_STEPS = 2.5
"""Points farther apart than this many steps have nothing measured between them."""


def _evenly(
    points: NDArray[np.float64], step_mm: float, *, is_end_corner: bool
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Points at equal steps along a polyline, its gaps filled by curves, and weights: 0 in the gaps."""
    lengths = np.hypot(*np.diff(points, axis=0).T)
    is_gap = lengths > GAP_STEPS * step_mm
    if is_end_corner and len(is_gap) > 2:
        is_gap[[0, -1]] = True
    pieces = [points[:1]]
    gaps = [np.zeros(1, dtype=bool)]
    before = 0
    for at in np.flatnonzero(is_gap).tolist():
        pieces.append(points[before + 1 : at + 1])
        gaps.append(np.zeros(at - before, dtype=bool))
        bridge = _bridge(points, at, step_mm) if 0 < at < len(points) - 2 else points[at : at + 2]
        pieces.append(bridge[1:])
        gaps.append(np.ones(len(bridge) - 1, dtype=bool))
        before = at + 1
    pieces.append(points[before + 1 :])
    gaps.append(np.zeros(len(points) - before - 1, dtype=bool))
    joined = np.concatenate(pieces)
    filled = np.concatenate(gaps)
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(joined, axis=0).T))])
    count = max(2, round(float(along[-1]) / step_mm) + 1)
    at_mm = np.linspace(0, along[-1], count)
    even = np.column_stack([np.interp(at_mm, along, joined[:, axis]) for axis in (0, 1)])
    after = np.clip(np.searchsorted(along, at_mm, side="left"), 1, len(along) - 1)
    weights = np.where(filled[after], 0.0, 1.0)
    if weights.sum() < 0.3 * count:
        weights = np.ones(count)
    return even, weights


def _bridge(points: NDArray[np.float64], at: int, step_mm: float) -> NDArray[np.float64]:
    """A Hermite curve over the gap after a point, along the line on either side of it."""
    start, end = points[at], points[at + 1]
    gap = float(np.hypot(*(end - start)))
    back, ahead = points[max(0, at - 10) : at + 1], points[at + 1 : at + 12]
    d0 = start - back.mean(axis=0) if len(back) > 3 else end - start
    d1 = ahead.mean(axis=0) - end if len(ahead) > 3 else end - start
    d0, d1 = (d / np.hypot(*d) if np.hypot(*d) > 0 else (end - start) / gap for d in (d0, d1))
    t = np.linspace(0, 1, max(3, math.ceil(gap / step_mm) + 1))[:, None]
    bridge: NDArray[np.float64] = (
        (1 + 2 * t) * (1 - t) ** 2 * start
        + t * (1 - t) ** 2 * gap * d0
        + t * t * (3 - 2 * t) * end
        - t * t * (1 - t) * gap * d1
    )
    return bridge
