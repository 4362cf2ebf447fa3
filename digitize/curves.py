"""Curved runs as few cubics that keep the tolerance, all runs of a drawing at once."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from digitize.cubics import Chain, Floats, longest_cubics
from digitize.refine import Refined, refined
from digitize.sections import Section
from digitize.smoothing import Smoothed


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


TIGHTER = (1.0, 0.5, 0.2)
"""Shares of the tolerance tried for the smooth points until the measured points keep it whole."""

AVERAGE_SHARE = 0.8
"""The average over the noise keeps this share of the tolerance: the rest is for what the average cannot see."""

NOISE_SIGMAS = 4.5
"""Single points of some thousands lie this many sigma off by chance."""


SMOOTH_SIGMAS = 0.7
"""Smooth points are still this many sigma off where the line bends: curves through them any closer fit noise."""


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
    for tighter in TIGHTER:
        if not left:
            break
        tried = [curves[which] for which in left]
        runs = [_whole(curve) for curve in tried]
        closed = [curve.section.closed for curve in tried]
        sigma_mm = np.array([curve.section.sigma_mm for curve in tried])
        close_mm = np.maximum(tighter * tolerance_mm, SMOOTH_SIGMAS * sigma_mm)
        least = np.array([_least_steps(curve.section) for curve in tried])
        chains = longest_cubics(runs, closed, tolerance_mm=close_mm, least=least)
        fits = refined(
            chains,
            [curve.section.points_mm for curve in tried],
            [curve.section.weights for curve in tried],
            fixed_angles=[curve.fixed_angles for curve in tried],
        )
        missed = []
        for which, curve, fit in zip(left, tried, fits, strict=True):
            there = float((np.abs(fit.residuals_mm) * (curve.section.weights > 0)).max())
            back = back_deviation_mm(fit.chain, curve.section)
            known = done.get(which)
            if known is None or max(there, back) < known.deviation_mm:
                done[which] = CurveFit(fit.chain, max(there, back))
            if not _keeps(fit, there, back, curve.section, tolerance_mm):
                missed.append(which)
            else:
                done[which] = CurveFit(fit.chain, max(there, back))
        left = missed
    return [done[which] for which in range(len(curves))]


LEAST_WIDTHS = 1.0
"""A curve shorter than this, in line widths, follows the ink's edge, not the line drawn."""


def _least_steps(section: Section) -> int:
    step_mm = float(np.hypot(*(section.points_mm[1] - section.points_mm[0])))
    return max(1, int(LEAST_WIDTHS * section.width_mm / step_mm)) if step_mm else 1


def averaged(values: Floats, weights: Floats) -> Floats:
    """Moving average over the noise; samples without weight count for nothing."""
    half = min(7, max(0, (len(values) - 1) // 8))
    kernel = np.ones(2 * half + 1)
    total = np.convolve(values * weights, kernel, "same")
    number = np.convolve(weights, kernel, "same")
    mean: Floats = total / np.where(number > 0, number, 1)
    return mean


def back_deviation_mm(chain: Chain, section: Section) -> float:
    """Largest distance from the curves to the line through the samples: a hook between samples shows here."""
    control = chain.controls()
    t = np.linspace(0.05, 0.95, 8)[:, None, None]
    u = 1 - t
    on = u**3 * control[:, 0] + 3 * u * u * t * control[:, 1] + 3 * u * t * t * control[:, 2] + t**3 * control[:, 3]
    points = np.vstack([section.points_mm, section.points_mm[:1]]) if section.closed else section.points_mm
    coarse = shapely.LineString(points if len(points) < 400 else np.vstack([points[:-1:3], points[-1:]]))
    return float(shapely.distance(coarse, shapely.points(on.reshape(-1, 2))).max())


def _whole(curve: Curve) -> Smoothed:
    """The smooth points; a closed run's with its first point again at the end."""
    smooth = curve.smooth
    if not curve.section.closed:
        return smooth
    return Smoothed(*(np.concatenate([a, a[:1]]) for a in (smooth.points_mm, smooth.directions, smooth.sigma_mm)))


def _keeps(fit: Refined, there_mm: float, back_mm: float, section: Section, tolerance_mm: float) -> bool:
    noise_mm = NOISE_SIGMAS * section.sigma_mm
    if max(there_mm, back_mm) <= tolerance_mm:
        return True
    if max(there_mm, back_mm) > max(tolerance_mm, noise_mm):
        return False
    average = np.abs(averaged(fit.residuals_mm, section.weights)).max()
    return bool(average <= AVERAGE_SHARE * tolerance_mm)
