"""The edge that two outlines share: found by a click, and nothing else goes with it."""

import cv2
import numpy as np
import pytest

from digitize.find_strokes import find_strokes
from digitize.ink_path import InkGraph, ink_graph
from digitize.rubbed import Rub, without_rubbed
from digitize.strokes import Strokes
from pictures.ink import find_ink
from pictures.read import read_picture
from tracing.shared_edge import ALONE, ENDS_FREELY, NO_LINE, shared_edge

LEFT, MIDDLE, RIGHT, TOP, BOTTOM = 200, 560, 1000, 150, 650
"""Two boxes side by side, px; the edge between them has a corner."""
KINK = (620, 400)


@pytest.fixture(scope="module")
def strokes(tmp_path_factory: pytest.TempPathFactory) -> Strokes:
    """Two boxes that share a bent edge, a lone line that ends in one of them, and a box apart."""
    sheet = np.full((900, 1300), 250, np.uint8)

    def line(*points: tuple[int, int], closed: bool = False) -> None:
        cv2.polylines(sheet, [np.array(points, np.int32)], closed, 20, 4, cv2.LINE_AA)

    line((LEFT, TOP), (RIGHT, TOP), (RIGHT, BOTTOM), (LEFT, BOTTOM), closed=True)
    line((MIDDLE, TOP), KINK, (MIDDLE, BOTTOM))
    line((LEFT, 500), (350, 500))
    line((1100, 200), (1220, 200), (1220, 500), (1100, 500), closed=True)
    path = tmp_path_factory.mktemp("boxes") / "boxes.png"
    cv2.imwrite(str(path), sheet)
    return find_strokes(find_ink(read_picture(path)))


@pytest.fixture(scope="module")
def graph(strokes: Strokes) -> InkGraph:
    return ink_graph(strokes)


def test_a_click_on_the_edge_takes_all_of_it_and_nothing_else(strokes: Strokes, graph: InkGraph) -> None:
    for at in ((590, 280), (600, 480), (561, 160)):
        edge = shared_edge(graph, at, reach_px=12)

        assert edge["words"] == ""
        points = np.array(edge["points_px"])
        ends = sorted(map(tuple, points[[0, -1]]), key=lambda point: point[1])
        assert np.abs(np.array(ends) - [(MIDDLE, TOP), (MIDDLE, BOTTOM)]).max() < 1.5
        assert np.hypot(*(points - KINK).T).min() < 1.5
        left = without_rubbed(strokes, [Rub(tuple(map(tuple, points.tolist())), edge["width_px"])])
        inside = [link for link in left.links if _is_in_box(link.points_px)]
        assert inside == []
        # The big box stands whole: its run round is as long as it was drawn.
        run = sum(
            float(np.hypot(*np.diff(link.points_px, axis=0).T).sum())
            for link in left.links
            if link.points_px[:, 0].max() < 1050 and not _is_lone(link.points_px)
        )
        assert run == pytest.approx(2 * (RIGHT - LEFT + BOTTOM - TOP), abs=6)


@pytest.mark.parametrize(
    ("at", "words"),
    [((800, 400), NO_LINE), ((300, 500), ENDS_FREELY), ((800, TOP), ALONE), ((1100, 300), ALONE)],
)
def test_a_click_elsewhere_says_why_nothing_is_joined(graph: InkGraph, at: tuple[float, float], words: str) -> None:
    edge = shared_edge(graph, at, reach_px=8)

    assert (edge["points_px"], edge["words"]) == ([], words)


def _is_in_box(points_px: np.ndarray) -> bool:
    x, y = points_px[len(points_px) // 2]
    return LEFT + 20 < x < RIGHT - 20 and TOP + 20 < y < BOTTOM - 20 and not _is_lone(points_px)


def _is_lone(points_px: np.ndarray) -> bool:
    return bool((np.abs(points_px[:, 1] - 500) < 4).all() and points_px[:, 0].max() < 360)
