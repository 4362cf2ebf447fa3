"""Ways along drawn lines: against where the lines were drawn, small graphs by hand, and a search that is not ours."""

import math
from pathlib import Path
from time import process_time

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray
from scipy.sparse.csgraph import shortest_path

from benchmarks.render_lines import Camera, TrueLine, photograph
from digitize.find_strokes import find_strokes
from digitize.ink_path import InkGraph, ink_graph, way_along
from digitize.strokes import Link, NodeKind, Strokes
from pictures.ink import find_ink
from pictures.picture import Medium, Picture, Source

Floats = NDArray[np.float64]

CLEAN = Camera(blur_px=0.7, noise=2.0)
MIDDLE_RMS_PX = 0.1
REACH_PX = 8.0


def seen(*lines: TrueLine) -> InkGraph:
    grey = photograph(list(lines), CLEAN, width=300, height=220)
    return ink_graph(find_strokes(find_ink(Picture(grey, Source(Path("drawn.png"), "", Medium.RASTER)))))


def line(*points: tuple[float, float]) -> TrueLine:
    return TrueLine(np.array(points, dtype=float), 2.5, False, "round", "round")


def way(graph: InkGraph, start: tuple[float, float], end: tuple[float, float]) -> Floats | None:
    feet = [graph.foot(point, reach_px=REACH_PX) for point in (start, end)]
    assert feet[0] is not None
    assert feet[1] is not None
    stretches = way_along(graph, feet[0], feet[1])
    return None if stretches is None else np.vstack([stretch.points_px for stretch in stretches])


def length(points: Floats) -> float:
    return float(np.hypot(*np.diff(points, axis=0).T).sum())


def test_a_way_follows_the_middle_of_the_line() -> None:
    turn = np.linspace(0.3, 2.9, 200)
    arc = np.column_stack([150 + 110 * np.cos(turn), 170 - 110 * np.sin(turn)])
    graph = seen(TrueLine(arc, 2.5, False, "round", "round"))

    points = way(graph, (arc[5, 0] + 2, arc[5, 1] - 2), (arc[-5, 0], arc[-5, 1] + 3))

    assert points is not None
    far = shapely.distance(shapely.LineString(arc), shapely.points(points))
    assert math.sqrt((far**2).mean()) < MIDDLE_RMS_PX
    assert length(points) == pytest.approx(length(arc[5:-4]), abs=4)


def test_where_lines_cross_the_way_goes_straight_on_and_turns_only_if_it_must() -> None:
    graph = seen(line((20, 100), (280, 100)), line((150, 20), (150, 200)))

    on = way(graph, (30, 100), (270, 100))
    turned = way(graph, (30, 100), (150, 190))

    assert on is not None
    assert turned is not None
    assert np.abs(on[:, 1] - 100).max() < 0.6
    assert length(on) == pytest.approx(240, abs=3)
    assert length(turned) == pytest.approx(120 + 90, abs=3)


def ladder() -> Strokes:
    """Two rails 6 px apart that join at the far end over a rung, and a rung every 20 px: lines of 2 px."""
    xs = np.arange(0, 201, 20.0)
    nodes = np.vstack([np.column_stack([xs, np.full(11, y)]) for y in (0.0, 6.0)])
    links = [(k, k + 1) for k in range(10)] + [(k, k + 1) for k in range(11, 21)] + [(k, k + 11) for k in range(11)]
    kinds = np.full(22, NodeKind.JUNCTION, dtype=np.uint8)
    kinds[[0, 10, 11, 21]] = NodeKind.CORNER
    return Strokes(nodes, kinds, tuple(Link(a, b, between(nodes[a], nodes[b]), 0.05, 2.0) for a, b in links))


def between(start: Floats, end: Floats) -> Floats:
    count = int(np.hypot(*(end - start))) + 1
    return start + (end - start) * np.linspace(0, 1, count)[:, None]


def test_a_rung_is_crossed_once_and_late_or_early_not_in_the_middle_of_nowhere() -> None:
    graph = ink_graph(ladder())
    start, end = graph.foot((20.0, -1.0), reach_px=5), graph.foot((180.0, 7.0), reach_px=5)
    assert start is not None
    assert end is not None

    stretches = way_along(graph, start, end)

    assert stretches is not None
    points = np.vstack([stretch.points_px for stretch in stretches])
    # Over to the other rail and along it: the rails' own length and one rung, whichever rung it is.
    assert length(points) == pytest.approx(160 + 6, abs=0.01)
    assert (np.abs(np.diff(points[:, 1])) > 0).sum() == 6


