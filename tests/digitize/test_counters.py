"""The insides of letters that a line touches, told from small openings."""

import numpy as np
from numpy.typing import NDArray

from benchmarks.fit_error import box, circle, line
from benchmarks.vector_strokes import Inking, strokes_of
from digitize.lettering import lettering_links
from digitize.loop import Role
from digitize.loops import find_loops
from sample_scans.lettering import text

Line = NDArray[np.float64]
INKING = Inking(seed=5)
PLATE = box(20, 20, 80, 60)
ACROSS = line((15, 50.4), (105, 50.4))


def letters(words: str, at: tuple[float, float], *, height_mm: float) -> list[Line]:
    """The strokes of lettering."""
    return [stroke.points_mm for stroke in text(words, at, height_mm=height_mm).strokes]


def holes(*lines: Line) -> int:
    """How many openings a plate with these lines on it has."""
    strokes = strokes_of([PLATE, ACROSS, *letters("BREAK 8B", (30, 30), height_mm=3.0), *lines], INKING)
    found = find_loops(strokes, lettering=lettering_links(strokes), border_px=None)
    assert any(loop.role is Role.PART for loop in found.loops)
    return sum(loop.role is Role.HOLE for loop in found.loops)


def test_the_inside_of_a_letter_that_a_line_runs_through_is_no_opening() -> None:
    assert holes(*letters("P", (60, 49), height_mm=4.5)) == 0


def test_a_slot_that_a_line_runs_through_is_an_opening() -> None:
    assert holes(box(60, 49, 2.4, 2.8)) == 1


def test_a_small_round_hole_that_a_line_runs_through_is_an_opening() -> None:
    assert holes(circle(60, 50.4, 1.5)) == 1
