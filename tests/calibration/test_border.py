"""The drawn border: its corners against the camera that drew it, laws, and what is no border."""

import itertools
import math
import os
from pathlib import Path

import cv2
import numpy as np
import pytest

from calibration.border import Border, find_border
from calibration.sheet import find_sheet
from pictures.ink import Ink
from tests.calibration.finder_scenes import (
    BORDER_MM,
    Camera,
    Points,
    closed,
    draw,
    ink_of,
    parts,
    picture,
    tilted,
    turned,
)

CORNER_PX = 0.15
"""A corner taken as the crossing of two measured sides was 0.14 px rms in the trials the calibration rests on."""


def _found(lines: list[Points], camera: Camera) -> Border | None:
    return find_border(ink_of(draw(lines, camera)))


@pytest.mark.parametrize(
    "camera", [turned(0.0), turned(2.3), turned(-11.0, px_per_mm=2.2), tilted()], ids=["0", "2.3", "-11", "photo"]
)
def test_corners_lie_where_the_camera_put_them(camera: Camera) -> None:
    border = _found([closed(BORDER_MM), *parts()], camera)

    assert border is not None
    off = np.hypot(*(border.corners_px - camera(BORDER_MM)).T)
    assert off.max() < CORNER_PX
    assert off.max() < 4 * border.sigma_px


def test_sides_follow_the_lens_and_their_bow_is_told() -> None:
    camera = tilted(bow=-0.03)
    true = [
        camera(a + (b - a) * np.linspace(0, 1, 4001)[:, None])
        for a, b in zip(BORDER_MM, np.roll(BORDER_MM, -1, axis=0), strict=True)
    ]

    border = _found([closed(BORDER_MM), *parts()], camera)

    assert border is not None
    for side, line in zip(border.sides, true, strict=True):
        away = np.array([np.hypot(*(line - point).T).min() for point in side])
        assert len(side) >= 20
        assert np.sqrt(np.mean(away**2)) < 0.1  # one sigma of a ridge point, measured in trials
    bow = max(_sag(line) for line in true)
    assert border.bow_px == pytest.approx(bow, abs=0.15)
    assert bow > 4


def _sag(line: Points) -> float:
    along = (line[-1] - line[0]) / math.hypot(*(line[-1] - line[0]))
    return float(np.abs((line - line[0]) @ [-along[1], along[0]]).max())


def test_corners_are_upper_left_first_and_clockwise_and_sides_run_between_them() -> None:
    border = _found([closed(BORDER_MM), *parts()], turned(3.0))

    assert border is not None
    for n, side in enumerate(border.sides):
        start, end = border.corners_px[n], border.corners_px[(n + 1) % 4]
        assert math.hypot(*(side[0] - start)) < math.hypot(*(side[0] - end))
    (upper_left, upper_right, lower_right, lower_left) = border.corners_px
    assert upper_left[0] < upper_right[0]
    assert upper_left[1] < lower_left[1]
    assert lower_right[0] > lower_left[0]


@pytest.mark.parametrize("quarter", [1, 2, 3])
def test_a_turned_picture_has_turned_corners(quarter: int) -> None:
    ink = ink_of(draw([closed(BORDER_MM), *parts()], tilted()))
    height, width = ink.darkness.shape
    plain = find_border(ink)

    other = find_border(Ink(np.ascontiguousarray(np.rot90(ink.darkness, quarter)), ink.noise, False))

    assert plain is not None
    assert other is not None
    x, y = plain.corners_px.T
    back = {1: (y, width - 1 - x), 2: (width - 1 - x, height - 1 - y), 3: (height - 1 - y, x)}[quarter]
    expected = np.roll(np.column_stack(back), -quarter, axis=0)
    assert np.abs(np.roll(expected, -_first(expected), axis=0) - other.corners_px).max() < 0.05


def _first(corners: Points) -> int:
    return int(np.argmin(corners.sum(axis=1)))


def test_a_mirrored_picture_has_mirrored_corners() -> None:
    ink = ink_of(draw([closed(BORDER_MM), *parts()], tilted()))
    width = ink.darkness.shape[1]
    plain = find_border(ink)

    other = find_border(Ink(np.ascontiguousarray(ink.darkness[:, ::-1]), ink.noise, False))

    assert plain is not None
    assert other is not None
    mirrored = plain.corners_px[[1, 0, 3, 2]] * [-1, 1] + [width - 1, 0]
    assert np.abs(mirrored - other.corners_px).max() < 0.05


def test_of_two_frames_the_outer_is_taken() -> None:
    inner = BORDER_MM + np.array([[3, 3], [-3, 3], [-3, -3], [3, -3]]) * 1.5

    border = _found([closed(BORDER_MM), closed(inner), *parts()], turned(1.0))

    assert border is not None
    assert np.abs(border.corners_px - turned(1.0)(BORDER_MM)).max() < CORNER_PX


