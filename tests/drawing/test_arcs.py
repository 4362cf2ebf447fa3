import math

import numpy as np
import pytest
from hypothesis import given

from drawing.arcs import arc_circle, arc_cubics, split_arc
from drawing.paths import Arc, Cubic, Path, sampled
from tests.drawing.shapes import HALF, bulges, circle, points


def radial_error(cubics: list[Cubic], start: tuple[float, float], centre: complex, radius_mm: float) -> float:
    z = sampled(Path(start, tuple(cubics), False), tolerance_mm=1e-7 * radius_mm) @ (1, 1j)
    return float(np.abs(np.abs(z - centre) - radius_mm).max())


# Radial error / R of n equal cubics on a circle with controls at 4/3 tan(theta / 4): n = 4 2.725e-4,
# 8 4.246e-6, 16 6.63e-8 (computed from that formula).
@pytest.mark.parametrize(
    ("count", "tolerance", "error"), [(4, 2.8e-4, 2.725e-4), (8, 4.3e-6, 4.246e-6), (16, 6.7e-8, 6.63e-8)]
)
def test_cubics_on_a_circle_err_as_the_formula_says(count: int, tolerance: float, error: float) -> None:
    disc = circle(0.0, 0.0, 1.0)
    cubics = [cubic for start, arc in disc.pieces() for cubic in arc_cubics(start, arc, tolerance_mm=tolerance)]

    assert len(cubics) == count
    assert radial_error(cubics, disc.start_mm, 0, 1.0) == pytest.approx(error, rel=2e-3, abs=1e-9)


@given(points, points, bulges)
def test_an_arc_as_cubics_keeps_its_tolerance(
    start: tuple[float, float], end: tuple[float, float], bulge: float
) -> None:
    found = arc_circle(start, Arc(end, bulge))
    if found is None or found.radius_mm > 1e5:
        return

    cubics = arc_cubics(start, Arc(end, bulge), tolerance_mm=1e-4)

    assert cubics[-1].end_mm == end
    z = sampled(Path(start, tuple(cubics), False), tolerance_mm=1e-6) @ (1, 1j)
    assert np.abs(np.abs(z - complex(*found.centre_mm)) - found.radius_mm).max() <= 1e-4 + 2e-6


def test_a_split_arc_runs_on_the_same_circle() -> None:
    # A three-quarter circle about (10, 0), radius 10, from its right clockwise to its top.
    arc = Arc((10.0, 10.0), -math.tan(3 * math.pi / 8))

    pieces = split_arc((20.0, 0.0), arc, count=3)

    assert [piece.end_mm for piece in pieces] == [pytest.approx(end) for end in ((10, -10), (0, 0), (10, 10))]
    assert pieces[-1].end_mm == arc.end_mm


def test_the_circle_of_a_half_turn() -> None:
    found = arc_circle((3.0, 0.0), Arc((1.0, 0.0), HALF))

    assert found is not None
    assert found.centre_mm == pytest.approx((2, 0))
    assert (found.radius_mm, found.start_rad, found.sweep_rad) == pytest.approx((1, 0, math.pi))


def test_what_is_straight_has_no_circle() -> None:
    assert arc_circle((0.0, 0.0), Arc((1.0, 0.0), 0.0)) is None
    assert arc_circle((0.0, 0.0), Arc((0.0, 0.0), 1.0)) is None
