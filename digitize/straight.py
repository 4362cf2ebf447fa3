"""Where a run of points is straight."""

import numpy as np
from numpy.typing import NDArray

from digitize.sections import Section
from digitize.straight_fit import fit_straight

STRAIGHT_OF_TOLERANCE = 0.4
"""A run is straight if its average leaves the line by less than this share of the tolerance."""


CHANCE_SIGMAS = 4.5
"""The largest of some hundred averages strays this many standard errors by chance."""


def is_straight(section: Section, tolerance_mm: float) -> bool:
    """Tell whether a whole run between two corners is straight within the noise."""
    used = section.weights > 0
    if used.sum() < 4:
        return True
    line = fit_straight(section.points_mm, section.weights)
    return bool(_bow_mm(line.off(section.points_mm[used]), section.sigma_mm, tolerance_mm) <= 1)


def _bow_mm(off_mm: NDArray[np.float64], sigma_mm: float, tolerance_mm: float) -> float:
    """Largest average distance over what a straight line's would be: at most 1 for a straight line."""
    window = int(np.clip(len(off_mm) // 6, 1, 25))
    average = np.convolve(off_mm, np.ones(window) / window, "valid")
    allowed = max(STRAIGHT_OF_TOLERANCE * tolerance_mm, CHANCE_SIGMAS * sigma_mm / float(np.sqrt(window)))
    return float(np.abs(average).max()) / allowed


LEAST_SHARE = 0.15
"""A straight stretch within a curved run is at least this share of it; shorter ones cost nodes and show nothing."""

LEAST_WIDTHS = 25.0
"""And at least this long, in line widths: any gentle curve is straight over less."""

STATIONS = 96
"""Places along a run where a stretch may begin or end."""

REAL_SHARE = 0.12
"""The middle of a truly straight stretch strays by at most this share of the tolerance, or by the noise."""


def straight_runs(section: Section, tolerance_mm: float) -> list[tuple[int, int]]:
    """Straight stretches of a curved run as (first, last sample), in order, none touching another.

    Every stretch between some hundred stations is tested at once by the scatter across its line, from
    running sums. A stretch counts if its middle is as straight as the noise allows: the flattest part of a
    gentle curve is not.
    """
    points, weights = section.points_mm, section.weights
    count = len(points)
    least = max(LEAST_SHARE * count, LEAST_WIDTHS * section.width_mm / _step_mm(points), 12)
    if count < 2 * least:
        return []
    at = np.unique(np.linspace(0, count - 1, min(STATIONS, count)).astype(int))
    scatter = _scatter_mm(points, weights, at)
    allowed = np.hypot(section.sigma_mm, 0.3 * STRAIGHT_OF_TOLERANCE * tolerance_mm)
    long = at[None, :] - at[:, None]
    good = (scatter <= allowed) & (long >= least)
    found: list[tuple[int, int]] = []
    while good.any():
        i, j = np.unravel_index(int(np.where(good, long, 0).argmax()), good.shape)
        first, last = int(at[i]), int(at[j])
        good[: int(j) + 1, int(i) :] = False
        if _is_real(section, first, last, tolerance_mm):
            found.append((first, last))
    return sorted(found)


def _step_mm(points: NDArray[np.float64]) -> float:
    return float(np.hypot(points[1, 0] - points[0, 0], points[1, 1] - points[0, 1]))


def _scatter_mm(
    points: NDArray[np.float64], weights: NDArray[np.float64], at: NDArray[np.int64]
) -> NDArray[np.float64]:
    """Root mean square distance from its own line of every stretch between two stations (S, S); else inf."""
    p = points - points.mean(axis=0)
    columns = np.column_stack([np.ones(len(p)), p[:, 0], p[:, 1], p[:, 0] ** 2, p[:, 1] ** 2, p[:, 0] * p[:, 1]])
    sums = np.vstack([np.zeros(6), np.cumsum(columns * weights[:, None], axis=0)])
    total = sums[at + 1][None, :, :] - sums[at][:, None, :]
    number = np.where(total[..., 0] >= 6, total[..., 0], np.nan)
    mx, my = total[..., 1] / number, total[..., 2] / number
    xx, yy = total[..., 3] / number - mx * mx, total[..., 4] / number - my * my
    xy = total[..., 5] / number - mx * my
    least = (xx + yy) / 2 - np.hypot((xx - yy) / 2, xy)
    rms = np.sqrt(np.maximum(least, 0))
    return np.where(np.isnan(rms) | (at[None, :] <= at[:, None]), np.inf, rms)


def _is_real(section: Section, first: int, last: int, tolerance_mm: float) -> bool:
    points, weights = section.points_mm[first : last + 1], section.weights[first : last + 1]
    trim = len(points) // 8
    inner, used = points[trim : len(points) - trim], weights[trim : len(points) - trim] > 0
    if used.sum() < 8:
        return False
    off = fit_straight(inner, used.astype(float)).off(inner[used])
    window = max(1, len(off) // 6)
    average = np.convolve(off, np.ones(window) / window, "valid")
    allowed = max(REAL_SHARE * tolerance_mm, 2.5 * section.sigma_mm / np.sqrt(window))
    return bool(np.abs(average).max() <= allowed)
