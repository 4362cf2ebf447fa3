"""Where a line runs on beyond a break: its ink looked for straight ahead, in the darkness itself."""

import numpy as np
from numpy.typing import NDArray

from digitize.arms import REACH
from digitize.clean_graph import NARROWEST, WIDEST
from digitize.runs import Floats
from pictures.ridge import line_centres

STAGES_PX = (16, 32, REACH)
"""How far is looked, in turn: each time as far as the direction known by then leads into the line."""

AS_DARK = 0.5
"""Part of the line's own darkness that its ink beyond a break must have: grain leaves that, another line's blur not."""

ASIDE_PX = 1.5
"""How far from the way ahead the ink may be, px: more is another line's."""

LEAST_SEEN_PART = 0.5
"""Least part of the samples that must show the line, or it does not run on."""


def look_along(
    darkness: NDArray[np.uint8],
    points_px: Floats,
    weight: Floats,
    origin_px: Floats,
    way: Floats,
    clear_px: Floats,
    width_px: Floats,
    contrast: Floats,
) -> tuple[Floats, Floats]:
    """Look for lines ahead of a node, from what is known of them behind it and of their first steps ahead.

    Parameters
    ----------
    darkness : (H, W) uint8
        As in `Ink`.
    points_px, weight : (K, M, 2) and (K, M) float
        Samples of each line, and what they count for.
    origin_px, way : (K, 2) float
        The node, and the unit direction ahead.
    clear_px : (K,) float
        How far ahead the node's other lines are left behind.
    width_px, contrast : (K,) float
        The line's width and its usual darkness.

    Returns
    -------
    points_px, weight : (K, REACH, 2) and (K, REACH) float
        Samples ahead, about a px apart; no weight where the line was not seen.
    """
    count = len(origin_px)
    steps = np.arange(REACH, dtype=np.float64)[None, :] + clear_px[:, None]
    side = np.column_stack([-way[:, 1], way[:, 0]])
    known_x, known_y = _local(points_px, origin_px, way)
    x, y, seen = steps.copy(), np.zeros((count, REACH)), np.zeros((count, REACH))
    going = np.ones(count, np.bool_)
    for reach in STAGES_PX:
        level, slope = _line(np.hstack([known_x, x]), np.hstack([known_y, y]), np.hstack([weight, seen]))
        ahead = level[:, None] + slope[:, None] * steps
        tilt = np.sqrt(1 + slope**2)
        normal = (side - slope[:, None] * way) / tilt[:, None]
        near = (np.arange(REACH) < reach) & going[:, None]
        places = origin_px[:, None] + steps[:, :, None] * way[:, None] + ahead[:, :, None] * side[:, None]
        row = np.nonzero(near)[0]
        found = line_centres(darkness, places[near], normal[row], half_width_px=width_px[row] + 3)
        good = found.good & (np.abs(found.offset_px) < ASIDE_PX + 0.25 * width_px[row])
        good &= found.contrast > AS_DARK * contrast[row]
        good &= (found.width_px > NARROWEST * width_px[row] - 0.3) & (found.width_px < WIDEST * width_px[row] + 0.3)
        seen = np.zeros((count, REACH))
        seen[near] = good
        places[near] += found.offset_px[:, None] * normal[row]
        x, y = _local(places, origin_px, way)
        # Where the first stretch shows hardly anything, the line ends here.
        going = seen.sum(axis=1) >= LEAST_SEEN_PART * reach
        seen[~going] = 0
    return origin_px[:, None] + x[:, :, None] * way[:, None] + y[:, :, None] * side[:, None], seen


def _local(points_px: Floats, origin_px: Floats, way: Floats) -> tuple[Floats, Floats]:
    """Points (K, M, 2) along and across the ways ahead."""
    away = points_px - origin_px[:, None]
    along = away[:, :, 0] * way[:, None, 0] + away[:, :, 1] * way[:, None, 1]
    across = away[:, :, 1] * way[:, None, 0] - away[:, :, 0] * way[:, None, 1]
    return along, across


def _line(x: Floats, y: Floats, weight: Floats) -> tuple[Floats, Floats]:
    """Level and slope (K,) of least-squares lines."""
    total = np.maximum(weight.sum(axis=1), 1e-9)
    x0, y0 = (weight * x).sum(axis=1) / total, (weight * y).sum(axis=1) / total
    dx, dy = x - x0[:, None], y - y0[:, None]
    spread = (weight * dx * dx).sum(axis=1)
    slope = np.where(spread > 1, (weight * dx * dy).sum(axis=1) / np.maximum(spread, 1), 0.0)
    return y0 - slope * x0, slope
