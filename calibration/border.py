"""The drawn border of a plan: its corners and the curves of its sides, in picture px."""

import itertools
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.border_checks import NEAR_PX, NEAR_ROUGH_PX, encloses_a_plan
from calibration.line_runs import Reduced, Run, join_runs, line_pieces, reduce_ink
from calibration.side_curve import SideCurve, measure_side, meeting_point
from pictures.ink import Ink, ink_mask

Points = NDArray[np.float64]

LEAST_AREA = 0.12
"""Least part of the picture that a border encloses: smaller rectangles are title blocks and parts."""

OUTLINE_STEP = 4
"""Every fourth of a rough side's 33 points bounds it to a fraction of a reduced px."""

LEAST_SIDE = 0.1
"""Shortest side, as part of the picture's diagonal."""

MOST_RUNS = 60
"""Longest lines from which sides are taken."""

MOST_CANDIDATES = 60
"""Rectangles looked at, the largest first..."""

MOST_MEASURED = 10
"""... and measured at full size, some 50 ms each at 12 MP, before giving up."""

LEAST_COVERED = 0.8
"""Part of each side that must be seen."""

LEAST_AT_CORNER = 0.5
"""Part of a side's last fortieth that must be seen for a corner to count as drawn; three corners must be."""

AT_CORNER_PX = 12.0
"""How far (reduced px) before a drawn corner the pieces of its sides may end: the blur of the other side's ink."""

LEAST_CORNER_DEG = 50.0
"""Sharpest corner that a rectangle shows in a usable photo (30 degrees of tilt on both axes makes 63)."""

RATIO_OF_SIDES = 2.5
"""Most that opposite sides differ in a usable photo (30 degrees of tilt makes 1.6)."""

ALIKE = 0.4
"""A side whose line is lighter or thinner than this part of the darkest or widest side's is not of the same frame."""

FAINT = 0.5
"""An outer frame fainter than this part of the next inner one is the shadow of the paper's edge, not a drawn line."""

FLOOR_SIGMA_PX = 0.05
"""What a corner is off however well its sides are measured: draughting, blur, the lens' own ripple."""

SIDE_POINTS = 24
"""Points given a side, each the middle of a stretch's centres: 10-20 are enough for a lens."""


@dataclass(frozen=True, slots=True)
class Border:
    """The drawn border found in a picture, px.

    `corners_px` (4, 2): upper-left, upper-right, lower-right, lower-left as displayed, the crossings of the sides'
    fitted curves. `sides`: four (N, 2) arrays of centre points, upper, right, lower, left, each running from its
    corner to the next. `sigma_px` is one sigma of a corner, `side_sigma_px` of a side's point across the side;
    `bow_px` the largest distance of a side from the chord between its corners; `width_px` the line's width.
    """

    corners_px: Points
    sides: tuple[Points, Points, Points, Points]
    sigma_px: float
    side_sigma_px: float
    bow_px: float
    width_px: float


def find_border(ink: Ink, *, sheet_px: Points | None = None) -> Border | None:
    """Find the outermost complete rectangle of drawn lines that encloses nearly all the ink.

    Straight or gently bowed lines are found at reduced size, four of them that meet make a candidate, and each side
    is then measured at full size. The paper's edge is a step, not a line, and does not count.

    Parameters
    ----------
    ink : Ink
        The whole picture's ink.
    sheet_px : (K, 2) float, optional
        The paper's edge, px: nothing outside of it counts, nor lines along it.

    Returns
    -------
    Border or None
        None when there is no border, and when what is there could as well be a part of the plan.
    """
    return border_among(ink, reduce_ink(ink_mask(ink, sheet_px)))


def border_among(ink: Ink, reduced: Reduced) -> Border | None:
    """Find the border, as `find_border`, in ink already reduced: what is left of the work needs little memory."""
    diagonal = reduced.diagonal_px
    pieces = line_pieces(reduced.ink, least_px=0.006 * diagonal)
    runs = join_runs(pieces, diagonal_px=diagonal, least_px=0.6 * LEAST_SIDE * diagonal, most=MOST_RUNS)
    taken: tuple[Points, list[SideCurve]] | None = None
    measured_count = 0
    for quad in _candidates(runs, reduced):
        rough = reduced.from_picture(np.concatenate([side[:-1:OUTLINE_STEP] for side in quad]))
        if not encloses_a_plan(reduced, pieces, rough, near_px=NEAR_ROUGH_PX):
            continue
        measured_count += 1
        if measured_count > MOST_MEASURED:
            break
        measured = _measured(ink, quad)
        if measured is None or not _is_frame(measured[1]):
            continue
        if not encloses_a_plan(reduced, pieces, reduced.from_picture(_outline(measured[1])), near_px=NEAR_PX):
            continue
        if taken is None:
            taken = measured
        else:
            # The shadow of the paper's edge is a faint line around the true border.
            if _faintest(taken[1]) < FAINT * _faintest(measured[1]):
                taken = measured
            break
    return None if taken is None else _border(*taken)


