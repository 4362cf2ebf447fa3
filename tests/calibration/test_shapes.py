"""Angle, area and radius: closed forms, laws, and intervals that hold what they say."""

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely

from calibration.adjust import adjust
from calibration.calibration import Calibration
from calibration.kind import Kind
from calibration.observations import CalibrationError, Corners, GivenScale
from calibration.plane_map import P
from calibration.shapes import angle, area, ordinate_u95, radius, ring_area
from sample_scans.camera import View, camera_for

A3_MM = np.array([[0.0, 297.0], [420.0, 297.0], [420.0, 0.0], [0.0, 0.0]])
MM_PER_PX = 0.125
SIGMA_PX = 0.3


def scan() -> Calibration:
    """A scan of 8 px a mm, told to be without error: only the marks' own is left."""
    given = GivenScale(MM_PER_PX, MM_PER_PX, "a test", 1e-6)
    found = adjust([given], width_px=4000, height_px=3000, kind=Kind.SCAN)
    return replace(found, covariance=np.zeros((len(P), len(P))))


def photo() -> Calibration:
    view = View(focal_35mm=26.0, tilt_x_deg=12.0, tilt_y_deg=-9.0, turn_deg=2.0)
    camera = camera_for(A3_MM, view, width_px=4000, height_px=3000)
    ul, ur, lr, ll = ((float(x), float(y)) for x, y in camera.to_picture(A3_MM))
    return adjust(
        [Corners((ul, ur, lr, ll), 420.0, 297.0)], width_px=4000, height_px=3000, kind=Kind.PHOTO, focal_35mm=26
    )


TRIANGLE_PX = ((800.0, 800.0), (800.0 + 320, 800.0), (800.0, 800.0 + 240))
"""Sides of 30, 40 and 50 mm at 8 px a mm."""


def test_a_three_four_five_triangle_has_the_angles_area_and_circle_of_the_books() -> None:
    right, along, up = TRIANGLE_PX

    at_right = angle(scan(), along, right, up, mark_sigma_px=SIGMA_PX)
    sharp = angle(scan(), right, along, up, mark_sigma_px=SIGMA_PX)
    inside = area(scan(), TRIANGLE_PX, mark_sigma_px=SIGMA_PX)
    around = radius(scan(), TRIANGLE_PX, mark_sigma_px=SIGMA_PX)

    # Euclid: the right angle; acos(4/5); half the product of the legs; half the longest side (Thales).
    assert at_right.rad == pytest.approx(math.pi / 2, abs=1e-9)
    assert sharp.rad == pytest.approx(math.acos(0.8), abs=1e-9)
    assert inside.mm2 == pytest.approx(600.0, rel=1e-6)
    assert around.mm == pytest.approx(25.0, rel=1e-6)
    assert around.middle_px == pytest.approx((960.0, 920.0), abs=0.01)
    assert around.stray_mm == 0


def test_an_angles_error_is_that_of_the_surveyors() -> None:
    # Errors of targets and of the instrument's place: s² (1/a² + 1/b²) and s² c² / (a² b²) (Ghilani, Adjustment
    # Computations, errors in traditional surveys; from memory).
    first, corner, second = (400.0, 300.0), (1000.0, 900.0), (1900.0, 700.0)
    a, b, c = math.dist(first, corner), math.dist(second, corner), math.dist(first, second)
    expected = 1.96 * SIGMA_PX * math.sqrt(1 / a**2 + 1 / b**2 + c**2 / (a * b) ** 2)

    measured = angle(scan(), first, corner, second, mark_sigma_px=SIGMA_PX)

    assert measured.u95_rad == pytest.approx(expected, rel=1e-4)


def test_a_squares_and_a_circles_error_are_those_by_hand() -> None:
    side_px, reach_px = 800.0, 500.0
    square = [(500.0, 500.0), (1300.0, 500.0), (1300.0, 1300.0), (500.0, 1300.0)]
    turns = np.arange(7) / 7 * 2 * math.pi
    ring = np.column_stack([2000 + reach_px * np.cos(turns), 1500 + reach_px * np.sin(turns)])

    flat = area(scan(), square, mark_sigma_px=SIGMA_PX)
    round_ = radius(scan(), ring, mark_sigma_px=SIGMA_PX)

    # Each corner moves the area by half its diagonal: four of them, sqrt(2) sides in all.
    assert flat.u95_mm2 == pytest.approx(1.96 * SIGMA_PX * math.sqrt(2) * side_px * MM_PER_PX**2, rel=1e-4)
    # Equal steps around: the radius is the mean of the seven distances.
    assert round_.u95_mm == pytest.approx(1.96 * SIGMA_PX / math.sqrt(7) * MM_PER_PX, rel=1e-4)


