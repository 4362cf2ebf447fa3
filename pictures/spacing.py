"""How lines are spaced in one tile of a picture: the evenly spaced family that most of its peaks lie on."""

import math
from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from pictures.line_peaks import ROW_STEP

Floats = NDArray[np.float64]

TILE_BINS = 256
"""Columns that a tile's peaks are counted in: a line is then a bin or two wide and its harmonics are seen."""

LEAST_PERIODS = 3.0
"""Fewer lines across a tile are not told from drawn ones."""

HARMONICS = 4
"""Multiples of a spacing's frequency that are looked at: thin lines have many, a wave of light and dark none."""

MOST_FREQUENT = 0.4
"""Lines a bin beyond which bins no longer tell them apart: at two bins a line they could not."""

AS_GOOD = 0.85
"""A lower frequency this nearly as good is the true one: lines at half a spacing would fit all that is there too."""

LEAST_PEAKS = 60
"""A tile with fewer peaks tells nothing."""

NEAR_PARTS = (0.25, 0.18, 0.12, 0.12)
"""A peak within this part of a spacing of a line counts for it, in one round of the fit after another."""

LINE_SEEN = 0.4
"""Part of its rows on which a line is met to count as seen: drawn ink and grain hide some."""

LINES_SEEN = 0.7
"""Part of the lines that should cross a tile and are seen."""


@dataclass(frozen=True, slots=True)
class Spacing:
    """Lines k = `frequency` . (x, y) + `phase`, x and y in px from the tile's middle, k whole on every line."""

    frequency: Floats
    phase: float


def tile_spacing(x: Floats, y: Floats, *, side_px: float) -> Spacing | None:
    """Give the spacing of a tile's lines, or None where no family of lines fills it.

    Parameters
    ----------
    x, y : (N,) float
        Peaks from the tile's middle, px; `side_px` is the tile's side.
    """
    if len(x) < LEAST_PEAKS:
        return None
    frequency = _strongest(x, y, side_px)
    points = np.column_stack([x, y])
    turns = np.exp(2j * np.pi * (points @ frequency)).sum()
    found = np.array([*frequency, -np.angle(turns) / (2 * np.pi)])
    design = np.column_stack([points, np.ones(len(x))])
    for near in NEAR_PARTS:
        place = design @ found
        line = np.round(place)
        used = np.abs(place - line) < near
        if used.sum() < LEAST_PEAKS // 2:
            return None
        found = np.linalg.lstsq(design[used], line[used], rcond=None)[0]
    if math.hypot(found[0], found[1]) * side_px < LEAST_PERIODS or abs(found[0]) < 0.9 * abs(found[1]):
        return None
    return Spacing(found[:2], float(found[2])) if _fills(design, found, side_px) else None


