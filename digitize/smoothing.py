"""A noisy run of points made smooth: positions and directions by local quadratics, the window chosen by the noise."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

HALF_WINDOWS = (3, 6, 12, 24, 48)
"""Half widths tried, in samples about one px apart: from thrice a thin line's noise correlation to a gentle curve."""

AGREE_SIGMAS = 3.0
"""A wider window is taken where it moves a point by no more than this many standard errors (Lepski's rule)."""


ALIKE = 5.0
"""Neighbours err alike over some five points, as far as the profiles that they are the centres of share ink."""


@dataclass(frozen=True, slots=True)
class Smoothed:
    """Smooth points (N, 2), unit directions (N, 2), and each point's standard error across the line (N,)."""

    points_mm: NDArray[np.float64]
    directions: NDArray[np.float64]
    sigma_mm: NDArray[np.float64]


def smoothed(points_mm: NDArray[np.float64], *, sigma_mm: float, closed: bool) -> Smoothed:
    """Smooth equally spaced points of one curve without corners.

    Each point is the value of the least-squares quadratic over a window around it (Savitzky and Golay 1964);
    near the ends of an open run, of the quadratic over the last window. The window is the widest whose result agrees
    with that of the next narrower within the noise.

    Parameters
    ----------
    points_mm : (N, 2) array
        Points at equal steps. A closed run does not repeat its first point.
    sigma_mm : float
        One-sigma error of a point.
    closed : bool
        Whether the last point is followed by the first.
    """
    count = len(points_mm)
    widths = [half for half in HALF_WINDOWS if 2 * half + 1 <= (count if not closed else max(7, count // 3))]
    if not widths:
        return Smoothed(points_mm, _unit(_differences(points_mm, closed)), np.full(count, sigma_mm))
    best, directions = _window_fit(points_mm, widths[0], closed)
    sigma = np.full(count, _error_mm(sigma_mm, widths[0]))
    going = np.ones(count, dtype=bool)
    for half in widths[1:]:
        values, slopes = _window_fit(points_mm, half, closed)
        moved = np.hypot(*(values - best).T)
        going &= moved <= AGREE_SIGMAS * sigma + 1e-9 * abs(sigma_mm)
        # A window wider at one point than next to it would leave a step; shrink the area that takes it by its half.
        taken = _eroded(going, half // 2, closed)
        best[taken], directions[taken], sigma[taken] = values[taken], slopes[taken], _error_mm(sigma_mm, half)
    return Smoothed(best, _unit(directions), sigma)


OWN_HALF = 24
"""Half width of the windows that noise is told from: longer than it is alike, short beside a line's curves."""


def own_sigma_mm(points_mm: NDArray[np.float64], weights: NDArray[np.float64], *, closed: bool) -> float:
    """Give one sigma of the points across their line, as they scatter about local quadratics.

    By the median, so that noses and tips, where a quadratic does not follow the line, count for no more than they are
    long; 0 for a run too short to tell.
    """
    if len(points_mm) < 3 * (2 * OWN_HALF + 1):
        return 0.0
    values, slopes = _window_fit(points_mm, OWN_HALF, closed)
    along = _unit(slopes)
    off = points_mm - values
    across = np.abs(off[:, 1] * along[:, 0] - off[:, 0] * along[:, 1])[weights > 0]
    # A normal error exceeds 0.6745 sigma half the time.
    return float(np.median(across)) / 0.6745 if len(across) else 0.0


def _error_mm(sigma_mm: float, half: int) -> float:
    """Standard error of a local quadratic's middle: 9/4 of the variance of a mean, for many samples."""
    return sigma_mm * min(1.0, float(np.sqrt(9 * ALIKE / (4 * (2 * half + 1)))))


@lru_cache(maxsize=32)
def _kernels(half: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Matrices (2 half + 1, 2 half + 1) giving value and slope at each station of a window from its samples."""
    station = np.arange(-half, half + 1, dtype=float)
    powers = np.vander(station, 3, increasing=True)
    solve = np.linalg.pinv(powers)
    return powers @ solve, np.outer(np.ones_like(station), solve[1]) + 2 * np.outer(station, solve[2])


def _window_fit(
    points: NDArray[np.float64], half: int, closed: bool
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    value, slope = _kernels(half)
    if closed:
        points = np.concatenate([points[-half:], points, points[:half]])
    middle = [
        np.column_stack([np.convolve(points[:, axis], row[half][::-1], "valid") for axis in (0, 1)])
        for row in (value, slope)
    ]
    if closed:
        return middle[0], middle[1]
    window = 2 * half + 1
    first, last = points[:window], points[-window:]
    values = np.concatenate([value[:half] @ first, middle[0], value[half + 1 :] @ last])
    slopes = np.concatenate([slope[:half] @ first, middle[1], slope[half + 1 :] @ last])
    return values, slopes


def _eroded(mask: NDArray[np.bool_], by: int, closed: bool) -> NDArray[np.bool_]:
    """The mask where every sample within `by` of it is set; beyond an open end counts as set."""
    padded = np.concatenate([mask[-by:], mask, mask[:by]]) if closed else np.pad(mask, by, constant_values=True)
    return np.convolve(padded.astype(float), np.ones(2 * by + 1), "valid") > 2 * by + 0.5


def _differences(points: NDArray[np.float64], closed: bool) -> NDArray[np.float64]:
    if closed:
        around: NDArray[np.float64] = np.roll(points, -1, axis=0) - np.roll(points, 1, axis=0)
        return around
    if len(points) < 3:
        return np.tile(points[-1] - points[0], (len(points), 1))
    return np.asarray(np.gradient(points, axis=0))


def _unit(vectors: NDArray[np.float64]) -> NDArray[np.float64]:
    long = np.hypot(*vectors.T)
    safe: NDArray[np.float64] = (
        np.where((long > 0)[:, None], vectors, [1.0, 0.0]) / np.where(long > 0, long, 1)[:, None]
    )
    return safe
