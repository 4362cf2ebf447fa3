"""All cubics of a run moved together until they lie best on the points themselves, not on smoothed ones."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.linalg import LinAlgError
from numpy.typing import NDArray
from scipy.linalg import solveh_banded

from digitize.cubics import LONGEST, SHORTEST, Chain, Floats, Ints, polynomial

STEPS = 14
"""Gauss-Newton steps at most: chains whose curves were laid one by one settle in four to ten."""

SETTLED = 1e-3
"""A step that lowers the squared error by a smaller share ends the fit of its run."""

BAND = 5
"""Diagonals on either side: a curve has six unknowns, in a row."""

LEAST_CHANGE, MOST_CHANGE = 0.3, 2.5
"""No handle becomes shorter or longer than so many times itself in one step."""

LARGEST_SWING_RAD = 0.3
"""No joint turns farther in one step: beyond, the linear picture of the curve is wrong."""


@dataclass(frozen=True, slots=True)
class Refined:
    """The moved chain and the signed distance of every sample from it, mm, left of the run's direction positive."""

    chain: Chain
    residuals_mm: Floats


def refined(
    chains: Sequence[Chain],
    points_mm: Sequence[Floats],
    *,
    fixed_angles: Sequence[tuple[bool, bool]],
) -> list[Refined]:
    """Move chains to the least-squares fit of their samples' distances.

    Unknown are each inner joint's shift across the line and its direction, and all handle lengths; the ends of an open
    chain stay, and their directions too where `fixed_angles` says so (first, last). Joints do not slide along the
    line, where the fit is indifferent. Steps are damped after Levenberg and Marquardt. All chains step together.

    Parameters
    ----------
    chains : sequence of Chain
    points_mm : sequence of (N, 2) arrays
        Samples in order; the chain's `at` points into them. A closed run does not repeat its first. Those that were
        filled in count as well: without them curves swing across each other before a sharp tip.
    fixed_angles : sequence of pairs of bool
    """
    now = list(chains)
    samples = _Samples.of(chains, points_mm)
    t = samples.share
    control = np.concatenate([chain.controls() for chain in now])
    t, residual, normal = _feet(control, samples, t, rounds=3)
    cost = _costs(samples, residual)
    damping = np.full(len(now), 1e-4)
    going = [len(chain.out_mm) > 0 for chain in now]
    equations = [_Equations.of_chain(c, _free(c, fixed)) for c, fixed in zip(now, fixed_angles, strict=True)]
    for _ in range(STEPS):
        blocks, slopes = _normal_blocks(now, samples, t, normal, residual)
        moved = [
            _stepped(chain, samples.stretch[a:b], blocks[a:b], slopes[a:b], places, float(damp)) if is_going else None
            for chain, (a, b), places, damp, is_going in zip(
                now, samples.curves_of, equations, damping, going, strict=True
            )
        ]
        trial = [chain if new is None else new for chain, new in zip(now, moved, strict=True)]
        control = np.concatenate([chain.controls() for chain in trial])
        t_new, residual_new, normal_new = _feet(control, samples, t, rounds=1)
        cost_new = _costs(samples, residual_new)
        better = np.array([new is not None for new in moved]) & (cost_new <= cost)
        going = [
            is_going and not (is_better and new > old * (1 - SETTLED))
            for is_going, is_better, new, old in zip(going, better, cost_new, cost, strict=True)
        ]
        damping = np.where(better, np.maximum(1e-6, damping / 5), damping * 30)
        taken = better[samples.run]
        t = np.where(taken, t_new, t)
        residual = np.where(taken, residual_new, residual)
        normal = np.where(taken[:, None], normal_new, normal)
        now = [new if is_better else old for new, old, is_better in zip(trial, now, better, strict=True)]
        cost = np.where(better, cost_new, cost)
        if not any(going):
            break
    return [Refined(chain, residual[a:b]) for chain, (a, b) in zip(now, samples.samples_of, strict=True)]


