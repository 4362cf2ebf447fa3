"""Straight edges of noisy and of black-and-white pictures, against the lines drawn."""

import math
from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from benchmarks.render_lines import Camera, TrueLine, photograph
from digitize.draw_outlines import draw_outlines
from digitize.find_strokes import find_strokes
from digitize.strokes import Strokes
from drawing.paths import Line
from pictures.ink import Ink, find_ink
from pictures.picture import Medium, Picture, Source

Floats = NDArray[np.float64]

CAMERAS = {
    "noisy": Camera(blur_px=1.0, noise=10, shade=0.3, jpeg=85, seed=5),
    "black and white": Camera(blur_px=0.6, noise=8, bilevel=True, seed=5),
}


def strokes_of(points: Floats, camera: Camera, *, closed: bool) -> Strokes:
    """What is found of one drawn line."""
    line = TrueLine(points, 2.4, closed, "mitre")
    grey = photograph([line], camera, width=420, height=420)
    return find_strokes(find_ink(Picture(grey, Source(Path("drawn.png"), "", Medium.RASTER))))


@pytest.mark.parametrize("camera", CAMERAS.values(), ids=CAMERAS.keys())
@pytest.mark.parametrize("turn_deg", [0.6, 3.0, 11.0, 27.0, 44.0])
def test_the_sides_of_a_box_are_one_line_each(turn_deg: float, camera: Camera) -> None:
    c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    box = np.array([(-120.0, -80.0), (120, -80), (120, 80), (-120, 80)]) @ np.array([[c, s], [-s, c]]) + 209.7
    flip = np.array([0.1, -0.1])

    plan = strokes_of(box, camera, closed=True).mapped(lambda points: points * flip)
    (outline,) = draw_outlines(plan, tolerance_mm=0.02).drawing.outlines

    assert [type(segment) for segment in outline.boundary.segments] == 4 * [Line]


@pytest.mark.parametrize("camera", CAMERAS.values(), ids=CAMERAS.keys())
def test_a_gentle_curve_stays_one(camera: Camera) -> None:
    x = np.linspace(40, 380, 300)
    # It rises by 2 px over 340: an arc of 7 m radius at 1 mm a pixel.
    points = np.column_stack([x, 200 + 0.13 * x + 2 * (1 - ((x - 210) / 170) ** 2)])

    strokes = strokes_of(points, camera, closed=False)
    link = max(strokes.links, key=lambda one: len(one.points_px))

    chord = link.points_px[-1] - link.points_px[0]
    way = link.points_px - link.points_px[0]
    bow = np.abs(chord[0] * way[:, 1] - chord[1] * way[:, 0]) / np.hypot(*chord)
    assert bow.max() == pytest.approx(2 * math.cos(math.atan(0.13)), abs=0.2)


@pytest.mark.parametrize("wide_px", [1, 2, 3])
def test_a_black_and_white_line_along_a_row_of_pixels_stays_in_its_ink(wide_px: int) -> None:
    grey = np.full((200, 200), 255, np.uint8)
    grey[20:170, 100 : 100 + wide_px] = 0

    strokes = find_strokes(Ink(np.asarray(cv2.GaussianBlur(255 - grey, (5, 5), 0.7), np.uint8), 0.0, True))

    (link,) = strokes.links
    assert np.abs(link.points_px[:, 0] - (100 + (wide_px - 1) / 2)).max() < 0.1
