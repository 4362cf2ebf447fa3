"""Where across a drawn line is its centre: sub-pixel, from the darkness of the ink."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

STEP_PX = 0.5
"""Largest distance of two samples across the line, px: two to a pixel see all that linear sampling can give."""

FLOOR = 0.15
"""Part of the peak's darkness that is cut off: blur tails and paper noise under it pull the centroid about."""

PAPER = 0.05
"""Part of the peak's darkness under which a sample is paper: noise over a wide window would add up to ink."""

LEAN = 0.8
"""How much less a peak at the window's end counts than one in its middle. At 0.3 thin lines are lost to darker
neighbours."""

OPEN_END = 0.45
"""Darkness left at the window's end, as part of the peak, above which the line is not inside its window."""

SIDE_CLASS = 4
"""Samples to a side are rounded up to a multiple of this: few different batches, little sampled in vain."""

REMAP_SIDE = 32_766
"""Largest side that OpenCV's remap takes, of a picture or of a map."""

BATCH_SAMPLES = 75_000
"""Samples worked on at a time: a batch stays in the processor's cache, whatever the number of points."""


@dataclass(frozen=True, slots=True)
class LineCentres:
    """What was found across a line at each of N points; arrays are (N,).

    `offset_px` is the centre's distance from the point along its normal, px; `width_px`
    the ink's width at half its darkness; `contrast` the peak's darkness (0..255); `amount` the
    darkness summed across it, darkness times px, which blur does not change; `good` tells
    that there is ink and that it lies within the window. Where `good` is False the
    offset is 0 and means nothing.
    """

    offset_px: NDArray[np.float64]
    width_px: NDArray[np.float64]
    contrast: NDArray[np.float64]
    amount: NDArray[np.float64]
    good: NDArray[np.bool_]


