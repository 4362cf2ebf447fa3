"""The measured middles of all lines made smooth: what blur and stairs moved put back."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from digitize.blur import blur_variance, unblurred
from digitize.cut_lines import Cut
from digitize.runs import Floats, line_numbers, local_fits
from digitize.spoilt import clean_weights
from digitize.stairs import without_stairs
from pictures.ink import Ink

SYSTEMATIC_PX = 0.03
"""What a point errs however many samples were averaged, one sigma, px (measured on drawn lines)."""

BILEVEL_SYSTEMATIC_PX = 0.07
"""The same in black and white, stairs averaged out: round rings of 20 to 50 px are off by 0.05 to 0.08."""

SAMPLED_PX2 = 1 / 6
"""What linear sampling between pixels adds to the square of the blur, px^2: it has the mean of t (1 - t)."""


@dataclass(frozen=True, slots=True)
class Middles:
    """Smooth places of all samples of a `Cut`, `points_px` and their `slope` by index (T, 2).

    `weights` (T,) is 0 for samples that see other ink, `miss_px` (T,) how far each was off its place across the line.
    `half` samples to each side were smoothed over, `systematic_px` is what a place errs by however many, and `blur_px`
    one sigma of the picture's own blur, 0 if it is not known.
    """

    points_px: Floats
    slope: Floats
    weights: Floats
    miss_px: Floats
    half: int
    systematic_px: float
    blur_px: float


def smooth_middles(cut: Cut, ink: Ink, *, sigma_px: float) -> Middles:
    """Smooth each link's samples, the farther the noisier they are; rings are smoothed all the way around."""
    samples = cut.samples
    weights = clean_weights(samples, cut.width_px)
    half = 4 if sigma_px < 0.1 else 6 if sigma_px < 0.2 else 9
    back = np.arange(len(samples.points_px)) - samples.first[samples.line]
    forth = samples.first[samples.line + 1] - 1 - np.arange(len(samples.points_px))
    beside = (back < cut.skip[samples.line, 0]) | (forth < cut.skip[samples.line, 1])
    weights[beside & ~cut.loop[samples.line]] = 0
    around, first, own = _around(cut, half)
    place, slope = local_fits(samples.points_px[around], weights[around], first, half=half, degree=2)
    off = samples.points_px - place[own]
    way = slope[own]
    miss = (off[:, 1] * way[:, 0] - off[:, 0] * way[:, 1]) / np.maximum(np.hypot(way[:, 0], way[:, 1]), 1e-9)
    # Noise spreads what raw samples show across a line.
    variance_px2 = blur_variance(ink, replace(samples, points_px=place[own]), weights, cut.width_px)
    place = unblurred(place, slope, line_numbers(first), variance_px2)[own]
    if ink.bilevel:
        clean = np.flatnonzero((weights > 0) | cut.loop[samples.line])
        begin = np.searchsorted(clean, samples.first)
        place[clean] = without_stairs(place[clean], begin, cut.loop)
    return Middles(
        place,
        way,
        weights,
        miss,
        half,
        BILEVEL_SYSTEMATIC_PX if ink.bilevel else SYSTEMATIC_PX,
        float(np.sqrt(max(variance_px2 - SAMPLED_PX2, 0.0))),
    )


def _around(cut: Cut, half: int) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
    """Sample numbers, those of rings going on beyond both ends; where each line's begin; where each sample stands."""
    first = cut.samples.first
    size = np.diff(first)
    # A ring's last sample is its first.
    more = np.where(cut.loop & (size > 2), np.minimum(half + 1, size - 2), 0)
    wide = np.concatenate([[0], np.cumsum(size + 2 * more)]).astype(np.int64)
    line = line_numbers(wide)
    step = np.arange(wide[-1]) - wide[line] - more[line]
    ring = more[line] > 0
    around = first[line] + np.where(ring, step % np.maximum(size[line] - 1, 1), step)
    own = np.arange(first[-1]) + (wide[:-1] - first[:-1] + more)[line_numbers(first)]
    return around, wide, own
