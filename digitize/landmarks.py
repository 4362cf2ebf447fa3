"""Places on a drawing worth a number: corners, crossings and line ends outside of lettering."""

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from digitize.lettering import lettering_links
from digitize.strokes import NodeKind, Strokes

Floats = NDArray[np.float64]

SAME_WIDTHS, SAME_PX = 2.0, 4.0
"""Landmarks nearer than this to a better one are the same place: nobody can point at them one by one."""

ROWS = 40
"""Rows into which the drawing's height is taken apart for reading: fewer, and neighbours in a row jump up and down."""

RANK = {NodeKind.JUNCTION: 0, NodeKind.CORNER: 1, NodeKind.TIP: 1, NodeKind.END: 2}
"""Of landmarks at one place the crossing stays, then the corner, then the line's end."""


def landmarks_px(strokes: Strokes) -> Floats:
    """Give the nodes worth numbering.

    Parameters
    ----------
    strokes : Strokes
        As found in a picture.

    Returns
    -------
    (N, 2) float
        Picture px, in reading order: rows from the top, each from the left. The same strokes give the same order.
    """
    count = len(strokes.nodes_px)
    if count == 0:
        return np.empty((0, 2))
    letters = lettering_links(strokes)
    drawn = np.zeros(count, np.bool_)
    width = np.zeros(count)
    for link, letter in zip(strokes.links, letters, strict=True):
        if not letter:
            drawn[[link.start, link.end]] = True
        for node in (link.start, link.end):
            width[node] = max(width[node], link.width_px)
    wanted = np.flatnonzero(drawn & (strokes.kinds != NodeKind.LOOP))
    if len(wanted) == 0:
        return np.empty((0, 2))
    points = strokes.nodes_px[wanted]
    kept = _without_doubles(points, strokes.kinds[wanted], one_place_px(width[wanted]))
    return _in_reading_order(points[kept])


def one_place_px(width_px: Floats) -> Floats:
    """Give how far from a landmark of such wide lines others are the same place, px."""
    return np.maximum(SAME_WIDTHS * width_px, SAME_PX)


def _without_doubles(points: Floats, kinds: NDArray[np.uint8], apart_px: Floats) -> NDArray[np.int64]:
    """Places that stay: the best first, each clearing its surroundings."""
    rank = np.array([RANK[NodeKind(int(kind))] for kind in kinds])
    order = np.lexsort((points[:, 0], points[:, 1], rank))
    tree = cKDTree(points)
    gone = np.zeros(len(points), np.bool_)
    kept = []
    for at in order:
        if gone[at]:
            continue
        kept.append(int(at))
        gone[tree.query_ball_point(points[at], float(apart_px[at]))] = True
    return np.array(sorted(kept), dtype=np.int64)


def _in_reading_order(points: Floats) -> Floats:
    """Sort by rows from the top, each row from the left; a row begins where a point lies below all of the last one."""
    by_height = points[np.lexsort((points[:, 0], points[:, 1]))]
    tall = float(np.ptp(by_height[:, 1])) / ROWS
    row = np.zeros(len(by_height), np.int64)
    begin, number = by_height[0, 1], 0
    for at in range(len(by_height)):
        if by_height[at, 1] > begin + tall:
            begin, number = by_height[at, 1], number + 1
        row[at] = number
    ordered: Floats = by_height[np.lexsort((by_height[:, 1], by_height[:, 0], row))]
    return ordered
