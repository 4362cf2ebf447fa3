"""Runs of smooth points as few cubic Bezier curves, each as long as the tolerance allows."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from digitize.smoothing import Smoothed

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Complexes = NDArray[np.complex128]
Controls = tuple[Complexes, Complexes, Complexes, Complexes]
T = TypeVar("T", Floats, Complexes)

PROBES = 40
"""Points of a stretch that a trial curve is fitted to: ten for each of its freedoms."""

SHORTEST, LONGEST = 0.02, 0.8
"""Handles keep between these shares of their curve's stretch: on a nearly straight run nothing else stops two long ones
from crossing, and the curve from running back and forth along its line."""

ROUNDS = 3
"""Turns of fit and Newton step for a trial curve; the error settles in three."""

TRIALS = 9
"""Trials for the length of one curve; the power law finds it in four."""


@dataclass(frozen=True, slots=True)
class Chain:
    """Cubics end to end with common directions: the unknowns of a run.

    `joints` (J, 2) and `angles_rad` (J,) are where the curves meet and how they run there; curve k has handles of
    `out_mm[k]` along its first joint's direction and `in_mm[k]` against its second's. `at` (J,) is the index of the
    sample each joint was put at. A closed chain has as many curves as joints, an open one one less.
    """

    joints: Floats
    angles_rad: Floats
    out_mm: Floats
    in_mm: Floats
    at: Ints
    closed: bool

    def controls(self) -> Floats:
        """Control points (K, 4, 2) of the curves."""
        along = np.column_stack([np.cos(self.angles_rad), np.sin(self.angles_rad)])
        first = np.arange(len(self.out_mm))
        second = (first + 1) % len(self.joints)
        p0, p3 = self.joints[first], self.joints[second]
        return np.stack(
            [p0, p0 + self.out_mm[:, None] * along[first], p3 - self.in_mm[:, None] * along[second], p3], axis=1
        )


def longest_cubics(
    runs: Sequence[Smoothed],
    closed: Sequence[bool],
    *,
    fixed_angles: Sequence[tuple[bool, bool]],
    tolerance_mm: Sequence[Floats],
    least: Ints,
) -> list[Chain]:
    """Cover each run with cubics from its start on, each the longest that keeps the tolerance.

    A curve's ends are smooth points; its inner control points are least squares with Newton steps on the parameters
    (Schneider 1990), so that it leaves its ends as it likes: a smooth point's own direction is too rough to hold a long
    curve to. At a joint the chain runs the mean way of the two curves there. Lengths are searched by the power law the
    error follows. All runs advance together, so that many cost little more than one.

    Parameters
    ----------
    runs : sequence of Smoothed
        Each run's ends are its chain's ends. A closed run repeats its first point at the end.
    closed : sequence of bool
    fixed_angles : sequence of pairs of bool
        Whether a run's first and last smooth directions are its chain's too.
    tolerance_mm : sequence of arrays
        Largest distance of each smooth point of each run from its curve.
    least : (len(runs),) array of int
        A curve over this many steps or fewer is taken whatever its error: shorter ones would follow blots.
    """
    counts = np.array([len(run.points_mm) for run in runs])
    offsets = np.concatenate([[0], np.cumsum(counts)[:-1]])
    points = np.concatenate([run.points_mm for run in runs])
    directions = np.concatenate([run.directions for run in runs])
    steps = np.concatenate([[0.0], np.hypot(*np.diff(points, axis=0).T)])
    along = np.cumsum(steps)
    samples = _Samples(as_complex(points), as_complex(directions), along, np.concatenate(tolerance_mm))
    joints: list[list[int]] = [[int(offset)] for offset in offsets]
    inner: list[list[tuple[complex, complex]]] = [[] for _ in runs]
    last = offsets + counts - 1
    search = _Search.starting(offsets, last)
    going = np.flatnonzero(offsets < last)
    while len(going):
        error, arms = _trials(samples, search.begin[going], search.reach[going])
        ended = search.tell(going, error, arms, last, least)
        for which in going[ended].tolist():
            joints[which].append(int(search.good[which]))
            inner[which].append((complex(search.arms[which, 0]), complex(search.arms[which, 1])))
        search.advance(going[ended], last)
        going = going[search.begin[going] < last[going]]
    _even_last(samples, joints, inner)
    return [
        _chain(samples, np.array(at), np.array(arms).reshape(-1, 2), int(offset), is_closed, fixed)
        for at, arms, offset, is_closed, fixed in zip(joints, inner, offsets, closed, fixed_angles, strict=True)
    ]


ERROR_POWER, POWERS = 5.0, (1.0, 6.0)
"""The error of a cubic grows with some fourth to sixth power of its length; by less where it is mostly noise."""

AIM = 0.85
"""A trial is made for this error, in tolerances."""


SLIVER = 0.35
"""A last curve shorter than this share of the one before is what was left over: the two are made even."""


def _even_last(
    samples: "_Samples",
    joints: list[list[int]],
    inner: list[list[tuple[complex, complex]]],
) -> None:
    """Move the last inner joint of each run to the middle of its two curves, where the last is a sliver."""
    uneven = [
        which
        for which, at in enumerate(joints)
        if len(at) > 2 and at[-1] - at[-2] < SLIVER * (at[-2] - at[-3]) and at[-1] - at[-3] > 3
    ]
    if not uneven:
        return
    for which in uneven:
        at = joints[which]
        at[-2] = (at[-3] + at[-1]) // 2
    begin = np.array([joints[which][k] for which in uneven for k in (-3, -2)])
    end = np.array([joints[which][k] for which in uneven for k in (-2, -1)])
    arms = _trials(samples, begin, end)[1].tolist()
    for number, which in enumerate(uneven):
        inner[which][-2:] = [(out, back) for out, back in arms[2 * number : 2 * number + 2]]


@dataclass(frozen=True, slots=True)
class _Samples:
    """Smooth points of all runs end to end: places and directions as x + iy, and how far each lies along them."""

    points: Complexes
    directions: Complexes
    along: Floats
    tolerance_mm: Floats


@dataclass(slots=True)
class _Search:
    """How far the search for each run's present curve has come: sample numbers, the best arms, and of the
    trial before over how many steps it went and its error."""

    begin: Ints
    reach: Ints
    good: Ints
    bad: Ints
    tries: Ints
    arms: Complexes
    before: Ints
    error: Floats

    @classmethod
    def starting(cls, begin: Ints, last: Ints) -> "_Search":
        return cls(
            begin.copy(),
            last.copy(),
            begin.copy(),
            last + 1,
            np.zeros(len(begin), dtype=np.int64),
            np.zeros((len(begin), 2), np.complex128),
            np.zeros(len(begin), dtype=np.int64),
            np.ones(len(begin)),
        )

    def tell(self, going: Ints, error: Floats, arms: Complexes, last: Ints, least: Ints) -> NDArray[np.bool_]:
        """Take in a trial's errors, in tolerances; give which of `going` have found their longest curve."""
        reach, begin = self.reach[going], self.begin[going]
        fits = (error <= 1) | (reach - begin <= least[going])
        hit = going[fits]
        self.good[hit] = self.reach[hit]
        self.arms[hit] = arms[fits]
        miss = going[~fits]
        self.bad[miss] = self.reach[miss]
        self.tries[going] += 1
        good, bad = self.good[going], self.bad[going]
        close = bad - good <= np.maximum(1, (good - begin) // 20)
        full = fits & ((reach == last[going]) | (error > 0.6))
        ended = (good > begin) & (close | full | (self.tries[going] >= TRIALS))
        # How the error has grown with the length since the trial before tells how it will.
        span = np.maximum(reach - begin, 1)
        before, error_before = self.before[going], self.error[going]
        longer, worse = np.log(span / np.maximum(before, 1)), np.log(np.maximum(error, 1e-3) / error_before)
        told = (before > 0) & (np.abs(longer) > 0.01)
        power = np.where(told, np.clip(worse / np.where(told, longer, 1), *POWERS), ERROR_POWER)
        ahead = begin + np.round(span * np.clip((AIM / np.maximum(error, 1e-3)) ** (1 / power), 0.4, 2.0)).astype(
            np.int64
        )
        self.before[going], self.error[going] = span, np.maximum(error, 1e-3)
        # Between the longest that fits and the shortest that does not, a guess at either's side would learn little.
        quarter = np.maximum((bad - good) // 4, 1)
        between = (good > begin) & (bad <= last[going])
        ahead = np.where(between, np.clip(ahead, good + quarter, bad - quarter), ahead)
        self.reach[going] = np.maximum(np.minimum(np.minimum(ahead, bad - 1), last[going]), good + 1)
        return np.asarray(ended)

    def advance(self, ended: Ints, last: Ints) -> None:
        """Start the next curve of each run whose present one is found."""
        span = np.maximum(4, self.good[ended] - self.begin[ended])
        self.begin[ended] = self.good[ended]
        self.reach[ended] = np.minimum(last[ended], self.begin[ended] + span)
        self.bad[ended] = last[ended] + 1
        self.tries[ended] = 0
        self.before[ended] = 0


def _chain(
    samples: _Samples, where: Ints, arms: Complexes, offset: int, closed: bool, fixed: tuple[bool, bool]
) -> Chain:
    """Curves end to end from their arms (K, 2): see `_trials`."""
    smooth = samples.directions[where]
    # The way into each joint and the way out of it, as far as there is one.
    ways = _unit(arms)
    out, into = np.append(ways[:, 0], 0), np.insert(-ways[:, 1], 0, 0)
    if closed:
        out[-1], into[0] = out[0], into[-1]
    else:
        out[0], into[-1] = (0 if is_fixed else way for is_fixed, way in zip(fixed, (out[0], into[-1]), strict=True))
    mean = _unit(out + into)
    # A blot can turn a short curve's end anywhere.
    ways = np.where(dot(mean, smooth) > LEAST_AGREED, mean, smooth)
    length = samples.along[where[1:]] - samples.along[where[:-1]]
    out_mm, in_mm = (
        np.clip(dot(arm, way), SHORTEST * length, LONGEST * length)
        for arm, way in ((arms[:, 0], ways[:-1]), (-arms[:, 1], ways[1:]))
    )
    places = samples.points[where]
    joints, angles, at = np.column_stack([places.real, places.imag]), np.angle(ways), where - offset
    if closed:
        return Chain(joints[:-1], angles[:-1], out_mm, in_mm, at[:-1], True)
    return Chain(joints, angles, out_mm, in_mm, at, False)


LEAST_AGREED = 0.7
"""Cosine between a joint's way by its curves and that of the smooth points, at least: 45 deg."""


def _unit(vectors: Complexes) -> Complexes:
    size = np.abs(vectors)
    unit: Complexes = vectors / np.where(size > 0, size, 1)
    return unit


def _trials(samples: _Samples, begin: Ints, end: Ints) -> tuple[Floats, Complexes]:
    """Errors (B,), in tolerances, and arms (B, 2) of the best cubics over stretches of samples, all at once.

    Arms are the ways from a curve's first end to its first inner control point, and from its last end to the other.
    """
    share = np.linspace(0, 1, PROBES)
    pick = np.rint(begin[:, None] + (end - begin)[:, None] * share).astype(np.int64)
    allowed = samples.tolerance_mm[pick]
    length = (samples.along[end] - samples.along[begin])[:, None]
    t = (samples.along[pick] - samples.along[begin][:, None]) / np.where(length > 0, length, 1.0)
    start, stop, target = samples.points[begin][:, None], samples.points[end][:, None], samples.points[pick]
    best = np.full(len(begin), np.inf)
    arms = np.zeros((len(begin), 2), np.complex128)
    for turn in range(ROUNDS):
        tried = _arms(target, t, start, stop)
        t, far = _nearer((start, start + tried[:, :1], stop + tried[:, 1:], stop), target, t)
        now = (far / allowed).max(axis=1)
        if turn == 0:
            best, arms = now, tried
        else:
            better = now < best
            best = np.where(better, now, best)
            arms[better] = tried[better]
        if best.max() < 0.5:
            break
    return best, arms


def _arms(target: Complexes, t: Floats, start: Complexes, stop: Complexes) -> Complexes:
    """Arms (B, 2) by least squares of B stretches of P points: `target` and `t` are (B, P), the others (B, 1)."""
    u = 1 - t
    b1, b2 = 3 * u * u * t, 3 * u * t * t
    rest = target - (start + (t * t * t + b2) * (stop - start))
    c00, c11, c01 = (b1 * b1).sum(axis=1), (b2 * b2).sum(axis=1), (b1 * b2).sum(axis=1)
    x0, x1 = (b1 * rest).sum(axis=1), (b2 * rest).sum(axis=1)
    det = c00 * c11 - c01 * c01
    solvable = det > 1e-12 * c00 * c11
    third = (stop - start)[:, 0] / 3
    det = np.where(solvable, det, 1.0)
    out, back = (
        np.where(solvable, (x0 * c11 - x1 * c01) / det, third),
        np.where(solvable, (x1 * c00 - x0 * c01) / det, -third),
    )
    return np.column_stack([out, back])


def _nearer(control: Controls, target: Complexes, t: Floats) -> tuple[Floats, Floats]:
    """One Newton step of each parameter towards its point's foot, and the distances there.

    `control` are four (B, 1), the parameters `t` and `target` (B, P).
    """
    p0 = control[0]
    c1, c2, c3 = polynomial(*control)
    off = p0 + t * (c1 + t * (c2 + t * c3)) - target
    speed = c1 + t * (2 * c2 + (3 * t) * c3)
    bend = 2 * c2 + (6 * t) * c3
    slope = dot(speed, speed) + dot(off, bend)
    uphill = slope > 0
    moved = t - np.where(uphill, dot(off, speed) / np.where(uphill, slope, 1), 0)
    moved = np.minimum(np.maximum(moved, 0), 1)
    return moved, np.abs(p0 + moved * (c1 + moved * (c2 + moved * c3)) - target)


def as_complex(points: Floats) -> Complexes:
    """Give (N, 2) points as N complex numbers, x + iy: a curve in them is one polynomial, not two."""
    return np.ascontiguousarray(points).view(np.complex128)[..., 0]


def dot(a: Complexes, b: Complexes) -> Floats:
    """Give the scalar products of vectors given as complex numbers."""
    products: Floats = a.real * b.real + a.imag * b.imag
    return products


def polynomial(p0: T, p1: T, p2: T, p3: T) -> tuple[T, T, T]:
    """Coefficients of t, t² and t³ of cubics with these control points, arrays of one shape or alike to it."""
    return 3 * (p1 - p0), 3 * (p0 - 2 * p1 + p2), p3 - p0 + 3 * (p1 - p2)
