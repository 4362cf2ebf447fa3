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
    runs: Sequence[Smoothed], closed: Sequence[bool], *, tolerance_mm: Sequence[Floats], least: Ints
) -> list[Chain]:
    """Cover each run with cubics from its start on, each the longest that keeps the tolerance.

    Ends and directions come from the smooth points; the two handles are least squares (Schneider 1990) with
    Newton steps on the parameters. Lengths are searched by the power law the error follows. All runs advance
    together, so that many cost little more than one.

    Parameters
    ----------
    runs : sequence of Smoothed
        Each run's ends are its chain's ends. A closed run repeats its first point at the end.
    closed : sequence of bool
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
    handles: list[list[tuple[float, float]]] = [[] for _ in runs]
    last = offsets + counts - 1
    search = _Search.starting(offsets, last)
    going = np.flatnonzero(offsets < last)
    while len(going):
        error, pair = _trials(samples, search.begin[going], search.reach[going])
        ended = search.tell(going, error, pair, last, least)
        for which in going[ended].tolist():
            joints[which].append(int(search.good[which]))
            handles[which].append((float(search.pair[which, 0]), float(search.pair[which, 1])))
        search.advance(going[ended], last)
        going = going[search.begin[going] < last[going]]
    _even_last(samples, joints, handles)
    return [
        _chain(samples, np.array(at), np.array(pairs).reshape(-1, 2), int(offset), is_closed)
        for at, pairs, offset, is_closed in zip(joints, handles, offsets, closed, strict=True)
    ]


SLIVER = 0.35
"""A last curve shorter than this share of the one before is what was left over: the two are made even."""


def _even_last(
    samples: "_Samples",
    joints: list[list[int]],
    handles: list[list[tuple[float, float]]],
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
    pairs = _trials(samples, begin, end)[1].tolist()
    for number, which in enumerate(uneven):
        handles[which][-2:] = [(a, b) for a, b in pairs[2 * number : 2 * number + 2]]


@dataclass(frozen=True, slots=True)
class _Samples:
    """Smooth points of all runs end to end: places and directions as x + iy, and how far each lies along them."""

    points: Complexes
    directions: Complexes
    along: Floats
    tolerance_mm: Floats


@dataclass(slots=True)
class _Search:
    """How far the search for each run's present curve has come: sample numbers, and the best handles."""

    begin: Ints
    reach: Ints
    good: Ints
    bad: Ints
    tries: Ints
    pair: Floats

    @classmethod
    def starting(cls, begin: Ints, last: Ints) -> "_Search":
        return cls(
            begin.copy(),
            last.copy(),
            begin.copy(),
            last + 1,
            np.zeros(len(begin), dtype=np.int64),
            np.zeros((len(begin), 2)),
        )

    def tell(self, going: Ints, error: Floats, pair: Floats, last: Ints, least: Ints) -> NDArray[np.bool_]:
        """Take in a trial's errors, in tolerances; give which of `going` have found their longest curve."""
        reach, begin = self.reach[going], self.begin[going]
        fits = (error <= 1) | (reach - begin <= least[going])
        hit = going[fits]
        self.good[hit] = self.reach[hit]
        self.pair[hit] = pair[fits]
        miss = going[~fits]
        self.bad[miss] = self.reach[miss]
        self.tries[going] += 1
        good, bad = self.good[going], self.bad[going]
        close = bad - good <= np.maximum(1, (good - begin) // 20)
        full = fits & ((reach == last[going]) | (error > 0.6))
        ended = (good > begin) & (close | full | (self.tries[going] >= TRIALS))
        # The error of a cubic grows with some fourth to sixth power of its length.
        factor = np.clip((0.85 / np.maximum(error, 1e-3)) ** 0.2, 0.4, 2.0)
        ahead = begin + np.round((reach - begin) * factor).astype(np.int64)
        ahead = np.where(self.tries[going] > TRIALS, (good + bad) // 2, ahead)
        self.reach[going] = np.maximum(np.minimum(np.minimum(ahead, bad - 1), last[going]), good + 1)
        return np.asarray(ended)

    def advance(self, ended: Ints, last: Ints) -> None:
        """Start the next curve of each run whose present one is found."""
        span = np.maximum(4, self.good[ended] - self.begin[ended])
        self.begin[ended] = self.good[ended]
        self.reach[ended] = np.minimum(last[ended], self.begin[ended] + span)
        self.bad[ended] = last[ended] + 1
        self.tries[ended] = 0


def _chain(samples: _Samples, where: Ints, pairs: Floats, offset: int, closed: bool) -> Chain:
    places = samples.points[where]
    joints, angles = np.column_stack([places.real, places.imag]), np.angle(samples.directions[where])
    at = where - offset
    if closed:
        return Chain(joints[:-1], angles[:-1], pairs[:, 0], pairs[:, 1], at[:-1], True)
    return Chain(joints, angles, pairs[:, 0], pairs[:, 1], at, False)


def _trials(samples: _Samples, begin: Ints, end: Ints) -> tuple[Floats, Floats]:
    """Errors (B,), in tolerances, and handles (B, 2) of the best cubics over stretches of samples, all at once."""
    share = np.linspace(0, 1, PROBES)
    pick = np.rint(begin[:, None] + (end - begin)[:, None] * share).astype(np.int64)
    allowed = samples.tolerance_mm[pick]
    length = (samples.along[end] - samples.along[begin])[:, None]
    t = (samples.along[pick] - samples.along[begin][:, None]) / np.where(length > 0, length, 1.0)
    start, stop, target = samples.points[begin][:, None], samples.points[end][:, None], samples.points[pick]
    d0, d1 = samples.directions[begin][:, None], -samples.directions[end][:, None]
    best = np.full(len(begin), np.inf)
    pairs = np.hstack([length / 3, length / 3])
    for turn in range(ROUNDS):
        handles = _handles(target, t, start, stop, d0, d1, length)
        t, far = _nearer((start, start + handles[:, :1] * d0, stop + handles[:, 1:] * d1, stop), target, t)
        now = (far / allowed).max(axis=1)
        if turn == 0:
            best, pairs = now, handles
        else:
            better = now < best
            best = np.where(better, now, best)
            pairs[better] = handles[better]
        if best.max() < 0.5:
            break
    return best, pairs


def _handles(
    target: Complexes, t: Floats, start: Complexes, stop: Complexes, d0: Complexes, d1: Complexes, length: Floats
) -> Floats:
    """Handle lengths by least squares, each kept between 2 % and 80 % of the stretch so that no curve loops.

    Of B stretches of P points: `target` and `t` are (B, P), the others (B, 1).
    """
    u = 1 - t
    b1, b2 = 3 * u * u * t, 3 * u * t * t
    near_stop = t * t * t + b2
    rest = target - (start + near_stop * (stop - start))
    c00, c11 = (b1 * b1).sum(axis=1), (b2 * b2).sum(axis=1)
    c01 = (b1 * b2).sum(axis=1) * dot(d0, d1)[:, 0]
    # The parts of the points along each handle: their sums, of complex numbers, first.
    x0, x1 = dot(d0[:, 0], (b1 * rest).sum(axis=1)), dot(d1[:, 0], (b2 * rest).sum(axis=1))
    det = c00 * c11 - c01 * c01
    pair = np.stack([x0 * c11 - x1 * c01, x1 * c00 - x0 * c01], axis=1)
    solvable = det > 1e-12 * c00 * c11
    if solvable.all():
        pair /= det[:, None]
    else:
        pair = np.where(solvable[:, None], pair / np.where(solvable, det, 1.0)[:, None], length / 3)
    kept: Floats = np.minimum(np.maximum(pair, SHORTEST * length), LONGEST * length)
    return kept


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
