"""Samples along many lines at once: even spacing, and local fits that never look past a line's ends."""

from collections.abc import Sequence
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def evenly_spaced(lines: Sequence[Floats], *, step_px: float = 1.0) -> tuple[Floats, NDArray[np.int64]]:
    """Give points about `step_px` apart along polylines.

    Parameters
    ----------
    lines : sequence of (M, 2) float
        Polylines, px, M >= 2; no two lines need have anything in common.

    Returns
    -------
    points : (T, 2) float
        Of all lines, one after another; the ends of each are kept exactly.
    first : (L + 1,) int
        Line l has points `first[l]:first[l + 1]`, at least two.
    """
    if not lines:
        return np.empty((0, 2)), np.zeros(1, np.int64)
    counts = np.array([len(line) for line in lines])
    begin = np.concatenate([[0], np.cumsum(counts)])
    flat = np.concatenate(lines)
    steps = np.hypot(*np.diff(flat, axis=0).T)
    steps[begin[1:-1] - 1] = 0
    along = np.concatenate([[0.0], np.cumsum(steps)])
    lengths = along[begin[1:] - 1] - along[begin[:-1]]
    # A gap of 1 px between lines in the common measure keeps np.interp from mixing them.
    line_of = np.repeat(np.arange(len(lines)), counts)
    along = along + line_of
    numbers = np.maximum(np.round(lengths / step_px).astype(np.int64) + 1, 2)
    first = np.concatenate([[0], np.cumsum(numbers)])
    of = np.repeat(np.arange(len(lines)), numbers)
    within = (np.arange(first[-1]) - first[of]) / (numbers[of] - 1)
    at = along[begin[:-1]][of] + within * lengths[of]
    points = np.column_stack([np.interp(at, along, flat[:, axis]) for axis in (0, 1)])
    points[first[:-1]] = flat[begin[:-1]]
    points[first[1:] - 1] = flat[begin[1:] - 1]
    return points, first


def parted(values: NDArray[Any], first: NDArray[np.int64]) -> list[NDArray[Any]]:
    """Views of (T, ...) values, line by line; line l has those at `first[l]:first[l + 1]`. `np.split` takes four times
    as long."""
    return [values[begin:end] for begin, end in pairwise(first.tolist())]


def median_of(values: Sequence[float]) -> float:
    """The median of some numbers; of few, `np.median` takes ten times as long."""
    ranked, half = sorted(values), len(values) // 2
    return ranked[half] if len(ranked) % 2 else (ranked[half - 1] + ranked[half]) / 2


def step_lengths(points: Floats) -> Floats:
    """How far it is from each of (N, 2) points to the next, (N - 1,)."""
    lengths: Floats = np.hypot(points[1:, 0] - points[:-1, 0], points[1:, 1] - points[:-1, 1])
    return lengths


def lengths_along(points: Floats) -> Floats:
    """How far along their polyline (N, 2) points lie, (N,), from 0."""
    along = np.zeros(len(points))
    np.cumsum(step_lengths(points), out=along[1:])
    return along


def line_numbers(first: NDArray[np.int64]) -> NDArray[np.int64]:
    """Which line each point belongs to, (T,)."""
    return np.repeat(np.arange(len(first) - 1), np.diff(first))


def local_fits(
    points: Floats, weights: Floats, first: NDArray[np.int64], *, half: int, degree: int
) -> tuple[Floats, Floats]:
    """Fit a line (degree 1) or a parabola (2) to the points around each point, by index along its line.

    Savitzky and Golay's local least squares (Analytical Chemistry 36, 1964), with weights, so that points that could
    not be measured count nothing and are filled in, and windows are cut at the lines' ends.

    Parameters
    ----------
    points : (T, 2) float
        Points of all lines, about evenly spaced.
    weights : (T,) float
        0 for a point to be left out.
    first : (L + 1,) int
        Where each line's points begin.
    half : int
        Points to each side.
    degree : int
        1 or 2. Where too few points are left, a line or a mean is fitted instead.

    Returns
    -------
    place, slope : (T, 2) float
        The fit's value and its derivative by index, at each point; the point itself, and 0, where no weight is near.
    """
    place, slope = np.empty_like(points), np.empty_like(points)
    begins = np.searchsorted(first, np.arange(0, first[-1], FITTED_AT_ONCE))
    for low, high in pairwise(np.unique([*begins.tolist(), len(first) - 1]).tolist()):
        part = slice(int(first[low]), int(first[high]))
        own = first[low : high + 1] - first[low]
        place[part], slope[part] = _fits(points[part], weights[part], own, half=half, degree=degree)
    return place, slope


