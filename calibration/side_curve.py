"""One side of a drawn border, measured: the line's centre all along, and the gentle curve it follows."""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.polynomial import polynomial
from numpy.typing import NDArray

from pictures.ridge import line_centres, profiles

Points = NDArray[np.floating[Any]]

REACH_PER_LENGTH = 0.005
"""How far beside the rough line the true one is looked for, as part of the side's length; at least LEAST_REACH_PX."""

LEAST_REACH_PX = 8

BLOCKS = 32
"""Stretches of a side whose median profiles place it: longer than crossing lines and lettering are wide."""

PARALLEL_PART = 0.6
"""A line beside counts as another frame line when it is this dark in comparison: a shadow or crease is fainter."""

VALLEY = 0.85
"""Two peaks are two lines when it is lighter than this part of the fainter one between them."""

LIGHT_BESIDE = 0.35
"""Most darkness beside a line, as part of its own; a paper's edge against a table stays dark on one side."""

CORNER_CLEAR_WIDTHS = 3.0
"""Stretch at each end that is not measured, in line widths: the other side's ink pulls the centre there."""

SPACING_PX = 6.0
"""Distance of measured places along a side, px: closer ones share their pixels' noise."""

MOST_PLACES = 800

CLOSE_WIDTHS = 3.0
"""A second line nearer than this many widths pulls the centre unless only the peak is looked at."""

CLOSE_PULL = 0.03
"""What such a line may still pull, as part of the width: 0.05-0.2 px measured on lines of 3-5 px."""

OUTLIER_SIGMAS = 3.5

INDEPENDENT_PART = 0.12
"""Part of the places that count as independent: paper, draughting, blur and what touches the line go together over
some 50 px. At 0.25 a title block's corner bent a side's end by 0.5 px."""

END_SEEN = 0.9
"""A curve of higher degree than a parabola needs the line measured beyond this part of the half length each way."""


@dataclass(frozen=True, slots=True)
class SideCurve:
    """A side of the border: v(t), a polynomial across the chord, t from -1 to 1 along it, px.

    `points_px` (N, 2) are measured centres, `t` (N,) where; `covered` the part of the side with its line seen,
    `at_ends` that part within the last fortieth at the start and the end; `sigma_px` is one sigma of a centre about
    the curve, `end_sigma_px` of the curve at its ends; `width_px` and `contrast` are the line's, `light` the darkness
    beside it as part of its own.
    """

    middle: Points
    half: Points
    coefficients: Points
    t: Points
    points_px: Points
    covered: float
    at_ends: tuple[float, float]
    sigma_px: float
    end_sigma_px: tuple[float, float]
    width_px: float
    contrast: float
    light: float

    def at(self, t: Points) -> Points:
        """Give (N, 2) points of the curve, px."""
        return _on(self.middle, self.half, t, polynomial.polyval(t, self.coefficients))

    def parameter(self, point_px: Points) -> float:
        """Give t of the place nearest to a point."""
        return float((point_px - self.middle) @ self.half / (self.half @ self.half))

    def tangent(self, t: float) -> Points:
        """Give the curve's direction at t, not normed."""
        slope = polynomial.polyval(t, polynomial.polyder(self.coefficients))
        return np.asarray(self.half + slope * _across(self.half))

    @property
    def bow_px(self) -> float:
        """Largest distance of the curve from the chord between its ends, px."""
        t = np.linspace(-1, 1, 65)
        v = polynomial.polyval(t, self.coefficients)
        chord = v[0] + (v[-1] - v[0]) * (t + 1) / 2
        return float(np.abs(v - chord).max())


def measure_side(darkness: NDArray[np.uint8], rough_px: Points) -> SideCurve | None:
    """Measure the line along a rough curve.

    Parameters
    ----------
    darkness : (H, W) uint8
        0 paper to 255 ink.
    rough_px : (M, 2) float
        Points along the side from corner to corner, px, within a two-hundredth of its length of the line,
        the border's inside on the right as seen (corners in their order).

    Returns
    -------
    SideCurve or None
        None when no line is there for most of the way. Of parallel lines the outermost is taken.
    """
    middle, half = (rough_px[0] + rough_px[-1]) / 2, (rough_px[-1] - rough_px[0]) / 2
    half_px = math.hypot(*half)
    if half_px < 4 * LEAST_REACH_PX:
        return None
    t_rough = (rough_px - middle) @ half / half_px**2
    v_rough = (rough_px - middle) @ _across(half)
    guess = polynomial.polyfit(t_rough, v_rough, 2)
    reach = math.ceil(max(LEAST_REACH_PX, REACH_PER_LENGTH * 2 * half_px))
    placed = _outermost_line(darkness, middle, half, guess, reach)
    if placed is None:
        return None
    coefficients, width, free_px, light = placed
    return _refined(darkness, middle, half, coefficients, width, free_px, light)


