"""A rectangle's corner, held by the sides that meet there."""

import math

import numpy as np
import pytest

from calibration.adjust import adjust
from calibration.kind import Kind
from calibration.observations import Corners, KnownDistance, StraightLine
from calibration.side_corners import corner_by_sides, off_its_sides
from drawing.findings import Level

RECTANGLE_MM = np.array([[20.0, 574.0], [821.0, 574.0], [821.0, 20.0], [20.0, 20.0]])

CROSSING_PX = 0.3
"""Centres of 0.1 px, 24 on a side: a parabola through them is off by 0.06 px at its ends (one sigma, closed form), and
the lens is no parabola."""


def sides_of(camera, rng, *, cut=0.0):
    """Centres along the four sides, which end before the corners by a part of them."""
    t = cut + (1 - 2 * cut) * (np.arange(24) + 0.5)[:, None] / 24
    for i in range(4):
        px = camera(RECTANGLE_MM[i] + t * (RECTANGLE_MM[(i + 1) % 4] - RECTANGLE_MM[i]))
        yield StraightLine(px + rng.normal(0, 0.1, px.shape), 0.1)


def marks(points_px):
    return tuple((float(x), float(y)) for x, y in points_px)


@pytest.mark.parametrize("corner", range(4))
def test_bowed_sides_meet_where_opencv_puts_the_corner(pinhole, corner):
    camera = pinhole(26, 18, -14, 3, k1=-0.05, k2=0.01, distance_mm=1100)
    true_px = camera(RECTANGLE_MM)
    wrong = Corners(marks(true_px + 25.0))

    met = corner_by_sides(wrong, corner, [wrong, *sides_of(camera, np.random.default_rng(1))])

    assert met is not None
    assert math.dist(met, true_px[corner]) < CROSSING_PX


def test_sides_that_end_far_from_a_corner_do_not_hold_it(pinhole):
    camera = pinhole(distance_mm=1100)
    corners = Corners(marks(camera(RECTANGLE_MM)))
    sides = list(sides_of(camera, np.random.default_rng(2), cut=0.2))

    assert corner_by_sides(corners, 0, [corners, *sides]) is None
    assert corner_by_sides(corners, 0, [corners]) is None


@pytest.mark.parametrize("seed", [25, 46])
def test_a_length_one_percent_wrong_is_named_and_no_corner_is_blamed_for_it(pinhole, seed):
    """A corner near its end explains the length's misfit as well as the length itself, but its sides meet in it."""
    rng = np.random.default_rng(seed)
    camera = pinhole(26, *rng.uniform(-20, 20, 2), 3, k1=-0.04, k2=0.01, distance_mm=1100)
    corners_px = camera(RECTANGLE_MM) + rng.normal(0, 0.1, (4, 2))
    given = [Corners(marks(corners_px), 801.0, 554.0), *sides_of(camera, rng)]
    for number in range(1, 5):
        ends_mm = long_enough_mm(rng)
        px = camera(ends_mm) + rng.normal(0, 0.5, (2, 2))
        times = 1.01 if number == 1 else 1.0
        given.append(KnownDistance(*marks(px), times * math.dist(*ends_mm), label=f"known distance {number}"))

    calibration = adjust(given, width_px=4000, height_px=3000, kind=Kind.PHOTO, focal_35mm=26.0)

    (finding,) = [finding for finding in calibration.findings if finding.level is Level.DECIDE]
    assert finding.code == "given-left-out"
    assert finding.about.startswith("known distance 1")


def test_the_one_corner_that_is_not_where_its_sides_meet_is_told(pinhole):
    camera = pinhole(26, 18, -14, 3, k1=-0.05, k2=0.01, distance_mm=1100)
    rng = np.random.default_rng(4)
    places_px = camera(RECTANGLE_MM) + rng.normal(0, 0.5, (4, 2))
    sides = list(sides_of(camera, rng))
    right = Corners(marks(places_px))
    places_px[2] += (8.0, -6.0)
    wrong = Corners(marks(places_px))

    assert off_its_sides(right, [right, *sides]) is None
    assert off_its_sides(wrong, [wrong, *sides]) == 2
    # Corners of another rectangle are none of these sides'.
    another = Corners(marks(places_px + 20.0))
    assert off_its_sides(another, [another, *sides]) is None


def long_enough_mm(rng):
    """Ends of a length anywhere in the rectangle, longer than 200 mm."""
    while True:
        ends_mm = rng.uniform((20, 20), (821, 574), (2, 2))
        if math.dist(*ends_mm) > 200:
            return ends_mm


@pytest.mark.parametrize("slip_px", [(6.0, 0.0), (-14.0, 20.0)])
def test_a_slipped_corner_is_named_where_only_its_sides_check_it(pinhole, slip_px):
    """Size, tilt and lens take up all that one corner of a sized rectangle is off: no residual shows it."""
    camera, rng = pinhole(26, 14, -9, 2, k1=-0.03, distance_mm=1200), np.random.default_rng(3)
    sides = list(sides_of(camera, rng))
    places_px = camera(RECTANGLE_MM) + rng.normal(0, 0.5, (4, 2))
    places_px[1] += slip_px

    calibration = adjust(
        [Corners(marks(places_px), 801.0, 554.0), *sides], width_px=4000, height_px=3000, kind=Kind.PHOTO,
        focal_35mm=26,
    )  # fmt: skip

    decide = [finding for finding in calibration.findings if finding.level is Level.DECIDE]
    assert [finding.code for finding in decide] == ["given-left-out"]
    assert decide[0].about.startswith("the upper-right")
    ends_mm = np.array([long_enough_mm(rng) for _ in range(40)])
    starts_px, ends_px = camera(ends_mm[:, 0]), camera(ends_mm[:, 1])
    mm, u95_mm = calibration.lengths_u95(starts_px, ends_px, mark_sigma_px=0.0)
    off_mm = np.abs(mm - np.hypot(*(ends_mm[:, 1] - ends_mm[:, 0]).T))
    assert np.mean(off_mm <= u95_mm) >= 0.9
