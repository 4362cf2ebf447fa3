import math
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from drawing.drawing import Drawing, reversed_path
from drawing.errors import DrawingError
from drawing.path_measures import path_area_mm2, path_bounds_mm, path_length_mm
from drawing.paths import Arc, Cubic, Line, Path, sampled
from tests.drawing.shapes import HALF, circle, closed_paths, letter_f, open_paths, outline, wing_rib

# Sampling to this leaves this much of a length; see each use.
FINE_MM = 2e-3


def test_the_area_of_an_f_by_hand() -> None:
    # 10 x 60 upright, 15 x 10 and 25 x 10 arms.
    assert path_area_mm2(letter_f(x_mm=1000, y_mm=-3000)) == pytest.approx(600 + 150 + 250, abs=1e-9)
    assert path_length_mm(letter_f()) == pytest.approx(2 * (35 + 60) + 2 * 15, abs=1e-9)


def test_a_circle_of_two_arcs_is_exact() -> None:
    disc = circle(300.0, -200.0, 12.5)

    assert path_area_mm2(disc) == pytest.approx(math.pi * 12.5**2, rel=1e-12)
    assert path_length_mm(disc) == pytest.approx(2 * math.pi * 12.5, rel=1e-12)
    assert path_bounds_mm(disc) == pytest.approx((287.5, -212.5, 312.5, -187.5), abs=1e-9)


def test_a_parabola_under_a_cubic_is_two_thirds_of_its_box() -> None:
    # Archimedes: a parabola's segment is 2/3 of base x height. The quadratic (0,0) (1,2) (2,0) has
    # height 1 and, raised to a cubic, controls at its two thirds.
    arch = Path((0.0, 0.0), (Cubic((2 / 3, 4 / 3), (4 / 3, 4 / 3), (2.0, 0.0)), Line((0.0, 0.0))), True)

    assert path_area_mm2(arch) == pytest.approx(-4 / 3, rel=1e-14)
    assert path_bounds_mm(arch) == pytest.approx((0, 0, 2, 1), abs=1e-12)
    # Length of y = x (2 - x) from 0 to 2: sqrt 5 + asinh(2) / 2 (calculus).
    assert path_length_mm(arch) == pytest.approx(math.sqrt(5) + math.asinh(2) / 2 + 2, rel=1e-9)


def test_a_cusp_has_its_length() -> None:
    # x = t^2 scaled, y = t^3: the semicubical parabola's arc, ((4 + 9 t^2)^1.5 - 8) / 27 (Neile 1657).
    cusp = Path((0.0, 0.0), (Cubic((0.0, 0.0), (1 / 3, 0.0), (1.0, 1.0)),), False)

    assert path_length_mm(cusp) == pytest.approx((13**1.5 - 8) / 27, rel=1e-8)


@pytest.mark.parametrize("bulge", [0.999e-3, 1.001e-3, 1e-6, -1e-9, 0.2])
def test_the_area_of_a_flat_arc_loses_no_digits(bulge: float) -> None:
    # Segment area / chord^2 as a power series of the bulge, from r^2 / 2 (s - sin s) with s = 4 atan b.
    lens = Path((0.0, 0.0), (Arc((100.0, 0.0), bulge), Line((0.0, 0.0))), True)
    s = 4 * Fraction(bulge) * sum(Fraction(-1) ** k * Fraction(bulge) ** (2 * k) / (2 * k + 1) for k in range(40))
    sine = sum((-1) ** k * s ** (2 * k + 1) / math.factorial(2 * k + 1) for k in range(12))
    radius = 100 * (1 + Fraction(bulge) ** 2) / (4 * Fraction(bulge))

    assert path_area_mm2(lens) == pytest.approx(float(radius**2 / 2 * (s - sine)), rel=1e-9)


def shoelace_mm2(path: Path) -> float:
    x, y = sampled(path, tolerance_mm=FINE_MM).T
    return float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2