def _strongest(x: Floats, y: Floats, side_px: float) -> Floats:
    """The frequency (cycles a px, in x and y) whose harmonics the peaks hold most of."""
    tried = _frequencies(side_px)
    column = np.clip(((x + side_px / 2) / tried.bin_px).astype(np.int64), 0, tried.columns - 1)
    row = np.clip(((y + side_px / 2) / ROW_STEP).astype(np.int64), 0, tried.rows - 1)
    counts = np.bincount(row * tried.columns + column, minlength=tried.rows * tried.columns)
    spectrum = np.fft.rfft(counts.reshape(tried.rows, tried.columns).astype(np.float32), tried.wide, axis=1)
    strength = np.abs(np.fft.fft(spectrum, tried.high, axis=0)).astype(np.float32) / len(x)
    strength = np.roll(strength, tried.high // 2, axis=0)
    around = cv2.dilate(strength, np.ones((3, 3), np.uint8)).ravel()
    total = strength.ravel()[tried.at].astype(np.float64)
    for inside, at in tried.harmonics:
        total[inside] += around[at]
    total /= tried.count
    good = total >= AS_GOOD * total.max()
    lowest = np.flatnonzero(good & (tried.size < 1.1 * tried.size[good].min()))
    best = int(lowest[total[lowest].argmax()])
    return np.array([tried.across[best], tried.along[best]])


@dataclass(frozen=True, slots=True, eq=False)
class _Frequencies:
    """The frequencies that are tried for a tile, and where they stand in the spectrum of its peaks.

    Peaks are counted in `rows` by `columns` bins, `bin_px` wide; the spectrum is `high` by `wide` // 2 + 1. Of each of
    N frequencies: its parts `across` and `along` (cycles a px), its `size`, its place `at` in the spectrum and the
    `count` of its harmonics there. For each multiple, `harmonics` holds which have it and where.
    """

    rows: int
    columns: int
    bin_px: float
    high: int
    wide: int
    across: Floats
    along: Floats
    size: Floats
    at: NDArray[np.int64]
    count: Floats
    harmonics: tuple[tuple[NDArray[np.bool_], NDArray[np.int64]], ...]


@lru_cache(maxsize=4)
def _frequencies(side_px: float) -> _Frequencies:
    """What is the same for all tiles of a size."""
    bin_px = max(1.0, side_px / TILE_BINS)
    columns, rows = math.ceil(side_px / bin_px), math.ceil(side_px / ROW_STEP)
    wide, high = _fast_length(2 * columns), _fast_length(rows + rows // 2)
    lean = high // 2
    across = np.arange(wide // 2 + 1) / (wide * bin_px)
    along = (np.arange(high) - lean) / (high * ROW_STEP)
    least = math.ceil(LEAST_PERIODS * wide * bin_px / side_px)
    # Only lines within 45 degrees of the columns are wanted.
    wanted = (
        (np.abs(along)[:, None] <= 1.05 * across)
        & (np.arange(len(across)) >= least)
        & (across < MOST_FREQUENT / bin_px)
    )
    at_row, at_column = np.nonzero(wanted)
    count = np.ones(len(at_row))
    harmonics = []
    for harmonic in range(2, HARMONICS + 1):
        further, aside = at_column * harmonic, lean + (at_row - lean) * harmonic
        inside = (further < len(across)) & (aside >= 0) & (aside < high)
        harmonics.append((inside, aside[inside] * len(across) + further[inside]))
        count[inside] += 1
    across, along = across[at_column], along[at_row]
    return _Frequencies(
        rows,
        columns,
        bin_px,
        high,
        wide,
        across,
        along,
        np.hypot(across, along),
        at_row * (wide // 2 + 1) + at_column,
        np.maximum(count, 2),
        tuple(harmonics),
    )


def _fast_length(least: int) -> int:
    """The least length from here on that a Fourier transform parts into small factors, up to 11."""
    length = least
    while True:
        rest = length
        for factor in (2, 3, 5, 7, 11):
            while rest % factor == 0:
                rest //= factor
        if rest == 1:
            return length
        length += 1


def _fills(design: Floats, found: Floats, side_px: float) -> bool:
    """Whether most lines that should cross the tile are there, from one side to the other."""
    place = design @ found
    line = np.round(place).astype(np.int64)
    used = np.abs(place - line) < NEAR_PARTS[-1]
    half = side_px / 2
    # The tile's columns at its middle height: lines that lean leave it at the top or bottom.
    reach = abs(found[0]) * half
    inside = (line > found[2] - reach) & (line < found[2] + reach) & used
    rows = (design[inside, 1] / ROW_STEP).astype(np.int64)
    first = math.ceil(found[2] - reach)
    cells = np.unique((line[inside] - first) * 4096 + rows - rows.min(initial=0))
    expected = max(1, math.floor(found[2] + reach) - first + 1)
    met = np.bincount(cells // 4096, minlength=expected)[:expected] / (side_px / ROW_STEP)
    return bool((met > LINE_SEEN).mean() >= LINES_SEEN)