def meeting_point(first: SideCurve, second: SideCurve) -> Points:
    """Give where the end of one side's curve crosses the start of the next, px: (2,)."""
    t, s = 1.0, -1.0
    point = first.at(np.array([t]))[0]
    for _ in range(6):
        a, b = first.at(np.array([t]))[0], second.at(np.array([s]))[0]
        along_a, along_b = first.tangent(t), second.tangent(s)
        step = np.linalg.solve(np.column_stack([along_a, -along_b]), b - a)
        point = a + step[0] * along_a
        t, s = first.parameter(point), second.parameter(point)
    return np.asarray(point)


def _across(half: Points) -> Points:
    return np.array([-half[1], half[0]]) / math.hypot(*half)


def _on(middle: Points, half: Points, t: Points, v: Points) -> Points:
    return np.asarray(middle + t[:, None] * half + v[:, None] * _across(half))


def _outermost_line(
    darkness: NDArray[np.uint8], middle: Points, half: Points, guess: Points, reach: int
) -> tuple[Points, float, float, float] | None:
    """Give the outermost strong line within reach: its curve, width, free distance to its neighbour, light beside.

    The strip along the rough curve is laid flat; block medians see past what crosses; the darkest smooth path
    through them (dynamic programming) is a line. With the inside on the right of the direction of travel and y down,
    the inside lies at positive v.
    """
    count = int(min(MOST_PLACES, max(4 * BLOCKS, 2 * math.hypot(*half) / 3)))
    count -= count % BLOCKS
    t = (np.arange(count) + 0.5) / count * 2 - 1
    centre = _on(middle, half, t, polynomial.polyval(t, guess))
    wide = 2 * reach
    offsets = np.arange(-wide, wide + 1)
    xy = centre[:, None, :] + offsets[None, :, None] * _across(half)
    strip = profiles(darkness, xy[..., 0].astype(np.float32), xy[..., 1].astype(np.float32))
    rows = np.median(strip.reshape(BLOCKS, -1, len(offsets)), axis=1)
    near = rows[:, reach : wide + reach + 1]
    path = _darkest_path(near)
    dark = near[np.arange(BLOCKS), path]
    strong = float(np.median(dark))
    if strong <= 0:
        return None
    width = _line_width(rows, path + reach, strong)
    first = path
    while (further := _next_outside(rows, path + reach, strong)) is not None and further < path.min():
        # The other line's distance changes along the side as the view goes: followed within a third of it.
        band = np.abs(np.arange(near.shape[1])[None, :] - (path - further)[:, None]) <= 1 + further / 3
        other = _darkest_path(np.where(band, near, 0))
        level = near[np.arange(BLOCKS), other]
        if (level > PARALLEL_PART * strong).mean() < 0.8 or not _is_ridge(rows, other + reach):
            break
        path = other
    dark = near[np.arange(BLOCKS), path]
    free = np.where(first > path, first - path, 2 * reach).astype(float)
    free_px = min(float(np.median(free)), _valley_px(rows, path + reach, width))
    beside = _beside(rows, path + reach, width, free_px)
    at = (np.arange(BLOCKS) + 0.5) / BLOCKS * 2 - 1
    weight = np.sqrt(np.clip(dark / strong, 0.0, 1.0)) + 1e-6
    v = path - reach + polynomial.polyval(at, guess)
    coefficients = polynomial.polyfit(at, v, 2, w=weight)
    for _ in range(4):
        off = np.abs(v - polynomial.polyval(at, coefficients))
        scale = max(0.5, 1.5 * float(np.median(off)))
        coefficients = polynomial.polyfit(at, v, 2, w=weight / (1 + (off / (2 * scale)) ** 2))
    return coefficients, width, free_px, beside / strong


