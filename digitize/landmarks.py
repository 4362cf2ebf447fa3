"""The points worth numbering for a person: corners, crossings and line ends that belong to the drawing."""

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from digitize.lettering import lettering_links
from digitize.strokes import NodeKind, Strokes

NUMBERED = (NodeKind.END, NodeKind.CORNER, NodeKind.JUNCTION, NodeKind.TIP)

DASH_WIDTHS = 18.0
"""A lone bare stroke shorter than this is one dash of a dashed line; its ends mark nothing."""

APART_WIDTHS = 1.5
"""Nodes closer than this are one place to the eye; the one where most lines meet stands for them."""

ROWS = 40
"""Numbers run left to right in this many bands from top to bottom, as a page is read."""


def landmarks_px(strokes: Strokes) -> NDArray[np.float64]:
    """Give (N, 2) landmarks, picture px, in reading order; the same strokes give the same order.

    Corners, crossings, tips and line ends are landmarks; nodes of lettering and the ends of lone
    dashes are not.
    """
    if not strokes.links:
        return np.empty((0, 2))
    width_px = float(np.median([link.width_px for link in strokes.links]))
    degree = np.zeros(len(strokes.nodes_px), dtype=int)
    drawn = np.zeros(len(strokes.nodes_px), dtype=bool)
    for link, lettered in zip(strokes.links, lettering_links(strokes), strict=True):
        degree[[link.start, link.end]] += 1
        if lettered or _is_dash(strokes, link.start, link.end, link.points_px, width_px):
            continue
        drawn[[link.start, link.end]] = True
    chosen = np.flatnonzero(drawn & np.isin(strokes.kinds, [int(kind) for kind in NUMBERED]))
    chosen = _one_each(strokes.nodes_px, chosen, degree, APART_WIDTHS * width_px)
    points = strokes.nodes_px[chosen]
    if not len(points):
        return np.empty((0, 2))
    top, bottom = points[:, 1].min(), points[:, 1].max()
    band = np.floor((points[:, 1] - top) / max((bottom - top) / ROWS, 1.0))
    return np.ascontiguousarray(points[np.lexsort((points[:, 1], points[:, 0], band))])


def _is_dash(strokes: Strokes, start: int, end: int, points_px: NDArray[np.float64], width_px: float) -> bool:
    if strokes.kinds[start] != NodeKind.END or strokes.kinds[end] != NodeKind.END:
        return False
    return float(np.hypot(*(points_px[-1] - points_px[0]))) < DASH_WIDTHS * width_px


def _one_each(
    nodes_px: NDArray[np.float64], chosen: NDArray[np.intp], degree: NDArray[np.int_], apart_px: float
) -> NDArray[np.intp]:
    """Drop a node that lies beside one where more lines meet (of equals, the later one)."""
    dropped = np.zeros(len(chosen), dtype=bool)
    if len(chosen) > 1:
        for a, b in sorted(cKDTree(nodes_px[chosen]).query_pairs(apart_px)):
            weaker = a if degree[chosen[a]] < degree[chosen[b]] else b
            dropped[weaker] = True
    return chosen[~dropped]
