"""Blur told from a picture's lines, and lines that bend put back where they were drawn."""

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from benchmarks.render_lines import Camera, TrueLine, photograph
from digitize.blur import blur_variance, unblurred
from digitize.centre_lines import measure_lines
from digitize.find_strokes import find_strokes
from pictures.ink import Ink, find_ink
from pictures.picture import Medium, Picture, Source

MIDDLE = np.array([60.3, 60.8])
RADIUS_PX = 0.02
"""Mean radius of a grey ring, without what noise does to it."""
PIXEL_PX2 = 1 / 12 + 1 / 6
"""What a pixel's square and linear sampling between pixels add to the square of the blur's sigma."""


def circle(radius_px: float) -> NDArray[np.float64]:
    turn = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    return MIDDLE + radius_px * np.column_stack([np.cos(turn), np.sin(turn)])


def ring(radius_px: float, width_px: float, blur_px: float) -> Ink:
    camera = Camera(blur_px=blur_px, noise=2.0, seed=4)
    grey = photograph([TrueLine(circle(radius_px), width_px, True)], camera, width=122, height=122)
    return find_ink(Picture(grey, Source(Path("drawn.png"), "", Medium.RASTER)))


@pytest.mark.parametrize("blur_px", [0.5, 0.8, 1.3])
@pytest.mark.parametrize("width_px", [2.0, 3.5, 7.0])
def test_blur_is_told_from_thin_lines_as_from_wide_ones(width_px: float, blur_px: float) -> None:
    ink = ring(30.0, width_px, blur_px)
    samples = measure_lines(ink.darkness, [circle(30.0)], half_width_px=np.array([width_px + 3]))

    variance_px2 = blur_variance(
        ink, samples, samples.good.astype(float), np.array([float(np.median(samples.width_px))])
    )

    assert variance_px2 == pytest.approx(blur_px**2 + PIXEL_PX2, rel=0.2)


@pytest.mark.parametrize("blur_px", [0.6, 1.2])
@pytest.mark.parametrize(("radius_px", "width_px"), [(6.0, 2.0), (9.0, 2.0), (9.0, 4.0), (20.0, 2.0), (20.0, 4.0)])
def test_a_small_ring_keeps_its_radius_however_blurred(radius_px: float, width_px: float, blur_px: float) -> None:
    """Uncorrected it would be smaller by sigma^2 / (2 R): 0.14 px at 6 px and a blur of 1.2 px."""
    strokes = find_strokes(ring(radius_px, width_px, blur_px))

    (link,) = strokes.links
    off_px = np.hypot(*(link.points_px - MIDDLE).T).mean() - radius_px
    assert abs(off_px) < RADIUS_PX


def test_straight_lines_stay_to_the_last_digit() -> None:
    place = np.column_stack([np.arange(50.0), np.full(50, 3.0)])
    slope = np.tile([1.0, 0.0], (50, 1))

    moved = unblurred(place, slope, np.zeros(50, np.int64), 1.4)

    assert (moved == place).all()