def test_a_second_line_close_by_does_not_pull_the_corners() -> None:
    # 2 mm apart is 5 px here, with lines 2.3 px wide and blurred: the valley between is not white.
    inner = BORDER_MM + np.array([[2, 2], [-2, 2], [-2, -2], [2, -2]])

    border = _found([closed(BORDER_MM), closed(inner), *parts()], turned(1.0))

    assert border is not None
    assert np.abs(border.corners_px - turned(1.0)(BORDER_MM)).max() < CORNER_PX


def test_gaps_of_a_tenth_are_bridged() -> None:
    corners = closed(BORDER_MM)
    lines = [
        np.array([a + s * (b - a), a + t * (b - a)])
        for a, b in itertools.pairwise(corners)
        for s, t in ((0.0, 0.45), (0.55, 1.0))
    ]

    border = _found([*lines, *parts()], turned(0.7))

    assert border is not None
    assert np.abs(border.corners_px - turned(0.7)(BORDER_MM)).max() < CORNER_PX


def test_three_sides_are_no_border() -> None:
    assert _found([BORDER_MM, *parts()], turned(0.7)) is None


def test_a_side_seen_for_two_thirds_is_no_border() -> None:
    lower = [np.array([BORDER_MM[3], [95.0, 290]]), np.array([[220.0, 290], BORDER_MM[2]])]

    assert _found([BORDER_MM[[3, 0, 1, 2]], *lower, *parts()], turned(0.7)) is None


def test_a_plan_without_a_border_has_none() -> None:
    assert _found(parts(), turned(0.7)) is None


def test_a_large_panel_with_ribs_is_no_border() -> None:
    panel = np.array([[20.0, 20], [380, 20], [380, 250], [20, 250]])
    ribs = [np.array([[x, 20.0], [x, 250]]) for x in range(50, 380, 25)]
    beside = [line * [1.0, 0.08] + [0, 262] for line in parts()]

    assert _found([closed(panel), *ribs, *beside], turned(0.7)) is None


def test_folds_that_run_across_the_sheet_leave_the_border_a_border() -> None:
    across = [np.array([[0.0, y], [400, y]]) for y in (70.0, 130, 210)]
    down = [np.array([[x, 0.0], [x, 300]]) for x in (90.0, 170, 250, 330)]

    border = _found([closed(BORDER_MM), *parts(), *across, *down], turned(0.7))

    assert border is not None
    assert np.abs(border.corners_px - turned(0.7)(BORDER_MM)).max() < 1.0


def test_an_empty_rectangle_is_no_border() -> None:
    assert _found([closed(BORDER_MM)], turned(0.7)) is None


def test_the_papers_edge_on_a_table_is_no_border() -> None:
    paper = np.array([[0.0, 0], [400, 0], [400, 300], [0, 300]])
    shown = draw(parts(), tilted(), paper_mm=paper)

    assert find_border(ink_of(shown)) is None
    assert find_border(ink_of(shown), sheet_px=find_sheet(shown)) is None


def test_the_border_of_paper_on_a_table_is_found_with_and_without_the_papers_edge() -> None:
    paper = np.array([[0.0, 0], [400, 0], [400, 300], [0, 300]])
    shown = draw([closed(BORDER_MM), *parts()], tilted(), paper_mm=paper)

    alone, masked = find_border(ink_of(shown)), find_border(ink_of(shown), sheet_px=find_sheet(shown))

    for border in (alone, masked):
        assert border is not None
        assert np.abs(border.corners_px - tilted()(BORDER_MM)).max() < CORNER_PX


def test_blank_paper_has_no_border() -> None:
    blank = np.full((300, 400), 240, np.uint8)

    assert find_border(ink_of(picture(blank))) is None


real = pytest.mark.skipif("SCANTLING_REAL" not in os.environ, reason="SCANTLING_REAL names no folder of real pictures")


# A chessboard on a screen, a graph-paper page whose grid runs through its margin lines, ruler targets (sources and
# licences are in the folder's own list): none has a border drawn around a plan.
@real
@pytest.mark.parametrize(
    "name", ["wide_lens_grid.jpg", "graph_paper_scan.jpg", "ruler_target_colour.tif", "ruler_target_g3.tif"]
)
def test_real_pictures_without_a_border_have_none(name: str) -> None:
    grey = cv2.imread(str(Path(os.environ["SCANTLING_REAL"]) / name), cv2.IMREAD_GRAYSCALE)
    shown = picture(np.asarray(grey, dtype=np.uint8))

    assert find_border(ink_of(shown), sheet_px=find_sheet(shown)) is None
