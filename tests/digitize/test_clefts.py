"""Lines side by side so closely that their ink merges, against where they were drawn."""

import math
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from benchmarks.render_lines import Camera, TrueLine, photograph
from digitize.clefts import without_clefts
from digitize.find_strokes import find_strokes
from pictures.ink import Ink, faint_ink_mask, find_ink
from pictures.picture import Medium, Picture, Source

Floats = NDArray[np.float64]

MIDDLE_PX = np.array([150.3, 110.6])
WIDTH_PX = 2.5
MERGED_PX = 0.3
"""Largest miss of a centre-line whose paper on one side is half dark; as one line it is off by half the distance."""


def ink_of(lines: list[TrueLine], *, blur_px: float) -> Ink:
    grey = photograph(lines, Camera(blur_px=blur_px, noise=2.0), width=300, height=220)
    return find_ink(Picture(grey, Source(Path("drawn.png"), "", Medium.RASTER)))


def line(angle_deg: float, away_px: float, half_px: float = 80.0) -> TrueLine:
    """A line through the picture's middle, or so far beside it."""
    along = np.array([math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))])
    across = np.array([-along[1], along[0]])
    points: Floats = MIDDLE_PX + away_px * across + np.outer([-half_px, half_px], along)
    return TrueLine(points, WIDTH_PX, False, "round", "round")


@pytest.mark.parametrize("angle_deg", [0.0, 20.0, 45.0, 70.0, 90.0])
@pytest.mark.parametrize(("apart_px", "blur_px"), [(4.0, 0.7), (4.5, 0.9), (5.0, 0.7), (5.0, 0.9), (5.5, 1.1)])
def test_lines_side_by_side_are_two_where_blur_closes_the_paper_between(
    angle_deg: float, apart_px: float, blur_px: float
) -> None:
    ink = ink_of([line(angle_deg, away_px) for away_px in (-apart_px / 2, apart_px / 2)], blur_px=blur_px)

    strokes = find_strokes(ink)

    assert len(strokes.links) == 2
    along = np.array([math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))])
    away_px = [(link.points_px - MIDDLE_PX) @ np.array([-along[1], along[0]]) for link in strokes.links]
    low, high = sorted(away_px, key=np.mean)
    assert np.abs(low + apart_px / 2).max() < MERGED_PX
    assert np.abs(high - apart_px / 2).max() < MERGED_PX


@pytest.mark.parametrize("angle_deg", [0.0, 30.0, 90.0])
def test_lone_lines_and_their_crossings_are_left_as_they_are(angle_deg: float) -> None:
    ink = ink_of([line(angle_deg, 0.0), line(angle_deg + 10, 0.0), line(angle_deg + 60, 9.0)], blur_px=0.9)
    mask = faint_ink_mask(ink, None)

    same, left = without_clefts(ink, mask)

    assert same is ink
    assert left is mask


def test_what_is_given_is_not_changed() -> None:
    ink = ink_of([line(20.0, -2.25), line(20.0, 2.25)], blur_px=0.9)
    mask = faint_ink_mask(ink, None)
    darkness, given = ink.darkness.copy(), mask.copy()

    cut, left = without_clefts(ink, mask)

    assert (ink.darkness == darkness).all()
    assert (mask == given).all()
    assert (left <= mask).all()
    assert (cut.darkness <= darkness).all()
    assert left.sum() < mask.sum()