def _darkest_path(rows: Points) -> NDArray[np.intp]:
    """Give the column in each row of the darkest path that moves at most two columns a row (dynamic programming)."""
    best = rows[0].astype(np.float64)
    came = np.zeros(rows.shape, np.intp)
    columns = np.arange(rows.shape[1])
    cost = 0.02 * float(rows.max()) * np.array([2, 1, 0, 1, 2])
    for row in range(1, len(rows)):
        padded = np.pad(best, 2, constant_values=-np.inf)
        moves = np.stack([padded[k : k + len(columns)] - cost[k] for k in range(5)])
        step = moves.argmax(axis=0)
        came[row] = np.clip(columns + step - 2, 0, len(columns) - 1)
        best = moves[step, columns] + rows[row]
    path = np.empty(len(rows), np.intp)
    path[-1] = best.argmax()
    for row in range(len(rows) - 1, 0, -1):
        path[row - 1] = came[row, path[row]]
    return path


def _aligned(rows: Points, path: NDArray[np.intp]) -> tuple[Points, int]:
    """Give the median profile about a path, and the index of its middle."""
    room = int(min(path.min(), rows.shape[1] - 1 - path.max()))
    index = path[:, None] + np.arange(-room, room + 1)
    return np.median(np.take_along_axis(rows, index, axis=1), axis=0), room


def _line_width(rows: Points, path: NDArray[np.intp], strong: float) -> float:
    profile, middle = _aligned(rows, path)
    dark = profile > 0.5 * strong
    low = high = middle
    while low > 0 and dark[low - 1]:
        low -= 1
    while high < len(dark) - 1 and dark[high + 1]:
        high += 1
    return float(high - low + 1)


def _next_outside(rows: Points, path: NDArray[np.intp], strong: float) -> int | None:
    """Give how many px outside of a path its profile rises to another line as dark, None when it does not."""
    profile, middle = _aligned(rows, path)
    outward = profile[middle::-1]
    lowest = np.minimum.accumulate(outward)
    for at in range(2, len(outward) - 1):
        peak = outward[at]
        is_peak = peak >= outward[at - 1] and peak >= outward[at + 1] and peak > PARALLEL_PART * strong
        if is_peak and lowest[at] < VALLEY * min(peak, outward[0]):
            return at
    return None


def _is_ridge(rows: Points, path: NDArray[np.intp]) -> bool:
    """Whether the profile falls off outside of the path, and inside at least to another line: a line, no step."""
    profile, middle = _aligned(rows, path)
    peak = profile[middle]
    left, right = profile[:middle].min(initial=peak), profile[middle + 1 :].min(initial=peak)
    return bool(left < 0.5 * peak and right < VALLEY * peak)


def _valley_px(rows: Points, path: NDArray[np.intp], width: float) -> float:
    """Distance to the nearest other line on either side, px; the strip's reach when there is none."""
    profile, middle = _aligned(rows, path)
    nearest = float(middle)
    for side in (profile[middle:], profile[middle::-1]):
        fallen = np.flatnonzero(side < 0.4 * profile[middle])
        if len(fallen):
            risen = np.flatnonzero(side[fallen[0] :] > 0.4 * profile[middle])
            if len(risen):
                nearest = min(nearest, float(fallen[0] + risen[0]))
    return max(nearest, width)


def _beside(rows: Points, path: NDArray[np.intp], width: float, free_px: float) -> float:
    """Least darkness right outside the line, and half of that between it and its inner neighbour: the larger."""
    profile, middle = _aligned(rows, path)
    end = int(max(width + 2, min(free_px, 3 * width + 4)))
    outside, inside = profile[max(0, middle - end) : middle], profile[middle + 1 : middle + 1 + end]
    # Two lines of a frame may lie so close that the blur does not fall to paper between them.
    return float(max(outside.min(initial=255), inside.min(initial=255) / 2))


