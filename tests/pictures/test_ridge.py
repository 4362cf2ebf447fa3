"""The centre of an ink line, against lines whose darkness is written down in closed form."""

import math

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.special import erf

from pictures.ridge import line_centres

FINE_PX = 0.02
"""Linear sampling of a blurred line, uint8 steps: a centre better than a fiftieth of a pixel."""


def bar(
    *, width: int, height: int, through: tuple[float, float], angle_rad: float, ink_px: float, blur_px: float
) -> NDArray[np.uint8]:
    """A straight line of ink, exact: a box of `ink_px` blurred by a Gaussian is a difference of two erf."""
    y, x = np.mgrid[0:height, 0:width]
    across = -(x - through[0]) * math.sin(angle_rad) + (y - through[1]) * math.cos(angle_rad)
    root = math.sqrt(2) * blur_px
    dark = 0.5 * (erf((across + ink_px / 2) / root) - erf((across - ink_px / 2) / root))
    return np.round(220 * dark).astype(np.uint8)


@pytest.mark.parametrize("angle_deg", [0, 7, 31, 45, 90, 133])
@pytest.mark.parametrize("ink_px", [1.2, 3.0, 8.0])
def test_centre_of_a_straight_line_at_an_angle(angle_deg: float, ink_px: float) -> None:
    angle = math.radians(angle_deg)
    through = (60.3, 40.7)
    darkness = bar(width=121, height=83, through=through, angle_rad=angle, ink_px=ink_px, blur_px=0.9)
    along = np.linspace(-25, 25, 51)[:, None]
    tangent, normal = np.array([math.cos(angle), math.sin(angle)]), np.array([-math.sin(angle), math.cos(angle)])
    off_px = 0.8 * np.sin(along)
    points = np.array(through) + along * tangent + off_px * normal

    found = line_centres(darkness, points, np.tile(normal, (51, 1)), half_width_px=ink_px + 3)

    assert found.good.all()
    assert np.abs(found.offset_px + off_px[:, 0]).max() < 3 * FINE_PX
    assert np.sqrt(np.mean((found.offset_px + off_px[:, 0]) ** 2)) < FINE_PX


def test_width_and_contrast_of_a_wide_line() -> None:
    darkness = bar(width=80, height=60, through=(40, 30.25), angle_rad=0, ink_px=6, blur_px=0.8)

    found = line_centres(darkness, np.array([[40.0, 30.0]]), np.array([[0.0, 1.0]]), half_width_px=9)

    assert found.width_px[0] == pytest.approx(6, abs=0.1)
    assert found.contrast[0] == pytest.approx(220, abs=1)
    assert found.offset_px[0] == pytest.approx(0.25, abs=FINE_PX)


def test_a_circle_keeps_its_radius() -> None:
    # The blur of a curved line moves its profile's centroid inward by about blur^2 / (2 R): 0.01 px here.
    radius = 30.0
    y, x = np.mgrid[0:101, 0:131]
    across = np.hypot(x - 65.2, y - 50.4) - radius
    root = math.sqrt(2) * 0.8
    darkness = np.round(110 * (erf((across + 1.5) / root) - erf((across - 1.5) / root))).astype(np.uint8)
    turn = np.linspace(0, 2 * np.pi, 200, endpoint=False)
    normals = np.column_stack([np.cos(turn), np.sin(turn)])

    found = line_centres(darkness, np.array([65.2, 50.4]) + radius * normals, normals, half_width_px=5)

    assert found.offset_px.mean() == pytest.approx(0, abs=FINE_PX)


def test_a_darker_neighbour_does_not_pull() -> None:
    ours = bar(width=60, height=60, through=(30, 30), angle_rad=0, ink_px=2, blur_px=0.7) // 2
    theirs = bar(width=60, height=60, through=(30, 36), angle_rad=0, ink_px=2, blur_px=0.7)
    points, normals = np.array([[30.0, 30.2]]), np.array([[0.0, 1.0]])

    found = line_centres(ours + theirs, points, normals, half_width_px=4.5)

    assert found.good[0]
    assert found.offset_px[0] == pytest.approx(-0.2, abs=0.05)


def test_no_ink_and_ink_wider_than_the_window_are_not_good() -> None:
    blank = np.zeros((20, 30), np.uint8)
    full = np.full((20, 30), 200, np.uint8)
    points, normals = np.array([[15.0, 10.0]]), np.array([[0.0, 1.0]])

    assert not line_centres(blank, points, normals, half_width_px=4).good[0]
    assert not line_centres(full, points, normals, half_width_px=4).good[0]


def test_no_points_give_no_centres() -> None:
    found = line_centres(np.zeros((5, 7), np.uint8), np.empty((0, 2)), np.empty((0, 2)), half_width_px=3)

    assert found.offset_px.shape == found.good.shape == (0,)


def test_turning_the_picture_turns_the_centres() -> None:
    darkness = bar(width=90, height=61, through=(44.6, 30.2), angle_rad=0.3, ink_px=2.5, blur_px=0.8)
    points = np.array([[44.0, 30.0], [50.0, 31.5]])
    normals = np.tile([-math.sin(0.3), math.cos(0.3)], (2, 1))
    # A quarter turn counter-clockwise as seen: (x, y) -> (y, W - 1 - x).
    turned = np.ascontiguousarray(np.rot90(darkness))
    turned_points = np.column_stack([points[:, 1], 89 - points[:, 0]])
    turned_normals = np.column_stack([normals[:, 1], -normals[:, 0]])

    upright = line_centres(darkness, points, normals, half_width_px=5)
    quarter = line_centres(turned, turned_points, turned_normals, half_width_px=5)

    assert quarter.offset_px == pytest.approx(upright.offset_px, abs=1e-4)
