"""Dimension lines in small and blurred pictures, where what runs past them is lost in their arrowheads."""

import cv2
import numpy as np
import pytest
import shapely

from digitize.draw_outlines import draw_outlines
from digitize.find_strokes import find_strokes
from drawing.paths import sampled
from pictures.ink import find_ink
from tests.calibration.finder_scenes import picture

FINE = 4
PLATE_PX = (200, 150, 1000, 550)
LOW_PX = 640
"""Where the dimension line lies, below the plate."""


def drawn(*, dimension_px: float, figure: bool) -> np.ndarray:
    """A plate drawn with a line 4 px wide, and below it, touching its corners, its length with no run past its line."""
    big = np.full((900 * FINE, 1200 * FINE), 245, np.uint8)

    def stroke(*points: tuple[float, float], width_px: float) -> None:
        at = np.rint(np.array(points) * FINE * 16).astype(np.int32)
        cv2.polylines(big, [at], False, 40, round(width_px * FINE), cv2.LINE_AA, 4)

    x0, y0, x1, y1 = PLATE_PX
    stroke((x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0), width_px=4)
    stroke((x0, y1), (x0, LOW_PX), (x1, LOW_PX), (x1, y1), width_px=dimension_px)
    if figure:
        size = 0.9 * FINE
        (wide, _), _ = cv2.getTextSize("160", cv2.FONT_HERSHEY_SIMPLEX, size, 2 * FINE)
        at = ((x0 + x1) * FINE // 2 - wide // 2, (LOW_PX - 12) * FINE)
        cv2.putText(big, "160", at, cv2.FONT_HERSHEY_SIMPLEX, size, 40, 2 * FINE, cv2.LINE_AA)
    small = cv2.GaussianBlur(cv2.resize(big, (1200, 900), interpolation=cv2.INTER_AREA), (0, 0), 0.8)
    noise = np.random.default_rng(3).normal(0, 1.5, small.shape)
    return np.clip(small + noise, 0, 255).astype(np.uint8)


def height_px(grey: np.ndarray) -> float:
    """Height of the largest outline."""
    strokes = find_strokes(find_ink(picture(grey)))
    outlines = draw_outlines(strokes.mapped(lambda points: points * [1.0, -1.0])).drawing.outlines
    largest = max((shapely.Polygon(sampled(one.boundary, tolerance_mm=0.1)) for one in outlines), key=lambda p: p.area)
    _, low, _, high = largest.bounds
    return float(high - low)


def test_a_thin_line_with_a_figure_in_its_middle_is_no_side_of_the_part() -> None:
    assert height_px(drawn(dimension_px=2, figure=True)) == pytest.approx(PLATE_PX[3] - PLATE_PX[1], abs=1)


@pytest.mark.parametrize(("dimension_px", "figure"), [(4, True), (2, False)])
def test_a_thick_line_or_one_without_a_figure_bounds_the_part(dimension_px: float, figure: bool) -> None:
    grey = drawn(dimension_px=dimension_px, figure=figure)

    assert height_px(grey) == pytest.approx(LOW_PX - PLATE_PX[1], abs=1)


def test_a_side_beside_a_figure_is_none_though_other_parts_of_the_sheet_are_drawn_thicker() -> None:
    big = np.full((700 * FINE, 1300 * FINE), 245, np.uint8)
    for (x0, y0, x1, y1), width_px in [((100, 150, 700, 550), 6), ((780, 150, 1080, 550), 3)]:
        at = np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)], dtype=np.int32) * FINE
        cv2.polylines(big, [at], True, 40, width_px * FINE, cv2.LINE_AA)
    brace = np.array([(880, 150), (780, 450)], dtype=np.int32) * FINE
    cv2.polylines(big, [brace], False, 40, 3 * FINE, cv2.LINE_AA)
    cv2.putText(big, "160", (1100 * FINE, 360 * FINE), cv2.FONT_HERSHEY_SIMPLEX, 0.9 * FINE, 40, 2 * FINE, cv2.LINE_AA)
    grey = cv2.GaussianBlur(cv2.resize(big, (1300, 700), interpolation=cv2.INTER_AREA), (0, 0), 0.8)
    strokes = find_strokes(find_ink(picture(np.asarray(grey, np.uint8))))

    outlines = draw_outlines(strokes.mapped(lambda points: points * [1.0, -1.0])).drawing.outlines

    across = [float(np.ptp(sampled(one.boundary, tolerance_mm=0.1)[:, 0])) for one in outlines]
    assert across == pytest.approx([600, 300], abs=1)
