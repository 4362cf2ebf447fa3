"""Where the sides of an acute tip meet, by the amount of ink across it and the ways in which pens join lines."""

from dataclasses import dataclass, replace

import numpy as np

from digitize.runs import Floats
from digitize.tip_fit import fit_tips
from digitize.tip_ink import TipInk
from digitize.tip_model import LENGTH, TIP, Join

USUAL = {Join.ROUND: 0.45, Join.BEVEL: 0.3, Join.MITRE: 0.25}
"""How often each is drawn, about: it settles what the ink leaves open, and no more."""

ONE_PEN = 0.5
"""How sure it is that a picture's tips are all joined alike, before any is looked at: a pen or a drawing program joins
all its lines in one way; but programs cut off mitres that would be long, and some plans are pasted up from several."""

OTHERWISE = 0.02
"""Part of a picture's tips joined otherwise than all others: one retouched, or a notch taken for a tip."""

MIX_STEPS = 8
"""Mixes of joins are looked at in so many steps from none to all."""

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

USUAL_MISFIT, NEAR_MISFIT = 0.9, 0.6
"""The same from which on sides may turn on their last way to the tip, and what part of it what is near then misses:
plain ones miss by 0.2 to 0.6, sections given by points 0.8 to 1.4, near their tip half or a third of that. Where noise
makes the misfit it is alike near and far."""

MOST_SIGMA_PX = 1.5
"""A tip less sure than this, one sigma, is better told by its sides alone."""

NEAR_WIDTHS, NEAR_PX, LOOSENED = 4.0, 12.0, 20.0
"""How far in from the tip is near it, in line widths and px at least, and how many times less the sides farther off are
believed then: tails of sections given by points turn within some widths of their end."""

FALLING, FEW_FALLING = (0.5, 1.7), 8
"""Where the amount is between these parts of one line's it falls evenly, whatever joins the lines; so many columns tell
how fast."""


@dataclass(frozen=True, slots=True)
class TipPlace:
    """Where a tip lies, px, its one sigma along its axis, and the likeliest join with its probability."""

    at_px: Floats
    sigma_px: float
    join: Join
    sure: float


@dataclass(frozen=True, slots=True)
class _Fit:
    """The best tip with one kind of join: where along the axis, its sigma, its cost (minus twice the log of its
    likelihood), and the log of how likely it is with all that was free."""

    along_px: float
    sigma_px: float
    cost: float
    evidence: float


def tip_places(seen: list[TipInk], *, bilevel: bool) -> list[TipPlace | None]:
    """Give the tips of a picture; None for those that no join explains.

    Across the axis there is one line's ink, and the sides' distance more where their ink is one (less beyond the tip);
    then it ends as the join does. That distance is a parabola by s, which the sides themselves, where they are seen
    alone, tell as well. For each join all this is fitted by least squares; a mitre's length, which is free, is charged
    for (MacKay, "Bayesian interpolation", Neural Computation 4, 1992). Where nothing explains it well, sides may turn
    on their last way to the tip: then only what is near is asked.
    """
    if not seen:
        return []
    fits = _joined(seen, bilevel=bilevel)
    seen = list(seen)
    again = [which for which, one in enumerate(seen) if _misfit(fits[which], one) > USUAL_MISFIT]
    near = {which: _near(seen[which]) for which in again}
    # Of some tips nothing is seen near the place, only beyond what lies over it.
    again = [which for which in again if len(near[which].times) >= FEW_PLACES]
    if again:
        for which, joined in zip(again, _joined([near[which] for which in again], bilevel=bilevel), strict=True):
            one = near[which]
            told = _misfit(fits[which], seen[which])
            if told > MOST_MISFIT or _misfit(joined, one) < NEAR_MISFIT * told:
                seen[which], fits[which] = one, joined
    places: list[TipPlace | None] = [None] * len(seen)
    fair = [which for which, one in enumerate(seen) if _misfit(fits[which], one) <= MOST_MISFIT]
    for which, weights in zip(fair, _likely([fits[which] for which in fair]), strict=True):
        places[which] = _place(seen[which], fits[which], weights)
    return places


