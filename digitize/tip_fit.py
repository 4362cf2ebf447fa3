"""The tips that come nearest to what is seen, each with one kind of join: least squares, many at once."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from digitize.runs import Floats
from digitize.tip_ink import TipInk
from digitize.tip_model import TIP, WIDTH, Columns, columns_of, misses

FARTHEST_STEP_PX, MOST_STEPS, SETTLED = 4.0, 20, 0.3
"""A step takes the tip no farther; there are no more of them; and less to be gained by one is the end..."""

LOOSE = 1e-3
"""... if it was damped by no more than this: a held step gains little anywhere."""

WIDTHS = 0.6, 1.6
"""A line's width is looked for between these times what was measured."""

HOPEFUL_STEPS, HOPELESS = 6, 60.0
"""A join that after so many steps costs so much more than another of the same tip is not the one: after half as many
round points of slender tips were still far from their best."""

TOGETHER = 16
"""Tips fitted in one go: enough that starting a sum costs little, few enough that its terms stay near at hand."""


@dataclass(frozen=True, slots=True)
class Fitted:
    """For each of F fits what describes its tip (F, 7), their covariance (F, 7, 7), and the cost (F,): the sum of
    squares missed, in sigmas."""

    at: Floats
    covariance: Floats
    cost: Floats


def fit_tips(
    tips: list[TipInk], of: NDArray[np.int64], joins: NDArray[np.str_], begin: Floats, *, bilevel: bool
) -> Fitted:
    """Give the best tips from beginnings (F, 7), with joins (F,), of the tips `of` (F,)."""
    at, covariance, cost = np.empty((len(of), 7)), np.empty((len(of), 7, 7)), np.empty(len(of))
    # Those seen in like many columns go together: arrays are as wide as the widest needs.
    order = np.argsort([len(one.times) for one in tips], kind="stable")
    for first in range(0, len(order), TOGETHER):
        group = order[first : first + TOGETHER]
        place = np.full(len(tips), -1)
        place[group] = np.arange(len(group))
        rows = np.flatnonzero(place[of] >= 0)
        if len(rows):
            seen = columns_of([tips[which] for which in group.tolist()])
            at[rows], covariance[rows], cost[rows] = _fit(
                seen, place[of[rows]], joins[rows], begin[rows], bilevel=bilevel
            )
    return Fitted(at, covariance, cost)


def _fit(
    seen: Columns, of: NDArray[np.int64], joins: NDArray[np.str_], begin: Floats, *, bilevel: bool
) -> tuple[Floats, Floats, Floats]:
    """The same for a few tips (Levenberg, Quarterly of Applied Mathematics 2, 1944), all steps of all at once."""
    many = len(begin)
    best, at = begin.copy(), begin.copy()
    cost, damping = np.full(many, np.inf), np.full(many, LOOSE)
    normal, gradient = np.zeros((many, 7, 7)), np.zeros((many, 7))
    least = np.full(len(seen.times), np.inf)
    width = seen.width_px[of]
    going = np.arange(many)
    for count in range(MOST_STEPS):
        missed, slopes = misses(at[going], seen.of(of[going]), joins[going], bilevel=bilevel)
        now = (missed**2).sum(axis=1)
        better = now < cost[going]
        rows = going[better]
        gain = cost[rows] - now[better]
        done = np.zeros(many, np.bool_)
        done[rows] = (gain < SETTLED) & (damping[rows] <= LOOSE)
        cost[rows], best[rows] = now[better], at[rows]
        np.minimum.at(least, of[rows], now[better])
        turned = slopes[better]
        normal[rows] = turned @ turned.transpose(0, 2, 1)
        gradient[rows] = (turned @ missed[better][:, :, None])[:, :, 0]
        damping[rows] = np.where(count == 0, LOOSE, np.maximum(damping[rows] / 8, 1e-6))
        damping[going[~better]] *= 8
        if count >= HOPEFUL_STEPS:
            done |= cost > least[of] + HOPELESS
        going = going[~done[going]]
        held = normal[going] * (1 + damping[going, None, None] * np.eye(7))
        step = -np.linalg.solve(held, gradient[going][:, :, None])[:, :, 0]
        step *= (FARTHEST_STEP_PX / np.maximum(np.abs(step[:, TIP]), FARTHEST_STEP_PX))[:, None]
        gain = -(step * (2 * gradient[going] + (normal[going] @ step[:, :, None])[:, :, 0])).sum(axis=1)
        going, step = going[gain >= SETTLED], step[gain >= SETTLED]
        if len(going) == 0:
            break
        at[going] = best[going] + step
        at[going, WIDTH] = np.clip(at[going, WIDTH], WIDTHS[0] * width[going], WIDTHS[1] * width[going])
    covariance = np.asarray(np.linalg.inv(normal * (1 + 1e-9 * np.eye(7))), np.float64)
    return best, covariance, cost
