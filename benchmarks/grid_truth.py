"""Where a printed grid's lines cross, measured apart from the program: each line a smooth curve through all of it.

Ink is averaged along every side of every square, so neither the thinned graph nor the program's centres are used.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

HALF_PX = 9.0
"""How far to each side of its place a line is looked for, px."""

CUT_PX = 9.0
"""How much of a square's side is left out at both crossings, px."""

BLUR_PX = 1.5
"""Blur of a mean profile before its peak is taken, one sigma, px: about the printed line's own."""

STEP_PX = 0.25

DEGREE = 3
"""Of the polynomial along a line: beyond, what is left of the sides shows no more pattern."""

OUTLIER_PX = (1.5, 0.5)
"""Sides farther from the lattice, then from their own line's curve, are written over."""


@dataclass(frozen=True, slots=True)
class Lattice:
    """A regular grid: the crossing of column 0 and row 0, and the steps to the next column and the next row, px."""

    origin_px: Floats
    column_px: Floats
    row_px: Floats
    columns: int
    rows: int

    def places(self, columns: Floats, rows: Floats) -> Floats:
        """Points (..., 2) px at columns and rows, parts of them included."""
        places: Floats = self.origin_px + columns[..., None] * self.column_px + rows[..., None] * self.row_px
        return places


def smooth_crossings(grey: NDArray[np.uint8], lattice: Lattice) -> tuple[Floats, float]:
    """Give the crossings (columns, rows, 2) px of the lines' smooth curves, and the sides' scatter about them, px."""
    down = _curves(grey, lattice)
    turned = Lattice(
        lattice.origin_px[::-1], lattice.row_px[::-1], lattice.column_px[::-1], lattice.rows, lattice.columns
    )
    across = _curves(np.ascontiguousarray(grey.T), turned)
    places = lattice.places(
        *np.meshgrid(np.arange(lattice.columns) * 1.0, np.arange(lattice.rows) * 1.0, indexing="ij")
    )
    x, y = places[..., 0], places[..., 1]
    for _ in range(4):
        x, y = _at(down[0], y, down[2]), _at(across[0], x.T, across[2]).T
    return np.stack([x, y], axis=-1), float(np.sqrt((down[1] ** 2 + across[1] ** 2) / 2))


def _curves(grey: NDArray[np.uint8], lattice: Lattice) -> tuple[Floats, float, tuple[float, float]]:
    """Polynomials x(y) of the columns (columns, DEGREE + 1), the sides' scatter, and what y is scaled by."""
    columns, rows = np.meshgrid(np.arange(lattice.columns) * 1.0, np.arange(lattice.rows - 1) + 0.5, indexing="ij")
    middle = lattice.places(columns, rows)
    scale = (float(middle[..., 1].mean()), float(np.ptp(middle[..., 1]) / 2))
    u = (middle[..., 1] - scale[0]) / scale[1]
    x = middle[..., 0]
    for limit in (OUTLIER_PX[0], OUTLIER_PX[0], OUTLIER_PX[1]):
        found = x + _peaks(grey, np.stack([x, middle[..., 1]], axis=-1), lattice.row_px)
        # The whole lattice first, bowed a little: lines alone have too many sides written over.
        terms = np.stack([np.ones_like(u), columns, u, columns * u, u**2, columns**2], axis=-1).reshape(-1, 6)
        used = np.ones(len(terms), np.bool_)
        for _ in range(12):
            fit = np.linalg.lstsq(terms[used], found.ravel()[used], rcond=None)[0]
            used = np.abs(found.ravel() - terms @ fit) < OUTLIER_PX[0]
        near = used.reshape(u.shape)
        fits = np.empty((lattice.columns, DEGREE + 1))
        rest = []
        for column in range(lattice.columns):
            keep = near[column].copy()
            powers = np.vander(u[column], DEGREE + 1)
            for _ in range(12):
                fits[column] = np.linalg.lstsq(powers[keep], found[column][keep], rcond=None)[0]
                keep = near[column] & (np.abs(found[column] - powers @ fits[column]) < limit)
            rest.append((found[column] - powers @ fits[column])[keep])
        x = _at(fits, middle[..., 1], scale)
    return fits, float(np.sqrt(np.mean(np.concatenate(rest) ** 2))), scale


def _at(fits: Floats, y: Floats, scale: tuple[float, float]) -> Floats:
    """The columns' x at (columns, M) y."""
    u = (y - scale[0]) / scale[1]
    x = np.zeros_like(u)
    for power in range(fits.shape[1]):
        x = x * u + fits[:, power : power + 1]
    return x


def _peaks(grey: NDArray[np.uint8], middle_px: Floats, row_px: Floats) -> Floats:
    """How far in x the darkest line lies from the middles of sides, px."""
    long = float(np.hypot(*row_px))
    along = np.arange(-(long / 2 - CUT_PX), long / 2 - CUT_PX)
    aside = np.arange(-HALF_PX, HALF_PX + STEP_PX / 2, STEP_PX)
    flat = middle_px.reshape(-1, 2)
    total = np.zeros((len(flat), len(aside)))
    for step in along:
        places = flat + step * row_px / long
        x = (places[:, :1] + aside).astype(np.float32)
        y = np.broadcast_to(places[:, 1:], x.shape).astype(np.float32)
        total += 255.0 - cv2.remap(grey, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    total -= np.linspace(total[:, :8].mean(axis=1), total[:, -8:].mean(axis=1), len(aside), axis=1)
    total = np.asarray(cv2.GaussianBlur(total, (0, 0), sigmaX=BLUR_PX / STEP_PX, sigmaY=1e-6), np.float64)
    best = np.clip(total.argmax(axis=1), 1, len(aside) - 2)
    rows = np.arange(len(flat))
    before, at, after = total[rows, best - 1], total[rows, best], total[rows, best + 1]
    bow = before - 2 * at + after
    shift = np.where(bow < 0, 0.5 * (before - after) / np.where(bow < 0, bow, -1), 0)
    peaks: Floats = (aside[best] + shift * STEP_PX).reshape(middle_px.shape[:-1])
    return peaks
