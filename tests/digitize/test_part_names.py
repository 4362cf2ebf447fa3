"""Which lettering names which part: small cases by hand."""

import numpy as np
import pytest

from digitize.part_names import Lettered, part_names
from drawing.drawing import Outline
from drawing.paths import Path, polyline


def square(x: float, y: float, size: float, *holes: Path) -> Outline:
    return Outline(1, _loop(x, y, size), holes, (x, y), size**2)


def _loop(x: float, y: float, size: float) -> Path:
    return polyline(np.array([[x, y], [x + size, y], [x + size, y + size], [x, y + size]]), closed=True)


def word(text: str, x: float, y: float, *, high: float = 4.0, long: float = 16.0) -> Lettered:
    return Lettered(text, np.array([[x, y + high], [x + long, y + high], [x + long, y], [x, y]]))


def test_a_word_inside_names_the_smallest_part_it_is_in() -> None:
    assert part_names([square(0, 0, 100), square(20, 20, 40)], [word("F1", 30, 30)]) == {1: "F1"}


def test_a_word_in_a_hole_names_nothing() -> None:
    assert part_names([square(0, 0, 100, _loop(20, 20, 40))], [word("F1", 30, 30)]) == {}


def test_a_word_alone_beside_a_part_names_it() -> None:
    assert part_names([square(0, 0, 100), square(300, 0, 100)], [word("F2", 40, 103)]) == {0: "F2"}


@pytest.mark.parametrize("x", [105.0, 109.0])
def test_a_word_between_two_parts_names_neither(x: float) -> None:
    assert part_names([square(0, 0, 100), square(130, 0, 100)], [word("F2", x, 50)]) == {}


def test_a_word_far_from_every_part_names_none() -> None:
    assert part_names([square(0, 0, 100)], [word("TITLE", 40, 130)]) == {}


def test_of_two_words_inside_the_clearly_taller_is_the_name() -> None:
    words = [word("2 OFF", 30, 20), word("TAIL", 30, 50, high=7.0)]

    assert part_names([square(0, 0, 100)], words) == {0: "TAIL"}
    assert part_names([square(0, 0, 100)], [word("2 OFF", 30, 20), word("TAIL", 30, 50)]) == {}


def test_two_words_beside_one_part_name_it_not() -> None:
    assert part_names([square(0, 0, 100)], [word("R1", 10, 103), word("R2", 60, 103)]) == {}


@pytest.mark.parametrize("text", ["400", "A", "67.5", "CUT FROM SHEET OF 1.5 MM, GRAIN ALONG", "Glue here.", "S1, S2"])
def test_figures_and_notes_are_no_names(text: str) -> None:
    assert part_names([square(0, 0, 100)], [word(text, 40, 40)]) == {}
