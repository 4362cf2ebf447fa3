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
    samples, joints = _Samples.of(chains, points_mm), _Joints.of(chains, fixed_angles)
    now = _Shape.of(chains)
    t, residual, normal = _feet(joints.controls(now), samples, samples.share, rounds=3)
    cost = _costs(samples, residual)
    damping = np.full(len(chains), 1e-4)
    going = np.array([len(chain.out_mm) > 0 for chain in chains])
    for _ in range(STEPS):
        if not going.any():
            break
        # What has settled is not looked at again.
        at = np.flatnonzero(going[samples.run])
        part = samples.only(at)
        blocks, slopes = _normal_blocks(now, joints, part, t[at], normal[at], residual[at])
        trial, moved = _stepped(now, joints, samples.stretch, blocks, slopes, damping, going)
        t_new, residual_new, normal_new = _feet(joints.controls(trial), part, t[at], rounds=1)
        cost_new = _costs(part, residual_new)
        better = moved & (cost_new <= cost)
        going &= ~(better & (cost_new > cost * (1 - SETTLED)))
        damping = np.where(better, np.maximum(1e-6, damping / 5), damping * 30)
        taken = better[part.run]
        t[at[taken]] = t_new[taken]
        residual[at[taken]] = residual_new[taken]
        normal[at[taken]] = normal_new[taken]
        now = trial.where(better, now, joints)
        cost = np.where(better, cost_new, cost)
    return [
        Refined(chain, residual[a:b])
        for chain, (a, b) in zip(joints.parted(now, chains), samples.samples_of, strict=True)
    ]


@dataclass(frozen=True, slots=True)
class _Shape:
    """All chains end to end: their joints (J, 2) with the directions there, and their curves' handles (K,)."""

    joints: Floats
    angles_rad: Floats
    out_mm: Floats
    in_mm: Floats

    @classmethod
    def of(cls, chains: Sequence[Chain]) -> "_Shape":
        return cls(
            np.concatenate([chain.joints for chain in chains]),
            np.concatenate([chain.angles_rad for chain in chains]),
            np.concatenate([chain.out_mm for chain in chains]),
            np.concatenate([chain.in_mm for chain in chains]),
        )

    def where(self, taken: NDArray[np.bool_], other: "_Shape", joints: "_Joints") -> "_Shape":
        """This for the chains taken, another for the rest."""
        at_joint, at_curve = taken[joints.run], taken[joints.run[joints.first]]
        return _Shape(
            np.where(at_joint[:, None], self.joints, other.joints),
            np.where(at_joint, self.angles_rad, other.angles_rad),
            np.where(at_curve, self.out_mm, other.out_mm),
            np.where(at_curve, self.in_mm, other.in_mm),
        )


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
    samples_of: list[tuple[int, int]]

    @classmethod
    def of(cls, chains: Sequence[Chain], points_mm: Sequence[Floats]) -> "_Samples":
        curve, share, stretch, samples_of = [], [], [], []
        curves = samples = 0
        for chain, points in zip(chains, points_mm, strict=True):
            count = len(points)
            edges = np.append(chain.at, count) if chain.closed else chain.at
            own = np.clip(np.searchsorted(edges, np.arange(count), side="right") - 1, 0, len(chain.out_mm) - 1)
            curve.append(own + curves)
            along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(np.vstack([points, points[:1]]), axis=0).T))])
            share.append(_shares(along, own, edges))
            stretch.append(np.diff(along[edges]))
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
            samples_of,
        )

    def only(self, which: Ints) -> "_Samples":
        """Some of the samples, in their order."""
        curve = self.curve[which]
        starts = np.flatnonzero(np.diff(curve, prepend=-1))
        return replace(
            self,
            points=self.points[which],
            curve=curve,
            run=self.run[which],
            share=self.share[which],
            starts=starts,
            filled=curve[starts],
        )


def _shares(along: Floats, curve: Ints, edges: Ints) -> Floats:
    """Share of the way between the two joints around each sample, of the way `along` to each and around."""
    begin, end = along[edges[curve]], along[edges[curve + 1]]
    shares: Floats = np.clip((along[:-1] - begin) / np.where(end > begin, end - begin, 1), 0, 1)
    return shares


