"""A closed walk or an open line in mm, cut at its corners into runs that are smooth."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from digitize.continuation import LineGraph, Side
from digitize.runs import lengths_along, median_of, step_lengths
from digitize.strokes import NodeKind, PlanStrokes
from digitize.turns import NEAR_JUNCTION_WIDTHS, Corner, corner_between, is_corner, mm_per_px

NEAR_CORNER_WIDTHS = 1.0
"""Points closer to a corner than this, in line widths, are bent by the other side."""


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
    corners = [is_corner(graph, side, after) for side, after in pairs]
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
    at = [
        corner_between(graph, plan, [*turned[end:], *turned[:end]], [*turned[end:], *turned[:end]])
        for end in np.cumsum([len(run) for run in runs]).tolist()
    ]
    runs, at = _without_merging(graph, plan, runs, at)
    return [
        _section(graph, plan, run, before, after)
        for run, before, after in zip(runs, [at[-1], *at[:-1]], at, strict=True)
    ]


def _without_merging(
    graph: LineGraph, plan: PlanStrokes, runs: list[list[Side]], at: list[Corner]
) -> tuple[list[list[Side]], list[Corner]]:
    """The runs and the corners at their ends, without the corners that lie within a tip's bent stretch."""
    done = False
    while not done and len(runs) > 2:
        done = True
        for which, run in enumerate(runs):
            before, after = at[which - 1], at[which]
            tip, other = (before, which) if before.clear_mm >= after.clear_mm else (after, which - 1)
            points = np.concatenate([plan.links_mm[side >> 1] for side in run])
            if np.hypot(*(points - tip.at_mm).T).max() >= tip.clear_mm:
                continue
            # Corner `other` lies at the end of run `other`: that run and its next become one.
            other %= len(runs)
            following = (other + 1) % len(runs)
            joined = runs[other] + runs[following]
            keep = [k for k in range(len(runs)) if k not in (other, following)]
            order = sorted([*keep, following])
            runs = [joined if k == following else runs[k] for k in order]
            at = [at[k] for k in order]
            done = False
            break
    return runs, at


def open_sections(graph: LineGraph, plan: PlanStrokes, walk: Sequence[Side]) -> list[Section]:
    """Cut an open line at its corners."""
    runs: list[list[Side]] = [[]]
    for side, after in pairwise(walk):
        runs[-1].append(side)
        if is_corner(graph, side, after):
            runs.append([])
    runs[-1].append(walk[-1])
    at = [Corner(plan.links_mm[walk[0] >> 1][-1 if walk[0] & 1 else 0], 0.0)]
    at += [corner_between(graph, plan, run, after) for run, after in pairwise(runs)]
    at.append(Corner(plan.links_mm[walk[-1] >> 1][0 if walk[-1] & 1 else -1], 0.0))
    return [_section(graph, plan, run, at[i], at[i + 1]) for i, run in enumerate(runs)]


def _section(
    graph: LineGraph,
    plan: PlanStrokes,
    run: Sequence[Side],
    before: Corner | None,
    after: Corner | None,
) -> Section:
    links = [graph.strokes.links[side >> 1] for side in run]
    scales = [mm_per_px(plan, side >> 1) for side in run]
    step_mm = median_of(scales)
    pieces = []
    for side, link, scale in zip(run, links, scales, strict=True):
        points = plan.links_mm[side >> 1]
        kinds = graph.strokes.kinds[[link.start, link.end]]
        kept = _trimmed(points, kinds, link.width_px * scale)
        pieces.append(kept[::-1] if side & 1 else kept)
    points = np.concatenate(pieces)
    closed = before is None
    if before is not None and after is not None:
        points = _clear(points, before, after)
    else:
        points = np.vstack([points, points[:1]])
    moved = np.concatenate([[True], step_lengths(points) > 1e-3 * step_mm])
    if len(points) > 1 and not moved[-1] and moved[:-1].sum() > 1:
        moved[np.flatnonzero(moved)[-1]], moved[-1] = False, True
    points = points[moved]
    even, weights = _evenly(points, step_mm, is_end_corner=not closed)
    if closed:
        even, weights = even[:-1], weights[:-1]
    weight_px = np.array([len(link.points_px) for link in links], dtype=float)
    sizes_mm = np.array([(link.sigma_px, link.width_px) for link in links]) * np.array(scales)[:, None]
    sigma_mm, width_mm = ((sizes_mm[:, which] * weight_px).sum() / weight_px.sum() for which in (0, 1))
    return Section(even, weights, float(sigma_mm), float(width_mm), closed)


BENT_WIDTHS = {NodeKind.JUNCTION.value: NEAR_JUNCTION_WIDTHS, NodeKind.LOOP.value: 0.0, NodeKind.END.value: 0.0}
"""How much of a line another one bends at a node of each kind, in line widths; at the others NEAR_CORNER_WIDTHS."""


def _trimmed(points: NDArray[np.float64], kinds: NDArray[np.uint8], width_mm: float) -> NDArray[np.float64]:
    """A link's points without those that another line bends."""
    along = lengths_along(points)
    cut = [BENT_WIDTHS.get(kind, NEAR_CORNER_WIDTHS) * width_mm for kind in kinds.tolist()]
    total = float(along[-1])
    if sum(cut) > 0.5 * total:
        cut = [c * 0.5 * total / sum(cut) for c in cut]
    kept = points[(along >= cut[0]) & (along <= total - cut[1])]
    return kept if len(kept) else points[len(points) // 2 : len(points) // 2 + 1]


def _clear(points: NDArray[np.float64], before: Corner, after: Corner) -> NDArray[np.float64]:
    """The points between two corners that neither bends, and the corners."""
    from_before, from_after = (np.hypot(*(points - corner.at_mm).T) for corner in (before, after))
    kept = (from_before > before.clear_mm) & (from_after > after.clear_mm)
    if not kept.any():
        kept = np.ones(len(points), dtype=bool)
    return np.vstack([before.at_mm, points[kept], after.at_mm])


GAP_STEPS = 2.5
"""Points farther apart than this many steps have nothing measured between them."""


def _evenly(
    points: NDArray[np.float64], step_mm: float, *, is_end_corner: bool
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Points at equal steps along a polyline, its gaps filled by curves, and weights: 0 in the gaps."""
    lengths = step_lengths(points)
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
    along = lengths_along(joined)
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
