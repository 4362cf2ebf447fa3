"""Paths in mm from the curves that a vector page itself draws."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from digitize.circle_fit import fit_circle
from digitize.continuation import LineGraph, points_from
from digitize.faces import Walk
from digitize.fit import Contour, Fitted, fit_contours
from digitize.own_curve import Floats, OwnCurve, closed_up, joined, leaving, points_at
from digitize.sections import Section
from digitize.strokes import PlanStrokes
from digitize.vector_runs import CORNER_RAD
from drawing.paths import Arc, Cubic, Line, Path, Point, Segment, polyline

FACETS = 4
"""So many short straight steps in a row, turning a little from each to the next, stand for a curve."""

LONG_STEP = 3.0
"""A straight piece so many times as long as those beside it is a side, not a step of a curve."""

IN_LINE_MM = 0.0005
"""Straight pieces that stray by less from one line are one."""

ROUND_MM = 0.002
"""Cubics within this of one circle were drawn for it: four of them are, up to 7 mm radius (2.7e-4 of the radius)."""

STEP_MM = 0.08
"""Points along steps that stand for a curve lie about this far apart on the plan."""

SIGMA_MM = 0.0005
"""One-sigma error of such a point: the page's last digits."""


def has_own_curves(plan: PlanStrokes) -> bool:
    """Tell whether the lines are a vector page's own."""
    return any(link.own is not None for link in plan.strokes.links)


def own_paths(
    graph: LineGraph, plan: PlanStrokes, walks: Sequence[Walk], *, closed: bool, tolerance_mm: float
) -> list[Fitted]:
    """Give the page's own curves along walks.

    Lines and cubics stay what they are, those cut where others cross made whole again; cubics drawn for a circle become
    arcs; short straight steps that stand for a curve give way to one within the tolerance.

    Parameters
    ----------
    graph : LineGraph
    plan : PlanStrokes
    walks : sequence of Walk
        Lines without a curve of their own, traced by hand for one, count as straight steps from point to point.
    closed : bool
        Whether the walks come back to their start.
    tolerance_mm : float

    Returns
    -------
    list of Fitted
    """
    to_mm = _affine(plan)
    parts = [_parts(_pieces(graph, walk, to_mm, closed=closed), closed=closed) for walk in walks]
    steps = [part for each in parts for part in each if isinstance(part, _Steps)]
    fits = iter(_smooth(steps, tolerance_mm))
    return [_path([next(fits) if isinstance(part, _Steps) else part for part in each], closed) for each in parts]


@dataclass(frozen=True, slots=True)
class _Affine:
    """Picture px to plan mm on a page: no lens, no tilt."""

    matrix: Floats
    shift_mm: Floats

    def __call__(self, points_px: Floats) -> Floats:
        mapped: Floats = points_px @ self.matrix + self.shift_mm
        return mapped


FIT_POINTS = 2000
"""Points from which the page's map is told."""


def _affine(plan: PlanStrokes) -> _Affine:
    """The map from px to mm, from strokes mapped by it: exact as straight and parallel lines stay so."""
    # Points from all along: the start, middle and end of a page's one closed curve lie on a line, which tells no map.
    px = np.concatenate([link.points_px for link in plan.strokes.links])
    mm = np.concatenate(plan.links_mm)
    some = np.unique(np.linspace(0, len(px) - 1, min(len(px), FIT_POINTS)).astype(int))
    middle_px, middle_mm = px[some].mean(axis=0), mm[some].mean(axis=0)
    matrix = np.linalg.lstsq(px[some] - middle_px, mm[some] - middle_mm, rcond=None)[0]
    return _Affine(matrix, middle_mm - middle_px @ matrix)


@dataclass(frozen=True, slots=True)
class _Pieces:
    """Cubics (K, 4, 2) mm end to end, and which are straight."""

    controls_mm: Floats
    straight: NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class _Steps:
    """Straight steps (N, 2) mm that stand for a curve; a closed curve repeats its first point."""

    points_mm: Floats
    closed: bool


@dataclass(frozen=True, slots=True)
class _Done:
    start_mm: Point
    segments: tuple[Segment, ...]
    deviation_mm: float


_Part = _Steps | _Done


def _pieces(graph: LineGraph, walk: Walk, to_mm: _Affine, *, closed: bool) -> _Pieces:
    curves = []
    for side in walk:
        own = graph.strokes.links[side >> 1].own
        if own is None:
            own = _stepped(points_from(graph.strokes, side))
        elif side & 1:
            own = own.reversed()
        curves.append(own)
    whole = closed_up(joined(curves)) if closed else joined(curves)
    controls = to_mm(whole.pieces_px().reshape(-1, 2)).reshape(-1, 4, 2)
    # Ends moved onto each other, and places joined, meet in their middle; a gap is drawn across.
    controls, straight = _without_breaks(controls, whole.straight)
    return _Pieces(*_in_line(controls, straight))


