"""Which strokes are lettering: rows of like-sized small pieces, whatever way they run."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from digitize.strokes import NodeKind, Strokes

LEAST_WIDTHS = 2.5
"""Smaller pieces are specks and points of dash-dot lines; they join a row only beside letters of its size."""

MOST_WIDTHS = 30.0
"""Letters stand 7 to 20 line widths high (ISO 3098: 10 or 14 for the lines they are drawn with); parts are larger."""

GAP_HEIGHTS = 0.9
"""Neighbouring letters and words lie nearer than this many letter heights; separate marks rarely do."""

SPACE_HEIGHTS = 1.4
"""A numeral or full stop stands at most this many letter heights from its row."""

MOST_HEIGHTS = 4.0
"""Pieces beyond this many middling letter heights need not be looked at."""

LIKE = 2.2
"""Letters of one row differ in length by less than this factor (a full letter beside a small or narrow one)."""

LOOP_LIKE = 1.4
"""A ring counts as the letter O only beside letters of nearly its size: else it is a hole beside a label."""

STRAIGHT = 0.15
"""A piece thinner than this share of its length is a bare stroke: a dash, or the figure 1 in a row of others."""


@dataclass(frozen=True, slots=True)
class _Pieces:
    """Connected pieces of the graph: each link's piece, and per piece its box and make."""

    of_link: NDArray[np.int32]
    long_px: NDArray[np.float64]
    thin: NDArray[np.bool_]
    ring: NDArray[np.bool_]
    points: list[NDArray[np.float64]]


def lettering_links(strokes: Strokes) -> NDArray[np.bool_]:
    """Tell which links are lettering.

    A piece is a letter when it stands beside another of like size; a row of nothing but rings, or of nothing
    but bare strokes, is no lettering.

    Returns
    -------
    (len(strokes.links),) array of bool
    """
    if not strokes.links:
        return np.zeros(0, dtype=bool)
    pieces = _pieces(strokes)
    width_px = float(np.median([link.width_px for link in strokes.links]))
    small = (pieces.long_px >= LEAST_WIDTHS * width_px) & (pieces.long_px <= MOST_WIDTHS * width_px)
    lettered = np.zeros(len(pieces.long_px), dtype=bool)
    candidates = np.flatnonzero(small)
    pairs = _neighbours(pieces, candidates, MOST_WIDTHS * width_px)
    if len(pairs):
        row_of = _rows(len(pieces.long_px), pairs)
        plain = ~pieces.thin & ~pieces.ring
        for row in np.unique(row_of[pairs[:, 0]]):
            members = np.flatnonzero(row_of == row)
            if len(members) >= 2 and plain[members].any():
                lettered[members] = True
    _take_in_stragglers(pieces, lettered)
    return lettered[pieces.of_link]


def _take_in_stragglers(pieces: _Pieces, lettered: NDArray[np.bool_]) -> None:
    """Mark, in place, what stands in a row at a wider space: a numeral before its words, a point, a lone letter."""
    letters = np.flatnonzero(lettered)
    if not len(letters):
        return
    height_px = np.median(pieces.long_px[letters])
    points = np.concatenate([pieces.points[index] for index in letters])
    heights_px = np.concatenate([np.full(len(pieces.points[index]), pieces.long_px[index]) for index in letters])
    tree = cKDTree(points)
    for index in np.flatnonzero(~lettered & (pieces.long_px < MOST_HEIGHTS * height_px)):
        far, nearest = tree.query(pieces.points[index])
        closest = int(far.argmin())
        height = float(heights_px[nearest[closest]])
        like = LOOP_LIKE if pieces.ring[index] else LIKE
        if far[closest] <= SPACE_HEIGHTS * height and pieces.long_px[index] <= like * height:
            # A ring much smaller than the letters is a point drawn hollow only when it is a fleck.
            lettered[index] = not pieces.ring[index] or pieces.long_px[index] * LOOP_LIKE >= height


def _pieces(strokes: Strokes) -> _Pieces:
    starts = np.array([link.start for link in strokes.links])
    ends = np.array([link.end for link in strokes.links])
    count = len(strokes.nodes_px)
    graph = coo_array((np.ones(len(starts)), (starts, ends)), shape=(count, count))
    _, of_node = connected_components(graph, directed=False)
    _, of_link = np.unique(of_node[starts], return_inverse=True)
    total = int(of_link.max()) + 1
    order = np.argsort(of_link, kind="stable")
    grouped: list[list[NDArray[np.float64]]] = [[] for _ in range(total)]
    for index in order:
        grouped[of_link[index]].append(strokes.links[index].points_px)
    points = [np.concatenate(group) for group in grouped]
    sides = np.array([sorted(cv2.minAreaRect(run.astype(np.float32))[1]) for run in points], dtype=float)
    free = np.zeros(total, dtype=bool)
    loose = strokes.kinds[starts] == NodeKind.END
    loose |= strokes.kinds[ends] == NodeKind.END
    loose |= strokes.kinds[starts] == NodeKind.JUNCTION
    free[of_link[loose]] = True
    thin = sides[:, 0] < STRAIGHT * sides[:, 1]
    return _Pieces(of_link.astype(np.int32), sides[:, 1], thin, ~free, points)


def _neighbours(pieces: _Pieces, candidates: NDArray[np.intp], most_px: float) -> NDArray[np.intp]:
    """(N, 2) candidates that stand beside each other and are of like size."""
    if len(candidates) < 2:
        return np.empty((0, 2), dtype=np.intp)
    middles = np.array([pieces.points[index].mean(axis=0) for index in candidates])
    found: list[tuple[int, int]] = []
    for a, b in sorted(cKDTree(middles).query_pairs(2 * most_px)):
        first, second = int(candidates[a]), int(candidates[b])
        low, high = sorted((pieces.long_px[first], pieces.long_px[second]))
        rings = bool(pieces.ring[first] or pieces.ring[second])
        if high > (LOOP_LIKE if rings else LIKE) * low:
            continue
        # A cheap bound first: the gap is at least the distance of the middles less both half lengths.
        apart_px = float(np.hypot(*(middles[a] - middles[b])))
        if apart_px - (low + high) / 2 * 1.5 > GAP_HEIGHTS * high:
            continue
        if _gap_px(pieces.points[first], pieces.points[second]) <= GAP_HEIGHTS * high:
            found.append((first, second))
    return np.array(found, dtype=np.intp).reshape(-1, 2)


def _gap_px(first: NDArray[np.float64], second: NDArray[np.float64]) -> float:
    far, _ = cKDTree(first).query(second[:: max(1, len(second) // 60)])
    return float(far.min())


def _rows(count: int, pairs: NDArray[np.intp]) -> NDArray[np.int32]:
    graph = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(count, count))
    return np.asarray(connected_components(graph, directed=False)[1], dtype=np.int32)