@dataclass(frozen=True, slots=True)
class _Samples:
    """All runs' samples in one array: `curve` and `run` say which curve and run each belongs to."""

    points: Floats
    curve: Ints
    run: Ints
    share: Floats
    stretch: Floats
    """How far every curve runs along its samples, mm."""
    starts: Ints
    """First sample of every curve that has one."""
    filled: Ints
    """Numbers of those curves."""
    curves: int
    curves_of: list[tuple[int, int]]
    samples_of: list[tuple[int, int]]

    @classmethod
    def of(cls, chains: Sequence[Chain], points_mm: Sequence[Floats]) -> "_Samples":
        curve, share, stretch, curves_of, samples_of = [], [], [], [], []
        curves = samples = 0
        for chain, points in zip(chains, points_mm, strict=True):
            count = len(points)
            edges = np.append(chain.at, count) if chain.closed else chain.at
            own = np.clip(np.searchsorted(edges, np.arange(count), side="right") - 1, 0, len(chain.out_mm) - 1)
            curve.append(own + curves)
            along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(np.vstack([points, points[:1]]), axis=0).T))])
            share.append(_shares(along, own, edges))
            stretch.append(np.diff(along[edges]))
            curves_of.append((curves, curves + len(chain.out_mm)))
            samples_of.append((samples, samples + count))
            curves += len(chain.out_mm)
            samples += count
        numbers = np.concatenate(curve)
        starts = np.flatnonzero(np.diff(numbers, prepend=-1))
        run = np.repeat(np.arange(len(chains)), [len(points) for points in points_mm])
        return cls(
            np.concatenate(points_mm),
            numbers,
            run,
            np.concatenate(share),
            np.concatenate(stretch),
            starts,
            numbers[starts],
            curves,
            curves_of,
            samples_of,
        )


def _shares(along: Floats, curve: Ints, edges: Ints) -> Floats:
    """Share of the way between the two joints around each sample, of the way `along` to each and around."""
    begin, end = along[edges[curve]], along[edges[curve + 1]]
    shares: Floats = np.clip((along[:-1] - begin) / np.where(end > begin, end - begin, 1), 0, 1)
    return shares


def _costs(samples: _Samples, residual: Floats) -> Floats:
    return np.asarray(np.bincount(samples.run, weights=residual**2, minlength=len(samples.curves_of)), dtype=float)


def _feet(control: Floats, samples: _Samples, t: Floats, *, rounds: int) -> tuple[Floats, Floats, Floats]:
    """Parameters of the samples' feet, their signed distances, and the unit normals there (2, N)."""
    of = samples.curve
    coefficients = np.stack([control[:, 0], *polynomial(*np.moveaxis(control, 1, 0))], axis=1)
    x0, x1, x2, x3 = coefficients[..., 0].T[:, of]
    y0, y1, y2, y3 = coefficients[..., 1].T[:, of]
    px, py = samples.points[:, 0], samples.points[:, 1]
    left = rounds
    while True:
        off_x, off_y = px - (x0 + t * (x1 + t * (x2 + t * x3))), py - (y0 + t * (y1 + t * (y2 + t * y3)))
        vx, vy = x1 + t * (2 * x2 + 3 * t * x3), y1 + t * (2 * y2 + 3 * t * y3)
        square = vx * vx + vy * vy
        if left == 0:
            break
        left -= 1
        slope = square - (off_x * (2 * x2 + 6 * t * x3) + off_y * (2 * y2 + 6 * t * y3))
        slope = np.where(slope > 0.1 * square, slope, square)
        step = (off_x * vx + off_y * vy) / np.where(slope > 0, slope, 1)
        t = np.clip(t + np.clip(step, -0.2, 0.2), 0, 1)
    long = np.sqrt(np.where(square > 0, square, 1))
    nx, ny = -vy / long, vx / long
    return t, off_x * nx + off_y * ny, np.column_stack([nx, ny])


def _normal_blocks(
    chains: Sequence[Chain], samples: _Samples, t: Floats, normal: Floats, residual: Floats
) -> tuple[Floats, Floats]:
    """Each curve's share of the normal equations: (K, 6, 6) and (K, 6).

    Its unknowns are shift and angle of its first joint, the same of its second, and its two handles.
    """
    angle = [chain.angles_rad for chain in chains]
    first = np.concatenate([a[: len(c.out_mm)] for a, c in zip(angle, chains, strict=True)])
    second = np.concatenate([np.roll(a, -1)[: len(c.out_mm)] for a, c in zip(angle, chains, strict=True)])
    out_mm = np.concatenate([chain.out_mm for chain in chains])
    in_mm = np.concatenate([chain.in_mm for chain in chains])
    of = samples.curve
    u = 1 - t
    b1, b2 = 3 * u * u * t, 3 * u * t * t
    b01, b23 = u * u * u + b1, b2 + t * t * t
    (c0, s0), (c1, s1) = ((np.cos(a)[of], np.sin(a)[of]) for a in (first, second))
    nx, ny = normal[:, 0], normal[:, 1]
    along0, along1 = nx * c0 + ny * s0, nx * c1 + ny * s1
    across0, across1 = ny * c0 - nx * s0, ny * c1 - nx * s1
    change = np.stack(
        [
            -b01 * across0,
            -b1 * out_mm[of] * across0,
            -b23 * across1,
            b2 * in_mm[of] * across1,
            -b1 * along0,
            b2 * along1,
        ]
    )
    blocks = np.zeros((samples.curves, 6, 6))
    slopes = np.zeros((samples.curves, 6))
    for i in range(6):
        slopes[samples.filled, i] = np.add.reduceat(change[i] * residual, samples.starts)
        for j in range(i, 6):
            blocks[samples.filled, i, j] = np.add.reduceat(change[i] * change[j], samples.starts)
            blocks[:, j, i] = blocks[:, i, j]
    return blocks, slopes


