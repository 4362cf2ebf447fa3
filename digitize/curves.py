"""Curved runs as few cubics that keep the tolerance, all runs of a drawing at once."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from digitize.cubics import Chain, Floats, Ints, longest_cubics
from digitize.refine import Refined, refined
from digitize.sections import Section
from digitize.smoothing import ALIKE, Smoothed


@dataclass(frozen=True, slots=True)
class Curve:
    """A run to fit: its measured points, the same smoothed, and whether its end directions are given by lines."""

    section: Section
    smooth: Smoothed
    fixed_angles: tuple[bool, bool] = (False, False)


@dataclass(frozen=True, slots=True)
class CurveFit:
    """Cubics for a run and their largest distance from its points, measured both ways, mm."""

    chain: Chain
    deviation_mm: float


ROUNDS = 7
"""Times the curves that miss the tolerance are fitted anew, each time closer."""

LAID_SHARE = 0.6
"""Of the tolerance, that the longest cubics are laid to: each leaves its ends as it likes, and held together they come
less close. At 0.7 a rib takes half a node less and errs a sixth more."""

CLOSER = (0.5, 0.85)
"""How much closer: by as much as the tolerance was missed, between these shares."""

AVERAGE_SHARE = 0.8
"""The average over the noise keeps this share of the tolerance: the rest is for what the average cannot see."""

CHANCE_SIGMAS = 3.5
"""The largest of some hundred averages strays this many of its standard errors by chance."""

AVERAGED = (7, 37)
"""Least and largest half width of an average: shorter ones are noise, longer ones hide what a curve misses."""

NOISE_SIGMAS = 4.5
"""Single points of some thousands lie this many sigma off by chance."""


SMOOTH_SIGMAS = 2.0
"""Smooth points are still this many sigma of the measured ones off where noise is alike for long, and CHANCE_SIGMAS of
their own where the line bends and few are averaged: curves through them any closer fit noise. Where the measured
points' average shows a miss, that place alone is fitted closer."""


def fit_curves(curves: Sequence[Curve], *, tolerance_mm: float) -> list[CurveFit]:
    """Fit every run: longest cubics, then all of a run moved to fit best, more of them where that does not do.

    Parameters
    ----------
    curves : sequence of Curve
    tolerance_mm : float
        Every measured point keeps within this, or within 4.5 sigma where noise is larger and the moving
        average keeps 80 % of the tolerance.
    """
    done: dict[int, CurveFit] = {}
    left = list(range(len(curves)))
    runs = [_whole(curve) for curve in curves]
    shares = [np.ones(len(run.points_mm)) for run in runs]
    noise_mm = [
        np.maximum(SMOOTH_SIGMAS * curve.section.sigma_mm, CHANCE_SIGMAS * run.sigma_mm)
        for curve, run in zip(curves, runs, strict=True)
    ]
    for _ in range(ROUNDS):
        if not left:
            break
        tried = [curves[which] for which in left]
        close_mm = [LAID_SHARE * shares[which] * np.maximum(tolerance_mm, noise_mm[which]) for which in left]
        chains = longest_cubics(
            [runs[which] for which in left],
            [curve.section.closed for curve in tried],
            fixed_angles=[curve.fixed_angles for curve in tried],
            tolerance_mm=close_mm,
            least=np.array([_least_steps(curve.section) for curve in tried]),
        )
        fits = refined(
            chains,
            [curve.section.points_mm for curve in tried],
            fixed_angles=[curve.fixed_angles for curve in tried],
        )
        missed = []
        for which, curve, fit in zip(left, tried, fits, strict=True):
            there = np.abs(fit.residuals_mm) * (curve.section.weights > 0)
            back = _back_mm(fit.chain, curve.section)
            deviation_mm = float(max(there.max(), back.max()))
            by = _missed_by(fit, there, back, curve.section, tolerance_mm)
            if which not in done or by.max() <= 1 or deviation_mm < done[which].deviation_mm:
                done[which] = CurveFit(fit.chain, deviation_mm)
            if by.max() > 1:
                missed.append(which)
                # Only where it was missed: the rest needs no more curves than it had.
                closer = np.where(by > 1, np.clip(0.9 / by, *CLOSER), 1.0)
                shares[which] = shares[which] * closer[_curve_of(fit.chain, len(shares[which]))]
        left = missed
    return [done[which] for which in range(len(curves))]


