"""Long lines of a picture, straight or gently bowed, roughly placed: pieces joined along one curve at reduced size."""

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Points = NDArray[np.float64]

REDUCED_PX = 1600
"""Longest side of the reduced picture: a 0.3 mm line of an A1 sheet is still one px wide there, and pieces are few."""

THICK_PX = 9
"""Ink thicker than this, reduced px, is no line: a line this wide would be 5 mm on an A1 sheet."""

MOST_PIECES = 1500
"""Longest pieces kept; a plan has some hundred, the grain of a wooden table thousands of short ones."""

SMOOTH_PX = 1.0
"""Sigma of the smoothing before pieces are looked for."""

EDGE_OFF_PX = 1.25
"""An edge of a line one px wide lies this far from its middle once smoothed."""

LEAST_PIECE_PX = 8.0
"""Shorter pieces have no direction to speak of."""

ACROSS_PX = 2.2
"""How far (reduced px) a piece's ends may lie off the run's curve: both edges of a line are pieces, a px or two off."""


MOST_AHEAD_PX = 16.0
"""Most (reduced px) by which a piece beyond the run so far may lie off its curve carried on."""

MOST_STEPS = 40
"""Rounds of joining: a side of some twenty pieces settles in half of that."""

SLOPE = math.radians(1.5)
"""Most a piece may be turned from the run's curve where it lies."""

MOST_GAP = 0.3
"""Longest gap bridged, as part of the run's length so far: a side with a tenth hidden in its middle is one run..."""

LEAST_GAP = 0.03
"""... or of the picture's diagonal, whichever is more."""

MOST_BOW = 0.015
"""Most a run as long as the diagonal bows, as part of it: a phone's lens makes 0.006, a wide lens 0.015."""


@dataclass(frozen=True, slots=True)
class Reduced:
    """A picture's ink mask at reduced size; (x, y) there times `scale`, plus `offset`, is picture px."""

    ink: NDArray[np.uint8]
    scale: Points
    offset: Points

    @property
    def diagonal_px(self) -> float:
        """Diagonal in reduced px."""
        return math.hypot(*self.ink.shape)

    def to_picture(self, points: Points) -> Points:
        """Give picture px for (N, 2) reduced px."""
        return np.asarray(points * self.scale + self.offset)

    def from_picture(self, points_px: Points) -> Points:
        """Give reduced px for (N, 2) picture px."""
        return np.asarray((points_px - self.offset) / self.scale)


@dataclass(frozen=True, slots=True)
class Run:
    """Pieces of ink along one curve, in reduced px.

    The curve is origin + u along + v(u) across, v = c0 + c1 u + c2 u^2 for `low` <= u <= `high`;
    `covered` is the length with ink on it, `intervals` (K, 2) where in u.
    """

    origin: Points
    along: Points
    coefficients: Points
    low: float
    high: float
    covered: float
    intervals: Points

    def at(self, u: Points) -> Points:
        """Give (N, 2) points of the curve."""
        across = np.array([-self.along[1], self.along[0]])
        v = _parabola(self.coefficients, u)
        return np.asarray(self.origin + u[:, None] * self.along + v[:, None] * across)

    def ends(self) -> Points:
        """Give the curve's two ends, (2, 2)."""
        return self.at(np.array([self.low, self.high]))


def reduce_ink(mask: NDArray[np.uint8]) -> Reduced:
    """Give an ink mask (1 or 0) at reduced size, thin lines kept dark; the mask itself is used up."""
    height, width = mask.shape
    np.multiply(mask, 255, out=mask)
    factor = max(1.0, max(height, width) / REDUCED_PX)
    size = (max(1, round(width / factor)), max(1, round(height / factor)))
    small = cv2.resize(mask, size, interpolation=cv2.INTER_AREA) if factor > 1 else mask
    # A line thinner than a reduced px comes out grey: brought back to full darkness, so that pieces do not break.
    small = cv2.convertScaleAbs(small, alpha=max(1.0, factor))
    small = _without_thick(np.asarray(small, dtype=np.uint8))
    scale = np.array([width / size[0], height / size[1]])
    return Reduced(np.asarray(small, dtype=np.uint8), scale, (scale - 1) / 2)


