"""Scans: closed forms, a real scan's grid, and intervals that hold what they say."""

import math
import os
from pathlib import Path

import numpy as np
import pytest

from calibration.adjust import adjust
from calibration.kind import Kind
from calibration.observations import (
    DRAUGHTING_MM,
    Across,
    CheckLength,
    Corners,
    GivenScale,
    KnownDistance,
    Skew,
)
from calibration.parameters import SHEAR_SIGMA, STRETCH_SIGMA

WIDTH_PX, HEIGHT_PX = 2536, 3299


def scan(*observations, **more):
    return adjust(observations, width_px=WIDTH_PX, height_px=HEIGHT_PX, kind=Kind.SCAN, **more)


def test_one_known_distance_is_met_exactly_and_scales_all_of_the_scan():
    # Closed form: 127 mm over 1500 px is 127/1500 mm to a px in every direction.
    known = KnownDistance((100, 200), (1600, 200), 127.0)

    calibration = scan(known)

    plan_mm = calibration.to_plan(np.array([[0.0, 3298.0], [1500.0, 3298.0], [0.0, 1798.0]]))
    assert plan_mm == pytest.approx(np.array([[0, 0], [127.0, 0], [0, 127.0]]), abs=1e-6)
    assert calibration.mm_per_px == pytest.approx(127 / 1500, rel=1e-9)


def test_marks_and_give_of_one_known_distance_set_its_give_or_take():
    # Closed form: two marks of 0.5 px along the line, and +-0.2 mm rectangular: sqrt(2 (0.5 m)^2 + 0.2^2/3) of 127 mm,
    # read off the same 1500 px again with perfect marks.
    known = KnownDistance((100, 200), (1600, 200), 127.0)
    expected_mm = 1.96 * math.sqrt(2 * (0.5 * 127 / 1500) ** 2 + 0.2**2 / 3)

    calibration = scan(known)

    measured = calibration.length((300, 900), (1800, 900), mark_sigma_px=0.0)
    assert measured.u95_mm == pytest.approx(expected_mm, rel=1e-4)


def test_the_direction_without_a_known_distance_is_less_sure_and_says_so():
    # Copies differ by 0.5-0.8 % between x and y; one sigma of 0.5 % is 0.98 % at 95 %.
    known = KnownDistance((100, 200), (2400, 200), 194.7)

    calibration = scan(known)

    along = calibration.length((100, 900), (2100, 900), mark_sigma_px=0.0)
    across = calibration.length((900, 100), (900, 2100), mark_sigma_px=0.0)
    assert along.u95_mm / along.mm < 0.002
    assert across.u95_mm / across.mm == pytest.approx(1.96 * STRETCH_SIGMA, rel=0.05)
    assert "one-direction-known" in [finding.code for finding in calibration.findings]


def test_x_and_y_known_give_two_scales():
    # The grid of a real scan, by its owner: 30 squares of 5.08 mm are 1798.0 px in x, 45 are 2701.7 px in y.
    across = KnownDistance((378.5, 600), (2176.5, 600), 30 * 5.08, give_mm=0.01, sigma_px=0.1)
    down = KnownDistance((378.5, 322), (378.5, 3023.7), 45 * 5.08, give_mm=0.01, sigma_px=0.1)

    calibration = scan(across, down)

    assert calibration.stretch == pytest.approx((5.08 * 30 / 1798.0) / (5.08 * 45 / 2701.7) - 1, abs=2e-5)
    # Ten squares elsewhere: pitch 59.93 px in x, 60.04 px in y; the pitches are given to 0.01 px.
    ten_across = calibration.length((700, 1500), (700 + 599.3, 1500))
    ten_down = calibration.length((700, 1500), (700, 1500 + 600.4))
    assert ten_across.mm == pytest.approx(50.8, rel=3e-4)
    assert ten_down.mm == pytest.approx(50.8, rel=3e-4)