LEAST_WIDTHS = 1.0
"""A curve shorter than this, in line widths, follows the ink's edge, not the line drawn."""


def _least_steps(section: Section) -> int:
    step_mm = float(np.hypot(*(section.points_mm[1] - section.points_mm[0])))
    return max(1, int(LEAST_WIDTHS * section.width_mm / step_mm)) if step_mm else 1


def averaged(values: Floats, weights: Floats, *, half: int = AVERAGED[0]) -> Floats:
    """Moving average over the noise; samples without weight count for nothing."""
    half = min(half, max(0, (len(values) - 1) // 8))
    kernel = np.ones(2 * half + 1)
    total = np.convolve(values * weights, kernel, "same")
    number = np.convolve(weights, kernel, "same")
    mean: Floats = total / np.where(number > 0, number, 1)
    return mean


def _curve_of(chain: Chain, samples: int) -> Ints:
    """Which curve of its chain each sample belongs to."""
    number: Ints = np.searchsorted(chain.at, np.arange(samples), side="right") - 1
    return np.clip(number, 0, len(chain.out_mm) - 1)


def _back_mm(chain: Chain, section: Section) -> Floats:
    """Each curve's largest distance from the line through the samples: a hook between samples shows here."""
    control = chain.controls()
    t = np.linspace(0.05, 0.95, 8)[:, None, None]
    u = 1 - t
    on = u**3 * control[:, 0] + 3 * u * u * t * control[:, 1] + 3 * u * t * t * control[:, 2] + t**3 * control[:, 3]
    points = np.vstack([section.points_mm, section.points_mm[:1]]) if section.closed else section.points_mm
    coarse = shapely.LineString(points if len(points) < 400 else np.vstack([points[:-1:3], points[-1:]]))
    back: Floats = shapely.distance(coarse, shapely.points(on.reshape(-1, 2))).reshape(8, -1).max(axis=0)
    return back


def _whole(curve: Curve) -> Smoothed:
    """The smooth points; a closed run's with its first point again at the end."""
    smooth = curve.smooth
    if not curve.section.closed:
        return smooth
    return Smoothed(*(np.concatenate([a, a[:1]]) for a in (smooth.points_mm, smooth.directions, smooth.sigma_mm)))


def _missed_by(fit: Refined, there_mm: Floats, back_mm: Floats, section: Section, tolerance_mm: float) -> Floats:
    """By what factor each curve of a chain misses the tolerance, or where noise is larger, what noise allows.

    Noise is averaged over as many points as it takes to tell a miss from chance.
    """
    sigma_mm = section.sigma_mm
    limit_mm = max(tolerance_mm, NOISE_SIGMAS * sigma_mm)
    missed = there_mm / limit_mm
    if there_mm.max() > tolerance_mm:
        kept_mm = AVERAGE_SHARE * tolerance_mm
        half = int(np.clip(ALIKE * (CHANCE_SIGMAS * sigma_mm / kept_mm) ** 2 / 2, *AVERAGED))
        chance_mm = CHANCE_SIGMAS * sigma_mm / np.sqrt((2 * half + 1) / ALIKE)
        average_mm = np.abs(averaged(fit.residuals_mm, section.weights, half=half))
        missed = np.maximum(missed, average_mm / max(kept_mm, chance_mm))
    by = back_mm / limit_mm
    np.maximum.at(by, _curve_of(fit.chain, len(there_mm)), missed)
    return by