def _likely(tips: list[dict[Join, _Fit]]) -> Floats:
    """How likely each join of each of N tips of a picture is, (N, 3), in the order of `Join`.

    Each is told by its own ink and by what mix of joins the picture's tips as a whole make likely: the mix is summed
    over, not chosen, for tips that hardly tell their own joins leave it open.
    """
    evidence = np.array([[fits[join].evidence for join in Join] for fits in tips]).reshape(-1, len(Join))
    ink = np.exp(evidence - evidence.max(axis=1, keepdims=True))
    mixes, before = _mixes()
    told = ink @ mixes.T
    log = np.log(told).sum(axis=0) + np.log(before)
    after = np.exp(log - log.max())
    likely: Floats = ink * ((after / after.sum() / told) @ mixes)
    return likely


def _mixes() -> tuple[Floats, Floats]:
    """Mixes of joins (M, 3), in the order of `Join`, and how likely each is before any tip is looked at."""
    usual = np.array([USUAL[join] for join in Join])
    one_pen = (1 - OTHERWISE) * np.eye(len(Join)) + OTHERWISE * usual
    counts = [(a, b, MIX_STEPS - a - b) for a in range(1, MIX_STEPS) for b in range(1, MIX_STEPS - a)]
    any_mix = np.array(counts) / MIX_STEPS
    # Dirichlet's law of the usual mean, else as wide as all mixes being alike.
    wide = (any_mix ** (len(Join) * usual - 1)).prod(axis=1)
    return np.concatenate([one_pen, any_mix]), np.concatenate([ONE_PEN * usual, (1 - ONE_PEN) * wide / wide.sum()])


def _place(seen: TipInk, fits: dict[Join, _Fit], weights: Floats) -> TipPlace | None:
    """The tip that all joins make, by how likely each is, in the order of `Join`."""
    places = np.array([fits[join].along_px for join in Join])
    along = float(weights @ places)
    sigmas = np.array([fits[join].sigma_px for join in Join])
    sigma = float(np.sqrt(weights @ (sigmas**2 + (places - along) ** 2)))
    if sigma > MOST_SIGMA_PX:
        return None
    aside = _aside(seen, along)
    if aside is None:
        return None
    likeliest = int(weights.argmax())
    return TipPlace(seen.at(along, aside), sigma, list(Join)[likeliest], float(weights[likeliest]))


def _misfit(fits: dict[Join, _Fit], seen: TipInk) -> float:
    """By how much the likeliest join misses what is seen: mean square, in sigmas."""
    return max(fits.values(), key=lambda fit: fit.evidence).cost / len(seen.times)


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


def _joined(seen: list[TipInk], *, bilevel: bool) -> list[dict[Join, _Fit]]:
    """The best tip with each kind of join, for each of some tips."""
    kinds = list(Join)
    begin = [_begin(one, join) for one in seen for join in kinds]
    fits = _fits(seen, np.repeat(np.arange(len(seen)), len(kinds)).tolist(), kinds * len(seen), begin, bilevel=bilevel)
    joined = [
        dict(zip(kinds, fits[first : first + len(kinds)], strict=True)) for first in range(0, len(fits), len(kinds))
    ]
    # A mitre that does not explain its ink may have begun in the wrong place.
    again, elsewhere = [], []
    for which, (one, known) in enumerate(zip(seen, joined, strict=True)):
        other = _other_mitre(one) if known[Join.MITRE].cost >= len(one.times) else None
        if other is not None:
            again.append(which)
            elsewhere.append(other)
    if again:
        mitres = _fits(seen, again, [Join.MITRE] * len(again), elsewhere, bilevel=bilevel)
        for which, fit in zip(again, mitres, strict=True):
            joined[which][Join.MITRE] = min(joined[which][Join.MITRE], fit, key=lambda one: one.cost)
    return joined


