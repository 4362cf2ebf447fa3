"""Sub-pixel centre-lines: pixel chains moved to the middle of the ink."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from digitize.runs import Floats, evenly_spaced, line_numbers, local_fits
from pictures.ink import Ink
from pictures.ridge import line_centres

NORMAL_HALF = 3
"""Samples to each side from which a line's direction is taken: less lets the skeleton's steps turn the normal by 10
deg."""


LEAP_PX = 0.5
"""How far a sample may lie from its neighbours' middle, px, besides a quarter of its width: skeletons step by up to 1
px."""


@dataclass(frozen=True, slots=True)
class Samples:
    """Measured samples about 1 px apart along lines, as flat arrays of T.

    Line l has samples `first[l]:first[l + 1]`. `points_px` (T, 2) are centres where `good`, else where the
    line was thought to run, which `thought_px` (T, 2) tells of all; `weight` what they count for beside others (1
    measured, less where inferred); `width_px`, `contrast` and `amount` (darkness times px) across it; `normals` (T, 2).
    """

    points_px: Floats
    normals: Floats
    width_px: Floats
    contrast: Floats
    amount: Floats
    good: NDArray[np.bool_]
    weight: Floats
    first: NDArray[np.int64]
    thought_px: Floats

    @property
    def line(self) -> NDArray[np.int64]:
        """Which line each sample belongs to."""
        return line_numbers(self.first)


def measure_lines(
    darkness: NDArray[np.uint8], lines: Sequence[Floats], *, half_width_px: Floats, half: int = NORMAL_HALF
) -> Samples:
    """Measure the ink across polylines that run near its middle.

    Parameters
    ----------
    darkness : (H, W) uint8
        As in `Ink`.
    lines : sequence of (M, 2) float
        Polylines, px.
    half_width_px : (L,) float
        How far to look across each line, px.
    half : int
        Samples to each side that smooth a line before it is measured.
    """
    points, first = evenly_spaced(lines)
    number = line_numbers(first)
    place, slope = local_fits(points, np.ones(len(points)), first, half=half, degree=1)
    # The ends stay: a one-sided mean would pull them in.
    normals = across(slope)
    found = line_centres(darkness, place, normals, half_width_px=half_width_px[number])
    offset, width, contrast, amount, good = found.offset_px, found.width_px, found.contrast, found.amount, found.good
    again = np.flatnonzero(~good & (contrast > 0))
    if len(again):
        # Where lines meet the ink is wider than any of them.
        wider = line_centres(darkness, place[again], normals[again], half_width_px=2 * half_width_px[number[again]])
        offset[again], width[again], good[again] = wider.offset_px, wider.width_px, wider.good
        contrast[again], amount[again] = wider.contrast, wider.amount
    # A sample that leaps aside has found another line's ink.
    leap = np.abs(offset - _middle_of_seven(offset))
    good &= leap < LEAP_PX + 0.25 * width
    return Samples(
        place + offset[:, None] * normals, normals, width, contrast, amount, good, np.ones(len(good)), first, place
    )


def clear_of_hidden(samples: Samples, ink: Ink) -> Samples:
    """Give the samples with none that are good where another ink lies over the line."""
    if ink.hidden is None:
        return samples
    height, width = ink.hidden.shape
    x, y = np.clip(np.rint(samples.points_px).astype(np.int64), 0, [width - 1, height - 1]).T
    return replace(samples, good=samples.good & (ink.hidden[y, x] == 0))


def _middle_of_seven(values: Floats) -> Floats:
    """The median of each value and the three to either side; beyond the ends the last value goes on."""
    # scipy's filter does the same, and importing it takes longer than all that is filtered.
    seven = np.lib.stride_tricks.sliding_window_view(np.pad(values, 3, mode="edge"), 7)
    middle: Floats = np.partition(seven, 3, axis=1)[:, 3]
    return middle


def across(slope: Floats) -> Floats:
    """Unit normals to (T, 2) directions: a quarter turn from x towards y."""
    length = np.hypot(slope[:, 0], slope[:, 1])
    length = np.where(length > 0, length, 1)
    return np.column_stack([-slope[:, 1] / length, slope[:, 0] / length])


def line_widths(samples: Samples) -> Floats:
    """The ink's width of each line, (L,), px: the lower half's middle, as junctions only ever widen; NaN without
    one."""
    count = len(samples.first) - 1
    widths = np.full(count, np.nan)
    line = samples.line[samples.good]
    # Sorted as whole numbers, line first: four times as fast as by two keys. A width above zero sorts as its bits do.
    bits = samples.width_px[samples.good].astype(np.float32).view(np.uint32)
    ranked = np.sort(line << 32 | bits)
    number = np.bincount(line, minlength=count)
    begin = np.cumsum(number) - number
    has = number > 0
    middle = ranked[begin[has] + (number[has] - 1) * 2 // 5]
    widths[has] = (middle & 0xFFFFFFFF).astype(np.uint32).view(np.float32)
    return widths
