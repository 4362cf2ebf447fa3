"""A drawing on the back of the paper, told from fainter lines of the plan's own."""

import cv2
import numpy as np
import pytest

from pictures.ink import Ink
from pictures.shown_through import shown_through, without_shown_through

NOISE = 3.0
FRONT, BACK = 180, 36


def drawn(*tones: float) -> Ink:
    """A frame and a circle in firm ink, and circles across them in other tones, with noise."""
    dark = np.zeros((400, 600))
    for number, tone in enumerate(tones):
        one = np.zeros((400, 600), np.uint8)
        cv2.circle(one, (300 + 30 * number, 200), 120, 255, 4, cv2.LINE_AA)
        dark = np.maximum(dark, cv2.GaussianBlur(one, (0, 0), 1.2) / 255.0 * tone)
    own = np.zeros((400, 600), np.uint8)
    cv2.rectangle(own, (40, 40), (560, 360), 255, 4)
    cv2.circle(own, (180, 200), 90, 255, 4, cv2.LINE_AA)
    dark = np.maximum(dark, cv2.GaussianBlur(own, (0, 0), 0.8) / 255.0 * FRONT)
    noisy = dark + np.random.default_rng(3).normal(0, NOISE, dark.shape)
    return Ink(np.clip(noisy, 0, 255).astype(np.uint8), NOISE, False)


def test_lines_a_fifth_as_dark_as_the_others_shine_through() -> None:
    ink = drawn(BACK)

    level = shown_through(ink, within=None)

    assert level is not None
    assert BACK < level < FRONT / 2


@pytest.mark.parametrize("ink", [drawn(0.4 * FRONT), drawn(BACK, 46, 58, 72)], ids=["pencil", "many tones"])
def test_pencil_beside_ink_does_not(ink: Ink) -> None:
    assert shown_through(ink, within=None) is None


def test_what_shines_through_is_taken_out_and_the_lines_of_the_plan_are_as_they_were() -> None:
    ink = drawn(BACK)

    left = without_shown_through(ink, 60.0).darkness

    assert left[80:320, 300].max() == 0
    assert (left[ink.darkness > FRONT / 3] == ink.darkness[ink.darkness > FRONT / 3]).all()
