"""What must hold for any calibration: round trip, scale, turn, order, frame."""

import time
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration.adjust import adjust
from calibration.calibration import Calibration
from calibration.kind import Kind
from calibration.observations import Corners, KnownDistance
from calibration.plane_map import P, PictureSize, picture_from_plane, plane_from_picture

SIZE = PictureSize(4000, 3000)
TILTED = np.array([6.7, 0.05, -0.1, 0.18, 0, 0, 0, 0, 0, 0])
"""A map by hand; marks made with it fit a camera by construction."""


def tilted_marks(points_mm):
    return tuple((float(x), float(y)) for x, y in picture_from_plane(TILTED, np.array(points_mm), SIZE))


CORNERS = Corners(tilted_marks([(-300.0, 200.0), (300.0, 200.0), (300.0, -200.0), (-300.0, -200.0)]))
KNOWNS = (
    KnownDistance(*tilted_marks([(-250.0, 90.0), (250.0, 90.0)]), 500.0, label="known distance 1"),
    KnownDistance(*tilted_marks([(150.0, 150.0), (150.0, -150.0)]), 300.0, label="known distance 2"),
)

numbers = st.floats(-1, 1)


@given(tilts=st.tuples(numbers, numbers), lens=st.tuples(numbers, numbers, numbers, numbers), focal=numbers)
@settings(deadline=None, max_examples=60, derandomize=True)
def test_picture_to_plane_and_back_comes_to_the_same_px(tilts, lens, focal):
    values = np.zeros(10)
    values[P.LOG_SCALE], values[P.LOG_FOCAL] = 6.0, 0.2 + 0.3 * focal
    values[[P.TILT_X, P.TILT_Y]] = 0.4 * np.array(tilts)
    values[[P.K1, P.K2, P.CENTRE_X, P.CENTRE_Y]] = np.array(lens) * (0.1, 0.05, 0.01, 0.01)
    values[[P.STRETCH, P.SHEAR]] = 0.008, -0.004
    grid = np.stack(np.meshgrid(np.linspace(0, 3999, 15), np.linspace(0, 2999, 11)), axis=-1).reshape(-1, 2)

    there = plane_from_picture(values, grid, SIZE)
    back = picture_from_plane(values, there, SIZE)

    on_plane = np.isfinite(there).all(axis=1)
    assert on_plane.sum() > 80
    # 0.01 px is promised.
    assert np.abs(back[on_plane] - grid[on_plane]).max() < 0.01


def photo(observations, **more) -> Calibration:
    return adjust(observations, width_px=4000, height_px=3000, kind=Kind.PHOTO, focal_35mm=26, **more)


def test_a_calibrations_own_maps_invert_one_another():
    calibration = photo([CORNERS, *KNOWNS])
    points_px = np.random.default_rng(1).uniform((0, 0), (3999, 2999), (500, 2))

    assert calibration.to_picture(calibration.to_plan(points_px)) == pytest.approx(points_px, abs=0.01)


@pytest.mark.parametrize("kind", [Kind.PHOTO, Kind.SCAN])
def test_scaling_all_lengths_scales_the_plan(kind):
    points_px = np.random.default_rng(2).uniform((0, 0), (3999, 2999), (50, 2))
    square = Corners(((700, 500), (3300, 500), (3300, 2500), (700, 2500)), give_mm=0.1)
    knowns = [KnownDistance((800, 700), (3100, 700), 460.0), KnownDistance((900, 650), (900, 2400), 351.0)]

    def scaled(times):
        given = [
            replace(square, give_mm=0.1 * times),
            *(replace(k, length_mm=k.length_mm * times, give_mm=0.2 * times) for k in knowns),
        ]
        return adjust(given, width_px=4000, height_px=3000, kind=kind).to_plan(points_px)

    assert scaled(7.0) == pytest.approx(7.0 * scaled(1.0), rel=1e-6, abs=1e-3)