@given(closed_paths())
def test_area_agrees_with_the_shoelace_of_its_samples(path: Path) -> None:
    # Each chord leaves at most tolerance x length outside it.
    room = FINE_MM * path_length_mm(path) + 1e-4

    assert path_area_mm2(path) == pytest.approx(shoelace_mm2(path), abs=room)


@given(open_paths())
def test_length_agrees_with_its_samples(path: Path) -> None:
    chords = np.hypot(*np.diff(sampled(path, tolerance_mm=FINE_MM), axis=0).T).sum()

    # Chords are shorter, and by little.
    assert chords - 1e-6 <= path_length_mm(path) <= chords * 1.0001 + 0.05


@given(closed_paths())
def test_bounds_hold_every_sample_and_touch_them(path: Path) -> None:
    samples = sampled(path, tolerance_mm=FINE_MM)
    tight = (*samples.min(axis=0), *samples.max(axis=0))
    low_x, low_y, high_x, high_y = path_bounds_mm(path)

    assert low_x <= tight[0] + 1e-7
    assert low_y <= tight[1] + 1e-7
    assert high_x >= tight[2] - 1e-7
    assert high_y >= tight[3] - 1e-7
    assert (low_x, low_y, high_x, high_y) == pytest.approx(tight, abs=FINE_MM + 1e-7)


@given(closed_paths())
def test_running_a_path_backwards_turns_the_sign_of_its_area_only(path: Path) -> None:
    back = reversed_path(path)

    assert path_area_mm2(back) == pytest.approx(-path_area_mm2(path), abs=1e-4)
    assert path_length_mm(back) == pytest.approx(path_length_mm(path), rel=1e-8)
    assert path_bounds_mm(back) == pytest.approx(path_bounds_mm(path), abs=1e-7)


@given(closed_paths(), st.fractions(min_value=Fraction(1, 50), max_value=20, max_denominator=50))
def test_at_n_times_the_size_lengths_go_with_n_and_areas_with_its_square(path: Path, n: Fraction) -> None:
    drawing = Drawing((outline(1, path),), ()).scaled(n)
    built = drawing.outlines[0].boundary

    assert path_area_mm2(built) == pytest.approx(float(n**2) * path_area_mm2(path), abs=1e-4 * float(n**2), rel=1e-9)
    assert path_length_mm(built) == pytest.approx(float(n) * path_length_mm(path), rel=1e-8)
    assert drawing.bounds_mm() == pytest.approx([float(n) * side for side in path_bounds_mm(path)], abs=1e-6)


@given(closed_paths())
def test_a_mirror_keeps_area_length_and_direction(path: Path) -> None:
    mirrored = Drawing((outline(1, path),), ()).mirrored().outlines[0].boundary
    low_x, low_y, high_x, high_y = path_bounds_mm(path)

    # Turned to -x and run the other way: outer loops stay counter-clockwise.
    assert path_area_mm2(mirrored) == pytest.approx(path_area_mm2(path), abs=1e-4)
    assert path_length_mm(mirrored) == pytest.approx(path_length_mm(path), rel=1e-8)
    assert path_bounds_mm(mirrored) == pytest.approx((-high_x, low_y, -low_x, high_y), abs=1e-7)


def test_an_open_path_has_no_area() -> None:
    with pytest.raises(DrawingError, match="close it"):
        path_area_mm2(Path((0.0, 0.0), (Line((1.0, 0.0)),), False))


def test_winding_of_the_shapes_used_in_tests() -> None:
    assert path_area_mm2(letter_f()) > 0
    assert path_area_mm2(wing_rib(0, 0)) > 0
    assert path_area_mm2(circle(0, 0, 1, bulge=-HALF)) < 0


# Closed form: centre (7/600, 1/600), radius sqrt(2) / 120; the circle's lowest point lies on the arc.
def test_an_arc_that_ends_beyond_a_whole_turn_has_all_its_extremes() -> None:
    path = Path((0.0, 0.0), (Arc((0.01, -0.01), -3.0), Line((0.0, 0.0))), closed=True)

    low_y = path_bounds_mm(path)[1]

    assert low_y == pytest.approx(1 / 600 - math.sqrt(2) / 120, abs=1e-12)