def _stepped(points_px: Floats) -> OwnCurve:
    """A line without a curve of its own, as straight steps."""
    a, b = points_px[:-1], points_px[1:]
    controls = np.stack([a, a + (b - a) / 3, a + (b - a) * (2 / 3), b], axis=1)
    count = len(controls)
    return OwnCurve(
        controls,
        np.ones(count, dtype=np.bool_),
        np.full(count, -1),
        np.tile([0.0, 1.0], (count, 1)),
        np.zeros(count, dtype=np.bool_),
    )


MEETS_MM = 0.06
"""Pieces that end this near each other on a page's plan were meant to meet; farther apart a line joins them."""


def _without_breaks(controls: Floats, straight: NDArray[np.bool_]) -> tuple[Floats, NDArray[np.bool_]]:
    moved = controls.copy()
    extra: list[tuple[int, Floats]] = []
    for at in range(len(controls) - 1):
        gap = controls[at + 1, 0] - controls[at, 3]
        if not gap.any():
            continue
        if np.hypot(*gap) <= MEETS_MM:
            middle = controls[at, 3] + gap / 2
            moved[at, 3] = moved[at + 1, 0] = middle
        else:
            extra.append((at + 1, controls[at, 3] + np.outer([0, 1 / 3, 2 / 3, 1], gap)))
    for at, line in reversed(extra):
        moved = np.insert(moved, at, line, axis=0)
        straight = np.insert(straight, at, True)
    return moved, straight


def _in_line(controls: Floats, straight: NDArray[np.bool_]) -> tuple[Floats, NDArray[np.bool_]]:
    """The same with straight pieces that lie on one line made one, and those without length left out."""
    kept: list[Floats] = []
    lines: list[bool] = []
    # Corners passed by the line that is being drawn out.
    passed: list[Floats] = []
    for control, is_line in zip(controls, straight.tolist(), strict=True):
        if is_line and (control[0] == control[3]).all():
            continue
        if is_line and kept and lines[-1] and _on_one_line(kept[-1][0], [*passed, control[0]], control[3]):
            passed.append(control[0])
            kept[-1] = np.array([kept[-1][0], kept[-1][1], kept[-1][2], control[3]])
            continue
        passed = []
        kept.append(control)
        lines.append(is_line)
    return np.array(kept).reshape(-1, 4, 2), np.array(lines, dtype=np.bool_)


def _on_one_line(start: Floats, between: list[Floats], end: Floats) -> bool:
    way = end - start
    long = float(np.hypot(*way))
    if long == 0:
        return False
    off = np.array(between) - start
    along = off @ way / long
    across = off @ np.array([-way[1], way[0]]) / long
    return bool(np.abs(across).max() <= IN_LINE_MM and along.min() >= 0 and along.max() <= long)


def _parts(pieces: _Pieces, *, closed: bool) -> list[_Part]:
    """Pieces grouped: sides and curves to stay, circles, and steps to be smoothed."""
    controls, straight = pieces.controls_mm, pieces.straight
    count = len(controls)
    if count == 0:
        return []
    kinds, begins = _kinds(controls, straight, closed=closed)
    if closed:
        if not begins.any():
            return [_whole(controls, kinds[0])]
        # A closed walk begins where a group does.
        first = int(begins.argmax())
        controls, begins = np.roll(controls, -first, axis=0), np.roll(begins, -first)
        kinds = kinds[first:] + kinds[:first]
    parts: list[_Part] = []
    heads = [*np.flatnonzero(begins).tolist(), count]
    for at, end in pairwise(heads):
        group = controls[at:end]
        if kinds[at] == "steps" and end - at >= FACETS:
            parts.append(_Steps(np.vstack([group[:, 0], group[-1:, 3]]), False))
        elif kinds[at] == "curve":
            parts += _curves(group)
        else:
            parts.append(_lines(group))
    return parts


def _kinds(controls: Floats, straight: NDArray[np.bool_], *, closed: bool) -> tuple[list[str], NDArray[np.bool_]]:
    """What each piece is, "side", "steps" or "curve", and at which a group begins: at corners, or with another kind."""
    count = len(controls)
    turns = np.full(count, np.inf)
    for at in range(0 if closed else 1, count):
        back, on = leaving(controls[at - 1, ::-1]), leaving(controls[at])
        turns[at] = math.pi - abs(math.atan2(float(back[0] * on[1] - back[1] * on[0]), float(back @ on)))
    smooth_before = turns <= CORNER_RAD
    smooth_after = np.append(smooth_before[1:], smooth_before[0] if closed else False)
    long = np.hypot(*(controls[:, 3] - controls[:, 0]).T)
    is_step_before = smooth_before & straight & np.roll(straight, 1)
    is_step_after = smooth_after & straight & np.roll(straight, -1)
    beside = np.maximum(
        np.where(is_step_before, np.roll(long, 1), 0.0), np.where(is_step_after, np.roll(long, -1), 0.0)
    )
    is_step = straight & (is_step_before | is_step_after) & (long <= LONG_STEP * beside)
    kinds = np.where(straight, np.where(is_step, "steps", "side"), "curve")
    begins = ~smooth_before | (kinds == "side") | (kinds != np.roll(kinds, 1))
    if not closed:
        begins[0] = True
    return kinds.tolist(), begins


