"""How wide a picture's blur is, told from its lines, and what it does to lines that bend."""

from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from digitize.centre_lines import Samples
from digitize.runs import Floats
from pictures.ink import Ink
from pictures.ridge import profiles

SAMPLES = 2000
"""Profiles looked at: enough to tell the blur's sigma to a hundredth px at any noise, few enough to cost nothing."""

TOGETHER = 12
"""Neighbouring profiles that are averaged before they are looked at: what noise adds to their edges goes with its
square."""

FEWEST = 20
"""With fewer nothing is said."""

STEP_PX = 0.25
"""Steps across a line: two to the sigma of the sharpest picture that linear sampling sees."""

PAPER = 0.1
"""Part of a line's darkness under which there is paper: over a wide window its noise would add up to an edge."""

SCAN_BLUR_PX = 0.6
"""One sigma of the blur of a scanner's lens and sensor, 0.5 to 0.8, gone from sight once its picture is made black and
white. From 0.5 to 0.7 it moves a circle of 5 px by 0.01 px either way."""

TIGHTEST_PX = 2.0
"""No bend is reckoned tighter than this radius: there noise bends more than the line."""


def blur_variance(ink: Ink, samples: Samples, weights: Floats, width_px: Floats) -> float:
    """Give the square of the blur's one sigma, px^2: optics, pixels and linear sampling together; 0 if not seen.

    Across a line of darkness d (1 at its peak) the integral of d (1 - d) tells its edges, that of d its width; their
    ratio is a function of the width in sigmas alone, where blur follows the normal law.

    Parameters
    ----------
    ink : Ink
    samples : Samples
        Along the picture's lines.
    weights : (T,) float
        0 for samples that see other ink than their own line's.
    width_px : (L,) float
        Ink width of each line at half its darkness.
    """
    clean = np.flatnonzero(weights > 0)
    if len(clean) < FEWEST:
        return 0.0
    some = clean[np.linspace(0, len(clean) - 1, min(SAMPLES, len(clean))).astype(np.int64)]
    wide = width_px[samples.line[some]]
    reach = wide / 2 + 3.0
    side = int(np.ceil(float(np.median(reach)) / STEP_PX))
    away = reach[:, None] * np.linspace(-1, 1, 2 * side + 1)
    x, y = (samples.points_px[some, axis, None] + away * samples.normals[some, axis, None] for axis in (0, 1))
    dark = profiles(ink.darkness, x.astype(np.float32), y.astype(np.float32))
    groups = np.arange(0, len(some), TOGETHER)
    number = np.diff(groups, append=len(some))
    dark = (np.add.reduceat(dark, groups, axis=0) / number[:, None]).astype(np.float32)
    reach = np.add.reduceat(reach, groups) / number
    dark = _unclipped(dark)
    dark = np.clip(dark / np.maximum(dark[:, side - 1 : side + 2].max(axis=1), 1)[:, None], 0, 1)
    dark[dark < PAPER] = 0
    step = reach / side
    amount = dark.sum(axis=1) * step
    edges = (dark * (1 - dark)).sum(axis=1) * step
    ratio, sigma = _by_ratio()
    found = np.interp(edges / np.maximum(amount, STEP_PX), ratio, sigma) * amount
    return float(np.median(found)) ** 2


def _unclipped(dark: NDArray[np.float32]) -> NDArray[np.float32]:
    """Mean profiles (G, K) without what noise adds where darkness below that of paper counts as none.

    Of noise of one sigma s about the darkness d, cut off at 0, the mean is d F(d / s) + s f(d / s), f and F the normal
    law: 0.4 s on paper, which the ends of a profile show.
    """
    paper = dark[:, [0, 1, -2, -1]].mean(axis=1, keepdims=True)
    sigma = np.maximum(paper, 1e-3) * np.sqrt(2 * np.pi)
    true = np.linspace(0, 4, 41)
    seen = true * ndtr(true) + np.exp(-(true**2) / 2) / np.sqrt(2 * np.pi)
    raised = sigma * np.interp(dark / sigma, seen, true)
    unclipped: NDArray[np.float32] = np.where(dark < 4 * sigma, raised, dark).astype(np.float32)
    return unclipped


@cache
def _by_ratio() -> tuple[Floats, Floats]:
    """Edges over amount, rising, and sigma over amount, of lines from wide to thin."""
    sigma = np.linspace(0.01, 1.2, 60)[:, None]
    u = np.linspace(-6.5, 6.5, 1301)
    bell = np.exp(-(u**2) / (2 * sigma**2))
    # A line of width 1 is the difference of two running sums of the bell half a width to either side.
    total = np.cumsum(bell, axis=1)
    inside = total[:, 100:] - total[:, :-100]
    dark = inside / inside.max(axis=1, keepdims=True)
    dark = np.where(dark < PAPER, 0, dark)
    amount = dark.sum(axis=1) * (u[1] - u[0])
    edges = (dark * (1 - dark)).sum(axis=1) * (u[1] - u[0])
    return edges / amount, sigma[:, 0] / amount


def unblurred(place: Floats, slope: Floats, line: NDArray[np.int64], variance_px2: float) -> Floats:
    """Give points (T, 2) of lines moved outward by what blur has drawn them inside their bends.

    Blur by sigma moves a line of radius R by sigma^2 / (2 R) to the inside, its edges and its centroid alike: to first
    order each point by half of sigma^2 times the curve's second derivative along itself.

    Parameters
    ----------
    place, slope : (T, 2) float
        Smooth points, px, and their derivative by index, each line's one after another.
    line : (T,) int
        Which line each belongs to.
    variance_px2 : float
        sigma^2.
    """
    if variance_px2 == 0 or len(place) < 3:
        return place
    speed = np.hypot(slope[:, 0], slope[:, 1])
    ways = slope / np.where(speed > 0, speed, 1)[:, None]
    before, after = np.arange(len(place)) - 1, np.arange(len(place)) + 1
    before[0], after[-1] = 0, len(place) - 1
    before = np.where(line[before] == line, before, before + 1)
    after = np.where(line[after] == line, after, after - 1)
    apart = np.hypot(*(place[after] - place[before]).T)
    bend = (ways[after] - ways[before]) / np.where(apart > 0, apart, 1)[:, None]
    tight = np.maximum(np.hypot(bend[:, 0], bend[:, 1]) * TIGHTEST_PX, 1)
    moved: Floats = place - variance_px2 / 2 * bend / tight[:, None]
    return moved
