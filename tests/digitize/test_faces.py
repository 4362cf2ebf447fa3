"""Faces of a figure whose lines lie over one another beside a corner, as a leader through it leaves them."""

import numpy as np

from digitize.continuation import line_graph
from digitize.faces import area_px2, faces, walk_points
from tests.digitize.test_lettering import run, strokes_of


def test_a_figure_is_whole_though_two_lines_cross_beside_a_node() -> None:
    # The upper edge reaches over the brace to the end of a short link.
    beside, corner, foot = (141.5, 102.0), (143.0, 95.0), (100.0, 200.0)
    lines = [
        run((40, 102), beside),
        run(beside, corner),
        run(corner, (142, 200)),
        run((142, 200), foot),
        run(foot, corner),
        run(foot, (40, 200), (40, 102)),
    ]
    strokes = strokes_of(lines)
    graph = line_graph(strokes, np.zeros(len(strokes.links), np.bool_))

    found = faces(graph, list(range(len(lines))))

    areas = sorted(abs(area_px2(walk_points(graph, walk))) for walk in (*found.inner, found.outer))
    assert len(areas) == 3
    assert areas[2] > 9500
    assert areas[0] + areas[1] > 0.98 * areas[2]
