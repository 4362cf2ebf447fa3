"""Lines that run through a node: two opposite arms that one curve describes are one line, measured on both sides."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from digitize.arms import FLOOR_PX, LEAST_SCATTER_PX, REACH, Arms, is_bent, least_squares
from digitize.runs import Floats

OPPOSITE_RAD = np.radians(30)
"""Arms may be this far from opposite to be tried: a few noisy samples show a direction no better. The fit decides."""

SURE_SLOPE = 0.1
"""An arm's slope, one sigma, under which its own direction is believed: a third of OPPOSITE_RAD and better."""

LEAST_SAMPLES = 3
"""Clean samples that each side must have, and as many px as the line is wide: less shows no line."""

STRETCHES = ((0, 48), (0, 32), (0, 20), (10, 48))
"""Which of the clean samples on each side are tried, counted from the node: many first; without the nearest where
they lean towards another line."""

SHARED_SAMPLES = 4.0
"""How many neighbouring samples share their noise: blur, and the grain of ink and paper, reach over some px."""

CHANCE = 2.0
"""How many times its expected part a free parameter may lower the squared residuals by chance."""

OUTLIER_SIGMAS = 3.0
"""Samples farther from the line, in their scatter's sigma, have seen something else."""


def join_through_arms(
    arms: Arms,
    node: NDArray[np.int64],
    points_px: Floats,
    weights: Floats,
    index: NDArray[np.int64],
    width_px: Floats,
) -> Arms:
    """Fit opposite arms of a junction as one line where one line or parabola describes both sides.

    A line measured on both sides of a crossing is interpolated there; each arm alone is extrapolated, and errs
    several times as much, most of all where noise makes it look bent. A line with a kink at the node, or two that
    end there, are described worse by one curve than by two and stay apart.

    Parameters
    ----------
    arms : Arms
        A arms, each fitted alone.
    node : (A,) int
        Which node each belongs to.
    points_px, weights, index
        As given to `fit_arms`.
    width_px : (A,) float
        The ink's width along each.

    Returns
    -------
    Arms
        The same with each joined pair in one line's two halves, each with twice its variance: together they count as
        the one line they are.
    """
    one, two = _opposite(arms, node)
    if len(one) == 0:
        return arms
    both = np.concatenate([index[one], index[two]], axis=1)
    safe = np.maximum(both, 0)
    weight = np.where(both >= 0, weights[safe], 0.0)
    order = np.concatenate([np.cumsum(half > 0, axis=1) for half in (weight[:, :REACH], weight[:, REACH:])], axis=1)
    origin = arms.origin_px[one]
    axis = arms.axis[two] - arms.axis[one]
    axis /= np.hypot(axis[:, 0], axis[:, 1])[:, None]
    away = points_px[safe] - origin[:, None, :]
    x = away[:, :, 0] * axis[:, None, 0] + away[:, :, 1] * axis[:, None, 1]
    y = away[:, :, 1] * axis[:, None, 0] - away[:, :, 0] * axis[:, None, 1]

    fit, variance = arms.fit.copy(), arms.variance.copy()
    axes, nearest, known = arms.axis.copy(), arms.nearest_px.copy(), arms.known.copy()
    todo = np.arange(len(one))
    wide = np.maximum(width_px[one], width_px[two])
    for begin, end in STRETCHES:
        if len(todo) == 0:
            break
        used = weight[todo] * ((order[todo] > begin) & (order[todo] <= end))
        curve, covariance, joined = _one_line(x[todo], y[todo], used, wide[todo])
        at = todo[joined]
        for arm, sign in ((one[at], -1.0), (two[at], 1.0)):
            # The half that runs back sees the same curve turned by half a turn.
            turn = np.array([sign, 1.0, sign])
            fit[arm] = curve[joined] * turn
            variance[arm] = 2 * covariance[joined] * turn[:, None] * turn
            nearest[arm] *= np.abs((axes[arm] * axis[at]).sum(axis=1))
            axes[arm] = sign * axis[at]
            known[arm] = True
        todo = todo[~joined]
    return replace(arms, axis=axes, fit=fit, variance=variance, nearest_px=nearest, known=known)


