"""The turn of a scan, against the turn it was drawn with and against a real scan measured by hand."""

import math
import os
from pathlib import Path

import cv2
import numpy as np
import pytest

from calibration.skew import find_skew
from pictures.ink import Ink
from tests.calibration.finder_scenes import BORDER_MM, closed, draw, ink_of, parts, picture, turned

# Best published mean error of document skew is 0.07 degrees; 0.03 degrees is 0.5 mm on a metre (computed).
SKEW_DEG = 0.03


@pytest.mark.parametrize("angle_deg", [0.0, 0.13, -0.4, 3.7, -9.0, 28.0, -41.0])
def test_the_turn_comes_back(angle_deg: float) -> None:
    ink = ink_of(draw([closed(BORDER_MM), *parts()], turned(angle_deg)))

    skew = find_skew(ink)

    assert skew is not None
    assert math.degrees(skew.angle_rad) == pytest.approx(angle_deg, abs=SKEW_DEG)
    assert 0 < math.degrees(skew.sigma_rad) < 0.1


def test_lines_of_parts_alone_are_enough() -> None:
    skew = find_skew(ink_of(draw(parts(), turned(1.2))))

    assert skew is not None
    assert math.degrees(skew.angle_rad) == pytest.approx(1.2, abs=SKEW_DEG)


def test_a_mirrored_scan_turns_the_other_way() -> None:
    ink = ink_of(draw([closed(BORDER_MM), *parts()], turned(2.0)))

    skew = find_skew(Ink(np.ascontiguousarray(ink.darkness[:, ::-1]), ink.noise, False))

    assert skew is not None
    assert math.degrees(skew.angle_rad) == pytest.approx(-2.0, abs=SKEW_DEG)


def test_a_quarter_turn_leaves_the_angle_within_45_degrees() -> None:
    ink = ink_of(draw([closed(BORDER_MM), *parts()], turned(2.0)))

    skew = find_skew(Ink(np.ascontiguousarray(np.rot90(ink.darkness)), ink.noise, False))

    assert skew is not None
    assert math.degrees(skew.angle_rad) == pytest.approx(2.0, abs=SKEW_DEG)


def test_a_leaning_line_is_let_go_and_not_averaged_in() -> None:
    leaning = np.array([[30.0, 120], [370, 122.0]])  # 0.34 degrees, as long as the border

    skew = find_skew(ink_of(draw([closed(BORDER_MM), *parts(), leaning], turned(1.0))))

    assert skew is not None
    assert math.degrees(skew.angle_rad) == pytest.approx(1.0, abs=SKEW_DEG)


def test_lines_in_all_directions_tell_nothing() -> None:
    rng = np.random.default_rng(8)
    fan = []
    for angle in np.radians(np.arange(0, 180, 11.3)):
        middle = rng.uniform([150, 110], [250, 190])
        along = 90 * np.array([math.cos(angle), math.sin(angle)])
        fan.append(np.array([middle - along, middle + along]))

    assert find_skew(ink_of(draw(fan, turned(0.0)))) is None


def test_blank_paper_tells_nothing() -> None:
    assert find_skew(ink_of(picture(np.full((300, 400), 240, np.uint8)))) is None


@pytest.mark.skipif("SCANTLING_REAL" not in os.environ, reason="SCANTLING_REAL names no folder of real pictures")
def test_a_real_scan_of_graph_paper_lies_between_its_columns_and_its_rows() -> None:
    # Measured by hand on the scan (its note): the first column runs from x = 378.5 at y = 600 to x = 373.2 at
    # y = 2900, 0.132 degrees; the rows, by correlating strips 1600 px apart, under 0.05 degrees: the scanner sheared.
    columns_deg, rows_deg = math.degrees(math.atan2(378.5 - 373.2, 2300)), 0.0
    grey = cv2.imread(str(Path(os.environ["SCANTLING_REAL"]) / "graph_paper_scan.jpg"), cv2.IMREAD_GRAYSCALE)

    skew = find_skew(ink_of(picture(np.asarray(grey, dtype=np.uint8))))

    assert skew is not None
    angle, sigma = math.degrees(skew.angle_rad), math.degrees(skew.sigma_rad)
    assert rows_deg < angle < columns_deg + SKEW_DEG
    assert abs(angle - columns_deg) < 2 * sigma
    assert abs(angle - rows_deg) < 2 * sigma
