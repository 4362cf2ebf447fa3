"""Openings in halves on their centre line: what is cut out of a half, and what is a part drawn in it."""

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray

from benchmarks.fit_error import line
from benchmarks.vector_strokes import Inking, strokes_of
from digitize.draw_outlines import UNSURE_BELOW
from digitize.lettering import lettering_links
from digitize.loop import Loop, Role
from digitize.loops import find_loops

Line = NDArray[np.float64]
INKING = Inking(seed=7)
SAME = 0.99
CENTRE = line((50, 10), (50, 130))
SQUARE = line((50, 50), (70, 50), (70, 86), (50, 86))
"""Half a window with corners, in a half that has none."""


def half_oval(wide_mm: float, low_mm: float, high_mm: float) -> Line:
    """A half oval from the centre line at x = 50 mm back to it."""
    turn = np.linspace(-np.pi / 2, np.pi / 2, 91)
    y = (low_mm + high_mm) / 2 + (high_mm - low_mm) / 2 * np.sin(turn)
    return np.column_stack([50 + wide_mm * np.cos(turn), y])


FORMER = half_oval(44, 20, 120)
WINDOW = half_oval(24, 42, 98)
"""Of the former's own shape."""


def letter(x_mm: float, y_mm: float) -> list[Line]:
    """An E of 3 mm."""
    bars = [line((x_mm, y_mm + up), (x_mm + 2, y_mm + up)) for up in (0, 1.5, 3)]
    return [line((x_mm, y_mm), (x_mm, y_mm + 3)), *bars]


NAME = letter(81, 68)


def parts(*lines: Line) -> list[tuple[shapely.Polygon, Loop]]:
    """The parts found, the largest first, in mm and as loops."""
    strokes = strokes_of(list(lines), INKING)
    found = find_loops(strokes, lettering=lettering_links(strokes), border_px=None)
    loops = sorted((loop for loop in found.loops if loop.role is Role.PART), key=lambda loop: -loop.area_px2)
    return [(shapely.transform(loop.polygon, INKING.to_plan), loop) for loop in loops]


def share(found: shapely.Polygon, true: shapely.Polygon) -> float:
    return float(shapely.area(found & true) / shapely.area(found | true))


@pytest.mark.parametrize("openings", [(SQUARE,), (WINDOW,), (half_oval(14, 30, 60), half_oval(16, 70, 105))])
def test_what_is_closed_by_the_centre_line_beside_the_name_is_cut_out_of_the_half(openings: tuple[Line, ...]) -> None:
    found = parts(FORMER, *openings, CENTRE, *NAME)

    true = shapely.difference(shapely.Polygon(FORMER), shapely.union_all([shapely.Polygon(one) for one in openings]))
    assert len(found) == 1
    assert share(found[0][0], true) > SAME
    assert found[0][1].confidence >= UNSURE_BELOW


def test_the_holes_of_a_half_with_an_opening_are_holes_of_what_is_left() -> None:
    turn = np.linspace(0, 2 * np.pi, 73)
    hole = np.column_stack([66 + 3 * np.cos(turn), 108 + 3 * np.sin(turn)])
    strokes = strokes_of([FORMER, WINDOW, CENTRE, hole, *NAME], INKING)

    loops = find_loops(strokes, lettering=lettering_links(strokes), border_px=None).loops

    holes = [loop for loop in loops if loop.role is Role.HOLE]
    assert len(holes) == 1
    assert loops[holes[0].parent].role is Role.PART


def test_without_a_name_a_half_with_an_opening_is_unsure() -> None:
    slot = line((50, 40), (66, 40), (66, 60), (50, 60))

    found = parts(FORMER, slot, CENTRE)

    assert len(found) == 1
    assert share(found[0][0], shapely.Polygon(FORMER) - shapely.Polygon(slot)) > SAME
    assert found[0][1].confidence < UNSURE_BELOW


@pytest.mark.parametrize(
    ("inner", "names"),
    [
        (WINDOW, []),
        (half_oval(34, 30, 110), letter(87, 68)),
        (WINDOW, [*NAME, *letter(60, 68)]),
        (SQUARE, letter(60, 68)),
    ],
    ids=["no name", "nearly as large", "a name each", "a name within"],
)
def test_what_may_be_a_part_drawn_in_a_half_leaves_nothing_sure(inner: Line, names: list[Line]) -> None:
    found = parts(FORMER, inner, CENTRE, *names)

    assert found
    assert all(loop.confidence < UNSURE_BELOW for _, loop in found)


def test_sections_drawn_in_one_another_on_their_centre_line_are_no_openings() -> None:
    sections = [half_oval(44 - 8 * step, 20 + 4 * step, 120 - 9 * step) for step in range(4)]

    found = parts(*sections, CENTRE, *letter(90, 80))

    outlines = [shapely.Polygon(one) for one in sections]
    assert max(share(polygon, outlines[0]) for polygon, _ in found) > SAME
    assert not any(share(polygon, one - two) > 0.9 for polygon, _ in found for one in outlines for two in outlines[1:])


def test_a_window_on_an_edge_that_is_no_centre_line_is_not_cut_out() -> None:
    edge = line((50, 20), (50, 120))

    found = parts(FORMER, SQUARE, edge, *NAME)

    assert share(found[0][0], shapely.Polygon(FORMER)) > SAME
