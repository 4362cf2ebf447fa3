"""Inks told apart by colour."""

import numpy as np
import pytest

from benchmarks.render_lines import TrueLine
from pictures.tints import MIXED, Tints, inks_of, tell_tints
from sample_scans.photo import Rgb
from tests.coloured_lines import BLACK, CYAN, GREEN, RED, in_colours, ink_and_tints

SIDE = 400


def across(y: float, slope: float = 0.0, *, width: float = 3.0) -> TrueLine:
    return TrueLine(np.array([[20.0, y], [SIDE - 20.0, y + slope * (SIDE - 40)]]), width, False)


def down(x: float, *, width: float = 3.0) -> TrueLine:
    return TrueLine(np.array([[x, 20.0], [x, SIDE - 20.0]]), width, False)


@pytest.mark.parametrize("other", [RED, GREEN, CYAN])
@pytest.mark.parametrize("width", [1.6, 3.0, 6.0])
def test_each_line_has_its_own_ink(other: Rgb, width: float) -> None:
    own, coloured = [across(100, width=width), across(300, width=width)], [across(200, width=width)]
    _, tints = ink_and_tints(in_colours([(own, BLACK), (coloured, other)], width=SIDE, height=SIDE))

    assert tints is not None
    assert tints.count == 2
    middle = tints.number[:, 60:-60]
    assert set(np.unique(middle[98:103])) <= {0, 1}
    assert (middle[100] == 1).all()
    assert (middle[200] == 2).all()
    assert set(np.unique(middle[198:203])) <= {0, 2}


def test_of_one_ink_nothing_is_told() -> None:
    for ink in (BLACK, RED):
        lines = [across(100), across(220, 0.1), down(300, width=6)]
        assert ink_and_tints(in_colours([(lines, ink)], width=SIDE, height=SIDE))[1] is None


def test_dots_where_two_colours_cross_are_no_third_ink() -> None:
    rows, columns = [across(y) for y in range(60, 360, 40)], [down(x) for x in range(60, 360, 40)]
    _, tints = ink_and_tints(in_colours([(rows, RED), (columns, GREEN)], width=SIDE, height=SIDE))

    assert tints is not None
    assert tints.count == 2
    crossing = tints.number[96:105, 96:105]
    assert MIXED in crossing or set(np.unique(crossing)) == {0, 1, 2}


def test_each_ink_is_dark_where_it_lies_and_told_what_hides_it() -> None:
    rows, column = [across(100), across(300)], [down(200)]
    ink, tints = ink_and_tints(in_colours([(column, RED), (rows, BLACK)], width=SIDE, height=SIDE))
    assert tints is not None

    black, red = inks_of(ink, tints)

    assert black.hidden is not None
    assert red.hidden is not None
    # What is one ink's alone keeps its darkness to the last bit: its middle lies where it lay.
    assert (black.darkness[90:111, 40:180] == ink.darkness[90:111, 40:180]).all()
    assert (red.darkness[120:280, 190:211] == ink.darkness[120:280, 190:211]).all()
    assert (black.darkness[120:280, 190:211] == 0).all()
    assert (red.darkness[98:103, 40:180] == 0).all()
    assert red.hidden[100, 200] > 0
    assert red.hidden[200, 200] == 0


def test_a_picture_full_of_ink_is_left_alone() -> None:
    rgb = in_colours([([across(200, width=150)], BLACK), ([down(200, width=40)], RED)], width=SIDE, height=SIDE)

    assert tell_tints(rgb, np.ones((SIDE, SIDE), np.uint8)) is None


def test_two_inks_taken_for_one_leave_the_others_in_order() -> None:
    number = np.array([[0, 1, 2, 3, 4, MIXED]], np.uint8)

    joined = Tints(number, 4).with_one_for(3, 2)

    assert joined.count == 3
    assert joined.number.tolist() == [[0, 1, 2, 2, 3, MIXED]]