FITTED_AT_ONCE = 16_384
"""Points fitted at a time, give or take a line: their sums stay in the processor's cache."""


def _fits(
    points: Floats, weights: Floats, first: NDArray[np.int64], *, half: int, degree: int
) -> tuple[Floats, Floats]:
    """The same of some of the lines."""
    lines = line_numbers(first)
    padded_at = np.arange(len(points)) + half * (lines + 1)
    size = len(points) + half * (len(first) + 1)
    offsets = np.arange(-half, half + 1, dtype=np.float64)
    taper = 1 - (np.abs(offsets) / (half + 1)) ** 3
    taper = taper**3
    weight = np.zeros(size)
    weight[padded_at] = weights

    def moment(values: Floats, power: int) -> Floats:
        # Correlation: sum over j of values[i + j] * taper[j] * j^power.
        kernel = (taper * offsets**power)[::-1]
        summed: Floats = np.convolve(values, kernel, mode="same")[padded_at]
        return summed

    sums = [moment(weight, power) for power in range(2 * degree + 1)]
    place, slope = points.copy(), np.zeros_like(points)
    determined = _solvable(sums, degree)
    for axis in (0, 1):
        # Relative to each line's first point: squares of far-off positions would cost digits.
        base = points[first[:-1], axis][lines]
        padded = np.zeros(size)
        padded[padded_at] = weights * (points[:, axis] - base)
        rights = [moment(padded, power) for power in range(degree + 1)]
        value, rate = _solved(sums, rights, determined, degree)
        has = sums[0] > 0
        place[has, axis] = value[has] + base[has]
        slope[has, axis] = rate[has]
    return place, slope


def _solvable(sums: list[Floats], degree: int) -> list[NDArray[np.bool_]]:
    """Where the sums determine a line, and a parabola: two or three points well apart."""
    total = np.where(sums[0] > 0, sums[0], 1)
    mean = sums[1] / total
    spread = sums[2] / total - mean**2
    line = (sums[0] > 1.2) & (spread > 0.3)
    if degree == 1:
        return [line]
    a, b, c, d, e = sums
    det = a * (c * e - d * d) - b * (b * e - c * d) + c * (b * d - c * c)
    # Compared with what the same weights would give if spread as wide as they are: scale free.
    parabola = line & (det > 0.02 * a * (spread * a) * (spread**2 * a) / 1.0) & (sums[0] > 2.5)
    return [line, parabola]


def _solved(
    sums: list[Floats], rights: list[Floats], determined: list[NDArray[np.bool_]], degree: int
) -> tuple[Floats, Floats]:
    """Value and slope at index 0 of each window."""
    total = np.where(sums[0] > 0, sums[0], 1)
    value, rate = rights[0] / total, np.zeros_like(total)
    line = determined[0]
    det = np.where(line, sums[0] * sums[2] - sums[1] ** 2, 1)
    value = np.where(line, (sums[2] * rights[0] - sums[1] * rights[1]) / det, value)
    rate = np.where(line, (sums[0] * rights[1] - sums[1] * rights[0]) / det, rate)
    if degree == 2:
        a, b, c, d, e = sums
        p, q, r = rights
        parabola = determined[1]
        det = np.where(parabola, a * (c * e - d * d) - b * (b * e - c * d) + c * (b * d - c * c), 1)
        at = (p * (c * e - d * d) - b * (q * e - d * r) + c * (q * d - c * r)) / det
        by = (a * (q * e - d * r) - p * (b * e - c * d) + c * (b * r - c * q)) / det
        value, rate = np.where(parabola, at, value), np.where(parabola, by, rate)
    return value, rate