def test_a_scale_in_doubt_changes_areas_twice_radii_once_and_angles_not_at_all() -> None:
    only_scale = np.zeros((len(P), len(P)))
    only_scale[P.LOG_SCALE, P.LOG_SCALE] = 0.01**2
    calibration = replace(scan(), covariance=only_scale)
    right, along, up = TRIANGLE_PX

    doubted = angle(calibration, along, right, up, mark_sigma_px=0.0)

    assert doubted.u95_rad == pytest.approx(0, abs=1e-9)
    assert area(calibration, TRIANGLE_PX, mark_sigma_px=0.0).u95_mm2 == pytest.approx(2 * 1.96 * 6, rel=1e-3)
    assert radius(calibration, TRIANGLE_PX, mark_sigma_px=0.0).u95_mm == pytest.approx(1.96 * 0.25, rel=1e-3)


def test_an_area_is_the_one_another_library_gives() -> None:
    corners = [(700.0, 600.0), (2900.0, 800.0), (3100.0, 1500.0), (1500.0, 1300.0), (900.0, 2300.0)]
    calibration = photo()

    measured = area(calibration, corners)

    polygon = shapely.Polygon(calibration.to_plan(np.array(corners)))
    assert measured.mm2 == pytest.approx(polygon.area, rel=1e-12)
    assert area(calibration, corners[::-1]).mm2 == pytest.approx(measured.mm2, rel=1e-12)


@pytest.mark.parametrize("shape", ["angle", "area", "radius", "arc of five"])
def test_intervals_hold_what_they_say(shape: str) -> None:
    """2000 maps drawn from the covariance, marks set with their error: 95 % of intervals hold the true value."""
    rng = np.random.default_rng(7)
    told = photo()
    turns = np.array([0.2, 0.9, 1.5] if shape != "arc of five" else [0.2, 0.5, 0.9, 1.2, 1.6])
    if shape in ("radius", "arc of five"):
        true_mm = np.column_stack([120 + 90 * np.cos(turns), 80 + 90 * np.sin(turns)])
    else:
        true_mm = np.array([(60.0, 60.0), (260.0, 90.0), (210.0, 230.0)])
    true = {"angle": _angle_of(true_mm), "area": shapely.Polygon(true_mm).area}.get(shape, 90.0)
    inside = []
    for _ in range(2000):
        # The map that took the picture; the told one is its estimate, off by the covariance.
        drawn = replace(told, values=rng.multivariate_normal(told.values, told.covariance))
        marks_px = drawn.to_picture(true_mm) + rng.normal(0, SIGMA_PX, true_mm.shape)
        marks = [(float(x), float(y)) for x, y in marks_px]
        match shape:
            case "angle":
                got = angle(told, *marks, mark_sigma_px=SIGMA_PX)
                inside.append(abs(got.rad - true) <= got.u95_rad)
            case "area":
                flat = area(told, marks, mark_sigma_px=SIGMA_PX)
                inside.append(abs(flat.mm2 - true) <= flat.u95_mm2)
            case _:
                round_ = radius(told, marks, mark_sigma_px=SIGMA_PX)
                inside.append(abs(round_.mm - true) <= round_.u95_mm)
    # 95 % of 2000 to three sigma is 1.5 %; an arc of five marks is widened by chance scatter, never narrowed.
    assert 0.935 <= np.mean(inside) <= (0.99 if shape == "arc of five" else 0.965)


def test_marks_off_their_circle_widen_it() -> None:
    turns = np.arange(8) / 8 * 2 * math.pi
    reach_px = 400 + 8 * np.cos(4 * turns)
    ring = np.column_stack([2000 + reach_px * np.cos(turns), 1500 + reach_px * np.sin(turns)])

    measured = radius(scan(), ring, mark_sigma_px=SIGMA_PX)

    assert measured.mm == pytest.approx(50, abs=0.01)
    assert measured.stray_mm == pytest.approx(math.sqrt(8 / 5), rel=0.01)
    assert measured.u95_mm == pytest.approx(1.96 * math.sqrt(8 / 5) / math.sqrt(8), rel=0.01)


