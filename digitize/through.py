"""Lines that run through a node: two opposite arms that one curve describes are one line, measured on both sides."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from digitize.arms import FLOOR_PX, LEAST_SCATTER_PX, REACH, Arms, is_bent, least_squares
from digitize.centre_lines import Samples
from digitize.look_along import look_along
from digitize.runs import Floats

OPPOSITE_RAD = np.radians(30)
"""Arms may be this far from opposite to be tried: a few noisy samples show a direction no better. The fit decides."""

SURE_SLOPE = 0.2
"""An arm's slope, one sigma, under which its own direction is believed: a third of OPPOSITE_RAD."""

LEAST_SAMPLES = 3
"""Clean samples that each side must have, and as many px as the line is wide: less shows no line."""

STRETCHES = ((0, 48), (0, 32), (0, 20), (10, 48))
"""Which of the clean samples on each side are tried, counted from the node: many first; without the nearest where
they lean towards another line."""

SHARED_SAMPLES = 4.0
"""How many neighbouring samples share their noise: blur, and the grain of ink and paper, reach over some px."""

LONG_SAMPLES, SHORT_SAMPLES = 24, 12
"""Clean samples that make an arm long, half of what is looked at; and under which it shows a line's place but hardly
its direction."""

CHANCE = 2.0
"""How many times its expected part a free parameter may lower the squared residuals by chance."""

OUTLIER_SIGMAS = 3.0
"""Samples farther from the line, in their scatter's sigma, have seen something else."""


def join_through_arms(
    arms: Arms,
    node: NDArray[np.int64],
    samples: Samples,
    weights: Floats,
    index: NDArray[np.int64],
    *,
    width_px: Floats,
    broken: NDArray[np.bool_],
    darkness: NDArray[np.uint8],
) -> Arms:
    """Fit opposite arms of a junction as one line where one line or parabola describes both sides.

    A line measured on both sides of a crossing is interpolated there; each arm alone is extrapolated, and errs
    several times as much, most of all where noise makes it look bent. A line with a kink at the node, or two that
    end there, are described worse by one curve than by two and stay apart. Where an arm breaks off or is missing,
    the line's ink is looked for straight ahead.

    Parameters
    ----------
    arms : Arms
        A arms, each fitted alone.
    node : (A,) int
        Which node each belongs to.
    samples, weights, index
        As given to `fit_arms`.
    width_px : (A,) float
        The ink's width along each.
    broken : (A,) bool
        Whether nothing joins on to the arm at its other end.
    darkness : (H, W) uint8
        As in `Ink`.

    Returns
    -------
    Arms
        The same with each joined pair in one line's two halves, each with twice its variance: together they count as
        the one line they are.
    """
    crowded = (np.bincount(node) >= 3)[node]
    # Told as the joined ones are: neighbours share their noise.
    shared = np.where(crowded, SHARED_SAMPLES, 1.0)[:, None, None]
    arms = replace(arms, variance=arms.variance * shared)
    one, two = _opposite(arms, node)
    clean = ((index >= 0) & (weights[np.maximum(index, 0)] > 0)).sum(axis=1)
    enough = (two >= 0) | (clean[one] >= LONG_SAMPLES)
    one, two = one[enough], two[enough]
    if len(one) == 0:
        return arms
    pair = two >= 0
    there = np.where(pair, two, one)
    both = np.concatenate([index[one], np.where(pair[:, None], index[there], -1)], axis=1)
    safe = np.maximum(both, 0)
    weight = np.where(both >= 0, weights[safe], 0.0)
    points = samples.points_px[safe]
    axis = np.where(pair[:, None], arms.axis[there] - arms.axis[one], -arms.axis[one])
    axis /= np.hypot(axis[:, 0], axis[:, 1])[:, None]
    origin = arms.origin_px[one]
    wide = np.maximum(width_px[one], width_px[there])
    clear = np.maximum(arms.nearest_px[one], arms.nearest_px[there])
    dark = (weight * samples.contrast[safe]).sum(axis=1) / np.maximum(weight.sum(axis=1), 1e-9)
    few = clean < np.where(broken, LONG_SAMPLES, SHORT_SAMPLES)
    for sign, short, half in ((1.0, ~pair | few[there], slice(REACH, None)), (-1.0, few[one], slice(None, REACH))):
        at = np.flatnonzero(short)
        if len(at) == 0:
            continue
        ahead, seen = look_along(
            darkness, points[at], weight[at], origin[at], sign * axis[at], clear[at], wide[at], dark[at]
        )
        more = seen.sum(axis=1) > (weight[at][:, half] > 0).sum(axis=1)
        points[at[more], half], weight[at[more], half] = ahead[more], seen[more]
    order = np.concatenate([np.cumsum(half > 0, axis=1) for half in (weight[:, :REACH], weight[:, REACH:])], axis=1)
    away = points - origin[:, None, :]
    x = away[:, :, 0] * axis[:, None, 0] + away[:, :, 1] * axis[:, None, 1]
    y = away[:, :, 1] * axis[:, None, 0] - away[:, :, 0] * axis[:, None, 1]

    fit, variance = arms.fit.copy(), arms.variance.copy()
    axes, nearest, known = arms.axis.copy(), arms.nearest_px.copy(), arms.known.copy()
    todo = np.arange(len(one))
    for begin, end in STRETCHES:
        if len(todo) == 0:
            break
        used = weight[todo] * ((order[todo] > begin) & (order[todo] <= end))
        curve, covariance, joined = _one_line(x[todo], y[todo], used, wide[todo])
        at = todo[joined]
        for arm, sign, kept in ((one, -1.0, np.ones(len(at), np.bool_)), (two, 1.0, pair[at])):
            row = arm[at[kept]]
            # The half that runs back sees the same curve turned by half a turn.
            turn = np.array([sign, 1.0, sign])
            fit[row] = curve[joined][kept] * turn
            halves = np.where(pair[at[kept]], 2.0, 1.0)[:, None, None]
            variance[row] = halves * covariance[joined][kept] * turn[:, None] * turn
            nearest[row] *= np.abs((axes[row] * axis[at[kept]]).sum(axis=1))
            axes[row] = sign * axis[at[kept]]
            known[row] = True
        todo = todo[~joined]
    return replace(arms, axis=axes, fit=fit, variance=variance, nearest_px=nearest, known=known)


def _opposite(arms: Arms, node: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Pairs of arms that leave nodes of three or more in opposite directions, the most opposite first.

    The arms left over follow, with -1 for a partner.
    """
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
    paired = np.concatenate([*ones, *twos])
    left = np.setdiff1d(order[np.repeat(count, count) >= 3], paired)
    return np.concatenate([*ones, left]), np.concatenate([*twos, np.full(len(left), -1)])


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
