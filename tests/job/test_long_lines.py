"""Long lines that may be straight, against lines that the test itself drew."""

import numpy as np
import pytest

from benchmarks.fit_error import line
from benchmarks.vector_strokes import Inking, strokes_of
from digitize.strokes import Strokes
from job.long_lines import long_lines

INKING = Inking(seed=7, mm_per_px=0.2, height_px=3000)
SIZE_PX = (4000, 3000)


def arc(radius_mm, start_deg, end_deg, centre_mm):
    angle = np.radians(np.linspace(start_deg, end_deg, 400))
    return np.array(centre_mm) + radius_mm * np.column_stack([np.cos(angle), np.sin(angle)])


def found(lines_mm, sides=()):
    return long_lines(strokes_of(lines_mm, INKING), size_px=SIZE_PX, sides=sides)


def ends_mm(one):
    return INKING.to_plan(one.points_px[[0, -1]])


def test_a_line_crossed_by_others_is_one_line():
    crossing = [line((x, 30), (x + 8, 90)) for x in range(60, 310, 30)]

    (one,) = found([line((20, 60), (320, 65)), *crossing])

    # Points are the middles of a 24th of the line each.
    assert np.sort(ends_mm(one)[:, 0]) == pytest.approx([20 + 6.25, 320 - 6.25], abs=1.5)
    off_mm = INKING.to_plan(one.points_px)
    assert np.abs(off_mm[:, 1] - 60 - (off_mm[:, 0] - 20) / 60).max() < 0.05


def test_a_dashed_line_is_one_line_and_two_far_apart_in_one_direction_are_two():
    dashes = [line((x, 60), (x + 6, 60)) for x in range(20, 320, 12)]
    apart = [line((20, 200), (130, 200)), line((190, 200), (300, 200))]

    assert len(found(dashes)) == 1
    assert len(found(apart)) in (0, 2)


def test_curves_and_what_is_part_of_a_curve_are_left():
    rounded = np.vstack(
        [line((300, 100), (500, 100)), arc(40, -90, 90, (500, 140))[1:], line((500, 180), (300, 180))[1:]]
    )
    section = arc(900, 80, 100, (400, -600))
    circle = arc(90, 0, 360, (600, 300))

    for one in found([rounded, section, circle]):
        assert np.abs(np.diff(ends_mm(one)[:, 1])).max() < 2


def test_a_line_beside_a_side_of_the_border_is_not_found_again():
    side_px = INKING.to_picture(np.column_stack([np.linspace(20, 320, 24), np.full(24, 58.0)]))

    assert found([line((20, 60), (320, 60))], sides=[side_px]) == ()


def test_on_a_blank_picture_nothing_is_found():
    assert long_lines(Strokes(np.empty((0, 2)), np.empty(0, np.uint8), ()), size_px=SIZE_PX, sides=()) == ()
