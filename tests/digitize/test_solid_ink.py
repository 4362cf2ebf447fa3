"""A scale bar's black fields make no parts of the light ones between them; parts beside black ink stay parts."""

from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from digitize.find_strokes import find_strokes
from digitize.lettering import lettering_links
from digitize.loop import Role
from digitize.loops import Loop, find_loops
from pictures.ink import find_ink
from pictures.picture import Medium, Picture, Source

BAR_LEFT, BAR_TOP, FIELD, HIGH = 60, 60, 80, 20


def blank() -> NDArray[np.uint8]:
    return np.full((400, 600), 235, np.uint8)


def parts(grey: NDArray[np.uint8], *, bilevel: bool = False) -> list[Loop]:
    soft = cv2.GaussianBlur(grey, (0, 0), 0.8)
    if bilevel:
        soft = np.where(soft < 140, 0, 255)
    noisy = soft if bilevel else soft + np.random.default_rng(3).normal(0, 1.5, soft.shape)
    picture = Picture(
        np.clip(noisy, 0, 255).astype(np.uint8), Source(Path("drawn.png"), "", Medium.RASTER, bilevel=bilevel)
    )
    strokes = find_strokes(find_ink(picture))
    found = find_loops(strokes, lettering=lettering_links(strokes), border_px=None)
    return [loop for loop in found.loops if loop.role is Role.PART]


def with_bar(grey: NDArray[np.uint8]) -> NDArray[np.uint8]:
    for number in range(4):
        left = BAR_LEFT + number * FIELD
        cv2.rectangle(grey, (left, BAR_TOP), (left + FIELD, BAR_TOP + HIGH), 30, 3)
        if number % 2:
            cv2.rectangle(grey, (left, BAR_TOP), (left + FIELD, BAR_TOP + HIGH), 30, -1)
    return grey


@pytest.mark.parametrize("bilevel", [False, True])
def test_the_light_fields_of_a_scale_bar_are_no_parts(bilevel: bool) -> None:
    grey = with_bar(blank())
    cv2.rectangle(grey, (100, 150), (400, 330), 30, 3)

    found = parts(grey, bilevel=bilevel)

    assert [round(loop.area_px2, -3) for loop in found] == [54_000]


def test_the_light_fields_between_black_ones_too_large_to_be_thinned_are_no_parts() -> None:
    grey = np.full((600, 1200), 235, np.uint8)
    for number in range(5):
        black = -1 if number % 2 == 0 else 5
        cv2.rectangle(grey, (100 + 180 * number, 80), (280 + 180 * number, 140), 30, black)
    cv2.rectangle(grey, (300, 250), (800, 500), 30, 5)

    assert [round(loop.area_px2, -3) for loop in parts(grey, bilevel=True)] == [125_000]


def test_a_part_with_a_spar_drawn_black_in_its_edge_is_a_part() -> None:
    grey = blank()
    cv2.rectangle(grey, (100, 150), (400, 330), 30, 3)
    cv2.rectangle(grey, (200, 150), (224, 174), 30, -1)

    found = parts(grey)

    assert any(abs(loop.area_px2 - 54_000) < 1_500 for loop in found)


def test_the_light_quarters_of_a_balance_mark_are_no_parts() -> None:
    grey = blank()
    cv2.circle(grey, (300, 200), 40, 30, 3)
    for first in (0, 180):
        cv2.ellipse(grey, (300, 200), (40, 40), 0, first, first + 90, 30, -1)
    cv2.line(grey, (240, 200), (360, 200), 30, 3)
    cv2.line(grey, (300, 140), (300, 260), 30, 3)

    assert all(loop.area_px2 > 4_000 for loop in parts(grey))