def _candidates(runs: list[Run], reduced: Reduced) -> list[list[Points]]:
    """Give rectangles of four runs as four rough sides in picture px, largest first, upper side first, clockwise."""
    if len(runs) < 4:
        return []
    ends = np.array([run.ends() for run in runs])
    direction = ends[:, 1] - ends[:, 0]
    angle = np.degrees(np.arctan2(direction[:, 1], direction[:, 0])) % 180
    angle = np.minimum(angle, 180 - angle)
    flat, steep = np.flatnonzero(angle < 60), np.flatnonzero(angle > 30)
    meets, drawn = {}, {}
    for i in flat.tolist():
        for j in steep.tolist():
            if i != j and (met := _meeting(runs[i], runs[j])) is not None:
                meets[i, j], drawn[i, j] = met
    height, width = reduced.ink.shape
    found: list[tuple[float, tuple[int, int, int, int]]] = []
    for i, j in itertools.combinations(flat.tolist(), 2):
        both = [k for k in steep.tolist() if (i, k) in meets and (j, k) in meets and k not in (i, j)]
        for k, m in itertools.combinations(both, 2):
            if drawn[i, k] + drawn[i, m] + drawn[j, m] + drawn[j, k] < 3:
                continue
            quad = np.array([meets[i, k], meets[i, m], meets[j, m], meets[j, k]])
            area = abs(_area(quad))
            if area > LEAST_AREA * width * height and _is_rectangle_seen(quad, reduced.diagonal_px):
                found.append((area, (i, m, j, k)))
    found.sort(key=lambda item: -item[0])
    chosen: list[NDArray[np.float64]] = []
    rough: list[list[Points]] = []
    for _, (i, m, j, k) in found:
        quad = np.array([meets[i, k], meets[i, m], meets[j, m], meets[j, k]])
        sides = [runs[i], runs[m], runs[j], runs[k]]
        if _area(quad) < 0:
            # Corner order as displayed is clockwise with y down: a positive area.
            quad, sides = quad[[0, 3, 2, 1]], [sides[3], sides[2], sides[1], sides[0]]
        first = int(np.argmin(quad.sum(axis=1)))
        quad, sides = np.roll(quad, -first, axis=0), sides[first:] + sides[:first]
        # Both edges of a wide line and lines a px or two apart make nearly the same rectangle.
        if any(np.abs(quad - other).max() < 0.003 * reduced.diagonal_px for other in chosen):
            continue
        chosen.append(quad)
        rough.append([_between(run, quad[n], quad[(n + 1) % 4], reduced) for n, run in enumerate(sides)])
        if len(chosen) == MOST_CANDIDATES:
            break
    return rough


def _meeting(first: Run, second: Run) -> tuple[Points, bool] | None:
    """Give where two runs cross, reduced px, if both have ink to within a seventh of their length of it.

    With it, whether both have ink right there.
    """
    u, s = 0.0, 0.0
    least = math.sin(math.radians(LEAST_CORNER_DEG - 10))
    for step in range(4):
        (ax, ay, ux, uy), (bx, by, sx, sy) = _place(first, u), _place(second, s)
        cross = ux * sy - uy * sx
        if abs(cross) < least:
            return None
        along = ((bx - ax) * sy - (by - ay) * sx) / cross
        x, y = ax + along * ux, ay + along * uy
        u, s = _along(first, x, y), _along(second, x, y)
        if step == 0 and not (_reaches(first, u) and _reaches(second, s)):
            return None
    if not (_reaches(first, u) and _reaches(second, s)):
        return None
    return np.array([x, y]), _has_ink(first, u) and _has_ink(second, s)


def _place(run: Run, u: float) -> tuple[float, float, float, float]:
    """Where a run is at u, and its unit direction there: x, y of both, as plain numbers, which are many."""
    (ax, ay), (c0, c1, c2) = run.along.tolist(), run.coefficients.tolist()
    x0, y0 = run.origin.tolist()
    v, slope = c0 + u * (c1 + u * c2), c1 + 2 * c2 * u
    far = math.hypot(ax - slope * ay, ay + slope * ax)
    return x0 + u * ax - v * ay, y0 + u * ay + v * ax, (ax - slope * ay) / far, (ay + slope * ax) / far


def _along(run: Run, x: float, y: float) -> float:
    (ax, ay), (x0, y0) = run.along.tolist(), run.origin.tolist()
    return float((x - x0) * ax + (y - y0) * ay)


