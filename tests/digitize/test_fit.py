"""Fitted curves against closed forms: circles, NACA sections, straight sides; laws over random curves."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from benchmarks.fit_error import naca
from digitize.fit import Contour, fit_contours
from digitize.sections import Section
from drawing.paths import Arc, Line, Path, sampled

Points = NDArray[np.float64]

STEP_MM = 0.18
"""A pixel of a 12-megapixel photo of an A2 sheet."""


def run(points: Points, *, sigma_mm: float = 0.0, closed: bool = False, seed: int = 1) -> Section:
    """A section through a dense polyline with noise across and along it."""
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    at = np.linspace(0, along[-1], round(along[-1] / STEP_MM) + 1)
    even = np.column_stack([np.interp(at, along, points[:, axis]) for axis in (0, 1)])
    even += np.random.default_rng(seed).normal(0, sigma_mm, even.shape) if sigma_mm else 0
    if closed:
        even = even[:-1]
    return Section(even, np.ones(len(even)), sigma_mm, 0.45, closed)


def fitted(section: Section, tolerance_mm: float) -> Path:
    return fit_contours([Contour([section], section.closed)], tolerance_mm=tolerance_mm)[0].path


def circle(radius_mm: float, steps: int = 3000) -> Points:
    turn = np.linspace(0, 2 * np.pi, steps + 1)
    return np.column_stack([20 + radius_mm * np.cos(turn), 30 + radius_mm * np.sin(turn)])


# Closed form: a circle's centre and radius; of n points with noise sigma each, the radius errs by sigma / sqrt(n).
def test_a_noisy_circle_becomes_two_arcs_of_its_radius():
    sigma_mm = 0.02

    path = fitted(run(circle(12.5), sigma_mm=sigma_mm, closed=True), 0.05)

    assert [type(segment) for segment in path.segments] == [Arc, Arc]
    assert [abs(segment.bulge) for segment in path.segments] == [1.0, 1.0]
    radius_mm = abs(path.start_mm[0] - path.segments[0].end_mm[0]) / 2
    assert radius_mm == pytest.approx(12.5, abs=4 * sigma_mm / math.sqrt(2 * math.pi * 12.5 / STEP_MM))


# Closed form: an ellipse is no circle, however round it looks.
def test_an_ellipse_two_tolerances_off_round_is_no_circle():
    ellipse = (circle(20.0) - [20, 30]) * [1.0, 1.01]

    path = fitted(run(ellipse, closed=True), 0.05)

    assert not any(isinstance(segment, Arc) for segment in path.segments)


# Truth: the NACA four-digit formula (NACA Report 460).
@pytest.mark.parametrize("code", ["0012", "2412", "4412"])
def test_a_rib_of_150_mm_needs_at_most_twelve_curves_and_keeps_half_the_tolerance(code):
    truth = naca(code, 150.0, (0.0, 0.0))

    path = fitted(run(truth, sigma_mm=0.1 * STEP_MM), 0.05)

    assert len(path.segments) <= 12
    # All but the two blunt ends' first pixels, where the noisy end point itself is a given.
    line = shapely.LineString(sampled(path, tolerance_mm=0.001))
    every = shapely.line_interpolate_point(line, np.arange(0, line.length, 0.2))
    off_mm = shapely.distance(shapely.LineString(truth), every)
    assert np.quantile(off_mm, 0.95) < 0.025


# Closed form: a straight side with noise stays one line.
def test_a_long_noisy_straight_run_is_one_line():
    section = run(np.array([[0.0, 0.0], [300.0, 40.0]]), sigma_mm=0.03)

    path = fitted(section, 0.05)

    assert [type(segment) for segment in path.segments] == [Line]


# Closed form: a stadium is two lines and two half circles.
def test_straight_sides_between_round_ends_are_lines():
    turn = np.linspace(-np.pi / 2, np.pi / 2, 400)
    right = np.column_stack([100 + 15 * np.cos(turn), 15 * np.sin(turn)])
    stadium = np.vstack([right, -right + [100, 0], right[:1]])

    path = fitted(run(stadium, sigma_mm=0.01, closed=True), 0.05)

    lines = [math.dist(start, segment.end_mm) for start, segment in path.pieces() if isinstance(segment, Line)]
    assert len(lines) == 2
    assert min(lines) > 80
    assert shapely.Polygon(sampled(path, tolerance_mm=0.005)).area == pytest.approx(
        100 * 30 + math.pi * 15**2, rel=1e-3
    )


def wave(coefficients: list[float]) -> Points:
    """A smooth closed curve around a circle of 40 mm."""
    turn = np.linspace(0, 2 * np.pi, 6001)
    radius = 40 + sum(
        a * np.cos(k * turn) + b * np.sin(k * turn)
        for k, (a, b) in enumerate(zip(coefficients[::2], coefficients[1::2], strict=True), start=2)
    )
    return np.column_stack([radius * np.cos(turn), radius * np.sin(turn)])


waves = st.lists(st.floats(-1.5, 1.5), min_size=8, max_size=8)


# Law: the tolerance is kept, both ways, and what is reported is not less than what is measured.
@settings(max_examples=40, deadline=None, derandomize=True)
@given(waves, st.sampled_from([0.02, 0.05, 0.2]))
def test_the_tolerance_is_kept_over_random_curves(coefficients, tolerance_mm):
    truth = wave(coefficients)

    result = fit_contours([Contour([run(truth, closed=True)], True)], tolerance_mm=tolerance_mm)[0]

    path = sampled(result.path, tolerance_mm=0.001)
    there = shapely.distance(shapely.LineString(truth), shapely.points(path)).max()
    back = shapely.distance(shapely.LinearRing(path), shapely.points(truth)).max()
    # The samples' own chords leave the curve by their sagitta, step²/8r, some 0.0005 mm; the path's by 0.001.
    slack_mm = 0.002
    assert max(there, back) <= tolerance_mm + slack_mm
    assert result.deviation_mm <= tolerance_mm
    assert shapely.is_valid(shapely.Polygon(path))


# Law: a path is as smooth as the curve: directions agree at every joint that is no corner.
@settings(max_examples=20, deadline=None, derandomize=True)
@given(waves)
def test_cubics_meet_without_a_kink(coefficients):
    path = fitted(run(wave(coefficients), closed=True), 0.05)

    ways = []
    for start, segment in path.pieces():
        points = sampled(Path(start, (segment,), False), tolerance_mm=1e-5)
        ways.append((points[1] - points[0], points[-1] - points[-2]))
    for (_, out), (into, _) in zip(ways, [*ways[1:], ways[0]], strict=True):
        turn = abs(math.atan2(out[0] * into[1] - out[1] * into[0], float(out @ into)))
        # Chords of the sampled curve stand in for its direction.
        assert turn < math.radians(0.7)


# Laws: turned, mirrored and scaled points give the turned, mirrored and scaled path's area.
@pytest.mark.parametrize(
    ("matrix", "factor"),
    [
        (np.array([[0.6, -0.8], [0.8, 0.6]]), 1.0),
        (np.array([[-1.0, 0.0], [0.0, 1.0]]), 1.0),
        (np.array([[2.0, 0.0], [0.0, 2.0]]), 4.0),
    ],
)
def test_the_fit_follows_a_turn_a_mirror_and_a_scale(matrix, factor):
    section = run(wave([1.0, -0.5, 0.3, 0.8, -0.2, 0.1, 0.4, 0.0]), closed=True)
    scale = math.sqrt(factor)
    moved = Section(section.points_mm @ matrix.T, section.weights, 0.0, 0.45 * scale, True)

    before, after = fitted(section, 0.05), fitted(moved, 0.05 * scale)

    areas = [shapely.Polygon(sampled(path, tolerance_mm=0.0005)).area for path in (before, after)]
    assert areas[1] == pytest.approx(factor * areas[0], rel=2e-5)


# Law: samples that were filled in do not pull the curve.
def test_filled_in_samples_count_for_nothing():
    section = run(circle(20.0), closed=True)
    points, weights = section.points_mm.copy(), section.weights.copy()
    points[100:110] += 0.8
    weights[100:110] = 0

    path = fitted(Section(points, weights, 0.0, 0.45, True), 0.05)

    off_mm = np.abs(np.hypot(*(sampled(path, tolerance_mm=0.001) - [20, 30]).T) - 20)
    assert off_mm.max() < 0.01
