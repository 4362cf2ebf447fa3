"""Where a line begins: a closed one not at a corner, whose sides it would part, and one at a node not behind it."""

import numpy as np

from digitize.runs import Floats

STRAIGHT_WIDTHS, STRAIGHT_PX = 4.0, 3.0
"""How far a ring is looked along to each side, in line widths and px: past the ink that the sides of a corner share."""


def from_its_straightest(ring_px: Floats, width_px: float) -> Floats:
    """Give a ring's points (M, 2), about 1 px apart and none twice, from where it bends least; small ones as they
    are."""
    reach = int(np.ceil(STRAIGHT_WIDTHS * width_px + STRAIGHT_PX))
    if len(ring_px) < 4 * reach:
        return ring_px
    bow = ring_px - (np.roll(ring_px, reach, axis=0) + np.roll(ring_px, -reach, axis=0)) / 2
    begun: Floats = np.roll(ring_px, -int(np.hypot(*bow.T).argmin()), axis=0)
    return begun


def passed_by(points_px: Floats, node_px: Floats, *, width_px: float) -> int:
    """How many of a line's first points, 1 px apart, a node has moved past: along merged ink it does by line widths.

    A line not twice as long as the part in question may have come round to the node, as a letter's bow does.
    """
    first_px = float(np.hypot(*(points_px[0] - node_px)))
    near = points_px[: int(2 * first_px) + 2]
    if first_px <= width_px or len(points_px) < 2 * len(near):
        return 0
    return int(np.hypot(*(near - node_px).T).argmin())