def line_centres(
    darkness: NDArray[np.uint8],
    points_px: NDArray[np.float64],
    normals: NDArray[np.float64],
    *,
    half_width_px: float | NDArray[np.float64],
) -> LineCentres:
    """Give the centre of the ink line across each point.

    The centroid of darkness along the normal, sampled linearly in the picture's own pixels. Beyond the peak
    the darkness is not let rise again, so a neighbouring line pulls only by what the valley between is short of white.

    Parameters
    ----------
    darkness : (H, W) uint8
        0 paper to 255 ink.
    points_px : (N, 2) float
        Points near the line, (x, y), picture frame, px.
    normals : (N, 2) float
        Unit vectors across the line.
    half_width_px : float or (N,) float
        How far to look each way, px: at least the line's width, plus what a point may be off.

    Returns
    -------
    LineCentres
        Arrays of (N,), in the points' order.
    """
    count = len(points_px)
    reach = np.broadcast_to(np.asarray(half_width_px, dtype=np.float64), (count,))
    offset, width, contrast, amount = np.zeros(count), np.zeros(count), np.zeros(count), np.zeros(count)
    good = np.zeros(count, dtype=np.bool_)
    if count == 0:
        return LineCentres(offset, width, contrast, amount, good)
    # Points that look equally far go together: one wide line must not make every thin one costly.
    sides = (np.ceil(reach / (SIDE_CLASS * STEP_PX)) * SIDE_CLASS).astype(np.int64)
    for side in np.unique(sides):
        alike = np.flatnonzero(sides == side)
        batch = max(1, BATCH_SAMPLES // (2 * int(side) + 1))
        for first in range(0, len(alike), batch):
            part = alike[first : first + batch]
            offset[part], width[part], contrast[part], amount[part], good[part] = _centres(
                darkness, points_px[part], normals[part], reach[part], int(side)
            )
    return LineCentres(offset, width, contrast, amount, good)


def profiles(darkness: NDArray[np.uint8], x_px: NDArray[np.float32], y_px: NDArray[np.float32]) -> NDArray[np.float32]:
    """Sample darkness linearly at any places (N, K), px; beyond the picture its edge continues. To half a level."""
    if max(darkness.shape) > REMAP_SIDE:
        return _gathered(darkness, x_px, y_px)
    rows = [
        cv2.remap(
            darkness,
            x_px[first : first + REMAP_SIDE],
            y_px[first : first + REMAP_SIDE],
            cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_REPLICATE,
        )
        for first in range(0, len(x_px), REMAP_SIDE)
    ]
    sampled: NDArray[np.float32] = np.concatenate([row.ravel() for row in rows]).astype(np.float32)
    return sampled.reshape(x_px.shape)


def _gathered(darkness: NDArray[np.uint8], x_px: NDArray[np.float32], y_px: NDArray[np.float32]) -> NDArray[np.float32]:
    """The same for pictures with a side beyond what OpenCV maps."""
    height, width = darkness.shape
    x = np.clip(x_px, 0, width - 1)
    y = np.clip(y_px, 0, height - 1)
    column = np.minimum(x.astype(np.int32), max(width - 2, 0))
    row = np.minimum(y.astype(np.int32), max(height - 2, 0))
    x -= column
    y -= row
    at = row.astype(np.int64) * width + column
    flat = darkness.ravel()
    right = 1 if width > 1 else 0
    down = width if height > 1 else 0
    top: NDArray[np.float32] = flat[at].astype(np.float32)
    top += x * (flat[at + right] - top)
    bottom: NDArray[np.float32] = flat[at + down].astype(np.float32)
    bottom += x * (flat[at + (down + right)] - bottom)
    bottom -= top
    bottom *= y
    top += bottom
    return top


def _centres(
    darkness: NDArray[np.uint8],
    points_px: NDArray[np.float64],
    normals: NDArray[np.float64],
    reach_px: NDArray[np.float64],
    side: int,
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64], NDArray[np.float64], NDArray[np.bool_]]:
    """One batch of `line_centres`, `side` samples each way.

    Samples run down the arrays and points along them: each step works on long rows of numbers.
    """
    unit = (np.arange(-side, side + 1) / side).astype(np.float32)[:, None]
    reach = reach_px.astype(np.float32)
    xy = np.empty((2, len(unit), len(reach)), np.float32)
    for axis in (0, 1):
        middle, across = np.ascontiguousarray(points_px[:, axis]), np.ascontiguousarray(normals[:, axis])
        for row in range(len(unit)):
            xy[axis, row] = middle + unit[row] * reach * across
    dark = profiles(darkness, *xy)

    # The peak nearest to the middle: on a saturated plateau every sample is the peak, and a neighbour may be darker.
    peak_at = np.argmax(dark * (1 - LEAN * unit * unit), axis=0)
    peak = dark[peak_at, np.arange(len(reach))]
    beyond = np.arange(2 * side + 1)[:, None] >= peak_at
    falling = np.where(beyond, dark, np.float32(np.inf))
    rising = np.where(beyond, np.float32(np.inf), dark)
    # Row by row: `np.minimum.accumulate` takes ten times as long.
    for row in range(1, 2 * side + 1):
        np.minimum(falling[row], falling[row - 1], out=falling[row])
        np.minimum(rising[-row - 1], rising[-row], out=rising[-row - 1])
    single = np.minimum(falling, rising, out=falling)

    ink = peak > 0
    scale = np.where(ink, peak, 1)
    single /= scale
    step = reach / side
    weight = np.maximum(single - np.float32(FLOOR), 0)
    total = weight.sum(axis=0)
    total[~ink] = 1
    offset = (unit[:, 0] @ weight) / total * reach
    # A soft count about half the peak: steadier than the crossing of one level.
    width = np.clip((single - np.float32(0.25)) * 2, 0, 1).sum(axis=0) * step
    height, columns = darkness.shape
    inside = (points_px[:, 0] >= -0.5) & (points_px[:, 0] <= columns - 0.5)
    inside &= (points_px[:, 1] >= -0.5) & (points_px[:, 1] <= height - 0.5)
    good = ink & inside & (single[0] < OPEN_END) & (single[-1] < OPEN_END)
    return (
        np.where(good, offset, 0).astype(np.float64),
        np.where(ink, width, 0).astype(np.float64),
        peak.astype(np.float64),
        np.where(ink, (single * (single > PAPER)).sum(axis=0) * step * scale, 0).astype(np.float64),
        good,
    )