FEW_PLACES = 3
"""Ink across fewer places tells nothing of a tip: two always lie on a straight line."""


def _aside(seen: TipInk, along: float) -> float | None:
    """Where the middle of the ink lies across the axis, at the tip; None where hardly any ink is seen."""
    gap = (seen.along_px - along) * seen.opening[1]
    last = float(seen.along_px[-1]) + 4 * seen.blur_px
    near = (seen.along_px > max(along, last)) & (gap < 0.6 * seen.width_px + seen.blur_px)
    if np.count_nonzero(near) < 5:
        near = seen.times > 0.5
    if np.count_nonzero(near) < FEW_PLACES:
        return None
    degree = 2 if np.count_nonzero(near) >= 12 else 1
    s = seen.along_px[near] - along
    powers = (s / np.abs(s).max())[:, None] ** np.arange(degree + 1)
    return float(np.linalg.solve(powers.T @ powers, powers.T @ seen.aside_px[near])[0])


def _ended_px(seen: TipInk) -> float:
    """About where along the axis the ink ends."""
    return float(seen.along_px[-1]) + 2.5 * seen.blur_px


def _described(seen: TipInk, along: float, slope: float, length: float) -> list[float]:
    """A beginning."""
    return [along, slope, float(seen.opening[2]), float(seen.opening[3]), seen.width_px, 1.0, length]


def _begin(seen: TipInk, join: Join) -> list[float]:
    """Where the tip with one kind of join is looked for first: at the ink's end, or mitres where there is no more ink
    than one line's."""
    end, width, slope = _ended_px(seen), seen.width_px, float(seen.opening[1])
    if join is not Join.MITRE:
        return _described(seen, end + (width / 2 if join is Join.ROUND else 0), slope, width)
    even = np.convolve(np.pad(seen.times, 2, mode="edge"), np.full(5, 0.2), mode="valid")
    more = int(np.argmax(even < 1.03)) if (even < 1.03).any() else len(even) - 1
    along = float(seen.along_px[more])
    return _described(seen, along, slope, max(along - end, LEAST_MITRE_WIDTHS * width))


def _other_mitre(seen: TipInk) -> list[float] | None:
    """Where a mitre is looked for next: where a straight fall of the amount comes to one line's."""
    end, width = _ended_px(seen), seen.width_px
    falling = np.flatnonzero((seen.times > FALLING[0]) & (seen.times < FALLING[1]) & (seen.along_px > end + width))
    if len(falling) < FEW_FALLING:
        return None
    rate, level = np.polyfit(seen.along_px[falling], seen.times[falling], 1).tolist()
    if rate <= 0:
        return None
    along = (1 - level) / rate
    return _described(seen, along, rate * width / 2, max(along - end, LEAST_MITRE_WIDTHS * width))


def _fits(
    seen: list[TipInk], of: list[int], joins: list[Join], begin: list[list[float]], *, bilevel: bool
) -> list[_Fit]:
    """The best tips from their beginnings, and how likely each join is."""
    fitted = fit_tips(seen, np.array(of), np.array(joins), np.array(begin), bilevel=bilevel)
    variance = np.diagonal(fitted.covariance, axis1=1, axis2=2)
    fits = []
    for row, (which, join) in enumerate(zip(of, joins, strict=True)):
        cost, width = float(fitted.cost[row]), seen[which].width_px
        evidence = -cost / (2 * ALIKE)
        if join is Join.MITRE:
            span = MITRE_SPAN_WIDTHS * width
            evidence += float(np.log(np.clip(np.sqrt(2 * np.pi * variance[row, LENGTH]) / span, 1e-6, 1)))
            short = LEAST_MITRE_WIDTHS - float(fitted.at[row, LENGTH]) / width
            evidence -= max(short / MITRE_SIGMA, 0) ** 2 / 2
        fits.append(_Fit(float(fitted.at[row, TIP]), float(np.sqrt(variance[row, TIP])), cost, evidence))
    return fits
