"""Which bends of a line are corners: places where its two sides, extended, meet in ink."""

import numpy as np
from numpy.typing import NDArray

from digitize.runs import Floats, line_numbers

LEAST_TURN_RAD = np.radians(20)
"""A bend of less is left to the curve: cutting it costs under a tenth of a line width."""

KINK = 0.018
"""Least misfit of one circle to a corner, in parts of turn times window: two straight sides give 0.036, an arc of any
radius 0."""


def bends(
    points_px: Floats, first: NDArray[np.int64], closed: NDArray[np.bool_], width_px: Floats
) -> NDArray[np.int64]:
    """Give the samples where lines turn sharpest, if by more than `LEAST_TURN_RAD`.

    The turn at a sample is the angle between the chords to the samples 1.5 line widths (4 px at least) before and
    after; of those within that distance only the sharpest stays.

    Parameters
    ----------
    points_px : (T, 2) float
        Samples about 1 px apart.
    first : (L + 1,) int
        Where each line's samples begin.
    closed : (L,) bool
        Lines whose last sample is their first again.
    width_px : (L,) float
        Ink width of each line.

    Returns
    -------
    (K,) int
        Sample numbers, rising.
    """
    if len(points_px) == 0:
        return np.empty(0, np.int64)
    line = line_numbers(first)
    chord = np.maximum(np.round(1.5 * width_px + 1), 4).astype(np.int64)[line]
    here = np.arange(len(points_px))
    back, forth = here - first[line], first[line + 1] - 1 - here
    reach = np.where(
        closed[line],
        np.minimum(chord, (first[line + 1] - first[line]) // 4),
        np.minimum(chord, np.minimum(back, forth)),
    )
    before = stepped(here, -reach, first, closed)
    after = stepped(here, reach, first, closed)
    a, b = points_px - points_px[before], points_px[after] - points_px
    turn = np.abs(np.arctan2(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0], (a * b).sum(axis=1)))
    turn[reach < 3] = 0
    sharp = np.flatnonzero(turn > LEAST_TURN_RAD)
    # The last sample of a ring is its first.
    sharp = sharp[~(closed[line[sharp]] & (forth[sharp] == 0))]
    kept: list[int] = []
    taken = np.zeros(len(points_px), np.bool_)
    for at in sharp[np.lexsort((sharp, -np.round(turn[sharp], 6)))].tolist():
        if taken[at]:
            continue
        kept.append(at)
        span, begin, last = max(2, int(reach[at]) - 1), int(first[line[at]]), int(first[line[at] + 1]) - 1
        taken[max(begin, at - span) : min(last, at + span) + 1] = True
        if closed[line[at]]:
            # Around the ring's end; its last sample is its first.
            taken[begin : max(begin, begin + at + span - last + 1)] = True
            taken[min(last + 1, last + at - span - begin) : last + 1] = True
    return np.array(sorted(kept), dtype=np.int64)


def kinked(
    at: NDArray[np.int64],
    points_px: Floats,
    good: NDArray[np.bool_],
    first: NDArray[np.int64],
    closed: NDArray[np.bool_],
    width_px: Floats,
    *,
    sigma_px: float,
) -> NDArray[np.bool_]:
    """Tell which bends (K,) are no arc: one circle through the samples about them misses these by more than noise.

    The circle is Kasa's algebraic least-squares fit ("A circle fitting procedure and its error analysis", IEEE Trans.
    Instrum. Meas. 25, 1976): exact for arcs, and a straight line is its limit.
    """
    if len(at) == 0:
        return np.empty(0, np.bool_)
    line = np.searchsorted(first, at, side="right") - 1
    half = np.maximum(np.round(1.5 * width_px[line] + 4), 7).astype(np.int64)
    size = first[line + 1] - first[line]
    half = np.where(
        closed[line],
        np.minimum(half, size // 3),
        np.minimum(half, np.minimum(at - first[line], first[line + 1] - 1 - at)),
    )
    window = int(half.max())
    steps = np.arange(-window, window + 1)
    rows = np.repeat(at, len(steps))
    index = stepped(rows, np.tile(steps, len(at)), first, closed).reshape(len(at), -1)
    used = (np.abs(steps)[None, :] <= half[:, None]) & good[index]
    used |= used.sum(axis=1)[:, None] < 5
    span = np.maximum(half, 1)[:, None]
    local = (points_px[index] - points_px[at][:, None, :]) / span[:, :, None]
    x, y = local[:, :, 0], local[:, :, 1]
    # a (x^2 + y^2) + b x + c y + d = 0 by its smallest direction, so that straight lines need no infinite radius.
    centre = (local * used[:, :, None]).sum(axis=1) / used.sum(axis=1)[:, None]
    x, y = x - centre[:, :1], y - centre[:, 1:]
    square = x**2 + y**2
    square = square - ((square * used).sum(axis=1) / used.sum(axis=1))[:, None]
    rows3 = np.stack([square, x, y], axis=2) * used[:, :, None]
    spread = np.einsum("kwi,kwj->kij", rows3, rows3)
    # Distance to first order: the form divided by its gradient, which near the middle is (b, c).
    inner = spread[:, 1:, 1:] - spread[:, 1:, :1] * spread[:, :1, 1:] / np.maximum(spread[:, :1, :1], 1e-12)
    least = np.maximum(np.linalg.eigvalsh(inner)[:, 0], 0) / used.sum(axis=1)
    rest = np.sqrt(least) * half
    ends = points_px[stepped(at, -half, first, closed)], points_px[stepped(at, half, first, closed)]
    a, b = points_px[at] - ends[0], ends[1] - points_px[at]
    turn = np.abs(np.arctan2(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0], (a * b).sum(axis=1)))
    firm: NDArray[np.bool_] = rest**2 > sigma_px**2 + (KINK * turn * half) ** 2
    return firm


def stepped(
    at: NDArray[np.int64], by: NDArray[np.int64], first: NDArray[np.int64], closed: NDArray[np.bool_]
) -> NDArray[np.int64]:
    """Sample numbers some steps on along their lines: around on a ring, else not past the ends."""
    line = np.searchsorted(first, at, side="right") - 1
    begin, size = first[line], first[line + 1] - first[line]
    place = at - begin + by
    around = place % np.maximum(size - 1, 1)
    there: NDArray[np.int64] = begin + np.where(closed[line], around, np.clip(place, 0, size - 1))
    return there
