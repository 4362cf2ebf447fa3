"""How places on curled paper move with the bend and with what the bend is given: the derivative of `Bend.paper`.

With n = 1 - z / D and A the arc's excess at t, the paper is w n + A d for the profile's direction d; the excess grows
by its own integrand at t, and the rest is taken under the integral.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calibration.bend import (
    ALIKE,
    EXPONENTS,
    HUMP_REACH,
    LONG_SIDE,
    PARTS,
    POWERS,
    PROFILE,
    REACH,
    RISE_PARTS,
    SHORT_SIDE,
    SLOPE_PARTS,
    WEIGHTS,
    Bend,
    Floats,
    humps_by_side,
    powers_of,
)

_PART_SUMS = (WEIGHTS[:, None] * PARTS[:-1, None] ** np.arange(1, POWERS[-1] + 1)).T
"""(16, nodes): integrals of what is taken at nodes times a power of the node."""


@dataclass(frozen=True, slots=True)
class Moves:
    """How what a bend is given moves with each of k parameters: places (k, N, 2), distance (k,), middle (k, 2)."""

    w: Floats
    distance: Floats
    middle: Floats


def paper_moves(bend: Bend, w: Floats, moves: Moves, *, bulge: Sequence[int]) -> tuple[Floats, Floats]:
    """Give `bend.paper(w)`, and how it moves by each of `moves`, then by turn, cylinder and bulge: (k + 16 + b, N, 2).

    Of the bulge by those of its amounts that `bulge` tells.
    """
    direction = np.array([np.cos(bend.turn), np.sin(bend.turn)])
    aside = np.array([-direction[1], direction[0]])
    offset, distance = w - bend.middle, float(bend.distance)
    t, t_aside = offset @ direction, offset @ aside
    powers, amounts = powers_of(t), bend.cylinder @ PROFILE
    height = amounts @ powers[2:-1]
    within = np.abs(t) < REACH
    slope = within * ((amounts * EXPONENTS) @ powers[1:-2])
    uphill = slope[:, None] * direction
    rises = [slope[None] * t_aside, PROFILE @ powers[2:-1]]
    if bulge or bend.bulge.any():
        along, across = humps_by_side(offset, bend.long_axis)
        humps = (across[:, :, None] * along[:, None]).reshape(len(w), -1)
        sizes = bend.bulge @ ALIKE
        uphill += _uphill(bend, offset, humps * sizes)
        height += humps @ sizes
        rises.append((humps @ ALIKE[:, list(bulge)]).T)
    arc = _arc(bend, amounts, powers, float(bend.middle @ direction))
    arc_by_t = within * arc.by_t

    offset_moves = moves.w - moves.middle[:, None]
    rise = (uphill * offset_moves).sum(axis=2)
    nearer = -rise / distance + np.outer(moves.distance, height) / distance**2
    arc_moves = arc_by_t * (offset_moves @ direction)
    arc_moves += np.outer(moves.middle @ direction, arc.by_middle) + np.outer(moves.distance, arc.by_distance)
    given = moves.w * (1 - height / distance)[:, None] + nearer[:, :, None] * w + arc_moves[:, :, None] * direction

    own = np.concatenate(rises)[:, :, None] * (w / -distance)
    turned = arc_by_t * t_aside + arc.by_middle * float(bend.middle @ aside)
    own[: 1 + len(POWERS)] += np.vstack([turned, arc.by_cylinder])[:, :, None] * direction
    own[0] += arc.excess[:, None] * aside
    paper = (1 - height / distance)[:, None] * w + arc.excess[:, None] * direction
    return np.asarray(paper), np.concatenate([given, own])


def first_rises(bend: Bend, w: Floats, turns_rad: Floats) -> Floats:
    """Give (T, 7, N): the height that each amount of a profile makes at (N, 2), for each of T directions."""
    t = np.column_stack([np.cos(turns_rad), np.sin(turns_rad)]) @ (w - bend.middle).T
    return np.asarray(PROFILE @ powers_of(t)[:, 2:-1])


def _uphill(bend: Bend, offset: Floats, humps: Floats) -> Floats:
    """Give how steeply the sum of the humps (N, 30) rises in x and y, (N, 2)."""
    middles = np.empty((len(SHORT_SIDE), len(LONG_SIDE), 2))
    middles[..., bend.long_axis], middles[..., 1 - bend.long_axis] = LONG_SIDE, SHORT_SIDE[:, None]
    uphill = humps @ middles.reshape(-1, 2) - humps.sum(axis=1)[:, None] * offset
    return np.asarray(uphill / HUMP_REACH**2)


@dataclass(frozen=True, slots=True)
class _Arc:
    """The arc's excess, and how it grows with t, the middle and the distance, (N,) each, and profile (15, N)."""

    excess: Floats
    by_t: Floats
    by_middle: Floats
    by_distance: Floats
    by_cylinder: Floats


def _arc(bend: Bend, amounts: Floats, powers: Floats, middle: float) -> _Arc:
    """Integrate from the middle to t, all nodes at once: a power at a node is the node's own times that of t."""
    distance, t = float(bend.distance), powers[1]
    slope = (SLOPE_PARTS * amounts) @ powers[1:-2]
    rise = (RISE_PARTS * amounts) @ powers[2:-1] + middle * slope
    along = 1 - rise / distance
    steep = np.hypot(along, slope)
    longer = steep - along
    # The last node is the place itself: there the integrand is the excess's growth with t.
    by_along, by_slope = (along / steep - 1)[:-1], (slope / steep)[:-1]
    by_middle = (WEIGHTS @ (by_along * slope[:-1])) * -t / distance
    by_distance = (WEIGHTS @ (by_along * rise[:-1])) * t / distance**2
    sums_along, sums_slope = _PART_SUMS @ by_along, _PART_SUMS @ by_slope
    by_powers = EXPONENTS[:, None] * powers[2:-1] * (sums_slope - middle / distance * sums_along)[:-1]
    by_powers -= (EXPONENTS + 1)[:, None] / distance * powers[3:] * sums_along[1:]
    return _Arc((WEIGHTS @ longer[:-1]) * t, longer[-1], by_middle, by_distance, PROFILE @ by_powers)