def test_the_shortest_way_without_turns_is_that_of_another_search() -> None:
    rng = np.random.default_rng(4)
    side = 9
    nodes = np.array([(40.0 * x, 40.0 * y) for y in range(side) for x in range(side)]) + rng.normal(0, 6, (side**2, 2))
    pairs = [(k, k + 1) for k in range(side**2) if k % side < side - 1]
    pairs += [(k, k + side) for k in range(side**2 - side)]
    links = tuple(Link(a, b, between(nodes[a], nodes[b]), 0.05, 1e-6) for a, b in pairs)
    kinds = np.full(side**2, NodeKind.JUNCTION, dtype=np.uint8)
    # Lines so thin that a turn costs nothing: the plain shortest path, by scipy's own search over nodes.
    graph = ink_graph(Strokes(nodes, kinds, links))
    table = np.zeros((side**2, side**2))
    for link in links:
        table[link.start, link.end] = length(link.points_px)
    plain = shortest_path(table, directed=False)

    for _ in range(60):
        a, b = rng.choice(side**2, 2, replace=False)
        start, end = (graph.foot((float(nodes[k, 0]), float(nodes[k, 1])), reach_px=1) for k in (a, b))
        assert start is not None
        assert end is not None
        stretches = way_along(graph, start, end)
        assert stretches is not None
        assert length(np.vstack([one.points_px for one in stretches])) == pytest.approx(plain[a, b], rel=1e-6)


def test_around_a_closed_line_the_shorter_way_is_taken() -> None:
    turn = np.linspace(0, 2 * np.pi, 361)
    ring = np.column_stack([100 + 50 * np.cos(turn), 100 + 50 * np.sin(turn)])
    ring[-1] = ring[0]
    graph = ink_graph(Strokes(ring[:1], np.array([NodeKind.LOOP], dtype=np.uint8), (Link(0, 0, ring, 0.05, 2.0),)))
    start, end = graph.foot((148.0, 114.0), reach_px=5), graph.foot((148.0, 86.0), reach_px=5)
    assert start is not None
    assert end is not None

    stretches = way_along(graph, start, end)

    assert stretches is not None
    assert length(np.vstack([one.points_px for one in stretches])) == pytest.approx(2 * 50 * math.asin(0.28), abs=0.5)


def test_a_way_may_lead_back_onto_the_link_it_left() -> None:
    # A long line nearly closed by a short one: from near one end to near the other the short one is the way.
    turn = np.linspace(0.1, 2 * np.pi - 0.1, 600)
    bow = np.column_stack([100 + 90 * np.cos(turn), 100 + 90 * np.sin(turn)])
    nodes = np.array([bow[0], bow[-1]])
    links = (Link(0, 1, bow, 0.05, 2.0), Link(1, 0, between(bow[-1], bow[0]), 0.05, 2.0))
    graph = ink_graph(Strokes(nodes, np.full(2, NodeKind.CORNER, dtype=np.uint8), links))
    start, end = (graph.foot((float(bow[k, 0]), float(bow[k, 1])), reach_px=2) for k in (10, -10))
    assert start is not None
    assert end is not None

    stretches = way_along(graph, start, end)

    assert stretches is not None
    assert [one.link for one in stretches] == [0, 1, 0]


def test_lines_apart_have_no_way_and_no_line_has_no_foot() -> None:
    graph = seen(line((20, 40), (280, 40)), line((20, 160), (280, 160)))

    assert way(graph, (50, 40), (50, 160)) is None
    assert graph.foot((150.0, 100.0), reach_px=REACH_PX) is None
    blank = ink_graph(Strokes(np.empty((0, 2)), np.empty(0, dtype=np.uint8), ()))
    assert blank.foot((1.0, 1.0), reach_px=50) is None


def test_five_thousand_links_are_searched_within_twenty_milliseconds() -> None:
    side = 51
    nodes = np.array([(20.0 * x, 20.0 * y) for y in range(side) for x in range(side)])
    pairs = [(k, k + 1) for k in range(side**2) if k % side < side - 1] + [(k, k + side) for k in range(side**2 - side)]
    links = tuple(Link(a, b, between(nodes[a], nodes[b]), 0.05, 2.0) for a, b in pairs)
    graph = ink_graph(Strokes(nodes, np.full(side**2, NodeKind.JUNCTION, dtype=np.uint8), links))
    assert len(links) > 5000

    seconds = []
    for _ in range(5):
        begin = process_time()
        assert way(graph, (1.0, 2.0), (995.0, 500.0)) is not None
        seconds.append(process_time() - begin)

    assert min(seconds) < 3 * 0.020
