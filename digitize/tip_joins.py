"""Where the sides of an acute tip meet, by the amount of ink across it and the ways in which pens join lines."""

from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

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


USUAL = {Join.ROUND: 0.45, Join.BEVEL: 0.3, Join.MITRE: 0.25}
"""How often each is drawn, about: it settles what the ink leaves open, and no more."""

LEAST_MITRE_WIDTHS, MITRE_SIGMA = 1.25, 0.2
"""A mitre is at least this long, in line widths, give or take: at 30 deg it is 1.9, and what would be cut shorter is a
bevel."""

MITRE_SPAN_WIDTHS = 4.0
"""Over what lengths mitres are spread."""

ALIKE = 1.5
"""So many neighbouring columns err alike: their misfits count that much less. At 2.5 joins that the ink tells apart
were averaged all the same; at 1 some were taken for others (trials)."""

MOST_MISFIT = 2.0
"""Mean square misfit, in the columns' own sigma, from which on a tip is something else: drawn ones have up to 1.5, a
blunt nose, where sides come round to each other, 8 or more."""

MOST_SIGMA_PX = 1.5
"""A tip less sure than this, one sigma, is better told by its sides alone."""

NEAR_WIDTHS, NEAR_PX, LOOSENED = 4.0, 12.0, 20.0
"""How far in from the tip is near it, in line widths and px at least, and how many times less the sides farther off are
believed then: tails of sections given by points turn within some widths of their end."""

AMOUNT_SIGMA = 0.004
"""What one line's amount of ink errs, measured over some hundred columns, in parts of it."""

WIDTH_SIGMA = 0.02
"""Least error of a line's width, in parts of it."""

SCAN_BLUR_PX = 0.6
"""One sigma of the blur, optics and pixel, before a scanner's black and white: 0.5 to 0.8. It turns narrow paper black,
narrow ink white, and rounds what is square."""

NARROW_PX = 1.35 * SCAN_BLUR_PX
"""Ink or paper this narrow is lost in black and white: blurred, its middle just reaches half."""

FADE = 3.5
"""How soon wider ink keeps its width, as a power: against the normal law it errs by 0.03 px."""

SQUARE_LOSS = 1.4
"""Area that two square corners of black ink lose, in squares of that blur."""

QUADRATURE = np.linspace(-2.4, 2.4, 9)
"""Where along its bell a blur is summed, in its sigma."""
BELL = np.exp(-(QUADRATURE**2) / 2) / np.exp(-(QUADRATURE**2) / 2).sum()

STEPS = np.array([0.02, 1e-3, 1e-5, 1e-7, 0.02, 0.003, 0.05])
"""By how much each parameter is tried, for its slope: hardly more than rounding would need."""

FALLING, FEW_FALLING = (0.5, 1.7), 8
"""Where the amount is between these parts of one line's it falls evenly, whatever joins the lines; so many columns tell
how fast."""

FARTHEST_STEP_PX, MOST_STEPS, SETTLED = 4.0, 20, 0.3
"""A step takes the tip no farther; there are no more of them; and less to be gained by one is the end..."""

LOOSE = 1e-3
"""... if it was damped by no more than this: a held step gains little anywhere."""

HOPEFUL_STEPS, HOPELESS = 3, 60.0
"""A join that after so many steps costs so much more than another is not the one."""


@dataclass(frozen=True, slots=True)
class TipPlace:
    """Where a tip lies, px, its one sigma along its axis, and the likeliest join with its probability."""

    at_px: Floats
    sigma_px: float
    join: Join
    sure: float


@dataclass(frozen=True, slots=True)
class _Fit:
    """The best tip with one kind of join: where along the axis, its sigma, and its cost (minus twice the log of its
    likelihood)."""

    along_px: float
    sigma_px: float
    cost: float
    evidence: float


def tip_place(seen: TipInk, *, bilevel: bool) -> TipPlace | None:
    """Give the tip: what each kind of join makes of the ink, by how likely each is; None if none explains it.

    Across the axis there is one line's ink, and the sides' distance more where their ink is one (less beyond the tip);
    then it ends as the join does. That distance is a parabola by s, which the sides themselves, where they are seen
    alone, tell as well. For each join all this is fitted by least squares (Levenberg, Quarterly of Applied Mathematics
    2, 1944); a mitre's length, which is free, is charged for (MacKay, "Bayesian interpolation", Neural Computation 4,
    1992). Where nothing explains it all, sides may turn on their last way to the tip: then only what is near is asked.
    """
    fits = _joined(seen, bilevel=bilevel)
    if not _explains(fits, seen):
        seen = _near(seen)
        fits = _joined(seen, bilevel=bilevel)
    if not _explains(fits, seen):
        return None
    best = max(fit.evidence for fit in fits.values())
    weights = np.array([USUAL[join] * np.exp(fit.evidence - best) for join, fit in fits.items()])
    weights /= weights.sum()
    places = np.array([fit.along_px for fit in fits.values()])
    along = float(weights @ places)
    sigmas = np.array([fit.sigma_px for fit in fits.values()])
    sigma = float(np.sqrt(weights @ (sigmas**2 + (places - along) ** 2)))
    if sigma > MOST_SIGMA_PX:
        return None
    likeliest = int(weights.argmax())
    return TipPlace(seen.at(along, _aside(seen, along)), sigma, list(fits)[likeliest], float(weights[likeliest]))


