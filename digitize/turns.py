"""Where a walk along lines turns: whether it is a corner, and where its two sides meet."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from digitize.circle_fit import fit_circle
from digitize.continuation import LineGraph, Side, length_px, points_from
from digitize.straight_fit import fit_straight
from digitize.strokes import NodeKind, PlanStrokes

NEAR_JUNCTION_WIDTHS = 1.5
"""Points closer to a junction than this, in line widths, are bent by the line that joins there."""

CORNER_RAD = math.radians(16)
"""At a junction a larger turn is a corner: directions there err by a few degrees, and a smaller turn, rounded off
between points one and a half line widths away, stays within a fifth of a line width."""

SIDE_WIDTHS = 8.0
"""A side's direction at a corner is taken over this many line widths: long against noise, short against curvature."""


@dataclass(frozen=True, slots=True)
class Corner:
    """Where two sides meet, mm, and how far from there points are bent by the other side or other lines."""

    at_mm: NDArray[np.float64]
    clear_mm: float


def is_corner(graph: LineGraph, side: Side, after: Side) -> bool:
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
        points = points_from(graph.strokes, side)[: int(2 * ROUND_LOOK_WIDTHS * width_px) + 2]
        far = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
        picked = points[(far >= width_px) & (far <= ROUND_LOOK_WIDTHS * width_px)]
        if len(picked) < 3:
            return False
        near.append(picked)
        widths.append(width_px)
    back, on = near
    both = np.concatenate([back[::-1], on])
    allowed_px = math.hypot(ROUND_STRAY_WIDTHS * max(widths), graph.strokes.links[after >> 1].sigma_px)
    circle = fit_circle(both, np.ones(len(both)))
    if circle is None:
        line = fit_straight(both, np.ones(len(both)))
        return bool(np.sqrt((line.off(both) ** 2).mean()) <= allowed_px)
    way = both - circle.centre_mm
    stray_px = float(np.sqrt(((np.hypot(*way.T) - circle.radius_mm) ** 2).mean()))
    # The points must run on around the circle, not back along it as the sides of a sharp tip do.
    turned = way[1:, 1] * way[:-1, 0] - way[1:, 0] * way[:-1, 1]
    gap = len(back) - 1
    return stray_px <= allowed_px and bool(np.sign(turned[gap]) == np.sign(turned.sum()))


def _side_turn_rad(graph: LineGraph, arrives: Side, after: Side) -> float:
    """Turn between the sides at a node that only two lines are left at."""
    back, on = (
        _side_line(points_from(graph.strokes, s), graph.strokes.links[s >> 1].width_px)[1] for s in (arrives, after)
    )
    return math.pi - math.acos(float(np.clip(back @ on, -1, 1)))


def corner_between(graph: LineGraph, plan: PlanStrokes, run: Sequence[Side], after: Sequence[Side]) -> Corner:
    """Where one run of a walk ends and the next starts.

    At a true corner that is the node. At a junction it is the crossing of the two sides, each carried on along its
    own line from where no other line bends it; two sides that meet at a sharp angle run as one line
    until they are a line width apart, so their crossing lies farther out than the junction.

    Parameters
    ----------
    run, after : sequences of Side
        The links before and after the corner, in the walk's order; past the next corner too, which at a
        sharp tip may be no more than where its sides begin to merge.
    """
    side, onward = run[-1], after[0]
    link = graph.strokes.links[side >> 1]
    node = link.start if side & 1 else link.end
    width_mm = link.width_px * mm_per_px(plan, side >> 1)
    kind = graph.strokes.kinds[node]
    if kind != NodeKind.JUNCTION:
        return Corner(plan.nodes_mm[node], 0.0)
    other = graph.strokes.links[onward >> 1]
    centre = (plan.nodes_mm[node] + plan.nodes_mm[other.end if onward & 1 else other.start]) / 2
    back = _away(graph, plan, [side ^ 1 for side in reversed(run)], width_mm)
    ahead = _away(graph, plan, after, width_mm)
    far = [_side_line(points, width_mm, near_widths=FAR_WIDTHS)[1] for points in (back, ahead)]
    opening_rad = _angle_rad(*far)
    sigma_mm = link.sigma_px * mm_per_px(plan, side >> 1)
    ways = [_side_curve(points, width_mm, sigma_mm) for points in (back, ahead)]
    if opening_rad < SHARP_RAD and _angle_rad(ways[0].way_at(centre), ways[1].way_at(centre)) < WIDE_RAD:
        return _sharp(back, ahead, centre, -(far[0] + far[1]), opening_rad, width_mm, sigma_mm)
    clear_mm = NEAR_JUNCTION_WIDTHS * width_mm
    met = centre
    for _ in range(MEETING_STEPS):
        (a, u), (b, v) = ((way.nearest(met), way.way_at(met)) for way in ways)
        cross = float(u[0] * v[1] - u[1] * v[0])
        if abs(cross) < math.sin(math.radians(4)):
            return Corner(centre, clear_mm)
        met = a + u * float((b - a)[0] * v[1] - (b - a)[1] * v[0]) / cross
        if float(np.hypot(*(met - centre))) > 2 * width_mm:
            return Corner(centre, clear_mm)
    return Corner(met, clear_mm)


