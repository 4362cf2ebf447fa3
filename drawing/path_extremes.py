"""The outermost points of many paths at once, exactly: arcs at their quadrants, cubics where they turn."""

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from drawing.arcs import arc_circle
from drawing.paths import Arc, Cubic, Path, Points

QUADRANTS = np.arange(-6, 7) * (math.pi / 2)
"""An arc starts within half a turn of 0 and goes on for up to a whole one."""


def path_extremes_mm(paths: Sequence[Path]) -> Points:
    """Give (N, 4, 2): the leftmost, rightmost, lowest and highest point of each path, mm, y up.

    One pass over all segments: a drawing of hundreds of parts takes little more than a small one.
    """
    ends, owners = [], []
    cubics, cubic_owners = [], []
    turns, turn_owners = [], []
    for owner, path in enumerate(paths):
        ends.append(path.start_mm)
        owners.append(owner)
        for start, segment in path.pieces():
            ends.append(segment.end_mm)
            owners.append(owner)
            if isinstance(segment, Cubic):
                cubics.append((start, segment.control1_mm, segment.control2_mm, segment.end_mm))
                cubic_owners.append(owner)
            elif isinstance(segment, Arc) and (circle := arc_circle(start, segment)) is not None:
                turns.append((*circle.centre_mm, circle.radius_mm, circle.start_rad, circle.sweep_rad))
                turn_owners.append(owner)
    on_cubics, cubics_of = _cubic_turns(np.array(cubics, dtype=np.float64).reshape(-1, 4, 2))
    on_arcs, arcs_of = _arc_turns(np.array(turns, dtype=np.float64).reshape(-1, 5))
    points = np.concatenate([np.array(ends, dtype=np.float64).reshape(-1, 2), on_cubics, on_arcs])
    of = np.concatenate(
        [
            np.array(one, dtype=np.int64)
            for one in (owners, np.array(cubic_owners)[cubics_of], np.array(turn_owners)[arcs_of])
        ]
    )
    outermost = np.empty((len(paths), 4, 2))
    for side, key in enumerate((points[:, 0], -points[:, 0], points[:, 1], -points[:, 1])):
        order = np.lexsort((key, of))
        first = order[np.searchsorted(of[order], np.arange(len(paths)))]
        outermost[:, side] = points[first]
    return outermost


def _cubic_turns(control: Points) -> tuple[Points, NDArray[np.int64]]:
    """Points where cubics (K, 4, 2) turn in x or in y, and the number of the cubic each lies on."""
    d0, d1, d2 = np.moveaxis(np.diff(control, axis=1), 1, 0)
    a, b, c = d0 - 2 * d1 + d2, 2 * (d1 - d0), d0
    square = b * b - 4 * a * c
    # Written so that no root loses digits; a divisor too small to give a root below 1 gives none.
    q = -(b + np.copysign(np.sqrt(np.maximum(square, 0)), b)) / 2
    shares, of = [], []
    for above, below in ((q, a), (c, q)):
        real = (square >= 0) & (np.abs(below) > np.abs(above)) & (above * below > 0)
        which, axis = np.nonzero(real)
        shares.append(above[which, axis] / below[which, axis])
        of.append(which)
    which, t = np.concatenate(of), np.concatenate(shares)[:, None]
    p0, p1, p2, p3 = np.moveaxis(control[which], 1, 0)
    u = 1 - t
    return u**3 * p0 + 3 * u * u * t * p1 + 3 * u * t * t * p2 + t**3 * p3, which


def _arc_turns(arcs: Points) -> tuple[Points, NDArray[np.int64]]:
    """Points at the quadrants of arcs (K, 5: centre x and y, radius, first angle, sweep), and each one's arc."""
    x, y, radius, start, sweep = arcs.T
    low, high = np.minimum(start, start + sweep), np.maximum(start, start + sweep)
    which, quadrant = np.nonzero((low[:, None] < QUADRANTS) & (high[:, None] > QUADRANTS))
    angle = QUADRANTS[quadrant]
    around = np.column_stack([np.cos(angle), np.sin(angle)])
    return np.column_stack([x[which], y[which]]) + radius[which, None] * around, which