def _explains(fits: dict[Join, _Fit], seen: TipInk) -> bool:
    """Whether the likeliest join misses what is seen by little."""
    return max(fits.values(), key=lambda fit: fit.evidence).cost <= MOST_MISFIT * len(seen.times)


def _near(seen: TipInk) -> TipInk:
    """What is seen near the tip, and hardly anything of how its sides run farther off."""
    near = seen.along_px < max(NEAR_WIDTHS * seen.width_px, NEAR_PX)
    return replace(
        seen,
        along_px=seen.along_px[near],
        times=seen.times[near],
        sigma=seen.sigma[near],
        aside_px=seen.aside_px[near],
        covariance=LOOSENED**2 * seen.covariance,
    )


def _joined(seen: TipInk, *, bilevel: bool) -> dict[Join, _Fit]:
    """The best tip with each kind of join."""
    beat = np.inf
    fits: dict[Join, _Fit] = {}
    for join in Join:
        fits[join] = _fit(seen, join, beat, bilevel=bilevel)
        beat = min(beat, fits[join].cost)
    return fits


def _aside(seen: TipInk, along: float) -> float:
    """Where the middle of the ink lies across the axis, at the tip."""
    gap = (seen.along_px - along) * seen.opening[1]
    last = float(seen.along_px[-1]) + 4 * seen.blur_px
    near = (seen.along_px > max(along, last)) & (gap < 0.6 * seen.width_px + seen.blur_px)
    if np.count_nonzero(near) < 5:
        near = seen.times > 0.5
    degree = 2 if np.count_nonzero(near) >= 12 else 1
    return float(np.polyfit(seen.along_px[near] - along, seen.aside_px[near], degree)[-1])


def _fit(seen: TipInk, join: Join, beat: float, *, bilevel: bool) -> _Fit:
    """The tip with one kind of join, from the better of the places where it may be looked for first."""
    width = seen.width_px
    end = float(seen.along_px[-1]) + 2.5 * seen.blur_px
    slope = float(seen.opening[1])
    if join is not Join.MITRE:
        along = end + (width / 2 if join is Join.ROUND else 0)
        return _fitted(seen, join, (along, slope, width), beat, bilevel=bilevel)
    # Where there is no more ink than one line's; and where a straight fall of the amount comes to that.
    even = np.convolve(np.pad(seen.times, 2, mode="edge"), np.full(5, 0.2), mode="valid")
    more = int(np.argmax(even < 1.03)) if (even < 1.03).any() else len(even) - 1
    along, least = float(seen.along_px[more]), LEAST_MITRE_WIDTHS * width
    fit = _fitted(seen, join, (along, slope, max(along - end, least)), beat, bilevel=bilevel)
    if fit.cost < len(seen.times):
        return fit
    falling = np.flatnonzero((seen.times > FALLING[0]) & (seen.times < FALLING[1]) & (seen.along_px > end + width))
    if len(falling) < FEW_FALLING:
        return fit
    rate, level = np.polyfit(seen.along_px[falling], seen.times[falling], 1).tolist()
    if rate <= 0:
        return fit
    along = (1 - level) / rate
    begin = (along, rate * width / 2, max(along - end, least))
    return min(fit, _fitted(seen, join, begin, beat, bilevel=bilevel), key=lambda one: one.cost)


def _fitted(seen: TipInk, join: Join, begin: tuple[float, float, float], beat: float, *, bilevel: bool) -> _Fit:
    """The tip with one kind of join, looked for from a place on, with sides of a slope and a mitre so long; given up
    where it stays far from the cost to beat."""
    width = seen.width_px
    at = np.array([*begin[:2], *seen.opening[2:], width, 1.0, begin[2]])
    free = np.arange(7 if join is Join.MITRE else 6)
    whitened = np.linalg.cholesky(np.linalg.inv(seen.covariance)).T
    cost, damping, kept = np.inf, LOOSE, (at, np.eye(len(free)), np.zeros(len(free)))
    for count in range(MOST_STEPS):
        missed = _misses(at[None, :], seen, join, whitened, bilevel=bilevel)[0]
        now = float(missed @ missed)
        if now < cost:
            settled = cost - now < SETTLED and damping <= LOOSE
            if settled:
                cost, kept = now, (at, *kept[1:])
                break
            tried = np.repeat(at[None, :], len(free), axis=0)
            tried[free, free] += STEPS[free]
            slopes = (_misses(tried, seen, join, whitened, bilevel=bilevel) - missed) / STEPS[free][:, None]
            cost, damping, kept = now, max(damping / 8, 1e-6), (at, slopes @ slopes.T, slopes @ missed)
        else:
            damping *= 8
        if count >= HOPEFUL_STEPS and cost > beat + HOPELESS:
            break
        best, normal, gradient = kept
        step = -np.linalg.solve(normal + damping * np.diag(np.diag(normal)), gradient)
        step *= FARTHEST_STEP_PX / max(abs(float(step[0])), FARTHEST_STEP_PX)
        if -float(step @ (2 * gradient + normal @ step)) < SETTLED:
            break
        at = best.copy()
        at[free] += step
        at[4] = np.clip(at[4], 0.6 * width, 1.6 * width)
    best, normal, _ = kept
    covariance = np.linalg.inv(normal + 1e-9 * np.diag(np.diag(normal)))
    evidence = -cost / (2 * ALIKE)
    if join is Join.MITRE:
        span = MITRE_SPAN_WIDTHS * width
        evidence += float(np.log(np.clip(2.5 * np.sqrt(covariance[6, 6]) / span, 1e-6, 1)))
        evidence -= max((LEAST_MITRE_WIDTHS - best[6] / width) / MITRE_SIGMA, 0) ** 2 / 2
    return _Fit(float(best[0]), float(np.sqrt(covariance[0, 0])), cost, evidence)