def _refined(
    darkness: NDArray[np.uint8],
    middle: Points,
    half: Points,
    coefficients: Points,
    width: float,
    free_px: float,
    light: float,
) -> SideCurve | None:
    """Fit the curve to line centres, twice, each time about the last curve."""
    half_px = math.hypot(*half)
    clear = max(CORNER_CLEAR_WIDTHS * width, 5.0) / half_px
    count = int(min(MOST_PLACES, max(40, 2 * half_px / SPACING_PX)))
    t = np.linspace(-1 + clear, 1 - clear, count)
    # A second line close by fills the valley between: only the peak itself, closed in on step by step, is then free
    # of its pull.
    close = free_px < CLOSE_WIDTHS * width
    beside_px = max(0.45 * free_px, 1.6) if close else free_px - 0.5 * width
    for last in (False, False, False, True) if close else (False, True):
        slope = polynomial.polyval(t, polynomial.polyder(coefficients)) / half_px
        v = polynomial.polyval(t, coefficients)
        normal = _across(half) - slope[:, None] * half / half_px
        normal /= np.hypot(normal[:, :1], normal[:, 1:])
        window = min(width * (1.5 if last else 2.0) + (2.0 if last else 3.0), beside_px)
        places = _on(middle, half, t, v).astype(np.float64)
        found = line_centres(darkness, places, normal.astype(np.float64), half_width_px=window)
        if found.good.sum() < 20:
            return None
        usual_width, usual = float(np.median(found.width_px[found.good])), float(np.median(found.contrast[found.good]))
        good = found.good & (found.contrast > 0.4 * usual)
        good &= (found.width_px > 0.5 * usual_width) & (found.width_px < 1.7 * usual_width)
        if good.sum() < 20:
            return None
        measured = v + found.offset_px
        most = 4 if last else 3
        if good.sum() < 60 or t[good].min() > -END_SEEN or t[good].max() < END_SEEN:
            most = 2
        coefficients, sigma, kept = _robust_curve(t, measured, good, most)
    ends = np.abs(t[:, None] - np.array([-1 + clear, 1 - clear])) <= 0.05
    # A filled valley leaves no centre to measure and yet is ink where the line runs.
    near = kept | (
        (good | (found.contrast > 0.4 * usual) if close else good)
        & (np.abs(measured - polynomial.polyval(t, coefficients)) < max(1.0, 0.5 * usual_width))
    )
    rows = polynomial.polyvander(t[kept], len(coefficients) - 1)
    covariance = np.linalg.inv(rows.T @ rows) * sigma**2 / INDEPENDENT_PART
    at_end = polynomial.polyvander(np.array([-1.0, 1.0]), len(coefficients) - 1)
    end_sigma = np.sqrt(np.einsum("ij,jk,ik->i", at_end, covariance, at_end))
    if close:
        # What is left of a close neighbour's pull goes one way all along, so that no scatter shows it.
        end_sigma = np.hypot(end_sigma, CLOSE_PULL * usual_width)
    return SideCurve(
        middle,
        half,
        coefficients,
        t[kept],
        _on(middle, half, t[kept], measured[kept]),
        float(near.mean()),
        (float(near[ends[:, 0]].mean()), float(near[ends[:, 1]].mean())),
        sigma,
        (float(end_sigma[0]), float(end_sigma[1])),
        usual_width,
        usual,
        light,
    )


def _robust_curve(
    t: Points, v: Points, good: NDArray[np.bool_], most_degree: int
) -> tuple[Points, float, NDArray[np.bool_]]:
    """Fit v(t), its degree no higher than the places prove; give it, one sigma, and which places were kept."""
    kept = good.copy()
    best = polynomial.polyfit(t[kept], v[kept], 1)
    sigma = 1.0
    for degree in range(1, most_degree + 1):
        trial_kept = kept.copy() if degree > 1 else good.copy()
        for _ in range(6):
            trial = polynomial.polyfit(t[trial_kept], v[trial_kept], degree)
            off = v - polynomial.polyval(t, trial)
            spread = max(1.4826 * float(np.median(np.abs(off[trial_kept]))), 0.01)
            again = good & (np.abs(off) < OUTLIER_SIGMAS * spread)
            if (again == trial_kept).all() or again.sum() < 20:
                break
            trial_kept = again
        else:
            trial = polynomial.polyfit(t[trial_kept], v[trial_kept], degree)
        trial_sigma = float(np.sqrt(np.mean((v - polynomial.polyval(t, trial))[trial_kept] ** 2)))
        # Bayes' criterion (Schwarz 1978) with the independent part of the places.
        independent = INDEPENDENT_PART * trial_kept.sum()
        gain = 2 * independent * math.log(max(sigma, 1e-3) / max(trial_sigma, 1e-3))
        more_places = trial_kept.sum() > 1.05 * kept.sum()
        if degree == 1 or gain > math.log(max(independent, 2.0)) * (degree + 1 - len(best)) + 1 or more_places:
            best, sigma, kept = trial, max(trial_sigma, 0.01), trial_kept
    return best, sigma, kept