@pytest.mark.skipif("SCANTLING_REAL" not in os.environ, reason="real pictures are not here")
def test_a_real_scans_grid_comes_out_true():
    """The picture's own grid lines, found here by a plain profile, against 5.08 mm a square."""
    import cv2

    grey = cv2.imread(str(Path(os.environ["SCANTLING_REAL"]) / "graph_paper_scan.jpg"), cv2.IMREAD_GRAYSCALE)
    assert grey.shape == (HEIGHT_PX, WIDTH_PX)
    row = np.median(grey[560:640].astype(float), axis=0)

    def line_near(x: float) -> float:
        window = np.arange(round(x) - 6, round(x) + 7)
        dark = np.maximum(np.median(row[window]) - row[window], 0)
        return float((window * dark).sum() / dark.sum())

    # Squares at which nothing is written over the grid in these rows.
    squares = np.array([0, 15, 20, 25, 30])
    lines = np.array([line_near(378.5 + 59.93 * i) for i in squares])
    known = KnownDistance((lines[0], 600), (lines[-1], 600), 30 * 5.08, sigma_px=0.15)

    calibration = scan(known)

    # 0.1 % of the whole width, 0.15 mm, which also is half a line's width.
    starts = np.column_stack([lines[:-1], np.full(4, 600.0)])
    ends = np.column_stack([lines[1:], np.full(4, 600.0)])
    mm, _ = calibration.lengths_u95(starts, ends)
    assert mm == pytest.approx(np.diff(squares) * 5.08, abs=0.15)


def test_a_known_distance_overrules_a_wrong_tag_and_says_so():
    # A published ruler scan: 10 mm ticks at these px; its tag claims 96 dpi, wrong by 3.12 times.
    known = KnownDistance((31.61, 92), (503.97, 92), 40.0, text="40 mm")

    calibration = adjust([known], width_px=801, height_px=1313, kind=Kind.SCAN, tag_mm_per_px=(25.4 / 96, 25.4 / 96))

    (told,) = [finding.text for finding in calibration.findings if finding.code == "tag-differs"]
    assert "96 dpi" in told
    assert "3.12 times" in told
    # 299.7 dpi, as published; two ticks of 0.1 px.
    assert 25.4 / calibration.mm_per_px == pytest.approx(299.9, abs=0.4)
    assert calibration.length((149.59, 92), (385.53, 92)).mm == pytest.approx(20.0, abs=0.03)


def test_skew_lays_a_scan_upright():
    skewed = Skew(math.radians(2.0), 1e-4)
    known = KnownDistance((100, 200), (1600, 200), 150.0)
    along_px = np.array(
        [[500.0, 500.0], [500 + 1000 * math.cos(math.radians(2)), 500 + 1000 * math.sin(math.radians(2))]]
    )

    calibration = scan(known, skewed)

    start, end = calibration.to_plan(along_px)
    assert end - start == pytest.approx([100.0, 0.0], abs=1e-6)


def test_the_line_laid_straight_comes_before_corners_and_skew():
    corners = Corners(((100, 100), (2100, 130), (2060, 3130), (60, 3100)))
    known = KnownDistance((100, 200), (1600, 200), 150.0)

    calibration = scan(corners, known, Across((200, 900), (1200, 700)), Skew(0.1, 1e-4))

    start, end = calibration.to_plan(np.array([[200.0, 900.0], [1200.0, 700.0]]))
    assert end[1] - start[1] == pytest.approx(0, abs=1e-9)
    assert end[0] > start[0]
    assert calibration.to_plan(np.array([[60.0, 3100.0]])) == pytest.approx(np.zeros((1, 2)), abs=1e-9)


def test_corners_of_a_sized_rectangle_stand_where_they_belong():
    corners = Corners(((100, 100), (2100, 100), (2100, 2600), (100, 2600)), 200.0, 250.0)

    calibration = scan(corners)

    plan_mm = calibration.to_plan(np.array(corners.points_px))
    assert plan_mm == pytest.approx(np.array([[0, 250], [200, 250], [200, 0], [0, 0]]), abs=1e-6)


