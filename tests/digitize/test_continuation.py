"""Which line carries on as which, where ink of several widths meets."""

import numpy as np

from digitize.continuation import line_graph
from digitize.strokes import Link, NodeKind, Strokes


def test_a_line_that_runs_into_wide_ink_leaves_it_as_it_runs_beyond_the_blot() -> None:
    """Thinning leads it to the middle of the wide ink over as many px as that is wide."""
    bend = np.column_stack([np.arange(9.0), np.append(np.arange(5.0), [4, 4, 4, 4])])
    upper = np.vstack([bend, [(x, 4.0) for x in range(9, 120)]])
    merged = np.column_stack([-np.arange(120.0), np.zeros(120)])
    strokes = Strokes(
        np.array([(0.0, 0.0), upper[-1], (119.0, -4.0), (-119.0, 0.0)]),
        np.array([NodeKind.JUNCTION, NodeKind.END, NodeKind.END, NodeKind.END], dtype=np.uint8),
        (
            Link(0, 1, upper, 0.1, 2.0),
            Link(0, 2, upper * [1, -1], 0.1, 2.0),
            Link(0, 3, merged, 0.1, 8.0),
        ),
    )

    graph = line_graph(strokes, np.zeros(3, dtype=np.bool_))

    assert np.abs(np.degrees(graph.leaving_rad[[0, 2]])).max() < 5
