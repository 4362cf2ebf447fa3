"""Angle, area and radius between marks, at full size, each with its give or take."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calibration.calibration import Calibration
from calibration.map_slopes import local_scales
from calibration.observations import SETTLED_SIGMA_PX, CalibrationError, PointPx
from calibration.plane_map import Floats
from calibration.shape_errors import on_plane, value_sigma
from calibration.uncertainty import NORMAL_95


@dataclass(frozen=True, slots=True)
class MeasuredAngle:
    """An angle from 0 to half a turn and its give or take (half width of the 95 % interval), radians."""

    rad: float
    u95_rad: float


@dataclass(frozen=True, slots=True)
class MeasuredArea:
    """An area at full size and its give or take, mm²."""

    mm2: float
    u95_mm2: float


@dataclass(frozen=True, slots=True)
class MeasuredRadius:
    """A circle's radius at full size and its give or take, mm, and where its middle lies in the picture, px.

    `stray_mm` is how far the marks lie off the circle, root mean square; 0 for three.
    """

    mm: float
    u95_mm: float
    middle_px: PointPx
    stray_mm: float


def angle(
    calibration: Calibration, first_px: PointPx, corner_px: PointPx, second_px: PointPx, *, mark_sigma_px: float
) -> MeasuredAngle:
    """Give the angle at `corner_px` between the arms to two marks.

    `mark_sigma_px` is the one-sigma error of each mark: 0.15 px on the ink, 0.5 px put by hand.

    Raises
    ------
    CalibrationError
        If an arm has no length, or a mark lies beyond the plan's horizon.
    """
    points_px = np.array([first_px, corner_px, second_px], dtype=np.float64)
    plane_mm = on_plane(calibration, points_px, "angle")
    arms = plane_mm[::2] - plane_mm[1]
    long = np.hypot(arms[:, 0], arms[:, 1])
    if not long.all():
        raise CalibrationError(
            f"An arm of the angle at {corner_px} px has no length; each needs a mark away from the corner: mark it "
            "again."
        )
    cross = float(arms[0, 0] * arms[1, 1] - arms[0, 1] * arms[1, 0])
    # Turning an arm's end across the arm changes the angle by its share of the arm's length.
    turns = np.column_stack([-arms[:, 1], arms[:, 0]]) / long[:, None] ** 2
    sign = 1.0 if cross >= 0 else -1.0
    slopes = sign * np.array([-turns[0], turns[0] - turns[1], turns[1]])
    sigma = value_sigma(calibration, points_px, slopes, mark_sigma_px=mark_sigma_px)
    return MeasuredAngle(abs(math.atan2(cross, float(arms[0] @ arms[1]))), NORMAL_95 * sigma)


def area(
    calibration: Calibration, corners_px: Floats | Sequence[PointPx], *, mark_sigma_px: float = SETTLED_SIGMA_PX
) -> MeasuredArea:
    """Give the area of a polygon (N, 2), picture px, whose sides are straight on the plan.

    Raises
    ------
    CalibrationError
        If there are fewer than three corners, sides cross, or a corner lies beyond the plan's horizon.
    """
    points_px = np.array(corners_px, dtype=np.float64).reshape(-1, 2)
    if len(points_px) < 3:
        raise CalibrationError(f"An area was marked with {len(points_px)} points; it needs three or more: mark on.")
    plane_mm = on_plane(calibration, points_px, "area")
    _refuse_crossing(plane_mm)
    home = plane_mm - plane_mm[0]
    ahead, behind = np.roll(home, -1, axis=0), np.roll(home, 1, axis=0)
    twice = float((home[:, 0] * ahead[:, 1] - home[:, 1] * ahead[:, 0]).sum())
    if abs(twice) <= FLAT * float((np.ptp(home, axis=0) ** 2).sum()):
        raise CalibrationError("The marks of the area lie on one line; it needs some width: mark around it.")
    slopes = math.copysign(0.5, twice) * np.column_stack([ahead[:, 1] - behind[:, 1], behind[:, 0] - ahead[:, 0]])
    sigma = value_sigma(calibration, points_px, slopes, mark_sigma_px=mark_sigma_px)
    return MeasuredArea(abs(twice) / 2, NORMAL_95 * sigma)


def ring_area(
    calibration: Calibration, boundary_px: Floats, holes_px: Sequence[Floats] = (), *, edge_sigma_px: float
) -> MeasuredArea:
    """Give the area of a drawn outline (N, 2), picture px, less its holes.

    `edge_sigma_px` is the one-sigma error of the whole edge, outwards: a line's middle that is found too far out here
    may be so all round, so it does not average away.
    """
    total, slopes, points, way_round_mm2 = 0.0, [], [], 0.0
    for ring_px, sign in ((boundary_px, 1.0), *((hole, -1.0) for hole in holes_px)):
        plane_mm = on_plane(calibration, np.asarray(ring_px, dtype=np.float64), "area")
        home = plane_mm - plane_mm[0]
        ahead, behind = np.roll(home, -1, axis=0), np.roll(home, 1, axis=0)
        twice = float((home[:, 0] * ahead[:, 1] - home[:, 1] * ahead[:, 0]).sum())
        total += sign * abs(twice) / 2
        outward = sign * math.copysign(0.5, twice)
        slopes.append(outward * np.column_stack([ahead[:, 1] - behind[:, 1], behind[:, 0] - ahead[:, 0]]))
        points.append(ring_px)
        mm_per_px = np.linalg.norm(local_scales(calibration.values, ring_px, calibration.size), axis=(1, 2))
        steps_mm = np.hypot(*(ahead - home).T)
        way_round_mm2 += edge_sigma_px * float(steps_mm @ mm_per_px) / math.sqrt(2)
    by_map = value_sigma(calibration, np.concatenate(points), np.concatenate(slopes), mark_sigma_px=0.0)
    return MeasuredArea(total, NORMAL_95 * math.hypot(by_map, way_round_mm2))


def ordinate_u95(
    calibration: Calibration,
    base_px: Floats,
    at_px: Floats,
    *,
    along_part: float | None,
    edge_slope: float,
    mark_sigma_px: Floats,
) -> float:
    """Give the give or take, mm, of an outline's height over a base line, at a station of it.

    Parameters
    ----------
    base_px : (2, 2) array
        The base line's two ends, picture px.
    at_px : (2,) array
        Where the outline is at the station.
    along_part : float or None
        The station as a part of the base line, whose length is in doubt with the scale; None where it is a length.
    edge_slope : float
        Rise of the outline to the base line's left, y up, per mm along it: where it is steep, errors along it show.
    mark_sigma_px : (3,) array
        One-sigma errors of the base line's ends and of the outline.
    """
    points_px = np.vstack([base_px, at_px])
    start, end, at = on_plane(calibration, points_px, "ordinate")
    base_mm = float(np.hypot(*(end - start)))
    along = (end - start) / base_mm
    up = np.array([-along[1], along[0]])
    x, y = float((at - start) @ along), float((at - start) @ up)
    # At a fixed station the edge rises by its own move, less its rise over the move along the base.
    off = up - edge_slope * along
    turning = (x + edge_slope * y) / base_mm * up
    stretching = (0.0 if along_part is None else along_part) * edge_slope * along
    slopes = np.array([turning - off - stretching, stretching - turning, off])
    return NORMAL_95 * value_sigma(calibration, points_px, slopes, mark_sigma_px=mark_sigma_px)


def radius(
    calibration: Calibration, points_px: Floats | Sequence[PointPx], *, mark_sigma_px: float = SETTLED_SIGMA_PX
) -> MeasuredRadius:
    """Give the radius of the circle through three marks, or that fits more of them best (least squares of distances).

    Marks that lie off the circle by more than `mark_sigma_px` says widen the give or take.

    Raises
    ------
    CalibrationError
        If there are fewer than three marks, they lie on one line, or beyond the plan's horizon.
    """
    points = np.array(points_px, dtype=np.float64).reshape(-1, 2)
    if len(points) < 3:
        raise CalibrationError(f"An arc was marked with {len(points)} points; it needs three or more: mark on.")
    plane_mm = on_plane(calibration, points, "radius")
    centre, round_mm = _circle(plane_mm)
    outward = plane_mm - centre
    far = np.hypot(outward[:, 0], outward[:, 1])
    outward = outward / far[:, None]
    design = np.column_stack([outward, np.ones(len(points))])
    # A mark moved outward by d moves the radius by its column of the pseudoinverse times d.
    slopes = np.linalg.pinv(design)[2][:, None] * outward
    off = far - round_mm
    spare = len(points) - 3
    stray_mm = math.sqrt(float(off @ off) / spare) if spare else 0.0
    mm_per_px = np.linalg.norm(local_scales(calibration.values, points, calibration.size), axis=(1, 2)) / math.sqrt(2)
    worse = max(1.0, stray_mm / (mark_sigma_px * float(mm_per_px.mean()))) if mark_sigma_px > 0 else 1.0
    sigma = value_sigma(calibration, points, slopes, mark_sigma_px=mark_sigma_px * worse)
    turned = calibration.to_plan(points[:1])[0] + _turned(calibration, centre - plane_mm[0])
    middle = calibration.to_picture(turned[None])[0]
    return MeasuredRadius(round_mm, NORMAL_95 * sigma, (float(middle[0]), float(middle[1])), stray_mm)


FLAT = 1e-9
"""Marks whose area is this small against their extent squared lie on one line."""

LARGEST_RADII = 1e4
"""Marks that span less than this part of their circle's radius are on a straight line for all that can be told."""

