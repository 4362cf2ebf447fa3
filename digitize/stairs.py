"""Lines of black-and-white pictures without the stairs that their edges run in."""

import numpy as np
from numpy.typing import NDArray

from digitize.runs import Floats, line_numbers

ROWS = tuple((np.arctan2(rise, run), 1 / np.hypot(rise, run)) for run, rise in ((1, 0), (2, 1), (1, 1)))
"""Directions in which pixels lie in rows, within half a right angle, and how far apart the rows are, px. Beside others
the rows are so near to each other that their stairs are no more than noise."""

LONGEST_PX = 64.0
"""Longer stairs are left: a line would have to be straight for too long."""

NEAR, FAR = 24, 96
"""Samples to each side that tell how a line runs and how it bends: long beside its stairs, and as far as averages see.
"""


def without_stairs(points_px: Floats, first: NDArray[np.int64], closed: NDArray[np.bool_]) -> Floats:
    """Give samples of lines averaged over the stairs that they run in.

    The middle between two edges of whole pixels runs to and fro across the line, once for every row of pixels that the
    line crosses. Averages over just that length do not see it. They are no longer than a bend lets them: on a circle of
    radius R over the length P they err by P^4 / (240 R^3). Ends of open lines stay.

    Parameters
    ----------
    points_px : (T, 2) float
        Samples about 1 px apart, line after line.
    first : (L + 1,) int
        Where each line's samples begin.
    closed : (L,) bool
        Rings, whose last sample is their first.
    """
    if len(points_px) == 0:
        return points_px
    # Rings go on beyond their ends.
    size = np.diff(first)
    more = np.where(closed, np.minimum(FAR + int(LONGEST_PX), size - 1), 0)
    wide = np.concatenate([[0], np.cumsum(size + 2 * more)])
    line = line_numbers(wide)
    step = np.arange(wide[-1]) - wide[line] - more[line]
    around = np.where(closed[line], step % np.maximum(size[line] - 1, 1), step)
    points = points_px[first[line] + around]
    here = np.arange(len(points))
    room = np.minimum(here - wide[line], wide[line + 1] - 1 - here)
    # Beside a node a line may still lean towards another: what is averaged there stays short.
    length = np.minimum(_stair_px(points, here, room), room / 2)
    smooth = _levelled(_levelled(points, length), length)
    done: Floats = smooth[(step >= 0) & (step < size[line])]
    return done


def _stair_px(points: Floats, here: NDArray[np.int64], room: NDArray[np.int64]) -> Floats:
    """How long the stairs are that each sample lies in, px, or the most that the line's bend lets be averaged."""
    radius = np.full(len(points), np.inf)
    for most in (FAR, NEAR):
        by = np.minimum(most, room)
        before, after = points[here - by], points[here + by]
        chord = after - before
        rise = np.hypot(*(points - (before + after) / 2).T)
        bent = (np.hypot(*chord.T) ** 2 / 4 + rise**2) / np.maximum(2 * rise, 1e-9)
        radius = np.minimum(radius, np.where(by > 0, bent, 0.0))
    way = np.abs(chord)
    slope = np.arctan2(way.min(axis=1), way.max(axis=1))
    stairs = [apart / np.maximum(np.abs(np.sin(slope - angle)), apart / LONGEST_PX) for angle, apart in ROWS]
    length: Floats = np.minimum(np.max(stairs, axis=0), radius**0.75)
    return length


def _levelled(values: Floats, length: Floats) -> Floats:
    """Give values (T, 2) with what comes back every `length` samples averaged out, and parabolas left as they are.

    A parabola's average over twice the length is four times as far off.
    """
    use = np.flatnonzero(length > 1)
    level = values.copy()
    # Chords run inside of a bend by a twelfth of its second difference on average.
    values = values.copy()
    values[1:-1] -= np.diff(level, n=2, axis=0) / 12
    total = np.concatenate([np.zeros((1, 2)), np.cumsum((values[1:] + values[:-1]) / 2, axis=0)])
    for axis in (0, 1):
        one, two = (
            (
                _integral(values[:, axis], total[:, axis], use + reach)
                - _integral(values[:, axis], total[:, axis], use - reach)
            )
            / (2 * reach)
            for reach in (length[use] / 2, length[use])
        )
        level[use, axis] = (4 * one - two) / 3
    return level


def _integral(values: Floats, total: Floats, at: Floats) -> Floats:
    """The integral of straight pieces between samples, from the first to places between them."""
    whole = np.minimum(at.astype(np.int64), len(values) - 2)
    part = at - whole
    area: Floats = total[whole] + part * values[whole] + part**2 / 2 * (values[whole + 1] - values[whole])
    return area
