"""What is merged ink, and whither lines head that run into it."""

import math
from itertools import pairwise

import numpy as np
import pytest

from digitize.continuation import line_graph
from digitize.merged_ink import headings_at_merged_ink, merged_ink
from digitize.strokes import Link, NodeKind, Strokes

WIDTH_PX = 3.0


def _line(*corners: tuple[float, float]) -> np.ndarray:
    ends = np.array(corners, dtype=np.float64)
    runs = []
    for a, b in pairwise(ends):
        count = max(int(np.hypot(*(b - a))), 1)
        runs.append(a + (b - a) * (np.arange(count) / count)[:, None])
    return np.vstack([*runs, ends[-1:]])


def _strokes(*drawn: tuple[int, int, np.ndarray, float]) -> Strokes:
    links = tuple(Link(start, end, points, 0.1, width) for start, end, points, width in drawn)
    count = 1 + max(max(link.start, link.end) for link in links)
    nodes = np.zeros((count, 2))
    for link in links:
        nodes[link.start], nodes[link.end] = link.points_px[0], link.points_px[-1]
    return Strokes(nodes, np.full(count, NodeKind.JUNCTION, dtype=np.uint8), links)


def test_a_line_led_round_into_merged_ink_heads_as_it_does_where_it_is_alone() -> None:
    slope = math.tan(math.radians(20))
    hooked = _line((0, 0), (3, -6), (200, -6 - 197 * slope))
    strokes = _strokes(
        (0, 1, hooked, WIDTH_PX),
        (0, 2, _line((0, 0), (120, 0)), 2 * WIDTH_PX),
        (0, 3, _line((0, 0), (-300, 0)), WIDTH_PX),
        (2, 4, _line((120, 0), (400, -20)), WIDTH_PX),
        (2, 5, _line((120, 0), (400, 20)), WIDTH_PX),
    )
    graph = line_graph(strokes, np.zeros(5, dtype=np.bool_))
    at = {0: [0, 2, 4], 1: [1], 2: [3, 6, 8], 3: [5], 4: [7], 5: [9]}

    merged = merged_ink(graph, range(5), at)
    headings = headings_at_merged_ink(graph, at, merged)

    assert merged.long == {1}
    assert math.degrees(headings[0]) == pytest.approx(-20, abs=1.0)
    assert math.degrees(headings[2]) == pytest.approx(0, abs=1.0)


def test_an_outline_drawn_with_a_wider_pen_than_its_hatching_is_no_merged_ink() -> None:
    corners = [(0.0, 0.0), (90.0, 0.0), (90.0, 90.0), (0.0, 90.0)]
    sides = [_line(a, b) for a, b in zip(corners, corners[1:] + corners[:1], strict=True)]
    outline = [(n, (n + 1) % 4, points, 2 * WIDTH_PX) for n, points in enumerate(sides)]
    hatching = [(4 + 2 * n, 5 + 2 * n, _line((9.0 * n, 0), (9.0 * n, 90.0)), WIDTH_PX) for n in range(1, 10)]
    strokes = _strokes(*outline, *hatching)
    graph = line_graph(strokes, np.zeros(len(strokes.links), dtype=np.bool_))
    at: dict[int, list[int]] = {}
    for link in range(len(strokes.links)):
        for side in (2 * link, 2 * link + 1):
            at.setdefault(graph.place_of(side), []).append(side)

    merged = merged_ink(graph, range(len(strokes.links)), at)

    assert merged.wide == {0, 1, 2, 3}
    assert not merged.long