def _without_thick(small: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Take away what is thicker than any line: the table beside the paper, shadows, filled areas."""
    thick = cv2.morphologyEx(small, cv2.MORPH_OPEN, np.ones((THICK_PX, THICK_PX), np.uint8))
    around = cv2.dilate(thick, np.ones((5, 5), np.uint8))
    return np.asarray(cv2.subtract(small, around), dtype=np.uint8)


def line_pieces(reduced: NDArray[np.uint8], *, least_px: float) -> NDArray[np.float64]:
    """Give straight pieces of lines, (N, 4) as x1 y1 x2 y2, longest first (LSD: Grompone von Gioi et al. 2012).

    Pieces are edges, of which a line has two; each is moved to within a px of its line's middle.
    """
    # The mask's steps would break lines that lie a little turned.
    smooth = cv2.GaussianBlur(reduced, (0, 0), SMOOTH_PX)
    found = cv2.createLineSegmentDetector(cv2.LSD_REFINE_STD, 1.0).detect(smooth)[0]
    if found is None or len(found) == 0:
        return np.empty((0, 4))
    pieces = np.asarray(found, dtype=np.float64).reshape(-1, 4)
    along = pieces[:, 2:] - pieces[:, :2]
    length = np.hypot(along[:, 0], along[:, 1])
    # Looking along a piece, y down, the ink lies to its left.
    inward = EDGE_OFF_PX * np.column_stack([along[:, 1], -along[:, 0]]) / np.maximum(length, 1e-9)[:, None]
    pieces += np.tile(inward, 2)
    order = np.argsort(-length, kind="stable")
    return np.asarray(pieces[order[: min(MOST_PIECES, int((length >= max(LEAST_PIECE_PX, least_px)).sum()))]])


def join_runs(pieces: NDArray[np.float64], *, diagonal_px: float, least_px: float, most: int) -> list[Run]:
    """Join pieces along common gentle curves; give runs of at least `least_px` of ink, longest first.

    Both edges of a line fall into one run. A piece belongs to one run only.
    """
    start, end = pieces[:, :2], pieces[:, 2:]
    length = np.hypot(*(end - start).T)
    free = np.ones(len(pieces), bool)
    runs = []
    seeds = 0
    for seed in range(len(pieces)):
        # A side of the border has at least one piece this long even with a bow and a gap in it.
        if not free[seed]:
            continue
        if seeds >= 4 * most or length[seed] < 0.15 * least_px:
            break
        seeds += 1
        run, members = _grown(start, end, length, free, seed, diagonal_px)
        free[members] = False
        if run.covered >= least_px:
            runs.append(run)
    runs.sort(key=lambda run: -run.covered)
    return runs[:most]


def _grown(
    start: Points, end: Points, length: Points, free: NDArray[np.bool_], seed: int, diagonal_px: float
) -> tuple[Run, NDArray[np.intp]]:
    origin = (start[seed] + end[seed]) / 2
    along = (end[seed] - start[seed]) / length[seed]
    across = np.array([-along[1], along[0]])
    # Steep pieces can never lie along this curve.
    usable = np.flatnonzero(free & (np.abs((end - start) @ along) > 0.9 * length))
    start, end, length = start[usable], end[usable], length[usable]
    seed = int(np.searchsorted(usable, seed))
    u1, v1 = (start - origin) @ along, (start - origin) @ across
    u2, v2 = (end - origin) @ along, (end - origin) @ across
    slope = (v2 - v1) / np.where(np.abs(u2 - u1) > 1e-9, u2 - u1, np.inf)
    lo, hi = np.minimum(u1, u2), np.maximum(u1, u2)
    member = np.zeros(len(start), bool)
    member[seed] = True
    tried = member.copy()
    coefficients = np.zeros(3)
    bend = 8 * MOST_BOW / diagonal_px
    least_lean = SLOPE + ACROSS_PX / np.maximum(length, 1)
    for _ in range(MOST_STEPS):
        low, high = lo[member].min(), hi[member].max()
        most_gap = max(LEAST_GAP * diagonal_px, MOST_GAP * (high - low))
        gap = np.maximum(0, np.maximum(low - hi, lo - high))
        beyond = np.maximum(0, np.maximum(low - lo, hi - high))
        off = np.maximum(np.abs(v1 - _parabola(coefficients, u1)), np.abs(v2 - _parabola(coefficients, u2)))
        lean = np.abs(slope - (coefficients[1] + coefficients[2] * (u1 + u2)))
        near = (gap <= most_gap) & (lean <= least_lean + bend * beyond)
        now = near & (off <= ACROSS_PX + 0.25 * bend * beyond**2)
        now[seed] = True
        if (now == member).all():
            # Nothing more lies on the curve itself. Carried on beyond its ends it may turn: of what could then be the
            # next piece only the nearest to it is taken, so that a second line close by is not mixed in.
            ahead = near & ~member & (off <= ACROSS_PX + np.minimum(2 * bend * beyond**2, MOST_AHEAD_PX)) & ~tried
            if not ahead.any():
                break
            next_piece = int(np.where(ahead, off, np.inf).argmin())
            tried[next_piece] = True
            now[next_piece] = True
        member = now
        coefficients = _curve(u1[member], v1[member], u2[member], v2[member], length[member])
    index = np.flatnonzero(member)
    intervals = _union(lo[index], hi[index])
    covered = float((intervals[:, 1] - intervals[:, 0]).sum())
    run = Run(origin, along, coefficients, float(lo[index].min()), float(hi[index].max()), covered, intervals)
    return run, usable[index]


def _parabola(coefficients: Points, u: Points) -> Points:
    """Give v(u); numpy's own goes round a loop and checks more than it works out."""
    v: Points = coefficients[0] + u * (coefficients[1] + u * coefficients[2])
    return v


def _curve(u1: Points, v1: Points, u2: Points, v2: Points, length: Points) -> Points:
    """Fit v(u), quadratic, to pieces by their ends and middles, weighted by length; the bow is bounded."""
    u, v = np.concatenate([u1, (u1 + u2) / 2, u2]), np.concatenate([v1, (v1 + v2) / 2, v2])
    weight = np.concatenate([length, length, length])
    reach = max(float(np.abs(u).max()), 1.0)
    span = float(u.max() - u.min())
    t = u / reach
    powers = np.vander(t, 5, increasing=True)
    sums, right = weight @ powers, (weight * v) @ powers[:, :3]
    # A bow is believed as far as it exceeds a px; weak evidence (a short run) leaves the line straight.
    held = float(weight.max()) * (20 / reach) ** 2
    normal = np.array([sums[:3], sums[1:4], [sums[2], sums[3], sums[4] + held]])
    c = np.linalg.solve(normal, right) / [1.0, reach, reach**2]
    most = 4 * MOST_BOW / max(span, 1.0)  # v = c2 u^2 over a span s bows by c2 s^2 / 4
    return np.array([c[0], c[1], float(np.clip(c[2], -most, most))])


def _union(low: Points, high: Points) -> Points:
    """Give the union of intervals as (K, 2), ascending."""
    order = np.argsort(low)
    low, reach = low[order], np.maximum.accumulate(high[order])
    first = np.concatenate([[True], low[1:] > reach[:-1]])
    last = np.concatenate([first[1:], [True]])
    return np.column_stack([low[first], reach[last]])
