"""Links whose ink is straight from end to end, put onto their straight lines."""

from dataclasses import replace

import numpy as np
from numpy.polynomial.legendre import legval
from numpy.typing import NDArray

from digitize.cut_lines import Cut
from digitize.runs import Floats
from digitize.smooth_middles import Middles
from digitize.smoothing import ALIKE
from digitize.straight_edges import ENDS_PX, WRONG_PX, straight_edges
from pictures.ink import Ink

FEWEST = 24
"""Clean samples without which a link tells nothing: a gentle curve is straight over fewer."""

DEGREES = (2, 3, 4, 5, 6)
"""Bends looked for: Legendre's polynomials over the link. Shorter ones show in the average."""

CHANCE_SIGMAS = 3.0
"""One of five bends exceeds three standard errors by chance on one link of eighty."""

BEND_PX, BILEVEL_BEND_PX = 0.02, 0.07
"""Bends that no line is free of, rms: in black and white whole rows of pixels along it are."""

MOST_BEND_PX, BILEVEL_MOST_BEND_PX = 0.06, 0.1
"""However noisy it is, a line that may bend by more, rms, is left to bend."""

AVERAGED = 12
"""Half width, in samples, of the average that shorter bends show in."""

AVERAGE_PX, BILEVEL_AVERAGE_PX = 0.1, 0.3
"""Largest distance of it from the line, besides noise: the middle between two stairs lies up to half a px off for as
long as they are."""


MOST_OFF_PX = 0.6
"""Farther no average of stairs lies from a straight line: with both edges on whole pixels its middle is half a px off.
Nor does the line between two edges: where one column of grey pixels shows no black, what is fitted runs away."""


def straightened(cut: Cut, middles: Middles, ink: Ink) -> Middles:
    """Give middles with those of straight links on their least-squares lines.

    What a line's samples leave it by is taken apart into Legendre polynomials: noise that is alike over ALIKE of N
    samples gives each an rms of its sigma times sqrt(ALIKE / N), a bend gives the lowest of them far more. So noise of
    many samples, which a moving average follows, does not make a straight edge into curves. In black and white a link
    is straight too where straight edges part its pixels from the paper, and lies midway between these: along a row of
    pixels its stairs may be as long as itself.

    Parameters
    ----------
    cut : Cut
    middles : Middles
        Of all its links; rings stay as they are.
    ink : Ink
        Of the picture.
    """
    bilevel = ink.bilevel
    samples, count = cut.samples, len(cut.start)
    clean = np.flatnonzero((middles.weights > 0) & ~cut.loop[samples.line])
    of = samples.line[clean]
    number = np.bincount(of, minlength=count)
    clean = clean[number[of] >= FEWEST]
    if len(clean) == 0:
        return middles
    of, points = samples.line[clean], samples.points_px[clean]
    many = np.maximum(number, 1)

    def mean(values: Floats) -> Floats:
        return np.bincount(of, values, minlength=count) / many

    middle = np.column_stack([mean(points[:, 0]), mean(points[:, 1])])
    x, y = (points - middle[of]).T
    turn = 0.5 * np.arctan2(2 * mean(x * y), mean(x * x) - mean(y * y))
    c, s = np.cos(turn), np.sin(turn)
    off = c[of] * y - s[of] * x
    sigma = np.sqrt(mean(middles.miss_px[clean] ** 2))
    chance = CHANCE_SIGMAS * sigma * np.sqrt(ALIKE / many)
    bend, most = (BILEVEL_BEND_PX, BILEVEL_MOST_BEND_PX) if bilevel else (BEND_PX, MOST_BEND_PX)
    allowed = np.minimum(np.hypot(bend, chance), most)
    straight = number >= FEWEST
    # Evenly spaced samples without a gap: their number along the line is their place on it.
    begin = np.searchsorted(of, np.arange(count))
    place = 2 * (np.arange(len(of)) - begin[of] + 0.5) / many[of] - 1
    for degree in DEGREES:
        shape = legval(place, np.eye(degree + 1)[degree])
        straight &= np.abs(mean(off * shape)) * np.sqrt(2 * degree + 1) <= allowed
    total = np.concatenate([[0.0], np.cumsum(off)])
    here = np.arange(len(of))
    low = np.maximum(here - AVERAGED, begin[of])
    high = np.minimum(here + AVERAGED + 1, begin[of] + number[of])
    average = np.abs(total[high] - total[low]) / (high - low)
    far = np.hypot(BILEVEL_AVERAGE_PX if bilevel else AVERAGE_PX, 4 * sigma * np.sqrt(ALIKE / (2 * AVERAGED + 1)))
    straight &= np.bincount(of, average > far[of], minlength=count) == 0
    ways = np.column_stack([c, s])
    if bilevel:
        near = (number >= FEWEST) & (np.bincount(of, average > MOST_OFF_PX, minlength=count) == 0)
        along = ((points - middle[of]) * ways[of]).sum(axis=1)
        for link in np.flatnonzero(near).tolist():
            own = along[begin[link] : begin[link] + number[link]]
            reach_px = float(own.min()) + ENDS_PX, float(own.max()) - ENDS_PX
            found = straight_edges(
                ink.darkness, middle[link], ways[link], reach_px=reach_px, width_px=float(cut.ink_px[link])
            )
            if found is not None and found.wrong_px < WRONG_PX and abs(found.level_px) < MOST_OFF_PX:
                straight[link] = True
                middle[link] += found.level_px * np.array([-s[link], c[link]])
                turned = ways[link] + found.slope * np.array([-s[link], c[link]])
                ways[link] = turned / np.hypot(*turned)
    return replace(middles, points_px=_on_lines(middles.points_px, clean, of, straight, middle, ways))


def _on_lines(
    points_px: Floats,
    clean: NDArray[np.int64],
    of: NDArray[np.int64],
    straight: NDArray[np.bool_],
    middle: Floats,
    ways: Floats,
) -> Floats:
    """The points with the clean ones of straight links at their feet on their lines."""
    put = straight[of]
    here, line = clean[put], of[put]
    away = points_px[here] - middle[line]
    done = points_px.copy()
    done[here] = middle[line] + (away * ways[line]).sum(axis=1)[:, None] * ways[line]
    return done