def _opposite(arms: Arms, node: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Pairs of arms that leave nodes of three or more in opposite directions, the most opposite first."""
    # The axis leads from where the node was thought to be; the samples alone show the direction where they are many.
    sure = arms.known & (np.sqrt(arms.variance[:, 1, 1]) < SURE_SLOPE)
    ways = np.where(sure[:, None], arms.direction(arms.nearest_px), arms.axis)
    order = np.argsort(node, kind="stable")
    _, first, count = np.unique(node[order], return_index=True, return_counts=True)
    ones, twos = [np.empty(0, np.int64)], [np.empty(0, np.int64)]
    for degree in np.unique(count[count >= 3]).tolist():
        members = order[first[count == degree][:, None] + np.arange(degree)]
        way = ways[members]
        cosine = np.einsum("nik,njk->nij", way, way)
        cosine[:, np.arange(degree), np.arange(degree)] = 1
        rows = np.arange(len(members))
        for _ in range(degree // 2):
            best = cosine.reshape(len(members), -1).argmin(axis=1)
            i, j = best // degree, best % degree
            found = cosine[rows, i, j] < -np.cos(OPPOSITE_RAD)
            ones.append(members[rows, i][found])
            twos.append(members[rows, j][found])
            for taken in (i, j):
                cosine[rows, taken, :] = 1
                cosine[rows, :, taken] = 1
    return np.concatenate(ones), np.concatenate(twos)


def _one_line(x: Floats, y: Floats, weight: Floats, width_px: Floats) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """One line or parabola over both halves of pairs: coefficients, covariance, and whether it describes them."""
    curve, _, _, solid = least_squares(x, y, weight, 2)
    miss = np.abs(y - (curve[:, :1] + x * (curve[:, 1:2] + x * curve[:, 2:])))
    number = (weight > 0).sum(axis=1)
    ranked = np.sort(np.where(weight > 0, miss, np.inf), axis=1)
    middle = ranked[np.arange(len(x)), np.minimum(number // 2, x.shape[1] - 1)]
    limit = OUTLIER_SIGMAS * (1.4826 * np.where(np.isfinite(middle), middle, 0) + FLOOR_PX)
    weight = np.where(miss <= limit[:, None], weight, 0.0)
    number = (weight > 0).sum(axis=1)

    curve, curve_cov, curve_rest, solid = least_squares(x, y, weight, 2)
    line, line_cov, line_rest, firm = least_squares(x, y, weight, 1)
    apart_curves, apart_lines = np.zeros(len(x)), np.zeros(len(x))
    enough = solid & firm
    for half in (slice(None, REACH), slice(REACH, None)):
        own = weight[:, half]
        count = (own > 0).sum(axis=1)
        far = np.where(own > 0, np.abs(x[:, half]), 0).max(axis=1)
        near = np.where(own > 0, np.abs(x[:, half]), np.inf).min(axis=1)
        enough &= (count >= LEAST_SAMPLES) & (far - near >= width_px)
        for total, degree in ((apart_curves, 2), (apart_lines, 1)):
            _, _, rest, fits = least_squares(x[:, half], y[:, half], own, degree)
            # With no more samples than unknowns a curve meets them all.
            total += np.where(fits, rest * np.maximum(count - degree - 1, 0), 0)
    chance = CHANCE * SHARED_SAMPLES / np.maximum(number, 1)
    floor = number * LEAST_SCATTER_PX**2
    as_curve = curve_rest * (number - 3) <= apart_curves * (1 + 3 * chance) + floor
    as_line = line_rest * (number - 2) <= apart_lines * (1 + 2 * chance) + floor
    bent = is_bent(curve, curve_cov, curve_rest * SHARED_SAMPLES) | ~as_line
    rest = np.maximum(np.where(bent, curve_rest, line_rest), FLOOR_PX**2) * SHARED_SAMPLES
    covariance = np.where(bent[:, None, None], curve_cov, line_cov) * rest[:, None, None]
    return np.where(bent[:, None], curve, line), covariance, enough & (as_curve | as_line)
