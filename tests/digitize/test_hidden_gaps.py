"""Lines of one ink followed under those of another, against where they were drawn."""

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from benchmarks.render_lines import TrueLine
from digitize.find_strokes import find_strokes
from digitize.strokes import Strokes
from pictures.tints import inks_of
from tests.coloured_lines import BLACK, RED, in_colours, ink_and_tints

WIDTH, HEIGHT = 420, 300


def red_strokes(red: list[TrueLine], black: list[TrueLine]) -> Strokes:
    ink, tints = ink_and_tints(in_colours([(red, RED), (black, BLACK)], width=WIDTH, height=HEIGHT))
    assert tints is not None
    layers = [find_strokes(one) for one in inks_of(ink, tints)]
    frame = [max(np.ptp(np.concatenate([k.points_px for k in layer.links]), axis=0)) for layer in layers]
    return layers[int(np.argmin(frame))]


def frame() -> TrueLine:
    """Black ink enough to be known as one, clear of the rest."""
    return TrueLine(
        np.array([[8.0, 8.0], [WIDTH - 8.0, 8.0], [WIDTH - 8.0, HEIGHT - 8.0], [8.0, HEIGHT - 8.0]]), 3, True
    )


def run(*points: tuple[float, float], width: float = 3.0) -> TrueLine:
    return TrueLine(np.array(points, dtype=float), width, False)


@pytest.mark.parametrize("cross_deg", [90, 45, 20, 8])
def test_a_line_runs_on_under_another(cross_deg: float) -> None:
    away = np.array([math.cos(math.radians(cross_deg)), math.sin(math.radians(cross_deg))]) * 100
    over = run((210 - away[0], 150 - away[1]), (210 + away[0], 150 + away[1]))

    found = red_strokes([run((40, 150), (380, 150))], [over, frame()])

    assert len(found.links) == 1
    (link,) = found.links
    assert not link.bridged
    assert np.ptp(link.points_px[:, 0]) > 335
    assert np.abs(link.points_px[:, 1] - 150).max() < 0.25


def test_an_arc_runs_on_under_another_line() -> None:
    turn = np.linspace(0, 2 * np.pi, 200, endpoint=False)
    ring = TrueLine(np.column_stack([210 + 90 * np.cos(turn), 150 + 90 * np.sin(turn)]), 3, True)

    found = red_strokes([ring], [run((170, 20), (150, 280), width=4), frame()])

    assert len(found.links) == 1
    away = np.hypot(*(found.links[0].points_px - [210, 150]).T) - 90
    assert np.abs(away).max() < 0.3


def test_a_corner_under_another_line_is_drawn_through() -> None:
    box = TrueLine(np.array([[120.0, 80.0], [300.0, 80.0], [300.0, 220.0], [120.0, 220.0]]), 3, True)

    found = red_strokes([box], [run((275, 55), (325, 105), width=5), frame()])

    assert len(_free_ends(found)) == 0
    nearest = np.hypot(*(np.concatenate([k.points_px for k in found.links]) - [300, 80]).T).min()
    assert nearest < 2.0


def test_two_lines_that_end_on_either_side_are_not_joined_aslant() -> None:
    found = red_strokes(
        [run((40, 120), (206, 120)), run((214, 150), (380, 150))], [run((210, 60), (210, 240)), frame()]
    )

    assert len(_free_ends(found)) == 4


def _free_ends(strokes: Strokes) -> NDArray[np.int64]:
    ends = np.array([node for link in strokes.links for node in (link.start, link.end)])
    return np.flatnonzero(np.bincount(ends) == 1)
