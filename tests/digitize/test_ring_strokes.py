"""Rings of a few points, as blots in coarse pictures leave them."""

import numpy as np

from digitize.ring_strokes import crossed_links
from digitize.strokes import Link, NodeKind, Strokes


# A blot two px wide leaves a closed line of three points, the last being the first.
def test_a_ring_of_three_points_is_told_from_the_lines_that_cross_it() -> None:
    ring = Link(0, 0, np.array([[50.0, 50.0], [51.5, 50.0], [50.0, 50.0]]), 0.1, 1.5)
    across = Link(1, 2, np.array([[20.0, 50.2], [80.0, 50.2]]), 0.1, 1.5)
    beside = Link(3, 4, np.array([[20.0, 80.0], [80.0, 80.0]]), 0.1, 1.5)
    nodes = np.array([[50.0, 50.0], [20.0, 50.2], [80.0, 50.2], [20.0, 80.0], [80.0, 80.0]])
    kinds = np.array([NodeKind.LOOP] + 4 * [NodeKind.END], dtype=np.uint8)

    crossed = crossed_links(Strokes(nodes, kinds, (ring, across, beside)))

    assert crossed.tolist() == [True, True, False]