SHARP_RAD, WIDE_RAD = math.radians(40), math.radians(60)
"""Sides that open less than this merge over more than a line's width; not those that open wide where they meet, and
bend to it farther back."""

MEETING_STEPS = 4
"""Steps after which two curves' crossing is found: each is Newton's."""


@dataclass(frozen=True, slots=True)
class _SideCurve:
    """A side as y = a + b x + c x² across its axis, which leads away from the corner."""

    origin_mm: NDArray[np.float64]
    axis: NDArray[np.float64]
    coefficients: NDArray[np.float64]

    def _x(self, point_mm: NDArray[np.float64]) -> float:
        return float((point_mm - self.origin_mm) @ self.axis)

    def nearest(self, point_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """The side's point abreast of another."""
        x = self._x(point_mm)
        across = np.array([-self.axis[1], self.axis[0]])
        found: NDArray[np.float64] = self.origin_mm + x * self.axis + (self.coefficients @ [1, x, x * x]) * across
        return found

    def way_at(self, point_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """Its unit direction there, away from the corner."""
        slope = self.coefficients[1] + 2 * self.coefficients[2] * self._x(point_mm)
        way = self.axis + slope * np.array([-self.axis[1], self.axis[0]])
        unit: NDArray[np.float64] = way / np.hypot(*way)
        return unit


SIDE_SPANS = (SIDE_WIDTHS, 5.0, 3.0, 2.0)
"""A side is told over so many line widths: over the most in which one straight line, or else one parabola, describes
it."""

SIDE_SIGMAS, SIDE_STRAY_WIDTHS = 1.5, 0.02
"""... to within so many sigma, and parts of the line's width, root mean square."""

LEAST_SIDE = 6
"""Points of a side from which its bend is told."""


def _side_curve(points: NDArray[np.float64], width_mm: float, sigma_mm: float) -> _SideCurve:
    """How a side runs up to its corner, from where no other line bends it."""
    middle, axis = _side_line(points, width_mm)
    far = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    near_mm = NEAR_JUNCTION_WIDTHS * width_mm
    allowed_mm = SIDE_SIGMAS * sigma_mm + SIDE_STRAY_WIDTHS * width_mm
    for span in SIDE_SPANS:
        used = points[(far >= near_mm) & (far <= near_mm + span * width_mm)]
        if len(used) < LEAST_SIDE:
            break
        away = used - middle
        x, y = away @ axis, away @ np.array([-axis[1], axis[0]])
        for degree in (1, 2):
            fit = np.polynomial.polynomial.polyfit(x, y, degree)
            rest_mm = float(np.sqrt(((y - np.polynomial.polynomial.polyval(x, fit)) ** 2).mean()))
            if rest_mm <= allowed_mm:
                return _SideCurve(middle, axis, np.append(fit, np.zeros(2 - degree)))
    return _SideCurve(middle, axis, np.zeros(3))


LEAST_OPENING_RAD = math.radians(3)
"""Sides that open less than this run side by side for ten line widths: where they meet cannot be told from them."""

FREE_SHARES = (0.0, 0.2, 0.4, 0.8, 1.4, 2.2)
"""Sides bend each other for so many merged lengths beyond it: until they are two widths apart; with a centre line
between them, until each is one and a half widths from it. The least that leaves them free is taken."""

TIP_STRAY_SIGMAS = 0.8
TIP_STRAY_WIDTHS = 0.004
"""Sides whose nearest points lie off their own parabola by more than so many sigma and widths together, on average,
are still bent there: at an opening of 8 degrees the tip moves by seven times as much."""

NEAREST = 8
"""So many points next to the tip tell whether a side is bent."""

FAR_WIDTHS = 4.0
"""Whether sides are sharp is told from points farther than this, in line widths: nearer ones turn into the junction."""


def _sharp(
    back: NDArray[np.float64],
    ahead: NDArray[np.float64],
    centre: NDArray[np.float64],
    outward: NDArray[np.float64],
    opening_rad: float,
    width_mm: float,
    sigma_mm: float,
) -> Corner:
    """The tip of two sides that open at a sharp angle: the crossing of parabolas along them."""
    axis = outward / np.hypot(*outward)
    merged_mm = width_mm / (2 * math.tan(max(opening_rad, LEAST_OPENING_RAD) / 2))
    allowed_mm = TIP_STRAY_SIGMAS * sigma_mm + TIP_STRAY_WIDTHS * width_mm
    for share in FREE_SHARES:
        bent_mm = max(NEAR_JUNCTION_WIDTHS * width_mm, share * merged_mm)
        long_mm = max(2 * SIDE_WIDTHS * width_mm, 1.5 * (bent_mm + merged_mm))
        fits = [_parabola(points - centre, axis, bent_mm, long_mm) for points in (back, ahead)]
        if all(fit is not None and fit.stray_mm <= allowed_mm for fit in fits):
            break
    reach_mm = merged_mm
    if fits[0] is not None and fits[1] is not None:
        roots = np.roots((fits[0].coefficients - fits[1].coefficients)[::-1])
        real = roots[np.isreal(roots)].real
        real = real[(real > -2 * width_mm) & (real < 2.5 * merged_mm + width_mm)]
        if len(real):
            reach_mm = float(real[np.abs(real).argmin()])
        across = np.array([-axis[1], axis[0]])
        off_mm = float(np.mean([fit.coefficients @ [1, reach_mm, reach_mm**2] for fit in fits if fit is not None]))
        return Corner(centre + reach_mm * axis + off_mm * across, reach_mm + bent_mm)
    return Corner(centre + reach_mm * axis, reach_mm + bent_mm)


def _parabola(
    points: NDArray[np.float64], axis: NDArray[np.float64], near_mm: float, long_mm: float
) -> "_Parabola | None":
    """The parabola through points from `near_mm` back along the axis, over `long_mm`."""
    x = points @ axis
    y = points @ np.array([-axis[1], axis[0]])
    used = (x < -near_mm) & (x > -near_mm - long_mm)
    if used.sum() < 6:
        return None
    x, y = x[used], y[used]
    coefficients = np.polynomial.polynomial.polyfit(x, y, 2)
    rest = y - np.polynomial.polynomial.polyval(x, coefficients)
    near = rest[np.argsort(x)[-NEAREST:]]
    return _Parabola(coefficients, abs(float(near.mean())))


@dataclass(frozen=True, slots=True)
class _Parabola:
    """Coefficients of y = a + b x + c x², and how far the points nearest the tip lie off it on average, mm."""

    coefficients: NDArray[np.float64]
    stray_mm: float


AWAY_WIDTHS = 80.0
"""Points are taken up to here, in line widths, along a side: past the merged stretch of the sharpest tip."""


HALF_LOOP = 0.45
"""And no farther than this share of what there is."""


def _away(graph: LineGraph, plan: PlanStrokes, run: Sequence[Side], width_mm: float) -> NDArray[np.float64]:
    """Points along a run away from its start, mm; those near junctions on the way left out."""
    pieces: list[NDArray[np.float64]] = []
    long_mm = 0.0
    for number, side in enumerate(run):
        points = plan.links_mm[side >> 1]
        points = points[::-1] if side & 1 else points
        long = length_px(points)
        if number:
            from_start = np.hypot(*(points - points[0]).T)
            points = points[from_start > NEAR_JUNCTION_WIDTHS * width_mm]
        if number < len(run) - 1 and len(points):
            from_end = np.hypot(*(points - points[-1]).T)
            inner = points[from_end > NEAR_JUNCTION_WIDTHS * width_mm]
            points = inner if len(inner) or number else points[:1]
        pieces.append(points)
        long_mm += long
        if long_mm > AWAY_WIDTHS * width_mm:
            break
    away = np.concatenate(pieces)
    far = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(away, axis=0).T))])
    # A loop of one line comes back to the corner: half of it belongs to the other side.
    return away[far <= max(min(AWAY_WIDTHS * width_mm, HALF_LOOP * float(far[-1])), float(far[min(5, len(far) - 1)]))]


def _angle_rad(u: NDArray[np.float64], v: NDArray[np.float64]) -> float:
    return math.acos(float(np.clip(u @ v, -1, 1)))


def _side_line(
    points: NDArray[np.float64], width: float, *, near_widths: float = NEAR_JUNCTION_WIDTHS
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """A point on a side near its start and its unit direction away from there."""
    far = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    picked = (far >= near_widths * width) & (far <= (near_widths + SIDE_WIDTHS) * width)
    used = points[picked] if picked.sum() >= 3 else points
    middle = used.mean(axis=0)
    direction = np.linalg.svd(used - middle, full_matrices=False)[2][0]
    if direction @ (used[-1] - used[0]) < 0:
        direction = -direction
    return middle, direction


def mm_per_px(plan: PlanStrokes, link: int) -> float:
    """Scale along a link."""
    px = length_px(plan.strokes.links[link].points_px)
    return length_px(plan.links_mm[link]) / px if px else 0.0