def _reaches(run: Run, u: float) -> bool:
    slack = 0.15 * (run.high - run.low)
    return run.low - slack <= u <= run.high + slack


def _has_ink(run: Run, u: float) -> bool:
    return bool(((run.intervals[:, 0] - AT_CORNER_PX <= u) & (u <= run.intervals[:, 1] + AT_CORNER_PX)).any())


def _area(quad: Points) -> float:
    (ax, ay), (bx, by) = (quad[2] - quad[0]).tolist(), (quad[3] - quad[1]).tolist()
    return float(ax * by - ay * bx) / 2


def _is_rectangle_seen(quad: Points, diagonal: float) -> bool:
    """Whether a quadrilateral can be a rectangle photographed from a usable angle."""
    side = np.roll(quad, -1, axis=0) - quad
    length = np.hypot(side[:, 0], side[:, 1])
    if length.min() < LEAST_SIDE * diagonal:
        return False
    before = np.roll(side, 1, axis=0)
    sine = (before[:, 0] * side[:, 1] - before[:, 1] * side[:, 0]) / (length * np.roll(length, 1))
    if not ((sine > 0).all() or (sine < 0).all()) or np.abs(sine).min() < math.sin(math.radians(LEAST_CORNER_DEG)):
        return False
    return bool((length / np.roll(length, 2)).max() < RATIO_OF_SIDES)


def _between(run: Run, start: Points, end: Points, reduced: Reduced) -> Points:
    u0, u1 = float((start - run.origin) @ run.along), float((end - run.origin) @ run.along)
    return reduced.to_picture(run.at(np.linspace(u0, u1, 33)))


def _measured(ink: Ink, quad: list[Points]) -> tuple[Points, list[SideCurve]] | None:
    """Measure the four sides, twice: the second time from the corners that the first gave."""
    rough = quad
    for _ in range(2):
        sides: list[SideCurve] = []
        for points in rough:
            side = measure_side(ink.darkness, points)
            if side is None or side.covered < LEAST_COVERED - 0.1:
                return None
            sides.append(side)
        corners = np.array([meeting_point(sides[n - 1], sides[n]) for n in range(4)])
        if not np.isfinite(corners).all():
            return None
        rough = []
        for n, side in enumerate(sides):
            t = np.linspace(side.parameter(corners[n]), side.parameter(corners[(n + 1) % 4]), 33)
            rough.append(np.asarray(side.at(t), dtype=np.float64))
    height, width = ink.darkness.shape
    if (corners < -0.5).any() or (corners > [width - 0.5, height - 0.5]).any():
        return None
    return corners, sides


def _is_frame(sides: list[SideCurve]) -> bool:
    """Whether four measured lines are the sides of one drawn frame."""
    if min(side.covered for side in sides) < LEAST_COVERED or max(side.light for side in sides) > 0.35:
        return False
    contrast, width = [side.contrast for side in sides], [side.width_px for side in sides]
    if min(contrast) < ALIKE * max(contrast) or min(width) < ALIKE * max(width):
        return False
    drawn = sum(min(sides[n - 1].at_ends[1], sides[n].at_ends[0]) >= LEAST_AT_CORNER for n in range(4))
    return drawn >= 3


def _outline(sides: list[SideCurve]) -> Points:
    t = np.linspace(-1, 1, 33)[:-1:OUTLINE_STEP]
    return np.concatenate([side.at(t) for side in sides]).astype(np.float64)


def _faintest(sides: list[SideCurve]) -> float:
    return min(side.contrast for side in sides)


def _border(corners: Points, sides: list[SideCurve]) -> Border:
    upper = int(np.argmin(corners.sum(axis=1)))
    corners, sides = np.roll(corners, -upper, axis=0), sides[upper:] + sides[:upper]
    sigma = max(
        math.hypot(sides[n - 1].end_sigma_px[1], sides[n].end_sigma_px[0], FLOOR_SIGMA_PX) / math.sqrt(2)
        for n in range(4)
    )
    points = [_thinned(side) for side in sides]
    return Border(
        corners,
        (points[0], points[1], points[2], points[3]),
        max(sigma, FLOOR_SIGMA_PX),
        max(max(side.sigma_px for side in sides) / 2, FLOOR_SIGMA_PX),
        max(side.bow_px for side in sides),
        float(np.median([side.width_px for side in sides])),
    )


def _thinned(side: SideCurve) -> Points:
    """Give the middle of the centres in each of SIDE_POINTS stretches of a side."""
    stretch = np.minimum(((side.t + 1) / 2 * SIDE_POINTS).astype(int), SIDE_POINTS - 1)
    return np.array([side.points_px[stretch == n].mean(axis=0) for n in np.unique(stretch)])
