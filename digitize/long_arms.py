"""How lines of a black-and-white picture run up to a corner: fitted over more than their edges' stairs are long."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from digitize.arms import Arms, least_squares
from digitize.runs import Floats

LONG_REACH = 256
"""Samples looked at along an arm: a line that rises by one px in 60 has four stairs there."""

LONG_SPANS = (256, 160, 96, 64)
"""How many clean samples a fit may use, longest first."""

FILLED = 0.75
"""A span of which an arm has less is no longer than the next."""

LEFT_PX = 0.12
"""What the samples of each quarter of a span may be off on average, px: half a px's stair, averaged, leaves less, and a
bend that a parabola does not follow more."""

STAIR_PX = 0.2
"""One-sigma error of a sample on a stair, px."""

QUARTERS = 4


def fit_long_arms(
    arms: Arms, points_px: Floats, weights: Floats, index: NDArray[np.int64], which: NDArray[np.int64]
) -> Arms:
    """Give arms of a black-and-white picture, some of them (K,) fitted anew on more samples than its stairs are long.

    Parameters
    ----------
    arms : Arms
        A arms, as fitted on short stretches.
    points_px, weights : (T, 2), (T,) float
        As given to `fit_arms`.
    index : (K, LONG_REACH) int
        The samples of those arms from their nodes outward; -1 where there are no more.
    which : (K,) int
        Numbers of those arms.

    Returns
    -------
    Arms
        Arms that no long stretch describes stay as they were.
    """
    has = index >= 0
    safe = np.where(has, index, 0)
    weight = np.where(has, weights[safe], 0.0)
    order = np.cumsum(weight > 0, axis=1)
    away = points_px[safe] - arms.origin_px[which][:, None, :]
    axis = arms.axis[which]
    x = away[:, :, 0] * axis[:, None, 0] + away[:, :, 1] * axis[:, None, 1]
    y = away[:, :, 1] * axis[:, None, 0] - away[:, :, 0] * axis[:, None, 1]
    fit, variance = arms.fit.copy(), arms.variance.copy()
    todo = np.arange(len(which))
    for span in LONG_SPANS:
        full = order[todo, -1] > FILLED * span
        used = weight[todo] * (order[todo] <= span)
        taken = np.zeros(len(todo), np.bool_)
        for degree in (1, 2):
            curve, covariance, rest, solid = least_squares(x[todo], y[todo], used, degree)
            powers = x[todo][:, :, None] ** np.arange(3)
            off = (y[todo] - (powers * curve[:, None, :]).sum(axis=2)) * used
            # Over stretches as long as stairs: what is left of these is no more than a part of their height.
            quarter = np.minimum(order[todo] * QUARTERS // (span + 1), QUARTERS)
            left = [np.abs(np.where(quarter == n, off, 0).sum(axis=1)) * QUARTERS / span for n in range(QUARTERS)]
            take = full & solid & ~taken & (np.max(left, axis=0) < LEFT_PX)
            fit[which[todo[take]]] = curve[take]
            variance[which[todo[take]]] = covariance[take] * np.maximum(rest, STAIR_PX**2)[take][:, None, None]
            taken |= take
        todo = todo[~taken]
        if len(todo) == 0:
            break
    return replace(arms, fit=fit, variance=variance)