def _whole(controls: Floats, kind: str) -> _Part:
    """A closed walk of one kind of piece without a corner."""
    if kind == "steps" and len(controls) >= FACETS:
        return _Steps(np.vstack([controls[:, 0], controls[-1:, 3]]), True)
    if kind == "curve":
        points = _along(controls)
        circle = fit_circle(points, np.ones(len(points)))
        if circle is not None and np.abs(circle.off_mm(points)).max() <= ROUND_MM:
            x, y = points[:, 0], points[:, 1]
            turn = 1.0 if x @ np.roll(y, -1) - y @ np.roll(x, -1) > 0 else -1.0
            (cx, cy), radius = circle.centre_mm.tolist(), circle.radius_mm
            left, right = (cx - radius, cy), (cx + radius, cy)
            deviation = float(np.abs(circle.off_mm(points)).max())
            return _Done(right, (Arc(left, turn), Arc(right, turn)), deviation)
        return _Done(_point(controls[0, 0]), tuple(map(_cubic, controls)), 0.0)
    return _lines(controls)


def _lines(controls: Floats) -> _Done:
    return _Done(_point(controls[0, 0]), tuple(Line(_point(control[3])) for control in controls), 0.0)


def _curves(controls: Floats) -> list[_Part]:
    """Cubics end to end: each longest row of them that lies on one circle as an arc, the others as they are."""
    parts: list[_Part] = []
    at = 0
    while at < len(controls):
        best, end = None, at
        while end < len(controls):
            arc = _arc(controls[at : end + 1])
            if arc is None:
                break
            best, end = arc, end + 1
        if best is None:
            parts.append(_Done(_point(controls[at, 0]), (_cubic(controls[at]),), 0.0))
            at += 1
        else:
            parts.append(best)
            at = end
    return parts


ALONG = np.linspace(0, 1, 9)
"""Parameters at which a cubic is compared with a circle."""


def _along(controls: Floats) -> Floats:
    count = len(controls)
    return points_at(np.repeat(controls, len(ALONG), axis=0), np.tile(ALONG, count))


MOST_ARC_RAD = 1.9 * math.pi
"""A longer arc's ends are so near each other that its radius would hang on their last digits."""


def _arc(controls: Floats) -> _Done | None:
    """One arc for cubics on one circle."""
    points = _along(controls)
    circle = fit_circle(points, np.ones(len(points)))
    if circle is None:
        return None
    off = float(np.abs(circle.off_mm(points)).max())
    if off > ROUND_MM:
        return None
    way = points - circle.centre_mm
    angle = np.unwrap(np.arctan2(way[:, 1], way[:, 0]))
    sweep = float(angle[-1] - angle[0])
    monotone = bool((np.diff(angle) * np.sign(sweep) >= -1e-9).all())
    if not monotone or not 0 < abs(sweep) <= MOST_ARC_RAD:
        return None
    return _Done(_point(points[0]), (Arc(_point(points[-1]), math.tan(sweep / 4)),), off)


def _smooth(steps: Sequence[_Steps], tolerance_mm: float) -> list[_Done]:
    """Curves for rows of steps; the steps themselves where a curve within the tolerance takes as many pieces."""
    contours = []
    for each in steps:
        points = _evenly(each.points_mm)
        if each.closed:
            points = points[:-1]
        contours.append(Contour([Section(points, np.ones(len(points)), SIGMA_MM, 0.0, each.closed)], each.closed))
    done = []
    for each, fit in zip(steps, fit_contours(contours, tolerance_mm=tolerance_mm), strict=True):
        if fit.deviation_mm > tolerance_mm or len(fit.path.segments) >= len(each.points_mm) - 1:
            plain = polyline(each.points_mm[:-1] if each.closed else each.points_mm, closed=each.closed)
            done.append(_Done(plain.start_mm, plain.segments, 0.0))
        else:
            done.append(_Done(fit.path.start_mm, fit.path.segments, fit.deviation_mm))
    return done


def _evenly(points: Floats) -> Floats:
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    at = np.linspace(0, along[-1], max(FACETS * 4, math.ceil(along[-1] / STEP_MM) + 1))
    return np.column_stack([np.interp(at, along, points[:, axis]) for axis in (0, 1)])


def _path(parts: Sequence[_Part], closed: bool) -> Fitted:
    done = [part for part in parts if isinstance(part, _Done)]
    segments = [segment for part in done for segment in part.segments]
    start = done[0].start_mm
    if closed:
        last = segments[-1].end_mm
        if math.hypot(last[0] - start[0], last[1] - start[1]) > MEETS_MM:
            segments.append(Line(start))
        else:
            segments[-1] = _ending(segments[-1], start)
    return Fitted(Path(start, tuple(segments), closed), max(part.deviation_mm for part in done))


def _ending(segment: Segment, at: Point) -> Segment:
    match segment:
        case Line():
            return Line(at)
        case Arc():
            return Arc(at, segment.bulge)
        case Cubic():
            return Cubic(segment.control1_mm, segment.control2_mm, at)


def _cubic(control: Floats) -> Cubic:
    return Cubic(_point(control[1]), _point(control[2]), _point(control[3]))


def _point(at: Floats) -> Point:
    return float(at[0]), float(at[1])
