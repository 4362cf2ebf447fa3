from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given

from drawing.drawing import Drawing, reversed_path
from drawing.path_measures import path_area_mm2
from drawing.paths import Path, sampled
from tests.drawing.shapes import letter_f, open_paths, outline, parts


def test_a_drawing_with_nothing_in_it_has_no_bounds() -> None:
    assert Drawing((), ()).bounds_mm() is None


def test_a_mirrored_f_has_its_arms_to_the_left() -> None:
    mirrored = Drawing((outline(1, letter_f()),), ()).mirrored()

    corners = sampled(mirrored.outlines[0].boundary, tolerance_mm=1)
    assert {tuple(corner) for corner in corners} >= {(-35.0, 60.0), (-35.0, 50.0), (-25.0, 25.0), (0.0, 0.0)}
    assert mirrored.bounds_mm() == (-35, 0, 0, 60)


def test_mirroring_twice_changes_nothing() -> None:
    drawing = parts()

    twice = drawing.mirrored().mirrored()

    assert twice == drawing


def test_scaling_by_a_half_and_by_two_changes_nothing() -> None:
    drawing = parts()

    assert drawing.scaled(Fraction(1, 2)).scaled(Fraction(2)) == drawing


def test_give_or_take_and_deviation_scale_with_the_drawing() -> None:
    full = Drawing((outline(1, letter_f()),), ())
    given = Drawing(
        tuple(
            type(o)(o.number, o.boundary, o.holes, (3.0, 4.0), 99.0, deviation_mm=0.2, u95_mm=0.6)
            for o in full.outlines
        ),
        (),
    )

    built = given.scaled(Fraction(1, 2)).outlines[0]

    assert (built.deviation_mm, built.u95_mm) == (0.1, 0.3)
    # What is in the picture stays there.
    assert (built.inside_px, built.area_px2) == ((3.0, 4.0), 99.0)


def test_outlines_stay_counter_clockwise_and_holes_clockwise() -> None:
    for drawing in (parts(), parts().mirrored(), parts().scaled(Fraction(1, 3))):
        for part in drawing.outlines:
            assert path_area_mm2(part.boundary) > 0
            assert all(path_area_mm2(hole) < 0 for hole in part.holes)


@given(open_paths())
def test_a_path_run_backwards_passes_the_same_points(path: Path) -> None:
    there = sampled(path, tolerance_mm=0.1)
    back = sampled(reversed_path(path), tolerance_mm=0.1)[::-1]

    assert back.shape == there.shape
    assert np.abs(back - there).max() == pytest.approx(0, abs=1e-6)
