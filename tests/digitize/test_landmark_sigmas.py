"""How sure landmarks are said to be, against how far off they are where everything was drawn."""

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from benchmarks.render_lines import Camera, TrueLine, photograph
from calibration.observations import CLICK_SIGMA_PX
from digitize.find_strokes import find_strokes
from digitize.landmark_sigmas import landmark_sigmas_px
from digitize.landmarks import landmarks_px
from pictures.ink import find_ink
from pictures.picture import Medium, Picture, Source

Floats = NDArray[np.float64]

SAME_PX = 8.0
"""A landmark this near a drawn place was meant to be it."""


def found(lines: list[TrueLine]) -> tuple[Floats, Floats]:
    grey = photograph(lines, Camera(blur_px=0.7, noise=2.0), width=300, height=220)
    ink = find_ink(Picture(grey, Source(Path("drawn.png"), "", Medium.RASTER)))
    strokes = find_strokes(ink)
    places = landmarks_px(strokes)
    return places, landmark_sigmas_px(strokes, places, ink.darkness)


def line(*points: tuple[float, float], width: float = 2.5) -> TrueLine:
    return TrueLine(np.array(points, dtype=float), width, False, "round", "round")


def at(places: Floats, sigmas: Floats, true: tuple[float, float]) -> tuple[float, float]:
    """Give how far the landmark nearest a drawn place is off it, and its sigma."""
    far = np.hypot(*(places - true).T)
    assert far.min() < SAME_PX
    return float(far.min()), float(sigmas[far.argmin()])


def test_a_crossing_and_a_corner_are_surer_than_an_end() -> None:
    places, sigmas = found([line((40, 60.3), (260, 70.8)), line((150.4, 20), (140.2, 180.6), (240, 190))])

    crossing, corner, end = (at(places, sigmas, true) for true in ((147.51, 65.43), (140.2, 180.6), (260, 70.8)))

    assert crossing[1] < end[1] <= CLICK_SIGMA_PX
    assert corner[1] == crossing[1]
    for off_px, sigma_px in (crossing, corner, end):
        assert off_px < 3 * sigma_px


# Two lines 5 px apart that a third crosses: thinning makes one node of two crossings, 2 px and more off both.
@pytest.mark.parametrize("turn", [0.0, 0.15, 0.3])
def test_what_is_far_off_where_a_line_crosses_a_narrow_double_one_is_not_called_sure(turn: float) -> None:
    apart, width = 5.0, 2.3
    lines = [line((x, 15), (x, 205), width=width) for x in (150.2, 150.2 + apart)]
    lines += [line((60, y), (240, y + 180 * turn), width=width) for y in (60.4, 110.7)]

    places, sigmas = found(lines)

    for y in (60.4, 110.7):
        for x in (150.2, 150.2 + apart):
            off_px, sigma_px = at(places, sigmas, (x, y + (x - 60) * turn))
            assert off_px < max(1.0, 3 * sigma_px)


# The two sides of half an ellipse, extended past its end, meet a line through it 1 to 3 px on; its radius there is
# high squared over long, 8 to 13 px.
@pytest.mark.parametrize(("long", "high"), [(120.0, 40.0), (108.0, 36.0), (168.0, 42.0), (120.0, 30.0)])
def test_a_crossing_put_past_a_blunt_nose_is_not_called_sure(long: float, high: float) -> None:
    t = np.linspace(-np.pi / 2, np.pi / 2, 200)
    nose = np.column_stack([60 + long * np.cos(t), 110.3 + high * np.sin(t)])
    places, sigmas = found([TrueLine(nose, 2.5, False, "round", "round"), line((30, 110.3), (290, 110.3))])

    off_px, sigma_px = at(places, sigmas, (60 + long, 110.3))

    assert off_px < max(1.0, 3 * sigma_px)


def test_nothing_has_no_sigmas() -> None:
    places, sigmas = found([])

    assert len(places) == len(sigmas) == 0
