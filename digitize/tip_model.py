"""How much ink lies across the tips that sides and joins describe, and how that goes with what describes them."""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from digitize.blur import SCAN_BLUR_PX
from digitize.runs import Floats
from digitize.tip_ink import TipInk


class Join(StrEnum):
    """How the ink of two lines ends where they meet."""

    MITRE = "mitre"
    """Both outer edges run on to where they meet, or some way there."""
    ROUND = "round"
    """Half a width beyond, in a half circle: a pen's round point, and most drawing programs."""
    BEVEL = "bevel"
    """Straight across, hardly beyond the place itself: programs that bevel what a mitre would draw out too far."""


TIP, SLOPE, BEND, STRAY, WIDTH, AMOUNT, LENGTH = range(7)
"""What describes a tip: where it is along the axis, px; its sides' slope, bend and stray as in `TipInk`; a line's
width, px, and amount of ink, in parts of what was measured; and how far a mitre reaches, px."""

AMOUNT_SIGMA = 0.004
"""What one line's amount of ink errs, measured over some hundred columns, in parts of it."""

WIDTH_SIGMA = 0.02
"""Least error of a line's width, in parts of it."""

LENGTH_SIGMA_WIDTHS = 8.0
"""How far from one line width mitres end, one sigma: as good as unknown."""

NARROW_PX = 1.35 * SCAN_BLUR_PX
"""Ink or paper this narrow is lost in black and white: blurred before, its middle just reaches half. What is square
comes out round."""

FADE = 3.5
"""How soon wider ink keeps its width, as a power: against the normal law it errs by 0.03 px."""

SQUARE_LOSS = 1.4
"""Area that two square corners of black ink lose, in squares of that blur."""

ROUNDED = 1e-14
"""What rounding leaves of a covariance, in parts of its greatest: less may come out as less than nothing."""

QUADRATURE = np.linspace(-2.4, 2.4, 9)
"""Where along its bell a blur is summed, in its sigma."""
BELL = np.exp(-(QUADRATURE**2) / 2) / np.exp(-(QUADRATURE**2) / 2).sum()

CAP_STEP_PX = 0.02
"""By how much a round cap is tried for its slope: where it ends that has no bound, its mean over a step has."""


@dataclass(frozen=True, slots=True)
class Columns:
    """What is seen across K tips, in arrays of one shape: N columns, M of them blurred along the axis.

    Blurred are only the columns about the ink's end, at `QUADRATURE`: elsewhere the amount is all but straight.
    `places` (K, N - M + 9 M) are where along the axis; `times` (K, N) and `opening` (K, 4) are seen, `weight` (K, N)
    one over the times' sigma (0 where a tip has no such column), `whitened` (K, 4, 4) the same for the opening, as a
    matrix; `lean`, `width_px`, `width_sigma_px` and `blur_px` (K,) as in `TipInk`.
    """

    places: Floats
    blurred: int
    times: Floats
    weight: Floats
    opening: Floats
    whitened: Floats
    lean: Floats
    width_px: Floats
    width_sigma_px: Floats
    blur_px: Floats

    def of(self, rows: NDArray[np.int64]) -> "Columns":
        """Those of some tips, in any order and number."""
        return Columns(
            self.places[rows],
            self.blurred,
            self.times[rows],
            self.weight[rows],
            self.opening[rows],
            self.whitened[rows],
            self.lean[rows],
            self.width_px[rows],
            self.width_sigma_px[rows],
            self.blur_px[rows],
        )


def columns_of(tips: list[TipInk]) -> Columns:
    """Give what is seen of tips as arrays."""
    ends = np.array([np.count_nonzero(one.along_px < one.along_px[-1] + _ending(one)) for one in tips])
    plain = np.array([len(one.times) for one in tips]) - ends
    before, blurred = int(plain.max()), int(ends.max())
    along, times, weight = (np.zeros((len(tips), before + blurred)) for _ in range(3))
    for row, (one, many) in enumerate(zip(tips, plain.tolist(), strict=True)):
        first, last = slice(before - many, before), slice(before, before + len(one.times) - many)
        for part, seen in ((first, slice(0, many)), (last, slice(many, None))):
            along[row, part], times[row, part] = one.along_px[seen], one.times[seen]
            weight[row, part] = 1 / one.sigma[seen]
    blur = np.array([one.blur_px for one in tips])
    spread = along[:, before:, None] + QUADRATURE * blur[:, None, None]
    width_sigma = [np.hypot(one.width_sigma_px, WIDTH_SIGMA * one.width_px) for one in tips]
    return Columns(
        np.concatenate([along[:, :before], spread.reshape(len(tips), -1)], axis=1),
        blurred,
        times,
        weight,
        np.array([one.opening for one in tips]),
        _whitened(np.array([one.covariance for one in tips])),
        np.array([one.lean for one in tips]),
        np.array([one.width_px for one in tips]),
        np.array(width_sigma),
        blur,
    )


