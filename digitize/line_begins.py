"""Where a line begins: a closed one not at a corner, whose sides it would part, and one at a node not behind it."""

import numpy as np
from numpy.typing import NDArray

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


ASTRAY_WIDTHS, ASTRAY_PX = 0.6, 1.5
"""How far from a node other lines' ink leads a line's samples astray, in line widths and px."""


def from_node_to_node(
    points_px: Floats, good: NDArray[np.bool_], nodes_px: Floats, *, meets: tuple[bool, bool], width_px: float
) -> Floats:
    """Give a line's good samples between its nodes, without those that other lines' ink there has led astray.

    Parameters
    ----------
    points_px : (N, 2) float
        About 1 px apart.
    good : (N,) bool
    nodes_px : (2, 2) float
        Where it starts and ends: the first and last points given back.
    meets : (bool, bool)
        Whether other lines meet it at its start, and at its end.
    width_px : float
    """
    good = good.copy()
    astray = min(int(ASTRAY_WIDTHS * width_px + ASTRAY_PX), (len(points_px) - 1) // 2)
    if meets[0]:
        good[:astray] = False
    if meets[1]:
        good[len(good) - astray :] = False
    inner = points_px[good]
    if len(inner):
        inner = inner[passed_by(inner, nodes_px[0], width_px=width_px) :]
    if len(inner):
        inner = inner[: len(inner) - passed_by(inner[::-1], nodes_px[1], width_px=width_px)]
    return np.concatenate([nodes_px[:1], inner, nodes_px[1:]])


def passed_by(points_px: Floats, node_px: Floats, *, width_px: float) -> int:
    """How many of a line's first points, 1 px apart, a node has moved past: along merged ink it does by line widths.

    A line not twice as long as the part in question may have come round to the node, as a letter's bow does.
    """
    first_px = float(np.hypot(*(points_px[0] - node_px)))
    near = points_px[: int(2 * first_px) + 2]
    if first_px <= width_px or len(points_px) < 2 * len(near):
        return 0
    return int(np.hypot(*(near - node_px).T).argmin())