CIRCLE_STEPS = 20
"""Gauss-Newton steps; four do for marks near a circle."""


def _refuse_crossing(corners_mm: Floats) -> None:
    import shapely

    if not shapely.is_simple(shapely.LinearRing(corners_mm)):
        raise CalibrationError(
            "The sides of the area cross one another, so that inside and outside cannot be told; its corners must go "
            "round it once: mark them again in that order."
        )


def _circle(points_mm: Floats) -> tuple[Floats, float]:
    """Centre (2,) and radius, mm: Kasa's linear fit, then Gauss-Newton on the distances (Gander and others 1994)."""
    middle = points_mm.mean(axis=0)
    extent = float(np.hypot(*np.ptp(points_mm, axis=0)))
    on_line = CalibrationError(
        "The marks of the arc lie on one line, or on one spot; three places that turn are needed: mark them farther "
        "apart along the arc."
    )
    if extent == 0:
        raise on_line
    p = (points_mm - middle) / extent
    design = np.column_stack([2 * p, np.ones(len(p))])
    if np.linalg.cond(design) > LARGEST_RADII**2:
        raise on_line
    x, y, rest = np.linalg.lstsq(design, (p * p).sum(axis=1), rcond=None)[0].tolist()
    centre, round_ = np.array([x, y]), math.sqrt(max(rest + x * x + y * y, 0.0))
    for _ in range(CIRCLE_STEPS):
        way = p - centre
        far = np.hypot(way[:, 0], way[:, 1])
        if not far.all() or not far.max() < LARGEST_RADII:
            raise on_line
        step = np.linalg.lstsq(np.column_stack([way / far[:, None], np.ones(len(p))]), far - round_, rcond=None)[0]
        centre, round_ = centre + step[:2], round_ + float(step[2])
        if np.abs(step).max() <= 1e-12 * round_:
            break
    return middle + extent * centre, extent * round_


def _turned(calibration: Calibration, along_mm: Floats) -> Floats:
    """A way on the plane as a way in the plan, whose axes are turned."""
    cos, sin = math.cos(calibration.turn_rad), math.sin(calibration.turn_rad)
    return np.asarray(along_mm @ np.array([[cos, -sin], [sin, cos]]))