def test_a_stated_scale_is_taken_with_its_doubt():
    stated = GivenScale(25.4 / 300, 25.4 / 300, "300 dpi in the file", 0.005)

    calibration = scan(stated)

    measured = calibration.length((0, 1000), (1200, 1000), mark_sigma_px=0.0)
    assert measured.mm == pytest.approx(101.6, rel=1e-9)
    # x and y each stated to 0.5 %, and held together by x/y copies' 0.5 %: between 0.35 and 0.5 % a direction.
    assert 1.96 * 0.0035 < measured.u95_mm / measured.mm < 1.96 * 0.005


def test_a_page_is_as_true_as_its_stated_size():
    stated = GivenScale(25.4 / 300, 25.4 / 300, "the page", 1e-6)

    calibration = adjust([stated], width_px=3508, height_px=2480, kind=Kind.PAGE)

    measured = calibration.length((0, 0), (3507, 2479), mark_sigma_px=0.0)
    assert measured.mm == pytest.approx(math.hypot(3507, 2479) * 25.4 / 300, rel=1e-9)
    assert measured.u95_mm < 0.05


def test_check_lengths_are_compared_and_not_fitted():
    known = KnownDistance((100, 200), (2100, 200), 200.0)
    right = CheckLength((300, 500), (1300, 500), 100.1, label="check length 1")
    wrong = CheckLength((300, 700), (1300, 700), 103.0, label="check length 2")

    calibration = scan(known, right, wrong)

    assert calibration.length((300, 500), (1300, 500)).mm == pytest.approx(100.0, rel=1e-9)
    off = [finding for finding in calibration.findings if finding.code == "check-length-off"]
    assert [finding.about for finding in off] == ["check length 2 (103.0 mm)"]
    assert "3.0 mm" in off[0].text
    assert not calibration.settled


def test_a_lone_length_that_makes_the_page_absurd_asks_for_the_unit():
    # 90 in typed where 90 mm was meant: the page would be 5.8 m wide.
    known = KnownDistance((100, 200), (1100, 200), 90 * 25.4, text="90 in")

    calibration = scan(known)

    (asked,) = [finding for finding in calibration.findings if finding.code == "unit-doubtful"]
    assert "5.8 m wide" in asked.text
    assert not calibration.settled


def test_a_lone_length_one_unit_away_from_the_files_dpi_asks_for_the_unit():
    known = KnownDistance((100, 200), (400, 200), 25.4 * 25.4, text="25.4 in")

    calibration = scan(known, tag_mm_per_px=(25.4 / 300, 25.4 / 300))

    assert any(
        finding.code == "unit-doubtful" and "inches or millimetres" in finding.text for finding in calibration.findings
    )


@pytest.mark.parametrize(("knowns", "seed"), [(1, 11), (2, 12), (4, 13)])
def test_scan_intervals_hold_what_they_say(knowns, seed):
    """150 scans with random stretch, shear, draughting and clicks, 20 lengths each: 95 % lie within."""
    rng = np.random.default_rng(seed)
    inside = []
    for _ in range(150):
        stretch, shear = rng.normal(0, STRETCH_SIGMA), rng.normal(0, SHEAR_SIGMA)
        matrix = 0.0847 * np.array([[math.exp(stretch / 2), shear / 2], [shear / 2, math.exp(-stretch / 2)]])
        given = []
        for i in range(knowns):
            ends = np.array([[150.0, 300], [2300, 340]]) if i % 2 == 0 else np.array([[300.0, 200], [330, 3000]])
            ends += rng.uniform(-100, 100, (2, 2))
            true = np.hypot(*(matrix @ (ends[1] - ends[0])))
            marks = ends + rng.normal(0, 0.5, (2, 2))
            given.append(KnownDistance(*map(tuple, marks), true + rng.uniform(-DRAUGHTING_MM, DRAUGHTING_MM)))
        calibration = scan(*given)
        starts, ends = rng.uniform((0, 0), (WIDTH_PX, HEIGHT_PX), (2, 20, 2))
        mm, u95 = calibration.lengths_u95(starts, ends, mark_sigma_px=0.0)
        inside.append(np.abs(mm - np.hypot(*((ends - starts) @ matrix.T).T)) <= u95)
    # 3000 lengths in 150 scans that share their errors: 95 % to some 2 %.
    assert 0.90 <= np.mean(inside) <= 0.99