def test_what_is_no_shape_is_refused_in_words() -> None:
    calibration = scan()
    one = (100.0, 100.0)
    refused = [
        (lambda: angle(calibration, one, one, (300.0, 100.0), mark_sigma_px=0.3), "no length"),
        (lambda: area(calibration, [one, (200.0, 100.0)]), "needs three"),
        (lambda: area(calibration, [one, (200.0, 200.0), (200.0, 100.0), (100.0, 200.0)]), "cross one another"),
        (lambda: area(calibration, [one, (200.0, 200.0), (300.0, 300.0)]), "one line"),
        (lambda: radius(calibration, [one, (200.0, 200.0)]), "needs three"),
        (lambda: radius(calibration, [one, (200.0, 200.0), (300.0, 300.0)]), "one line"),
        (lambda: radius(calibration, [one, one, one]), "one spot"),
        (lambda: radius(calibration, [one, (math.nan, 1.0), (1.0, 2.0)]), "no pair of numbers"),
    ]
    for ask, words in refused:
        with pytest.raises(CalibrationError, match=words):
            ask()


def _angle_of(points: np.ndarray) -> float:
    first, second = points[0] - points[1], points[2] - points[1]
    return math.acos(float(first @ second) / math.hypot(*first) / math.hypot(*second))


def test_a_drawn_outlines_area_is_the_one_another_library_gives_and_its_edge_errs_all_round() -> None:
    turns = np.arange(720) / 720 * 2 * math.pi
    rings_px = [np.column_stack([2000 + r * np.cos(turns), 1500 + r * np.sin(turns)]) for r in (800.0, 300.0)]
    calibration = scan()

    flat = ring_area(calibration, rings_px[0], [rings_px[1]], edge_sigma_px=SIGMA_PX)

    plate = shapely.Polygon(*(calibration.to_plan(ring) for ring in rings_px[:1])).difference(
        shapely.Polygon(calibration.to_plan(rings_px[1]))
    )
    assert flat.mm2 == pytest.approx(plate.area, rel=1e-9)
    # An edge that lies out by d all round adds d times the way round: of the disc and of its hole.
    way_round_mm = sum(shapely.Polygon(calibration.to_plan(ring)).length for ring in rings_px)
    assert flat.u95_mm2 == pytest.approx(1.96 * SIGMA_PX * MM_PER_PX * way_round_mm, rel=1e-3)


@pytest.mark.parametrize("told_as_part", [True, False])
def test_ordinates_intervals_hold_what_they_say(told_as_part: bool) -> None:
    """2000 maps drawn from the covariance, a sloping edge and both ends of the base line set with their error."""
    rng = np.random.default_rng(11)
    told = photo()
    base_mm, station, slope = np.array([(60.0, 60.0), (300.0, 100.0)]), 0.3, -0.6
    along = (base_mm[1] - base_mm[0]) / np.hypot(*(base_mm[1] - base_mm[0]))
    up, length = np.array([-along[1], along[0]]), float(np.hypot(*(base_mm[1] - base_mm[0])))
    true_mm = 40.0
    at_mm = base_mm[0] + station * length * along + true_mm * up
    edge_mm = np.array([at_mm - 3 * (along + slope * up), at_mm + 3 * (along + slope * up)])
    sigmas_px = np.array([0.5, 0.5, 0.2])
    inside = []
    for _ in range(2000):
        drawn = replace(told, values=rng.multivariate_normal(told.values, told.covariance))
        ends_px = drawn.to_picture(base_mm) + rng.normal(0, 0.5, (2, 2))
        edge_px = drawn.to_picture(edge_mm) + rng.normal(0, 0.2, 2)
        ends, edge = told.to_plan(ends_px), told.to_plan(edge_px)
        x_way = (ends[1] - ends[0]) / np.hypot(*(ends[1] - ends[0]))
        y_way = np.array([-x_way[1], x_way[0]])
        x, y = (edge - ends[0]) @ x_way, (edge - ends[0]) @ y_way
        at = station * (np.hypot(*(ends[1] - ends[0])) if told_as_part else length)
        rise = (y[1] - y[0]) / (x[1] - x[0])
        got = y[0] + rise * (at - x[0])
        place_px = told.to_picture((ends[0] + at * x_way + got * y_way)[None])[0]
        u95_mm = ordinate_u95(
            told, ends_px, place_px, along_part=station if told_as_part else None, edge_slope=rise,
            mark_sigma_px=sigmas_px,
        )  # fmt: skip
        inside.append(abs(got - true_mm) <= u95_mm)
    # 95 % of 2000 to three sigma is 1.5 %.
    assert 0.935 <= np.mean(inside) <= 0.965
