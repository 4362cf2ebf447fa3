import sys

import numpy as np
import pytest

from benchmarks.measured_run import measured_run
from benchmarks.truth_error import Loops, compare, frame_of, loops_of, map_error, true_map
from drawing.drawing import Drawing, Kind, Outline
from drawing.paths import polyline
from sample_scans.camera import camera_for, random_view
from sample_scans.curves import circle
from sample_scans.plan import plan_of, school_plan
from sample_scans.truth import Piece, PlanTruth
from sample_scans.wing import part

SQUARE = np.array([[10.0, 10.0], [60.0, 10.0], [60.0, 40.0], [10.0, 40.0]])
HOLE = circle((30.0, 25.0), 6.0)


def small_plan() -> PlanTruth:
    drawn: Piece = part("plate", SQUARE, (HOLE,)) + part("disc", circle((90.0, 30.0), 12.0))
    return plan_of("small", drawn, width_mm=150, height_mm=80)


def test_the_truth_itself_has_no_error():
    plan = school_plan()

    result = compare([Loops(p.boundary_mm, p.holes_mm) for p in plan.parts], plan)

    assert result.missed == ()
    assert (result.false_parts, result.false_holes) == (0, 0)
    assert result.holes_found == result.holes_true == 15
    assert result.distances_mm.max() < 1e-9


def test_a_line_drawn_a_tenth_outside_is_a_tenth_off_and_makes_the_part_larger():
    wider = SQUARE + np.array([[-0.1, -0.1], [0.1, -0.1], [0.1, 0.1], [-0.1, 0.1]])

    result = compare([Loops(wider, (HOLE,)), Loops(circle((90.0, 30.0), 12.0))], small_plan())

    plate = result.parts[0]
    sides = plate.distances_mm[plate.distances_mm > 1e-3]
    assert np.median(sides) == pytest.approx(0.1)
    # 50 mm became 50.2.
    assert plate.size_percent == pytest.approx(0.4)


def test_a_corner_cut_off_is_seen_from_the_truths_side():
    cut = np.array([[10.0, 10.0], [60.0, 10.0], [60.0, 38.0], [58.0, 40.0], [10.0, 40.0]])

    result = compare([Loops(cut, (HOLE,))], small_plan())

    # The corner lies 2 / sqrt 2 from the cut.
    assert result.distances_mm.max() == pytest.approx(np.sqrt(2), abs=0.02)
    assert result.missed == ("disc",)


def test_false_parts_doubted_parts_and_false_holes_are_counted_apart():
    plan = small_plan()
    found = [
        Loops(SQUARE, (HOLE, circle((50.0, 20.0), 2.0))),
        Loops(circle((120.0, 30.0), 5.0)),
        Loops(circle((120.0, 60.0), 5.0), sure=False),
        # The other side of the plate's line: the plate is found once.
        Loops(SQUARE + np.array([[0.2, 0.2], [-0.2, 0.2], [-0.2, -0.2], [0.2, -0.2]])),
    ]

    result = compare(found, plan)

    assert (len(result.parts), result.false_parts, result.doubted_parts, result.false_holes) == (1, 2, 1, 1)


def test_a_turned_frame_is_laid_on_the_truth_without_a_change_of_size():
    turn = np.radians(0.3)
    matrix = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    points = np.random.default_rng(0).uniform(0, 300, (40, 2))
    moved = (points * 1.002) @ matrix.T + [4.0, -7.0]

    found_turn, shift = frame_of(moved, points)

    assert found_turn == pytest.approx(matrix.T, abs=1e-9)
    back = moved @ found_turn.T + shift
    middle = points.mean(axis=0)
    assert back - middle == pytest.approx((points - middle) * 1.002, abs=1e-9)


@pytest.mark.parametrize("seed", range(5))
def test_the_true_map_inverts_the_camera(seed):
    plan = school_plan()
    camera = camera_for(plan.sheet_mm, random_view(np.random.default_rng(seed)), width_px=4000, height_px=3000)
    points_mm = np.random.default_rng(seed).uniform([0, 0], [564, 400], (200, 2))

    back = true_map(camera, plan)(camera.to_picture(points_mm))

    assert np.abs(back - points_mm).max() < 1e-6


def test_a_map_a_fifth_of_a_percent_too_large_is_said_to_be():
    plan = school_plan()
    camera = camera_for(plan.sheet_mm, random_view(np.random.default_rng(1)), width_px=4000, height_px=3000)
    exact = true_map(camera, plan)

    error = map_error(lambda points_px: exact(points_px) * 1.002, camera, plan)

    assert error.scale_percent == pytest.approx(0.2, abs=1e-6)
    assert error.lengths_percent == pytest.approx(np.full(300, 0.2), abs=1e-6)


def test_a_drawings_border_is_no_part_of_it():
    plate = Outline(1, polyline(SQUARE, closed=True), (), (0.0, 0.0), 1.0)
    unsure = Outline(2, polyline(HOLE, closed=True), (), (0.0, 0.0), 1.0, kind=Kind.UNSURE)
    border = Outline(3, polyline(SQUARE * 3, closed=True), (), (0.0, 0.0), 1.0, kind=Kind.BORDER)

    loops = loops_of(Drawing((plate, unsure, border), ()))

    assert [loop.sure for loop in loops] == [True, False]


def test_a_measured_run_tells_code_words_time_and_memory():
    # 200 MB of ones are touched, so they are held.
    script = "import sys, time; held = b'1' * 200_000_000; time.sleep(0.2); print('said'); sys.exit(3)"

    run = measured_run([sys.executable, "-c", script])

    assert (run.code, run.said.strip()) == (3, "said")
    assert run.seconds > 0.2
    assert 190 < run.peak_mb < 260
