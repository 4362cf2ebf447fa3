"""How places on curled paper move with the bend and with what the bend is given: the derivative of `Bend.paper`.

With n = 1 - z / D and A the arc's excess at t, the paper is w n + A d for the profile's direction d; the excess grows
by its own integrand at t, and the rest is taken under the integral.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calibration.bend import (
    ALIKE,
    HUMP_REACH,
    LONG_SIDE,
    MORE_NODES,
    POWERS,
    PROFILE,
    SHORT_SIDE,
    Bend,
    Floats,
    humps_by_side,
)

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(POWERS[-1] + MORE_NODES)


@dataclass(frozen=True, slots=True)
class Moves:
    """How what a bend is given moves with each of k parameters: places (k, N, 2), distance (k,), middle (k, 2)."""

    w: Floats
    distance: Floats
    middle: Floats


def paper_moves(bend: Bend, w: Floats, moves: Moves, *, bulge: Sequence[int]) -> tuple[Floats, Floats]:
    """Give `bend.paper(w)`, and how it moves by each of `moves`, then by turn, cylinder and bulge: (k + 8 + b, N, 2).

    Of the bulge by those of its amounts that `bulge` tells.
    """
    direction = np.array([np.cos(bend.turn), np.sin(bend.turn)])
    aside = np.array([-direction[1], direction[0]])
    offset, distance = w - bend.middle, float(bend.distance)
    t, t_aside = offset @ direction, offset @ aside
    slopes, rises = _terms(t)
    slope = bend.cylinder @ slopes
    along, across = humps_by_side(offset, bend.long_axis)
    humps = (across[:, :, None] * along[:, None]).reshape(len(w), -1)
    amounts = bend.bulge @ ALIKE
    uphill = slope[:, None] * direction + _uphill(bend, offset, humps * amounts)
    height = bend.cylinder @ rises + humps @ amounts
    excess, by_t, by_middle, by_distance, by_cylinder = _arc_moves(bend, t, float(bend.middle @ direction))

    offset_moves = moves.w - moves.middle[:, None]
    rise = (uphill * offset_moves).sum(axis=2)
    nearer = -rise / distance + np.outer(moves.distance, height) / distance**2
    arc = by_t * (offset_moves @ direction)
    arc += np.outer(moves.middle @ direction, by_middle) + np.outer(moves.distance, by_distance)
    given = moves.w * (1 - height / distance)[:, None] + nearer[:, :, None] * w + arc[:, :, None] * direction

    rise = np.vstack([slope * t_aside, rises, (humps @ ALIKE[:, list(bulge)]).T])
    arc = np.zeros_like(rise)
    arc[0] = by_t * t_aside + by_middle * float(bend.middle @ aside)
    arc[1 : 1 + len(POWERS)] = by_cylinder
    own = -rise[:, :, None] / distance * w + arc[:, :, None] * direction
    own[0] += excess[:, None] * aside
    paper = (1 - height / distance)[:, None] * w + excess[:, None] * direction
    return np.asarray(paper), np.concatenate([given, own])


def _uphill(bend: Bend, offset: Floats, humps: Floats) -> Floats:
    """Give how steeply the sum of the humps (N, 30) rises in x and y, (N, 2)."""
    middles = np.empty((len(SHORT_SIDE), len(LONG_SIDE), 2))
    middles[..., bend.long_axis], middles[..., 1 - bend.long_axis] = LONG_SIDE, SHORT_SIDE[:, None]
    uphill = humps @ middles.reshape(-1, 2) - humps.sum(axis=1)[:, None] * offset
    return np.asarray(uphill / HUMP_REACH**2)


def _arc_moves(bend: Bend, t: Floats, middle: float) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    """Give the arc's excess, and how it grows with t, the middle and the distance, (N,) each, and profile (7, N)."""
    distance = float(bend.distance)
    # The last node is the place itself: there the integrand is the excess's growth with t.
    parts = np.append((_NODES + 1) / 2, 1.0)[:, None] * t
    slopes, rises = _terms(parts)
    rises += (parts + middle) * slopes
    slope, rise = (np.tensordot(bend.cylinder, terms, axes=1) for terms in (slopes, rises))
    along = 1 - rise / distance
    steep = np.hypot(along, slope)
    by_t = steep[-1] - along[-1]
    by_along, by_slope = along / steep - 1, slope / steep
    weights = np.append(_WEIGHTS / 2, 0.0)

    def whole(integrand: Floats) -> Floats:
        return np.asarray(weights @ integrand)

    by_middle = whole(by_along * slope) * -t / distance
    by_distance = whole(by_along * rise) * t / distance**2
    by_cylinder = [
        whole(by_slope * one - by_along / distance * other) * t for one, other in zip(slopes, rises, strict=True)
    ]
    return whole(steep - along) * t, np.asarray(by_t), by_middle, by_distance, np.array(by_cylinder)


def _terms(t: Floats) -> tuple[Floats, Floats]:
    """Give (7, ...): the slope at t that each amount of a profile makes, and the height."""
    slopes, rises = np.empty((len(POWERS), *t.shape)), np.empty((len(POWERS), *t.shape))
    power = t
    for place, exponent in enumerate(POWERS):
        slopes[place] = exponent * power
        power = power * t
        rises[place] = power
    return np.tensordot(PROFILE, slopes, axes=1), np.tensordot(PROFILE, rises, axes=1)
