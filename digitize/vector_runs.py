"""A vector page's paths as smooth runs, ready to be cut where they meet."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from digitize.own_curve import Floats, OwnCurve, parts_of
from pictures.page_paths import PagePath

CORNER_RAD = math.radians(20)
"""Pieces of a path that meet at a larger angle meet in a corner: curves written as straight steps turn by less."""

CHORD_PX = 0.004
"""How far a straight step may lie from its curve where crossings are looked for: 0.0003 mm at 300 dpi."""

MOST_STEPS = 4000
"""Straight steps a single curve is taken in, at most: one across a whole A0 sheet needs some hundred."""

SAME_PX = 0.02
"""Places nearer than this are one place: 0.002 mm, the last digits of a PDF's numbers."""


@dataclass(frozen=True, slots=True)
class Runs:
    """Smooth runs of a page's paths, and the same in straight steps.

    Run r has the cubics `first_piece[r]:first_piece[r + 1]` of `controls_px` (S, 4, 2) and `straight` (S,), and the
    points `first[r]:first[r + 1]` of `points_px` (P, 2); `along_px` (P,) is how far along its run a point lies,
    `piece` (P,) and `t` (P,) the cubic it ends a step of, and the parameter there. `width_px` and `dashed` are (R,).
    """

    controls_px: Floats
    straight: NDArray[np.bool_]
    first_piece: NDArray[np.int64]
    points_px: Floats
    first: NDArray[np.int64]
    along_px: Floats
    piece: NDArray[np.int64]
    t: Floats
    width_px: Floats
    dashed: NDArray[np.bool_]

    def __len__(self) -> int:
        return len(self.first) - 1

    @property
    def lengths_px(self) -> Floats:
        """Length of each run, (R,)."""
        lengths: Floats = self.along_px[self.first[1:] - 1]
        return lengths

    def points_of(self, run: int) -> Floats:
        """Points of one run, (N, 2)."""
        points: Floats = self.points_px[self.first[run] : self.first[run + 1]]
        return points

    def place(self, run: int, along_px: float) -> tuple[int, float]:
        """Give the cubic, and the parameter on it, so far along a run."""
        begin, end = int(self.first[run]), int(self.first[run + 1])
        along = self.along_px[begin:end]
        at = begin + int(np.clip(np.searchsorted(along, along_px, side="left"), 1, end - begin - 1))
        before = self.along_px[at - 1]
        share = (along_px - before) / (self.along_px[at] - before) if self.along_px[at] > before else 1.0
        piece = int(self.piece[at])
        t0 = float(self.t[at - 1]) if at - 1 > begin and int(self.piece[at - 1]) == piece else 0.0
        return piece, t0 + float(np.clip(share, 0, 1)) * (float(self.t[at]) - t0)

    def part(self, run: int, start_px: float, end_px: float) -> OwnCurve:
        """Give the curve of a run between two places along it."""
        long_px = float(self.along_px[self.first[run + 1] - 1])
        head, tail = int(self.first_piece[run]), int(self.first_piece[run + 1]) - 1
        if start_px <= 0 and end_px >= long_px:
            first, t0, last, t1 = head, 0.0, tail, 1.0
        elif head == tail and self.straight[head]:
            first, t0, last, t1 = head, start_px / long_px, head, end_px / long_px
        else:
            first, t0 = self.place(run, start_px)
            last, t1 = self.place(run, end_px)
        if t0 >= 1 and first < last:
            first, t0 = first + 1, 0.0
        pieces = np.arange(first, last + 1)
        t = np.column_stack([np.zeros(len(pieces)), np.ones(len(pieces))])
        t[0, 0], t[-1, 1] = t0, t1
        dashed = np.full(len(pieces), self.dashed[run])
        return OwnCurve(self.controls_px[pieces], self.straight[pieces], pieces, t, dashed)


def smooth_runs(paths: Sequence[PagePath]) -> Runs:
    """Cut paths at their corners; a closed one without any stays whole.

    Parameters
    ----------
    paths : sequence of PagePath

    Returns
    -------
    Runs
        In the paths' order.
    """
    controls: list[Floats] = []
    straight: list[NDArray[np.bool_]] = []
    widths: list[float] = []
    dashed: list[bool] = []
    turns = _turns_rad(paths)
    for path, turn in zip(paths, turns, strict=True):
        corners = np.flatnonzero(turn > CORNER_RAD)
        own, lines = path.controls_px, path.straight
        # Turn number k is where piece k - 1 goes over into piece k; number 0 where a closed path's last does into its
        # first.
        if path.closed and len(corners) and corners[0] != 0:
            own, lines = np.roll(own, -corners[0], axis=0), np.roll(lines, -corners[0])
            corners = corners - corners[0]
        cuts = sorted({0, *corners.tolist(), len(own)})
        for begin, end in pairwise(cuts):
            controls.append(own[begin:end])
            straight.append(lines[begin:end])
            widths.append(path.width_px)
            dashed.append(path.dashed)
    return _stepped(controls, straight, np.array(widths), np.array(dashed, dtype=np.bool_))