def _whitened(covariance: Floats) -> Floats:
    """For covariances (K, 4, 4) matrices that turn what is missed into as many sigmas, (K, 4, 4)."""
    scale = np.sqrt(np.diagonal(covariance, axis1=1, axis2=2))
    spread, ways = np.linalg.eigh(covariance / (scale[:, :, None] * scale[:, None, :]))
    # A parabola seen hundreds of px from the tip is surer along some ways than rounding lets its covariance say.
    spread = np.maximum(spread, ROUNDED * spread[:, -1:])
    whitened: Floats = (ways / np.sqrt(spread)[:, None, :]).transpose(0, 2, 1) / scale[:, None, :]
    return whitened


def _ending(seen: TipInk) -> float:
    """How far before the last column the ink may end: where that is, blur along the axis matters."""
    return 6 * seen.blur_px + 0.6 * seen.width_px


def misses(tried: Floats, seen: Columns, joins: NDArray[np.str_], *, bilevel: bool) -> tuple[Floats, Floats]:
    """What trials (K, 7), with joins (K,), miss of what is seen, in sigmas (K, N + 7), and their slopes (K, 7, N + 7).

    Missed are the ink in each column, the sides' opening, the width, the amount, and a mitre's length.
    """
    ink, slopes = _ink(tried, seen, joins, bilevel=bilevel)
    ink, slopes = _along_blurred(ink, seen.blurred), _along_blurred(slopes, seen.blurred)
    width, amount = tried[:, WIDTH, None], tried[:, AMOUNT, None]
    scale = seen.weight * amount / width
    many = seen.times.shape[1]
    missed = np.empty((len(tried), many + 7))
    turned = np.zeros((len(tried), 7, many + 7))
    missed[:, :many] = seen.times * seen.weight - ink * scale
    turned[:, :, :many] = slopes
    turned[:, WIDTH, :many] -= ink / width
    turned[:, AMOUNT, :many] = ink / amount
    turned[:, :, :many] *= -scale[:, None, :]

    tip, slope, bend, stray = tried[:, :4].T
    opening = np.column_stack([-tip * (slope + tip * (bend + stray * tip)), slope, bend, stray])
    by = np.zeros((len(tried), 4, 4))
    by[:, :, 0] = np.column_stack([-(slope + tip * (2 * bend + 3 * stray * tip)), -tip, -(tip**2), -(tip**3)])
    by[:, (1, 2, 3), (1, 2, 3)] = 1
    whitened = seen.whitened.transpose(0, 2, 1)
    missed[:, None, many : many + 4] = (opening - seen.opening)[:, None, :] @ whitened
    turned[:, :4, many : many + 4] = by @ whitened
    sigmas = [seen.width_sigma_px, np.full(len(tried), AMOUNT_SIGMA), LENGTH_SIGMA_WIDTHS * seen.width_px]
    usual = [seen.width_px, np.ones(len(tried)), seen.width_px]
    for which, sigma, believed in zip((WIDTH, AMOUNT, LENGTH), sigmas, usual, strict=True):
        missed[:, many + which] = (tried[:, which] - believed) / sigma
        turned[:, which, many + which] = 1 / sigma
    return missed, turned


def _along_blurred(ink: Floats, blurred: int) -> Floats:
    """The last columns summed over the blur along the axis."""
    plain = ink.shape[-1] - blurred * len(BELL)
    ending = ink[..., plain:].reshape(*ink.shape[:-1], blurred, len(BELL)) @ BELL
    return np.concatenate([ink[..., :plain], ending], axis=-1)