@pytest.mark.parametrize("kind", [Kind.PHOTO, Kind.SCAN])
def test_the_order_of_observations_changes_nothing(kind):
    square = Corners(((700, 500), (3300, 500), (3300, 2500), (700, 2500)))
    knowns = [KnownDistance((800, 700), (3100, 700), 460.0), KnownDistance((900, 650), (900, 2400), 351.0)]
    given = [square, *knowns]
    points_px = np.random.default_rng(3).uniform((0, 0), (3999, 2999), (50, 2))

    one = adjust(given, width_px=4000, height_px=3000, kind=kind)
    other = adjust(given[::-1], width_px=4000, height_px=3000, kind=kind)

    assert other.to_plan(points_px) == pytest.approx(one.to_plan(points_px), abs=1e-6)
    assert other.covariance == pytest.approx(one.covariance, rel=1e-3, abs=1e-9)


@pytest.mark.parametrize("kind", [Kind.PHOTO, Kind.SCAN])
def test_a_picture_turned_by_90_degrees_gives_the_same_plan(kind):
    square = Corners(((700, 500), (3300, 560), (3240, 2500), (640, 2440)))
    knowns = [KnownDistance((800, 700), (3100, 753), 460.0), KnownDistance((900, 650), (846, 2400), 351.0)]
    points_px = np.random.default_rng(4).uniform((0, 0), (3999, 2999), (50, 2))

    def turned(p):
        # Clockwise: x' = height - 1 - y, y' = x.
        return (2999 - p[1], p[0])

    upright = adjust([square, *knowns], width_px=4000, height_px=3000, kind=kind, focal_35mm=26)
    lying = adjust(
        [
            Corners(tuple(turned(p) for p in square.points_px)),
            *(replace(k, start_px=turned(k.start_px), end_px=turned(k.end_px)) for k in knowns),
        ],
        width_px=3000,
        height_px=4000,
        kind=kind,
        focal_35mm=26,
    )

    assert lying.to_plan(np.array([turned(p) for p in points_px])) == pytest.approx(
        upright.to_plan(points_px), abs=1e-5
    )


def test_plan_y_is_up_and_nothing_is_mirrored():
    # An F: stem from its foot upwards, arms to the right.
    calibration = adjust([KnownDistance((100, 500), (600, 500), 50.0)], width_px=1000, height_px=800, kind=Kind.SCAN)

    foot, top, arm = calibration.to_plan(np.array([[100.0, 700.0], [100.0, 100.0], [400.0, 100.0]]))

    assert top[1] - foot[1] == pytest.approx(60.0)
    assert arm[0] - top[0] == pytest.approx(30.0)


def test_the_origin_can_be_kept():
    kept = adjust(
        [KnownDistance((100, 500), (600, 500), 50.0)],
        width_px=1000,
        height_px=800,
        kind=Kind.SCAN,
        origin_px=(250.0, 640.0),
    )

    assert kept.to_plan(np.array([[250.0, 640.0]])) == pytest.approx(np.zeros((1, 2)), abs=1e-12)


def test_beyond_the_horizon_there_is_no_plan():
    values = np.zeros(10)
    values[P.TILT_Y] = -2.5

    plane = plane_from_picture(values, np.array([[2000.0, 0.0], [2000.0, 2900.0]]), SIZE)

    assert np.isnan(plane[0]).all()
    assert np.isfinite(plane[1]).all()


def test_a_million_points_take_about_as_long_as_ten_plain_passes():
    calibration = photo([CORNERS, *KNOWNS])
    points_px = np.random.default_rng(5).uniform((0, 0), (3999, 2999), (1_000_000, 2))

    begin = time.process_time()
    calibration.to_plan(points_px)
    ours = time.process_time() - begin
    begin = time.process_time()
    for _ in range(10):
        np.sqrt(points_px)
    plain = time.process_time() - begin

    # Measured at 4-8; a Python loop over points would be at some 300.
    assert ours < 40 * plain
