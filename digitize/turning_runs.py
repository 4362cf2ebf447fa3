"""Where a line turns within ink that is wider than its own: the inside of a corner, where no middle can be measured."""

import math

import numpy as np
from numpy.typing import NDArray

from digitize.runs import Floats

CHORD_WIDTHS, CHORD_PX = 1.5, 3.0
"""How far beside the ink of a corner a line's direction is taken, in line widths and px: over so much a skeleton's
steps turn it by less than 10 degrees."""

TURNING_COSINE = np.cos(np.radians(18))
"""A line that turns by less has its middle measured well enough, and at a crossing better than the skeleton runs."""


def turning_runs(points_px: Floats, wide: NDArray[np.bool_], *, width_px: float, is_ring: bool) -> NDArray[np.bool_]:
    """Tell which samples lie in a wide stretch of a line over which it turns.

    Across a corner neighbouring normals meet within the ink, and each sees another part of both arms: their middles
    lead to and fro, while the skeleton runs about the corner evenly.

    Parameters
    ----------
    points_px : (M, 2) float
        The skeleton's samples, about 1 px apart.
    wide : (M,) bool
        Where the ink across them is wider than the line's own.
    width_px : float
    is_ring : bool
        Whether the line goes on from its last sample to its first; else wide stretches at its ends are its nodes'.

    Returns
    -------
    (M,) bool
    """
    count, chord = len(points_px), int(np.ceil(CHORD_WIDTHS * width_px + CHORD_PX))
    turning = np.zeros(count, np.bool_)
    if not wide.any() or wide.all():
        return turning
    # Counted from a sample that sees the line alone, no stretch lies astride a ring's end.
    shift = int(np.argmin(wide)) if is_ring else 0
    order = (np.arange(count) + shift) % count
    edges = np.flatnonzero(np.diff(wide[order].astype(np.int8), prepend=0, append=0))
    for low, high in edges.reshape(-1, 2).tolist():
        if not is_ring and (low == 0 or high == count):
            continue
        ends = [low - chord, low, high - 1, high - 1 + chord]
        ends = [end % count if is_ring else min(max(end, 0), count - 1) for end in ends]
        (ax, ay), (bx, by), (cx, cy), (dx, dy) = points_px[order[ends]].tolist()
        long = math.hypot(bx - ax, by - ay) * math.hypot(dx - cx, dy - cy)
        if (bx - ax) * (dx - cx) + (by - ay) * (dy - cy) < TURNING_COSINE * long:
            turning[order[low:high]] = True
    return turning
