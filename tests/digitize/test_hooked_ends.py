"""Corners of dashed outlines on lines whose other gaps the picture has closed."""

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from digitize.hooked_ends import with_hooked_ends
from digitize.strokes import Link, NodeKind, Strokes

Floats = NDArray[np.float64]
WIDTH_PX = 2.0
CORNER = np.array([150.0, 100.0])
SIDE, BACK = np.array([-1.0, 0.0]), np.array([-np.cos(np.radians(42)), -np.sin(np.radians(42))])
CORNER_OFF_PX = 0.1  # the lines are straight and without noise
SHIFT_BITS = 4


def run(a: Floats, b: Floats) -> Floats:
    return a + np.linspace(0, 1, int(np.hypot(*(b - a))) + 1)[:, None] * (b - a)


def strokes_of(*lines: Floats) -> Strokes:
    nodes = np.array([point for one in lines for point in (one[0], one[-1])])
    kinds = np.full(len(nodes), NodeKind.END, dtype=np.uint8)
    return Strokes(nodes, kinds, tuple(Link(2 * n, 2 * n + 1, one, 0.05, WIDTH_PX) for n, one in enumerate(lines)))


def darkness_of(*lines: Floats) -> NDArray[np.uint8]:
    """Ink of lines two px wide, blurred as by a camera."""
    fine = np.zeros((1600, 1600), np.uint8)
    for one in lines:
        ends = np.round((one[[0, -1]] * 8 + 3.5) * 2**SHIFT_BITS).astype(np.int32)
        cv2.polylines(fine, [ends], False, 200, 16, cv2.LINE_8, SHIFT_BITS)
    return np.asarray(
        cv2.GaussianBlur(cv2.resize(fine, (200, 200), interpolation=cv2.INTER_AREA), (0, 0), 0.7), np.uint8
    )


@pytest.mark.parametrize(("arm_px", "corners"), [(9.0, 1), (0.0, 0)])
def test_a_line_that_ends_in_a_sharp_corner_has_an_arm_where_the_ink_shows_one(arm_px: float, corners: int) -> None:
    side, back = run(CORNER + 90 * SIDE, CORNER), run(CORNER + 90 * BACK, CORNER + 14 * BACK)
    strokes = strokes_of(side, back)
    darkness = darkness_of(side, back, run(CORNER + arm_px * BACK, CORNER))

    mended = with_hooked_ends(strokes, np.zeros(2, np.bool_), darkness)

    found = mended.nodes_px[mended.kinds == NodeKind.CORNER]
    assert len(found) == corners
    assert np.abs(found - CORNER).max(initial=0.0) < CORNER_OFF_PX
