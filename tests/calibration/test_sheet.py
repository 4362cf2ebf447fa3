"""The paper's edge on a table, against where it was drawn."""

import cv2
import numpy as np
import pytest

from calibration.sheet import find_sheet
from tests.calibration.finder_scenes import BORDER_MM, Points, closed, draw, parts, picture, tilted, turned

PAPER_MM = np.array([[0.0, 0], [400, 0], [400, 300], [0, 300]])

INSET_PX = 5.0
"""The polygon lies inside the edge by under a thousandth of the diagonal (1.2 px here) and is placed to a few px."""


def _worst_px(sheet: Points, true: Points) -> float:
    """Largest distance of a true corner from the nearest corner found."""
    return max(float(np.hypot(*(sheet - corner).T).min()) for corner in true)


@pytest.mark.parametrize("table", [30, 90, 160])
def test_paper_on_a_darker_table_is_found(table: int) -> None:
    camera = tilted(bow=0.0)

    sheet = find_sheet(draw([closed(BORDER_MM), *parts()], camera, paper_mm=PAPER_MM, table=table))

    assert sheet is not None
    assert _worst_px(sheet, camera(PAPER_MM)) < INSET_PX


def test_the_polygon_leaves_no_table_inside() -> None:
    camera = tilted()
    shown = draw(parts(), camera, paper_mm=PAPER_MM, table=60)

    sheet = find_sheet(shown)

    assert sheet is not None
    inside = np.zeros(shown.grey.shape, np.uint8)
    cv2.fillPoly(inside, [np.round(sheet).astype(np.int32)], 1)
    edge = inside - cv2.erode(inside, np.ones((3, 3), np.uint8))
    assert shown.grey[edge > 0].min() > 150
    true = np.zeros(shown.grey.shape, np.uint8)
    cv2.fillPoly(true, [np.round(camera(np.array([[x, y] for x, y in closed(PAPER_MM)]))).astype(np.int32)], 1)
    assert inside.sum() > 0.97 * true.sum()


def test_a_shadow_across_the_paper_does_not_cut_it() -> None:
    camera = tilted(bow=0.0)
    shown = draw(parts(), camera, paper_mm=PAPER_MM, table=60)
    y, x = np.mgrid[:900, :1200]
    shade = 1 - 0.4 / (1 + np.exp(-(x + 0.5 * y - 900) / 30))

    sheet = find_sheet(picture((shown.grey * shade).astype(np.uint8)))

    assert sheet is not None
    assert _worst_px(sheet, camera(PAPER_MM)) < INSET_PX


def test_a_scan_that_the_paper_fills_has_no_edge() -> None:
    assert find_sheet(draw([closed(BORDER_MM), *parts()], turned(1.0))) is None


def test_a_table_as_light_as_the_paper_shows_no_edge() -> None:
    assert find_sheet(draw(parts(), tilted(), paper_mm=PAPER_MM, table=228)) is None


def test_half_shaded_paper_that_fills_the_picture_has_no_edge() -> None:
    shown = draw(parts(), turned(1.0))
    y, x = np.mgrid[:900, :1200]
    shade = 1 - 0.5 / (1 + np.exp(-(x - 0.3 * y - 400) / 40))

    assert find_sheet(picture((shown.grey * shade).astype(np.uint8))) is None
