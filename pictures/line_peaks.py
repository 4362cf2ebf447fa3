"""Where rows of a darkness picture cross thin lines: the marks in which evenly spaced lines are looked for."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

ROW_STEP = 4
"""Rows from one looked at to the next, px: a line drawn across a sheet is met hundreds of times still."""

LEAST_RISE = 4.0
"""Darkness (of 255) by which a line rises over what is beside it: JPEG ripples reach 3 when three rows are taken
together."""

RISE_SIGMAS = 2.5
"""The same in sigmas of what the mean of three rows leaves of the noise: chance makes a peak on a px in a hundred, and
fine lines everywhere make the noise seem larger than it is."""

BESIDE_PART = 0.75e-3
"""How far beside a line the paper is looked at, in parts of the picture's longer side: past a thin line's half width
and blur, short of the middle between lines 1 mm apart on a photo of A3."""

LEAST_BESIDE_PX = 3


@dataclass(frozen=True, slots=True)
class Peaks:
    """Crossings of sampled rows with thin lines, row by row: `x` and `y` (N,) in picture px, `shade` (N,) of 255."""

    x: NDArray[np.float32]
    y: NDArray[np.float32]
    shade: NDArray[np.float32]


def line_peaks(darkness: NDArray[np.uint8], *, noise: float, sheet: NDArray[np.uint8] | None) -> Peaks:
    """Give where every ROW_STEP-th row crosses lines that are darker than both sides near by.

    Parameters
    ----------
    darkness : (H, W) uint8
        0 paper, 255 black; a transposed view serves for the lines that run along the rows.
    noise : float
        One sigma of the darkness on blank paper.
    sheet : (H, W) uint8 or None
        0 where nothing counts.
    """
    height, width = darkness.shape
    beside = beside_px(darkness.shape)
    if height < 3 or width <= 2 * beside + 2:
        return Peaks(*(np.empty(0, np.float32) for _ in range(3)))
    rows = np.arange(1, height - 1, ROW_STEP)
    least = max(LEAST_RISE, RISE_SIGMAS * noise / 2)
    # Many rows at once are fast; all of them would need as much memory again as a large picture.
    many = max(1, PIXELS_AT_ONCE // width)
    found = [
        _on_rows(darkness, rows[first : first + many], beside, least, sheet) for first in range(0, len(rows), many)
    ]
    x, y, shade = (np.concatenate(parts) for parts in zip(*found, strict=True))
    return Peaks(x, y, shade)


PIXELS_AT_ONCE = 4_000_000
"""Pixels of the rows looked at together."""


def _on_rows(
    darkness: NDArray[np.uint8],
    rows: NDArray[np.int64],
    beside: int,
    least: float,
    sheet: NDArray[np.uint8] | None,
) -> tuple[NDArray[np.float32], NDArray[np.float32], NDArray[np.float32]]:
    """Places and shades of the peaks on some rows."""
    width = darkness.shape[1]
    three = [np.ascontiguousarray(darkness[rows + shift]) for shift in (-1, 0, 1)]
    mean = cv2.addWeighted(cv2.addWeighted(three[0], 0.5, three[2], 0.5, 0), 2 / 3, three[1], 1 / 3, 0)
    level = cv2.blur(mean, (3, 1), borderType=cv2.BORDER_REPLICATE).astype(np.int16)
    middle = level[:, beside:-beside]
    sides = np.maximum(level[:, : -2 * beside], level[:, 2 * beside :])
    top = middle - sides > least
    top &= middle >= level[:, beside - 1 : -beside - 1]
    top &= middle > level[:, beside + 1 : width - beside + 1]
    # A row after the other: numpy looks through two dimensions five times as slowly.
    row, column = np.divmod(np.flatnonzero(top), top.shape[1])
    column += beside
    if sheet is not None:
        inside = sheet[rows[row], column] > 0
        row, column = row[inside], column[inside]
    before, here, after = (level[row, column + shift].astype(np.float32) for shift in (-1, 0, 1))
    bend = np.maximum(2 * here - before - after, 1)
    return (column + (after - before) / (2 * bend)).astype(np.float32), rows[row].astype(np.float32), here


def beside_px(shape: tuple[int, ...]) -> int:
    """How far beside a line the paper is looked at, px."""
    return max(LEAST_BESIDE_PX, round(BESIDE_PART * max(shape)))