def cut_path(path: PagePath, at_px: Sequence[float], runs: Runs, run: int) -> list[PagePath]:
    """Give the pieces of a path, which is one run of `runs`, between places along it."""
    bounds = [0.0, *sorted(at_px), float(runs.lengths_px[run])]
    pieces = []
    for start, end in pairwise(bounds):
        if end - start <= SAME_PX:
            continue
        own = runs.part(run, start, end)
        pieces.append(
            PagePath(
                parts_of(own.controls_px, own.t[:, 0], own.t[:, 1]),
                own.straight,
                path.width_px,
                path.shade,
                path.dashed,
                path.clip,
                path.number,
            )
        )
    return pieces


def whole_runs(paths: Sequence[PagePath]) -> Runs:
    """Give each path as one run, its corners in it."""
    return _stepped(
        [path.controls_px for path in paths],
        [path.straight for path in paths],
        np.array([path.width_px for path in paths]),
        np.array([path.dashed for path in paths], dtype=np.bool_),
    )


def _turns_rad(paths: Sequence[PagePath]) -> list[Floats]:
    """For each path, by how much it turns where each piece begins (K,); infinite at the start of an open one."""
    if not paths:
        return []
    counts = np.array([len(path.controls_px) for path in paths])
    controls = np.concatenate([path.controls_px for path in paths])
    leaves, arrives = _ways(controls), -_ways(controls[:, ::-1])
    first = np.concatenate([[0], np.cumsum(counts)])
    before = np.arange(len(controls)) - 1
    before[first[:-1]] = first[1:] - 1
    came = arrives[before]
    turn = np.abs(np.arctan2(came[:, 0] * leaves[:, 1] - came[:, 1] * leaves[:, 0], (came * leaves).sum(axis=1)))
    is_open = np.array([not path.closed for path in paths])
    turn[first[:-1][is_open]] = np.inf
    return np.split(turn, first[1:-1])


def _ways(controls: Floats) -> Floats:
    """The directions (K, 2) cubics leave in: towards the first control point that lies elsewhere."""
    ways = controls[:, 1] - controls[:, 0]
    for other in (2, 3):
        idle = np.hypot(ways[:, 0], ways[:, 1]) < 1e-9
        ways[idle] = controls[idle, other] - controls[idle, 0]
    long = np.hypot(ways[:, 0], ways[:, 1])
    directions: Floats = ways / np.where(long > 0, long, 1)[:, None]
    return directions


def _stepped(
    controls: list[Floats], straight: list[NDArray[np.bool_]], width_px: Floats, dashed: NDArray[np.bool_]
) -> Runs:
    """Runs in straight steps that keep within CHORD_PX (n = sqrt(3/4 |second difference| / tolerance))."""
    counts = np.array([len(run) for run in controls], dtype=np.int64)
    first_piece = np.concatenate([[0], np.cumsum(counts)])
    own = np.concatenate(controls) if controls else np.empty((0, 4, 2))
    lines = np.concatenate(straight) if straight else np.empty(0, dtype=np.bool_)
    bend = np.hypot(*np.moveaxis(np.diff(own, n=2, axis=1), 2, 0)).max(axis=1, initial=0)
    steps = np.clip(np.ceil(np.sqrt(0.75 * bend / CHORD_PX)), 4, MOST_STEPS).astype(np.int64)
    steps[lines] = 1
    # Each run's first point, then the end of every step.
    run_of_piece = np.repeat(np.arange(len(counts)), counts)
    per_run = np.bincount(run_of_piece, weights=steps, minlength=len(counts)).astype(np.int64) + 1
    first = np.concatenate([[0], np.cumsum(per_run)])
    points = np.empty((int(first[-1]), 2))
    piece = np.empty(int(first[-1]), dtype=np.int64)
    t = np.zeros(int(first[-1]))
    heads = first[:-1]
    points[heads], piece[heads] = own[first_piece[:-1], 0], first_piece[:-1]
    inside = np.ones(int(first[-1]), dtype=np.bool_)
    inside[heads] = False
    which = np.repeat(np.arange(len(own)), steps)
    number = np.arange(len(which)) - np.repeat(np.cumsum(steps) - steps, steps) + 1
    part = number / steps[which]
    piece[inside], t[inside] = which, part
    u, v = (1 - part)[:, None], part[:, None]
    c = own[which]
    on = u**3 * c[:, 0] + 3 * u * u * v * c[:, 1] + 3 * u * v * v * c[:, 2] + v**3 * c[:, 3]
    ends = number == steps[which]
    on[ends] = c[ends, 3]
    points[inside] = on
    lengths = np.concatenate([[0.0], np.hypot(*np.diff(points, axis=0).T)]) if len(points) else np.empty(0)
    lengths[heads] = 0
    total = np.cumsum(lengths)
    along = total - np.repeat(total[heads], per_run)
    return Runs(own, lines, first_piece, points, first, along, piece, t, width_px, dashed)