def _misses(tried: Floats, seen: TipInk, join: Join, whitened: Floats, *, bilevel: bool) -> Floats:
    """What (K, 7) trials (tip, slope, bend, stray, width, one line's amount, mitre's length) miss of what is seen, in
    sigmas.

    Blurred along the axis are only the columns about the ink's end: elsewhere the amount is all but straight.
    """
    ending = seen.along_px < float(seen.along_px[-1]) + 6 * seen.blur_px + 0.6 * seen.width_px
    plain = int(np.count_nonzero(~ending))
    spread = (seen.along_px[ending][:, None] + QUADRATURE * seen.blur_px).ravel()
    ink = _ink(tried, np.concatenate([seen.along_px[~ending], spread])[None, :], seen, join, bilevel=bilevel)
    outer = ink[:, plain:].reshape(len(tried), -1, len(BELL)) @ BELL
    tip, slope, bend, stray, width, amount, mitre = tried.T
    told = np.concatenate([ink[:, :plain], outer], axis=1) * (amount / width)[:, None]
    opening = np.column_stack([-tip * (slope + tip * (bend + stray * tip)), slope, bend, stray])
    width_sigma = np.hypot(seen.width_sigma_px, WIDTH_SIGMA * seen.width_px)
    believed = [
        (width - seen.width_px) / width_sigma,
        (amount - 1) / AMOUNT_SIGMA,
        (mitre - seen.width_px) / (8 * seen.width_px),
    ]
    return np.concatenate(
        [(seen.times - told) / seen.sigma, (opening - seen.opening) @ whitened.T, np.column_stack(believed)], axis=1
    )


def _ink(tried: Floats, s: Floats, seen: TipInk, join: Join, *, bilevel: bool) -> Floats:
    """The ink across the axis (K, N), px, at places s (1, N), sharp, for trials (K, 7)."""
    tip, slope, bend, stray, width, _, mitre = (tried[:, which, None] for which in range(7))
    beyond = tip - s
    # Beyond the tip edges run straight on.
    to = np.maximum(s, tip)
    steep = slope + to * (2 * bend + 3 * stray * to)
    half_gap = (to - tip) * (slope + bend * (to + tip) + stray * (to * (to + tip) + tip * tip)) - (to - s) * steep
    # A side that crosses the column aslant shows more.
    slant = (np.sqrt(1 + (seen.lean + steep) ** 2) + np.sqrt(1 + (seen.lean - steep) ** 2)) / 2
    both = np.maximum(width * slant + 2 * half_gap, 0)
    paper = np.maximum(2 * half_gap - width * slant, 0)
    lost = np.zeros_like(width)
    if bilevel:
        paper = _kept(paper)
        both = np.where(beyond > 0, _kept(both), both)
        lost = SCAN_BLUR_PX**2 / width
    line = both - paper
    # The outer edge of a side is square to it, so it passes the tip by a little.
    square = width / 2 * slope / np.sqrt(1 + slope**2)
    if join is Join.ROUND:
        radius = width / 2 - lost
        cap = 2 * np.sqrt(np.maximum(radius**2 - beyond**2, 0)) * width / (2 * radius)
        return np.where(beyond < square, line, np.minimum(cap, line))
    end = mitre if join is Join.MITRE else square - SQUARE_LOSS * lost
    # A step between two places of the quadrature is shared out among them.
    step = (QUADRATURE[1] - QUADRATURE[0]) * seen.blur_px
    ended: Floats = line * np.clip((end - beyond) / step + 0.5, 0, 1)
    return ended


def _kept(thickness: Floats) -> Floats:
    """How thick narrow ink, or paper, is in black and white."""
    kept: Floats = np.maximum(thickness**FADE - NARROW_PX**FADE, 0) ** (1 / FADE)
    return kept
