import cmath
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from drawing.errors import DrawingError
from drawing.paths import Arc, Cubic, Line, Path, sampled
from tests.drawing.shapes import bulges, open_paths, points

# Rounding of coordinates of up to 500 mm in double precision, with room.
ROUNDING_MM = 1e-7


def distance_to_polyline_mm(at: np.ndarray, corners: np.ndarray) -> np.ndarray:
    """Distance of each of (N, 2) points from a polyline of (M, 2) corners."""
    start, step = corners[:-1], np.diff(corners, axis=0)
    length2 = np.maximum((step**2).sum(axis=1), 1e-300)
    along = np.clip(((at[:, None] - start) * step).sum(axis=2) / length2, 0, 1)
    return np.linalg.norm(at[:, None] - (start + along[..., None] * step), axis=2).min(axis=1)


def halved_arc(a: complex, b: complex, bulge: float, *, times: int) -> list[complex]:
    """Points after `a` on an arc, without its centre: its sagitta's tip halves it, and halves have tan(sweep / 8)."""
    if times == 0:
        return [b]
    tip = (a + b) / 2 - 1j * (b - a) / 2 * bulge
    half = bulge / (1 + math.sqrt(1 + bulge**2))
    return halved_arc(a, tip, half, times=times - 1) + halved_arc(tip, b, half, times=times - 1)


def curve_points(path: Path) -> np.ndarray:
    """Points on the true curve, by another route than the code under test."""
    t = np.linspace(0, 1, 65)
    runs = []
    for start, segment in path.pieces():
        a, b = complex(*start), complex(*segment.end_mm)
        match segment:
            case Cubic():
                c1, c2 = complex(*segment.control1_mm), complex(*segment.control2_mm)
                z = (1 - t) ** 3 * a + 3 * (1 - t) ** 2 * t * c1 + 3 * (1 - t) * t**2 * c2 + t**3 * b
            case Arc():
                z = np.array(halved_arc(a, b, segment.bulge, times=6))
            case Line():
                z = a + (b - a) * t
        runs.append(np.column_stack([z.real, z.imag]))
    return np.concatenate(runs)


@given(open_paths(), st.sampled_from([0.001, 0.05, 2.0, 500.0]))
def test_sampling_keeps_its_tolerance(path: Path, tolerance_mm: float) -> None:
    chords = sampled(path, tolerance_mm=tolerance_mm)

    assert distance_to_polyline_mm(curve_points(path), chords).max() <= tolerance_mm + ROUNDING_MM


@given(open_paths())
def test_sampled_points_pass_through_every_end(path: Path) -> None:
    chords = {tuple(point) for point in sampled(path, tolerance_mm=0.5)}

    assert {path.start_mm, *(segment.end_mm for segment in path.segments)} <= chords


@given(points, points, bulges.filter(lambda bulge: abs(bulge) > 1e-3))
def test_an_arc_turns_by_four_times_the_arctangent_of_its_bulge(
    start: tuple[float, float], end: tuple[float, float], bulge: float
) -> None:
    # DXF reference, LWPOLYLINE code 42: bulge is the tangent of a quarter of the included angle, positive
    # counter-clockwise; so its sagitta is bulge times half the chord, to the right of the way.
    if math.dist(start, end) < 1:
        return
    a, b = complex(*start), complex(*end)
    chords = sampled(Path(start, (Arc(end, bulge),), False), tolerance_mm=0.01)
    z = chords[:, 0] + 1j * chords[:, 1]
    turn = sum(cmath.phase(after / before) for before, after in zip(np.diff(z)[:-1], np.diff(z)[1:], strict=True))
    tip = (a + b) / 2 - 1j * (b - a) / 2 * bulge

    steps = len(z) - 1
    assert turn == pytest.approx(4 * math.atan(bulge) * (steps - 1) / steps, abs=1e-6)
    assert distance_to_polyline_mm(np.array([[tip.real, tip.imag]]), chords)[0] <= 0.01 + ROUNDING_MM


def test_a_flat_arc_is_a_line_and_never_divides_by_nothing() -> None:
    path = Path((0.0, 0.0), (Arc((100.0, 0.0), 1e-17), Arc((100.0, 50.0), 1e-9)), False)

    assert len(sampled(path, tolerance_mm=0.001)) == 3


def test_a_closed_path_ends_where_it_starts() -> None:
    with pytest.raises(DrawingError, match="end it where it starts"):
        Path((0.0, 0.0), (Line((1.0, 0.0)), Line((1.0, 1.0))), True)


def test_a_path_has_a_segment() -> None:
    with pytest.raises(DrawingError, match="no segments"):
        Path((0.0, 0.0), (), False)
