"""Ways along faint ink, against where it was drawn."""

import math
from pathlib import Path

import cv2
import numpy as np
import pytest
import shapely
from numpy.typing import NDArray

from digitize.scissors import WINDOW_PX, faint_way
from pictures.picture import Medium, Picture, Source

Floats = NDArray[np.float64]

MIDDLE_RMS_PX = 0.3
FINE = 8


def sheet(points: Floats, *, dark: float, width_px: float = 2.5, dashes: bool = False) -> Picture:
    """A line of some darkness on noisy paper, drawn eight times finer and averaged."""
    fine = np.full((260 * FINE, 400 * FINE), 235, np.uint8)
    at = np.rint(((points + 0.5) * FINE - 0.5) * 16).astype(np.int32)
    runs = [at[k : k + 14] for k in range(0, len(at) - 13, 20)] if dashes else [at]
    for run in runs:
        cv2.polylines(fine, [run], False, 235 - dark, round(width_px * FINE), cv2.LINE_AA, 4)
    small = cv2.GaussianBlur(cv2.resize(fine, (400, 260), interpolation=cv2.INTER_AREA).astype(float), (0, 0), 0.8)
    noisy = small + np.random.default_rng(6).normal(0, 2, small.shape)
    return Picture(np.clip(noisy, 0, 255).astype(np.uint8), Source(Path("faint.png"), "", Medium.RASTER))


X = np.linspace(40, 360, 320)
WAVE = np.column_stack([X, 130 + 45 * np.sin(X / 50)])


@pytest.mark.parametrize(("dark", "dashes"), [(120.0, False), (35.0, False), (90.0, True)])
def test_the_way_follows_the_middle_of_faint_and_broken_ink(dark: float, dashes: bool) -> None:
    picture = sheet(WAVE, dark=dark, dashes=dashes)

    found = faint_way(picture, (WAVE[2, 0], WAVE[2, 1]), (WAVE[-30, 0], WAVE[-30, 1]))

    assert found is not None
    far = shapely.distance(shapely.LineString(WAVE), shapely.points(found.points_px))
    assert math.sqrt((far**2).mean()) < MIDDLE_RMS_PX


def test_blank_paper_has_no_way() -> None:
    picture = sheet(WAVE, dark=0.0)

    assert faint_way(picture, (50.0, 50.0), (300.0, 90.0)) is None


def test_points_too_far_apart_or_on_one_spot_are_not_searched_between() -> None:
    picture = sheet(WAVE, dark=120.0)

    assert faint_way(picture, (0.0, 50.0), (float(WINDOW_PX), 90.0)) is None
    assert faint_way(picture, (50.0, 50.0), (50.2, 50.0)) is None


def test_points_beside_the_picture_raise_nothing() -> None:
    picture = sheet(WAVE, dark=120.0)

    for start, end in (
        ((-30.0, -30.0), (40.0, 130.0)),
        ((390.0, 250.0), (500.0, 300.0)),
        ((-90.0, -90.0), (-50.0, -60.0)),
    ):
        faint_way(picture, start, end)