def _ink(tried: Floats, seen: Columns, joins: NDArray[np.str_], *, bilevel: bool) -> tuple[Floats, Floats]:
    """The ink across the axis (K, S), px, sharp, and its slopes (K, 7, S)."""
    s = seen.places
    tip, slope, bend, stray, width = (tried[:, which, None] for which in range(5))
    lean = seen.lean[:, None]
    # Beyond the tip edges run straight on.
    to = np.maximum(s, tip)
    inward = s - tip
    steep = slope + to * (2 * bend + 3 * stray * to)
    at_tip = slope + tip * (2 * bend + 3 * stray * tip)
    turning = 2 * bend + 6 * stray * tip
    second, third = inward * (to + tip), inward * (to * (to + tip) + tip * tip)
    half_gap = inward * slope + bend * second + stray * third
    # A side that crosses the column aslant shows more.
    one, other = lean + steep, lean - steep
    long_one, long_other = np.sqrt(1 + one**2), np.sqrt(1 + other**2)
    slant = (long_one + long_other) / 2
    both, paper = width * slant + 2 * half_gap, 2 * half_gap - width * slant
    by_both, by_paper = (both > 0).astype(np.float64), (paper > 0).astype(np.float64)
    both, paper = both * by_both, paper * by_paper
    lost = np.zeros_like(width)
    if bilevel:
        lost = SCAN_BLUR_PX**2 / width
        paper, slower = _kept(paper)
        by_paper *= slower
        kept, slower = _kept(both)
        both, by_both = np.where(inward < 0, kept, both), np.where(inward < 0, slower, by_both)
    line = both - paper
    by_width, by_gap = by_both + by_paper, 2 * (by_both - by_paper)
    by_steep = by_width * width * (one / long_one - other / long_other) / 2
    slopes = np.zeros((len(tried), 7, s.shape[1]))
    slopes[:, TIP] = by_steep * np.where(inward < 0, turning, 0) - by_gap * (at_tip - np.minimum(inward, 0) * turning)
    slopes[:, SLOPE] = by_steep + by_gap * inward
    slopes[:, BEND] = by_steep * 2 * to + by_gap * second
    slopes[:, STRAY] = by_steep * 3 * to * to + by_gap * third
    slopes[:, WIDTH] = by_width * slant

    # The outer edge of a side is square to it, so it passes the tip by a little.
    sine = slope / np.sqrt(1 + slope**2)
    square = width / 2 * sine
    rounds = np.flatnonzero(joins == Join.ROUND)
    others = np.flatnonzero(joins != Join.ROUND)
    beyond, wide, line_round = -inward[rounds], width[rounds], line[rounds]
    cap = _cap(beyond, wide, bilevel=bilevel)
    capped = (beyond >= square[rounds]) & (cap < line_round)
    rounded = np.where(capped[:, None, :], 0, slopes[rounds])
    rounded[:, TIP] += np.where(capped, (_cap(beyond + CAP_STEP_PX, wide, bilevel=bilevel) - cap) / CAP_STEP_PX, 0)
    rounded[:, WIDTH] += np.where(capped, (_cap(beyond, wide + CAP_STEP_PX, bilevel=bilevel) - cap) / CAP_STEP_PX, 0)
    slopes[rounds] = rounded
    line[rounds] = np.where(capped, cap, line_round)

    # A step between two places of the quadrature is shared out among them.
    step = ((QUADRATURE[1] - QUADRATURE[0]) * seen.blur_px[others])[:, None]
    mitred = (joins[others] == Join.MITRE)[:, None]
    end = np.where(mitred, tried[others, LENGTH, None], (square - SQUARE_LOSS * lost)[others])
    part = np.clip((end + inward[others]) / step + 0.5, 0, 1)
    at_end = np.where((part > 0) & (part < 1), line[others] / step, 0)
    ended = slopes[others] * part[:, None, :]
    ended[:, TIP] -= at_end
    ended[:, LENGTH] = at_end * mitred
    bevel = at_end * ~mitred
    ended[:, SLOPE] += bevel * (width / 2 * (1 + slope**2) ** -1.5)[others]
    ended[:, WIDTH] += bevel * (sine / 2 + SQUARE_LOSS * lost / width)[others]
    slopes[others] = ended
    line[others] *= part
    return line, slopes


def _cap(beyond: Floats, width: Floats, *, bilevel: bool) -> Floats:
    """The ink across a round cap beyond its tip."""
    radius = width / 2 - (SCAN_BLUR_PX**2 / width if bilevel else 0)
    across: Floats = np.sqrt(np.maximum(radius**2 - beyond**2, 0)) * width / radius
    return across


def _kept(thickness: Floats) -> tuple[Floats, Floats]:
    """How thick narrow ink, or paper, is in black and white, and its slope."""
    power = thickness ** (FADE - 1)
    left = np.maximum(power * thickness - NARROW_PX**FADE, 0)
    kept = left ** (1 / FADE)
    slope: Floats = np.where(left > 0, power * kept / np.where(left > 0, left, 1), 0)
    return kept, slope
