"""Smooth paths through the points of lines: straight where they are, arcs where they are round, cubics elsewhere."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray

from digitize.circle_fit import Circle, fit_circle
from digitize.cubics import Chain
from digitize.curves import AVERAGE_SHARE, AVERAGED, CHANCE_SIGMAS, Curve, averaged, fit_curves
from digitize.sections import Section
from digitize.smoothing import ALIKE, Smoothed, own_sigma_mm, smoothed
from digitize.straight import is_straight, straight_runs
from digitize.straight_fit import Straight, fit_straight
from drawing.paths import Arc, Cubic, Line, Path, Point, Segment, sampled


@dataclass(frozen=True, slots=True)
class Fitted:
    """A path and the largest distance between it and the points it was fitted to, measured both ways, mm.

    `stands_in` tells that straight steps from point to point stand in for curves that were no outline.
    """

    path: Path
    deviation_mm: float
    stands_in: bool = False


@dataclass(frozen=True, slots=True)
class Contour:
    """Sections end to end; `closed` if the last ends where the first starts, at a corner or smoothly."""

    sections: Sequence[Section]
    closed: bool


def fit_contours(contours: Sequence[Contour], *, tolerance_mm: float) -> list[Fitted]:
    """Fit a path to each contour; corners between sections stay sharp, nothing else does.

    Parameters
    ----------
    contours : sequence of Contour
    tolerance_mm : float
        Paths keep within this of the points, noise beyond it averaged out.

    Returns
    -------
    list of Fitted
        A whole circle is two arcs of one radius.
    """
    planned = [_pieces(contour, tolerance_mm) for contour in contours]
    curves = [piece for pieces in planned for piece in pieces if isinstance(piece, Curve)]
    fits = iter(fit_curves(curves, tolerance_mm=tolerance_mm))
    fitted = []
    for contour, pieces in zip(contours, planned, strict=True):
        done = []
        for piece in pieces:
            if isinstance(piece, Curve):
                fit = next(fits)
                piece = _Done(_point(fit.chain.joints[0]), _cubics(fit.chain), fit.deviation_mm)
            done.append(piece)
        fitted.append(_joined(done, closed=contour.closed))
    return fitted


@dataclass(frozen=True, slots=True)
class _Done:
    """A piece that needs no more fitting."""

    start_mm: Point
    segments: list[Segment]
    deviation_mm: float


_Piece = _Done | Curve


def _joined(pieces: Sequence[_Done], *, closed: bool) -> Fitted:
    segments = [segment for piece in pieces for segment in piece.segments]
    start = pieces[0].start_mm
    if closed:
        segments[-1] = replace(segments[-1], end_mm=start)
    return Fitted(Path(start, tuple(segments), closed), max(piece.deviation_mm for piece in pieces))


def _cubics(chain: Chain) -> list[Segment]:
    return [Cubic(_point(c[1]), _point(c[2]), _point(c[3])) for c in chain.controls()]


def _point(at: NDArray[np.float64]) -> Point:
    return float(at[0]), float(at[1])


def _pieces(contour: Contour, tolerance_mm: float) -> list[_Piece]:
    """Lines and arcs of a contour, done, and curves still to fit."""
    sections = contour.sections
    if sections[0].closed:
        return _smooth_loop(sections[0], tolerance_mm)
    straight = [is_straight(section, tolerance_mm) for section in sections]
    corners = _corners(contour, straight)
    pieces: list[_Piece] = []
    for section, is_line, start, end in zip(sections, straight, corners[:-1], corners[1:], strict=True):
        points = section.points_mm.copy()
        points[0], points[-1] = start, end
        placed = replace(section, points_mm=points)
        if is_line or len(points) < 6:
            pieces.append(_line(placed))
        else:
            pieces += _curved(placed, tolerance_mm)
    return pieces


MOVE_WIDTHS = 0.6
"""A corner moves to the crossing of its two straight sides if that is no farther off, in line widths."""


def _corners(contour: Contour, straight: Sequence[bool]) -> list[NDArray[np.float64]]:
    """The ends of all sections; where both sides are straight, the crossing of their lines."""
    sections = contour.sections
    lines = [
        fit_straight(section.points_mm, section.weights) if is_line and len(section.points_mm) > 3 else None
        for section, is_line in zip(sections, straight, strict=True)
    ]
    corners = [section.points_mm[0] for section in sections] + [sections[-1].points_mm[-1]]
    for at in range(len(sections)):
        if at == 0 and not contour.closed:
            continue
        before, after = lines[at - 1], lines[at]
        if before is None or after is None:
            continue
        met = _crossing(before, after)
        if met is not None and np.hypot(*(met - corners[at])) <= MOVE_WIDTHS * sections[at].width_mm:
            corners[at] = met
    if contour.closed:
        corners[-1] = corners[0]
    return corners


def _crossing(a: Straight, b: Straight) -> NDArray[np.float64] | None:
    cross = float(a.along[0] * b.along[1] - a.along[1] * b.along[0])
    if abs(cross) < math.sin(math.radians(15)):
        return None
    way = b.at - a.at
    met: NDArray[np.float64] = a.at + a.along * float(way[0] * b.along[1] - way[1] * b.along[0]) / cross
    return met


def _line(section: Section) -> _Done:
    start, end = section.points_mm[0], section.points_mm[-1]
    way = end - start
    long = float(np.hypot(*way))
    if long == 0:
        far = np.hypot(*(section.points_mm - start).T)
    else:
        far = np.abs(Straight(start, way / long).off(section.points_mm))
    return _Done(_point(start), [Line(_point(end))], float((far * (section.weights > 0)).max()))


def _curved(section: Section, tolerance_mm: float) -> list[_Piece]:
    """An arc from corner to corner, or lines and curves that meet without a kink."""
    arc = _arc(section, tolerance_mm)
    if arc is not None:
        return [arc]
    runs = straight_runs(section, tolerance_mm)
    if runs:
        return _mixed(section, runs)
    noisy = _with_own_noise(section)
    return [Curve(noisy, _smooth(noisy))]


def _with_own_noise(section: Section) -> Section:
    """The section with the noise that its own points show, where that is more than was stated of them."""
    sigma_mm = own_sigma_mm(section.points_mm, section.weights, closed=section.closed)
    return replace(section, sigma_mm=max(section.sigma_mm, sigma_mm))


def _smooth(section: Section) -> Smoothed:
    smooth = smoothed(section.points_mm, sigma_mm=section.sigma_mm, closed=section.closed)
    if section.closed:
        return smooth
    points = smooth.points_mm.copy()
    points[0], points[-1] = section.points_mm[0], section.points_mm[-1]
    return replace(smooth, points_mm=points)


def _round_limit_mm(section: Section, tolerance_mm: float) -> float:
    """What a circle may be off: the noise of an average, or a third of the tolerance."""
    return max(tolerance_mm / 3, 1.2 * section.sigma_mm)


ROUND_SAMPLES = 60
"""So few points tell that a run is nothing like round."""


SLOW_PARTS = 16
"""What a run leaves a circle by over twice this part of itself is its shape: an oval's whole height is still nine
tenths of itself so averaged."""

FAST_SIGMAS = CHANCE_SIGMAS * math.sqrt(ALIKE / (2 * AVERAGED[0] + 1))
"""What it leaves a circle by for shorter may be noise, which does so by chance."""


def _circle(section: Section, tolerance_mm: float) -> Circle | None:
    """The circle a run lies on within the noise, or None."""
    points, weights = section.points_mm, section.weights
    limit_mm = _round_limit_mm(section, tolerance_mm)
    few = slice(None, None, max(1, len(points) // ROUND_SAMPLES))
    rough = fit_circle(points[few], weights[few])
    if rough is None or np.abs(rough.off_mm(points[few]) * weights[few]).max() > 3 * limit_mm + 4 * section.sigma_mm:
        return None
    circle = fit_circle(points, weights)
    if circle is None:
        return None
    off_mm = circle.off_mm(points)
    fast_limit_mm = max(AVERAGE_SHARE * tolerance_mm, FAST_SIGMAS * section.sigma_mm)
    if np.abs(averaged(off_mm, weights)).max() > fast_limit_mm:
        return None
    # The longer average takes its time: most runs that are no arc are told before it.
    if np.abs(averaged(off_mm, weights, half=max(AVERAGED[0], len(points) // SLOW_PARTS))).max() > limit_mm:
        return None
    return circle


def _arc(section: Section, tolerance_mm: float) -> _Done | None:
    """One arc from corner to corner, if the run is round within the noise."""
    circle = _circle(section, tolerance_mm)
    if circle is None:
        return None
    points, weights = section.points_mm, section.weights
    start, end = points[0], points[-1]
    chord = end - start
    half = float(np.hypot(*chord)) / 2
    if half == 0 or half > circle.radius_mm:
        return None
    middle = points[len(points) // 2]
    is_left = float(chord[0] * (middle - start)[1] - chord[1] * (middle - start)[0]) > 0
    centre_left = float(chord[0] * (circle.centre_mm - start)[1] - chord[1] * (circle.centre_mm - start)[0]) > 0
    sweep = 2 * math.asin(half / circle.radius_mm)
    if centre_left == is_left:
        sweep = 2 * math.pi - sweep
    # A path that bulges to its left runs clockwise (y up): negative bulge.
    arc = Arc(_point(end), math.tan(sweep / 4) * (-1 if is_left else 1))
    exact = sampled(Path(_point(start), (arc,), False), tolerance_mm=0.02 * tolerance_mm)
    far = shapely.distance(shapely.LineString(exact), shapely.points(points)) * (weights > 0)
    if averaged(far, weights).max() > max(tolerance_mm, 2 * section.sigma_mm):
        return None
    return _Done(_point(start), [arc], float(far.max()))


def _smooth_loop(section: Section, tolerance_mm: float) -> list[_Piece]:
    """An outline without corners: two arcs if it is a circle, else lines and curves around."""
    circle = _circle(section, tolerance_mm)
    if circle is not None:
        centre, radius = circle.centre_mm, circle.radius_mm
        turn = 1.0 if _signed_area(section.points_mm) > 0 else -1.0
        left, right = (float(centre[0] - radius), float(centre[1])), (float(centre[0] + radius), float(centre[1]))
        deviation = float((np.abs(circle.off_mm(section.points_mm)) * (section.weights > 0)).max())
        return [_Done(right, [Arc(left, turn), Arc(right, turn)], deviation)]
    section = _with_own_noise(section)
    smooth = _smooth(section)
    bend = _bends(smooth)
    turned = _rolled(section, int(bend.argmax()))
    runs = straight_runs(turned, tolerance_mm)
    if runs:
        return _mixed(_opened(_rolled(turned, runs[0][0])), [(a - runs[0][0], b - runs[0][0]) for a, b in runs])
    flat = int(bend.argmin())
    rolled = Smoothed(*(np.roll(a, -flat, axis=0) for a in (smooth.points_mm, smooth.directions, smooth.sigma_mm)))
    return [Curve(_rolled(section, flat), rolled)]


def _signed_area(points: NDArray[np.float64]) -> float:
    x, y = points[:, 0], points[:, 1]
    return float(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2


def _bends(smooth: Smoothed) -> NDArray[np.float64]:
    """How much the line turns around each sample of a loop (0 straight, 2 turned back)."""
    ahead, back = np.roll(smooth.directions, -12, axis=0), np.roll(smooth.directions, 12, axis=0)
    bends: NDArray[np.float64] = 1 - (ahead * back).sum(axis=1)
    return bends


def _rolled(section: Section, first: int) -> Section:
    """A closed section that starts at another sample."""
    return replace(
        section,
        points_mm=np.roll(section.points_mm, -first, axis=0),
        weights=np.roll(section.weights, -first),
    )


def _opened(section: Section) -> Section:
    """A closed section as an open one that ends at its first point."""
    return replace(
        section,
        points_mm=np.vstack([section.points_mm, section.points_mm[:1]]),
        weights=np.append(section.weights, section.weights[0]),
        closed=False,
    )


def _mixed(section: Section, runs: Sequence[tuple[int, int]]) -> list[_Piece]:
    """Straight runs as lines, and between them curves that leave along those lines.

    A loop opened at the start of its first straight run ends there along the same line.
    """
    section = _with_own_noise(section)
    smooth = _smooth(section)
    points, directions = smooth.points_mm.copy(), smooth.directions.copy()
    last_sample = len(points) - 1
    is_loop = bool((section.points_mm[0] == section.points_mm[-1]).all()) and runs[0][0] == 0
    for first, last in runs:
        line = fit_straight(section.points_mm[first : last + 1], section.weights[first : last + 1])
        for at in (first, last):
            if is_loop or at not in (0, last_sample):
                points[at] = line.foot(points[at])
        way = points[last] - points[first]
        directions[[first, last]] = way / np.hypot(*way)
    if is_loop:
        points[-1], directions[-1] = points[0], directions[0]
    pieces: list[_Piece] = []
    at = 0
    for first, last in [*runs, (last_sample, last_sample)]:
        if first > at:
            part = _slice(section, at, first)
            part.points_mm[0], part.points_mm[-1] = points[at], points[first]
            piece = Smoothed(*(a[at : first + 1] for a in (points, directions, smooth.sigma_mm)))
            pieces.append(Curve(part, piece, (at > 0 or is_loop, first < last_sample or is_loop)))
        if last > first:
            part = _slice(section, first, last)
            part.points_mm[0], part.points_mm[-1] = points[first], points[last]
            pieces.append(_line(part))
        at = last
    return pieces


def _slice(section: Section, first: int, last: int) -> Section:
    return replace(
        section,
        points_mm=section.points_mm[first : last + 1].copy(),
        weights=section.weights[first : last + 1],
        closed=False,
    )
