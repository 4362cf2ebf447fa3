"""Lines of dashes that are folds across an outline and not centre lines: a box net's, a flap's."""

from collections.abc import Iterable
from enum import Enum

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from digitize.dashes_in_line import ENDS_WIDTHS, LineOfDashes
from digitize.facing_ends import FINER, Side
from digitize.link_lines import line_tree
from digitize.link_sizes import link_lengths_px
from digitize.strokes import Strokes

EDGE_DASHES = 1.5
"""What is so much longer than the longest dash that ends free is no dash: dashes are as long as the hand makes them."""

BESIDE_WIDTHS = 8.0
"""A line that a fold ends on is looked at so far on both sides of it, in line widths."""


def is_fold_across(strokes: Strokes, dashes: LineOfDashes) -> bool:
    """Tell whether a line of dashes leads from one line across it to another, a gap before them at most.

    A fold lies inside its outline. A centre line runs on beyond the half that is drawn on it, at one end at least.
    """
    own = set(dashes.links)
    ends_px = np.array([strokes.links[link].points_px[[0, -1]] for link in dashes.links])
    along = np.sort(dashes.along_px(ends_px.reshape(-1, 2)).reshape(-1, 2), axis=1)
    along = along[np.argsort(along[:, 0])]
    gap_px = float((along[1:, 0] - np.maximum.accumulate(along[:-1, 1])).max(initial=0.0))
    most_px = ENDS_WIDTHS * dashes.width_px
    origin, tree = dashes.line.foot(np.zeros(2)), line_tree(strokes)
    for reach_px, outward in zip(dashes.reach_px, (-1, 1), strict=True):
        span = np.sort([reach_px - outward * most_px, reach_px + outward * (gap_px + dashes.width_px)])
        path = shapely.LineString(origin + span[:, None] * dashes.line.along)
        near = set(tree.query(path, predicate="dwithin", distance=dashes.width_px).tolist()) - own
        met = [strokes.links[which] for which in near if strokes.links[which].width_px > FINER * dashes.width_px]
        points = np.concatenate([np.empty((0, 2)), *(link.points_px for link in met)])
        far, off = dashes.along_px(points), dashes.line.off(points)
        beside = off[(far > span[0]) & (far < span[1]) & (np.abs(off) < BESIDE_WIDTHS * dashes.width_px)]
        if not (beside.max(initial=0.0) > most_px and beside.min(initial=0.0) < -most_px):
            return False
    return True


class Beyond(Enum):
    """What a line of dashes is beyond a node on it."""

    DASHES = "dashes"
    """It runs on in dashes or ends."""
    CORNER = "corner"
    """It runs straight on to a corner: an outline's edge, or a dash that ends where another half begins."""
    EDGE = "edge"
    """It runs on farther than any dash is long: an outline's edge."""


def what_is_beyond(
    strokes: Strokes, dashes: LineOfDashes, node: int, outward: int, at: dict[int, list[Side]]
) -> Beyond:
    """Tell what a line of dashes is beyond a node, farther along (1) or back (-1).

    A centre line runs on in dashes or ends. Where a box net's fold ends, its outline goes on: straight on to a corner,
    or farther than any dash is long. `at` are the sides of links at each node.
    """
    own, lengths_px = set(dashes.links), link_lengths_px(strokes)
    ends = {link: (strokes.links[link].start, strokes.links[link].end) for link in own}
    loose = [lengths_px[link] for link, nodes in ends.items() if min(len(at[one]) for one in nodes) == 1]
    most_px = EDGE_DASHES * max(loose, default=0.0)
    first = node
    while True:
        here_px = float(dashes.along_px(strokes.nodes_px[node][None])[0])
        onward = None
        for side in at[node]:
            if side >> 1 in own:
                other = ends[side >> 1][0 if side & 1 else 1]
                if outward * (float(dashes.along_px(strokes.nodes_px[other][None])[0]) - here_px) > 0:
                    onward = side >> 1, other
        if onward is None:
            return Beyond.CORNER if node != first and len(at[node]) > 1 else Beyond.DASHES
        if lengths_px[onward[0]] > most_px:
            return Beyond.EDGE
        node = onward[1]


def is_one_sided(strokes: Strokes, dashes: LineOfDashes, besides: Iterable[int], lettering: NDArray[np.bool_]) -> bool:
    """Tell whether all that stops on a line of dashes lies on one side of it, and nothing crosses it, in its
    gaps neither: it lies across no part, and no net.

    `besides` are the sides, 1 or -1, on which lines stop on it, 0 where they cross it. Lines that close nothing,
    leaders and the grain of paper, do not count.
    """
    if len(set(besides)) != 1:
        return False
    give_px = ENDS_WIDTHS * dashes.width_px
    closing = _of_closed_figures(strokes, ~lettering & ~np.isin(np.arange(len(strokes.links)), dashes.links))
    for number in np.flatnonzero(closing).tolist():
        points = strokes.links[number].points_px
        off, along = dashes.line.off(points), dashes.along_px(points)
        off = off[(along > dashes.reach_px[0]) & (along < dashes.reach_px[1])]
        if len(off) and off.min() < -give_px and off.max() > give_px:
            return False
    return True


def _of_closed_figures(strokes: Strokes, chosen: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Which of some links (L,) hang together with others that come back to where they began."""
    ends = np.array([(link.start, link.end) for link in strokes.links], dtype=np.int64)
    count = len(strokes.nodes_px)
    some = ends[chosen]
    joined = coo_array((np.ones(len(some)), some.T), shape=(count, count))
    number, piece = connected_components(joined, directed=False)
    # What branches and nowhere closes has a link fewer than nodes.
    is_closed = np.bincount(piece[some[:, 0]], minlength=number) >= np.bincount(piece, minlength=number)
    of: NDArray[np.bool_] = chosen & is_closed[piece[ends[:, 0]]]
    return of
