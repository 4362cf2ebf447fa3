"""Lines of dashes that are folds across an outline and not centre lines: a box net's, a flap's."""

import numpy as np
import shapely

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


def runs_into_edge(strokes: Strokes, dashes: LineOfDashes, node: int, outward: int, at: dict[int, list[Side]]) -> bool:
    """Tell whether beyond a node, farther along (1) or back (-1), a line of dashes is an outline's edge.

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
            return node != first and len(at[node]) > 1
        if lengths_px[onward[0]] > most_px:
            return True
        node = onward[1]