def _costs(samples: _Samples, residual: Floats) -> Floats:
    return np.asarray(np.bincount(samples.run, weights=residual**2, minlength=len(samples.samples_of)), dtype=float)


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
    now: _Shape, joints: "_Joints", samples: _Samples, t: Floats, normal: Floats, residual: Floats
) -> tuple[Floats, Floats]:
    """Each curve's share of the normal equations: (K, 6, 6) and (K, 6).

    Its unknowns are shift and angle of its first joint, the same of its second, and its two handles.
    """
    cosines, sines = np.cos(now.angles_rad), np.sin(now.angles_rad)
    of = samples.curve
    u = 1 - t
    b1, b2 = 3 * u * u * t, 3 * u * t * t
    b01, b23 = u * u * u + b1, b2 + t * t * t
    first, second = joints.first[of], joints.second[of]
    c0, s0, c1, s1 = cosines[first], sines[first], cosines[second], sines[second]
    nx, ny = normal[:, 0], normal[:, 1]
    along0, along1 = nx * c0 + ny * s0, nx * c1 + ny * s1
    across0, across1 = ny * c0 - nx * s0, ny * c1 - nx * s1
    change = np.stack(
        [
            -b01 * across0,
            -b1 * now.out_mm[of] * across0,
            -b23 * across1,
            b2 * now.in_mm[of] * across1,
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
class _Joints:
    """How all chains hang together: `first` and `second` (K,) are the joints of each curve, `run` (J,) the chain that a
    joint belongs to, `joints_of` and `curves_of` where each chain's begin and end, and `is_closed` which are closed.

    A joint has four unknowns: its shift, its angle, and the handles of the curve from there; `free` (4 J,) tells which
    may change, `unknown` (K * 6,) numbers those of each curve. Of the entries of the curves' blocks, `in_band` stand at
    `place` in the upper band of the open chains' equations. The same at every step.
    """

    first: Ints
    second: Ints
    run: Ints
    joints_of: list[tuple[int, int]]
    curves_of: list[tuple[int, int]]
    is_closed: NDArray[np.bool_]
    free: NDArray[np.bool_]
    unknown: Ints
    in_band: Ints
    place: Ints

    @classmethod
    def of(cls, chains: Sequence[Chain], fixed_angles: Sequence[tuple[bool, bool]]) -> "_Joints":
        number = np.array([len(chain.joints) for chain in chains])
        curves = np.array([len(chain.out_mm) for chain in chains])
        begin, end = np.cumsum(number) - number, np.cumsum(number)
        last_curve = np.cumsum(curves)
        first = np.arange(last_curve[-1]) + np.repeat(begin - (last_curve - curves), curves)
        # The last curve of a closed chain leads back to its first joint.
        second = np.where(first + 1 < np.repeat(end, curves), first + 1, np.repeat(begin, curves))
        is_closed = np.array([chain.closed for chain in chains])
        free = np.concatenate([_free(chain, fixed) for chain, fixed in zip(chains, fixed_angles, strict=True)])
        unknown = 4 * np.stack([first, first, second, second, first, first], axis=1) + [0, 1, 0, 1, 2, 3]
        row, column = np.repeat(unknown, 6, axis=1).ravel(), np.tile(unknown, (1, 6)).ravel()
        in_band = np.flatnonzero(free[row] & free[column] & (column >= row) & ~is_closed.repeat(curves).repeat(36))
        row, column = row[in_band], column[in_band]
        return cls(
            first,
            second,
            np.repeat(np.arange(len(chains)), number),
            list(zip(begin.tolist(), end.tolist(), strict=True)),
            list(zip((last_curve - curves).tolist(), last_curve.tolist(), strict=True)),
            is_closed,
            free,
            unknown.ravel(),
            in_band,
            (BAND - (column - row)) * len(free) + column,
        )

    def controls(self, now: _Shape) -> Floats:
        """Control points (K, 4, 2) of all curves."""
        along = np.column_stack([np.cos(now.angles_rad), np.sin(now.angles_rad)])
        p0, p3 = now.joints[self.first], now.joints[self.second]
        inner = p0 + now.out_mm[:, None] * along[self.first], p3 - now.in_mm[:, None] * along[self.second]
        return np.stack([p0, *inner, p3], axis=1)

    def parted(self, now: _Shape, chains: Sequence[Chain]) -> list[Chain]:
        """The chains in this shape."""
        return [
            replace(
                chain,
                joints=now.joints[a:b],
                angles_rad=now.angles_rad[a:b],
                out_mm=now.out_mm[c:d],
                in_mm=now.in_mm[c:d],
            )
            for chain, (a, b), (c, d) in zip(chains, self.joints_of, self.curves_of, strict=True)
        ]


def _stepped(
    now: _Shape,
    joints: _Joints,
    stretch: Floats,
    blocks: Floats,
    slopes: Floats,
    damping: Floats,
    going: NDArray[np.bool_],
) -> tuple[_Shape, NDArray[np.bool_]]:
    """The chains after one damped step each, and which have moved: not one with a direction that would swing too far.

    What stays is as it was.
    """
    size = 4 * len(joints.run)
    gradient = np.where(joints.free, np.bincount(joints.unknown, weights=slopes.ravel(), minlength=size), 0.0)
    own = np.diagonal(blocks, axis1=1, axis2=2)
    diagonal = np.where(joints.free, np.bincount(joints.unknown, weights=own.ravel(), minlength=size), 0.0)
    step, moved = _open_steps(joints, blocks, gradient, _extra(diagonal, damping[joints.run].repeat(4)), going)
    for which in np.flatnonzero(going & joints.is_closed).tolist():
        (a, b), (c, d) = joints.joints_of[which], joints.curves_of[which]
        unknown = joints.unknown[6 * c : 6 * d].reshape(-1, 6) - 4 * a
        count = 4 * (b - a)
        place = (unknown[:, :, None] * count + unknown[:, None, :]).ravel()
        matrix = np.bincount(place, weights=blocks[c:d].ravel(), minlength=count * count).reshape(count, count)
        matrix += np.diag(_extra(np.diag(matrix), damping[which]))
        try:
            step[4 * a : 4 * b] = np.linalg.solve(matrix, -gradient[4 * a : 4 * b])
            moved[which] = True
        except LinAlgError:
            continue
    of_joints = np.where(joints.free, step, 0.0).reshape(-1, 4)
    swung = np.zeros(len(going), dtype=np.bool_)
    swung[joints.run[np.abs(of_joints[:, 1]) > LARGEST_SWING_RAD]] = True
    moved &= ~swung
    handles = []
    for old, change in ((now.out_mm, of_joints[joints.first, 2]), (now.in_mm, of_joints[joints.first, 3])):
        # Each by itself: one that the samples hardly tell must not hold up the others.
        new = np.clip(old + change, LEAST_CHANGE * old, MOST_CHANGE * old)
        handles.append(np.clip(new, SHORTEST * stretch, LONGEST * stretch))
    across = np.column_stack([-np.sin(now.angles_rad), np.cos(now.angles_rad)])
    trial = _Shape(now.joints + of_joints[:, :1] * across, now.angles_rad + of_joints[:, 1], *handles)
    return trial.where(moved, now, joints), moved


def _extra(diagonal: Floats, damping: float | Floats) -> Floats:
    """What is added on the diagonal: an unknown that is held, or that no sample speaks for, stays where it is."""
    return np.where(diagonal > 0, (damping + 1e-9) * diagonal, 1.0)


def _open_steps(
    joints: _Joints, blocks: Floats, gradient: Floats, extra: Floats, going: NDArray[np.bool_]
) -> tuple[Floats, NDArray[np.bool_]]:
    """The steps of the open chains, 0 for others, and for which there is one.

    A curve's unknowns follow one another, so a chain's equations have five diagonals on either side, and those of all
    chains in a row are one such system.
    """
    size = len(gradient)
    going = going & ~joints.is_closed
    if not going.any():
        return np.zeros(size), going
    entries = np.where(going[joints.run[joints.first]][:, None, None], blocks, 0.0).ravel()
    matrix = np.bincount(joints.place, weights=entries[joints.in_band], minlength=(BAND + 1) * size)
    matrix = matrix.reshape(BAND + 1, size)
    unknowns = going[joints.run].repeat(4)
    matrix[BAND] += np.where(unknowns, extra, 1.0)
    right = np.where(unknowns, -gradient, 0.0)
    try:
        return np.asarray(solveh_banded(matrix, right, check_finite=False)), going
    except LinAlgError:
        pass
    # One of them has no solution: each by itself.
    step = np.zeros(size)
    for which in np.flatnonzero(going).tolist():
        here = slice(*(4 * joint for joint in joints.joints_of[which]))
        try:
            step[here] = solveh_banded(matrix[:, here], right[here], check_finite=False)
        except LinAlgError:
            going[which] = False
    return step, going