def _free(chain: Chain, fixed: tuple[bool, bool]) -> NDArray[np.bool_]:
    """Which unknowns of a chain may change: for each joint shift, angle, and the handles of the curve from there.

    The last joint of an open chain has no curve.
    """
    free = np.ones(4 * len(chain.joints), dtype=bool)
    if not chain.closed:
        free[[0, 1]] = False, not fixed[0]
        free[-4:] = False, not fixed[1], False, False
    return free


@dataclass(frozen=True, slots=True)
class _Equations:
    """Where the entries of a chain's curves stand in its normal equations: the same at every step.

    `free` tells which unknowns may change, `unknown` (K, 6) numbers those of each curve. Of the curves' entries,
    `kept` count, at `place` in the square of a closed chain or the upper band of an open one; `diagonal` are those
    on the diagonal and `of` their unknowns.
    """

    free: NDArray[np.bool_]
    unknown: Ints
    kept: Ints
    place: Ints
    diagonal: Ints
    of: Ints

    @classmethod
    def of_chain(cls, chain: Chain, free: NDArray[np.bool_]) -> "_Equations":
        size = 4 * len(chain.joints)
        first = 4 * np.arange(len(chain.out_mm))[:, None]
        second = (first + 4) % size
        unknown = np.hstack([first, first + 1, second, second + 1, first + 2, first + 3])
        row, column = np.repeat(unknown, 6, axis=1).ravel(), np.tile(unknown, (1, 6)).ravel()
        kept = free[row] & free[column]
        diagonal = np.flatnonzero(kept & (row == column))
        if not chain.closed:
            kept &= column >= row
        which = np.flatnonzero(kept)
        row, column, of = row[which], column[which], row[diagonal]
        place = row * size + column if chain.closed else (BAND - (column - row)) * size + column
        return cls(free, unknown.ravel(), which, place, diagonal, of)


def _stepped(
    chain: Chain, stretch: Floats, blocks: Floats, slopes: Floats, equations: _Equations, damping: float
) -> Chain | None:
    """The chain after one damped step, or None if a direction would swing too far.

    A curve's unknowns follow one another, so an open chain's equations have five diagonals on either side.
    """
    joints, curves, free = len(chain.joints), len(chain.out_mm), equations.free
    size = 4 * joints
    entries = blocks.ravel()
    gradient = np.where(free, np.bincount(equations.unknown, weights=slopes.ravel(), minlength=size), 0.0)
    diagonal = np.bincount(equations.of, weights=entries[equations.diagonal], minlength=size)
    # An unknown that is held, or that no sample speaks for, stays where it is.
    extra = np.where(diagonal > 0, (damping + 1e-9) * diagonal, 1.0)
    rows = size if chain.closed else BAND + 1
    matrix = np.bincount(equations.place, weights=entries[equations.kept], minlength=rows * size).reshape(rows, size)
    try:
        if chain.closed:
            step = np.linalg.solve(matrix + np.diag(extra), -gradient)
        else:
            matrix[BAND] += extra
            step = np.asarray(solveh_banded(matrix, -gradient, check_finite=False))
    except LinAlgError:
        return None
    of_joints = np.where(free, step, 0.0).reshape(joints, 4)
    out_mm, in_mm = chain.out_mm + of_joints[:curves, 2], chain.in_mm + of_joints[:curves, 3]
    shifts, swings = of_joints[:, 0], of_joints[:, 1]
    if np.abs(swings).max() > LARGEST_SWING_RAD:
        return None
    for new, old in ((out_mm, chain.out_mm), (in_mm, chain.in_mm)):
        # Each by itself: one that the samples hardly tell must not hold up the others.
        np.clip(new, LEAST_CHANGE * old, MOST_CHANGE * old, out=new)
        np.clip(new, SHORTEST * stretch, LONGEST * stretch, out=new)
    across = np.column_stack([-np.sin(chain.angles_rad), np.cos(chain.angles_rad)])
    return replace(
        chain,
        joints=chain.joints + shifts[:, None] * across,
        angles_rad=chain.angles_rad + swings,
        out_mm=out_mm,
        in_mm=in_mm,
    )
