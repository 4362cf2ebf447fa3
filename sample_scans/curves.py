"""Curves as polylines that keep within a thousandth of a millimetre."""

import math

import numpy as np

from sample_scans.truth import Point, Points

CHORD_MM = 0.001  # farthest a chord may lie from its curve: far below what any picture of the sheet resolves


def arc(centre_mm: Point, radius_mm: float, start_deg: float, end_deg: float) -> Points:
    """Give points on a circular arc, both ends included; counter-clockwise when `end_deg` is the larger.

    The sagitta r (1 - cos(step / 2)) of each chord stays below CHORD_MM.
    """
    step = 2 * math.acos(max(0.0, 1 - CHORD_MM / radius_mm))
    sweep = math.radians(end_deg - start_deg)
    angles = math.radians(start_deg) + sweep * np.linspace(0, 1, max(3, math.ceil(abs(sweep) / step) + 1))
    return np.column_stack([centre_mm[0] + radius_mm * np.cos(angles), centre_mm[1] + radius_mm * np.sin(angles)])


def circle(centre_mm: Point, radius_mm: float) -> Points:
    """Give a whole circle, counter-clockwise, its first point not repeated."""
    return arc(centre_mm, radius_mm, 0, 360)[:-1]


def slot(centre_mm: Point, length_mm: float, width_mm: float) -> Points:
    """Give an upright slot with round ends, counter-clockwise, its first point not repeated."""
    x, y = centre_mm
    reach = (length_mm - width_mm) / 2
    return np.concatenate(
        [arc((x, y + reach), width_mm / 2, 0, 180), arc((x, y - reach), width_mm / 2, 180, 360)],
    )


def bezier(start_mm: Point, control1_mm: Point, control2_mm: Point, end_mm: Point) -> Points:
    """Give points on a cubic, both ends included; n = sqrt(3/4 |second difference| / tolerance) bounds the chord."""
    control = np.array([start_mm, control1_mm, control2_mm, end_mm])
    bend = float(np.linalg.norm(np.diff(control, n=2, axis=0), axis=1).max())
    t = np.linspace(0, 1, max(2, math.ceil(math.sqrt(0.75 * bend / CHORD_MM)) + 1))[:, None]
    u = 1 - t
    points: Points = u**3 * control[0] + 3 * u**2 * t * control[1] + 3 * u * t**2 * control[2] + t**3 * control[3]
    return points


def rounded(corners_mm: list[Point], radii_mm: list[float]) -> Points:
    """Give a closed polygon with its corners rounded by tangent arcs; a radius of 0 keeps a corner sharp."""
    corners = [np.array(corner, dtype=float) for corner in corners_mm]
    runs = []
    for index, (corner, radius) in enumerate(zip(corners, radii_mm, strict=True)):
        if radius == 0:
            runs.append(corner[None, :])
            continue
        before = corners[index - 1] - corner
        after = corners[(index + 1) % len(corners)] - corner
        before, after = before / np.hypot(*before), after / np.hypot(*after)
        half = math.acos(float(np.clip(before @ after, -1, 1))) / 2
        middle = before + after
        centre = corner + middle / np.hypot(*middle) * radius / math.sin(half)
        first, last = (corner + side * radius / math.tan(half) - centre for side in (before, after))
        start = math.degrees(math.atan2(first[1], first[0]))
        turn = math.degrees(math.atan2(first[0] * last[1] - first[1] * last[0], float(first @ last)))
        runs.append(arc((float(centre[0]), float(centre[1])), radius, start, start + turn))
    return np.concatenate(runs)


def turned(points_mm: Points, degrees: float) -> Points:
    """Give points turned counter-clockwise about the origin."""
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    points: Points = points_mm @ np.array([[c, s], [-s, c]])
    return points


def densified(points: Points, *, step: float, closed: bool) -> Points:
    """Give the same polyline with no segment longer than `step`, in the points' own unit.

    Every vertex stays; a closed one is returned with its first point repeated at the end.
    """
    run = np.vstack([points, points[:1]]) if closed else points
    lengths = np.hypot(*np.diff(run, axis=0).T)
    counts = np.maximum(1, np.ceil(lengths / step)).astype(np.int64)
    index = np.repeat(np.arange(len(counts)), counts)
    inside = np.arange(counts.sum()) - np.repeat(np.cumsum(counts) - counts, counts)
    t = (inside / counts[index])[:, None]
    return np.vstack([run[index] * (1 - t) + run[index + 1] * t, run[-1:]])
