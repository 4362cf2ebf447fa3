"""Curled paper: what a bend maps, that it is taken only where lines show it, and what is said of it.

Truth is a sheet bent on paper of exact lengths (`sample_scans/curled.py`), which is not the model fitted.
"""

import math
from dataclasses import replace

import numpy as np
import pytest

from calibration.adjust import adjust
from calibration.bend import HUMPS, PROFILE, REACH, Bend
from calibration.kind import Kind
from calibration.observations import CalibrationError, Corners, KnownDistance, StraightLine
from calibration.plane_map import BULGE, CYLINDER, P, PictureSize, picture_from_plane, plane_from_picture
from sample_scans.camera import View, camera_for
from sample_scans.curled import CurledCamera, Shape, bulged, curled

SHEET_MM = np.array([[0.0, 594.0], [841.0, 594.0], [841.0, 0.0], [0.0, 0.0]])
BORDER_MM = np.array([[20.0, 574.0], [821.0, 574.0], [821.0, 20.0], [20.0, 20.0]])
VIEW = View(tilt_x_deg=14, tilt_y_deg=-9, turn_deg=2, k1=-0.02, k2=0.005)
INNER_MM = (
    ((60.0, 300.0), (780.0, 300.0)),
    ((60.0, 180.0), (700.0, 180.0)),
    ((150.0, 420.0), (790.0, 420.0)),
    ((240.0, 60.0), (240.0, 540.0)),
    ((430.0, 50.0), (430.0, 550.0)),
    ((640.0, 60.0), (640.0, 520.0)),
    ((80.0, 80.0), (520.0, 520.0)),
    ((350.0, 500.0), (780.0, 90.0)),
)


def test_a_parabolas_arc_is_as_long_as_the_closed_form_says():
    # From far away the place on the plane is the place seen from above; y = b x^2 from 0 to x is
    # (s w + asinh(s)) / (4 b) long with s = 2 b x, w = sqrt(1 + s^2) (any table of integrals).
    b, x = 0.1, 0.8
    profile = np.linalg.solve(PROFILE.T, [b, *np.zeros(len(CYLINDER) - 1)])
    bend = Bend(np.array(0.0), profile, np.zeros(HUMPS), np.array(1e9), np.zeros(2))

    ((along, _),) = bend.paper(np.array([[x, 0.3]]))

    s = 2 * b * x
    assert along == pytest.approx((s * math.sqrt(1 + s * s) + math.asinh(s)) / (4 * b), abs=1e-6)


def test_beyond_its_reach_paper_stays_as_high_as_it_is_there():
    profile = np.random.default_rng(2).normal(0, 0.05, len(CYLINDER))
    bend = Bend(np.array(0.0), profile, np.zeros(HUMPS), np.array(2.0), np.zeros(2))

    at, beyond = bend.heights(np.array([[REACH, 0.0], [3.0, 0.5]]))

    assert abs(at) > 0.001
    assert beyond == at


@pytest.mark.parametrize("bulged", [0.0, 0.003])
def test_picture_to_curled_paper_and_back_comes_to_the_same_px(bulged):
    size, rng = PictureSize(4000, 3000), np.random.default_rng(4)
    grid = np.stack(np.meshgrid(np.linspace(200, 3800, 15), np.linspace(150, 2850, 11)), axis=-1).reshape(-1, 2)
    for _ in range(20):
        values = np.zeros(len(P))
        values[P.LOG_SCALE], values[P.LOG_FOCAL], values[P.K1] = 6.3, 0.2, -0.02
        values[[P.TILT_X, P.TILT_Y]] = rng.uniform(-0.2, 0.2, 2)
        values[P.BEND_TURN] = rng.uniform(0, math.pi)
        values[list(CYLINDER[:3])] = rng.uniform(-0.01, 0.01, 3)
        values[list(BULGE)] = rng.uniform(-bulged, bulged, len(BULGE))

        back = picture_from_plane(values, plane_from_picture(values, grid, size), size)

        # 0.01 px is promised.
        assert np.abs(back - grid).max() < 0.01


def given(seen, rng, inner=INNER_MM):
    corners_px = seen.to_picture(BORDER_MM) + rng.normal(0, 0.1, (4, 2))
    first, second, third, fourth = ((float(x), float(y)) for x, y in corners_px)
    sides = [(BORDER_MM[i], BORDER_MM[(i + 1) % 4]) for i in range(4)]
    lines = []
    for start, end in [*sides, *((np.array(a), np.array(b)) for a, b in inner)]:
        px = seen.to_picture(start + np.linspace(0.02, 0.98, 24)[:, None] * (end - start))
        lines.append(StraightLine(px + rng.normal(0, 0.1, px.shape), 0.1))
    return [Corners((first, second, third, fourth), 801.0, 554.0, sigma_px=0.15), *lines]


def fitted(seen, rng, camera, **more):
    return adjust(
        given(seen, rng, **more), width_px=4000, height_px=3000, kind=Kind.PHOTO, focal_35mm=camera.focal_35mm
    )


def worst_part(calibration, seen):
    ends_mm = np.random.default_rng(9).uniform((40, 40), (800, 550), (2, 200, 2))
    true = np.hypot(*(ends_mm[1] - ends_mm[0]).T)
    long = true > 200
    start, end = seen.to_picture(ends_mm[0]), seen.to_picture(ends_mm[1])
    mm, _ = calibration.lengths_u95(start, end)
    return float(np.abs(mm / true - 1)[long].max())


def test_bulged_paper_is_laid_flat_alike_in_a_picture_turned_on_its_side():
    rng = np.random.default_rng(12)
    camera = camera_for(SHEET_MM, VIEW, width_px=4000, height_px=3000)
    seen = CurledCamera(camera, bulged(SHEET_MM, rng, rise_mm=8))
    wide = given(seen, rng)
    ends_px = rng.uniform((300, 250), (3700, 2750), (2, 40, 2))

    def turned(px):
        return np.column_stack([2999 - px[:, 1], px[:, 0]])

    corners, *lines = wide
    first, second, third, fourth = ((float(x), float(y)) for x, y in turned(np.array(corners.points_px)))
    tall = [replace(corners, points_px=(first, second, third, fourth))]
    tall += [replace(line, points_px=turned(line.points_px)) for line in lines]

    on_wide = adjust(wide, width_px=4000, height_px=3000, kind=Kind.PHOTO, focal_35mm=camera.focal_35mm)
    on_tall = adjust(tall, width_px=3000, height_px=4000, kind=Kind.PHOTO, focal_35mm=camera.focal_35mm)

    assert on_wide.values[list(BULGE)].any()
    mm, _ = on_wide.lengths_u95(*ends_px)
    mm_on_tall, _ = on_tall.lengths_u95(*(turned(px) for px in ends_px))
    # The search ends within a millionth of its steps' bounds.
    assert mm_on_tall == pytest.approx(mm, rel=1e-5)
    assert worst_part(on_wide, seen) < 0.002


@pytest.mark.parametrize("direction_deg", [0, 35, 90, 140])
def test_a_sheet_that_curls_by_8_mm_is_laid_flat_in_any_direction(direction_deg):
    rng = np.random.default_rng(direction_deg)
    camera = camera_for(SHEET_MM, VIEW, width_px=4000, height_px=3000)
    lifted = curled(SHEET_MM, rng, shape=Shape.ARCH, direction_deg=direction_deg, rise_mm=8)
    seen = CurledCamera(camera, lifted)

    calibration = fitted(seen, rng, camera)

    assert calibration.bent
    # The row's own bound of the benchmark; left curled it is off by 0.5 % and more.
    assert worst_part(calibration, seen) < 0.0015
    assert [finding for finding in calibration.findings if finding.code == "paper-bent"]
    px = np.random.default_rng(2).uniform((200, 200), (3800, 2800), (300, 2))
    assert calibration.to_picture(calibration.to_plan(px)) == pytest.approx(px, abs=0.01)


def known(seen, *ends_mm, mm, label):
    (start, end) = ((float(x), float(y)) for x, y in seen.to_picture(np.array(ends_mm)))
    return KnownDistance(start, end, mm, label=label)


def test_a_half_span_given_as_a_whole_is_left_out_of_curled_paper_too():
    rng = np.random.default_rng(8)
    camera = camera_for(SHEET_MM, VIEW, width_px=4000, height_px=3000)
    seen = CurledCamera(camera, curled(SHEET_MM, rng, shape=Shape.ARCH, direction_deg=20, rise_mm=8))
    right = [*given(seen, rng), known(seen, (100.0, 300.0), (700.0, 330.0), mm=math.hypot(600.0, 30.0), label="spar")]
    half_span = known(seen, (100.0, 120.0), (700.0, 120.0), mm=300.0, label="half span")
    taken = {"width_px": 4000, "height_px": 3000, "kind": Kind.PHOTO, "focal_35mm": camera.focal_35mm}

    without, with_half = adjust(right, **taken), adjust([*right, half_span], **taken)

    (left_out,) = [finding for finding in with_half.findings if finding.code == "given-left-out"]
    assert left_out.about.startswith("half span")
    assert with_half.bent
    px = np.random.default_rng(2).uniform((200, 200), (3800, 2800), (2, 100, 2))
    # The search ends within what no figure shows.
    assert with_half.lengths_u95(*px)[0] == pytest.approx(without.lengths_u95(*px)[0], abs=0.01)


@pytest.mark.parametrize("rise_mm", [0.01, 8.0])
def test_a_half_span_and_a_size_with_nothing_to_judge_between_them_are_asked_about(rise_mm):
    """A curl makes one of them a little righter than the other, which says nothing of what they differ by."""
    rng = np.random.default_rng(8)
    camera = camera_for(SHEET_MM, VIEW, width_px=4000, height_px=3000)
    seen = CurledCamera(camera, curled(SHEET_MM, rng, shape=Shape.ARCH, direction_deg=20, rise_mm=rise_mm))
    half_span = known(seen, (100.0, 120.0), (700.0, 120.0), mm=300.0, label="half span")

    with pytest.raises(CalibrationError, match="do not agree"):
        adjust(
            [*given(seen, rng), half_span], width_px=4000, height_px=3000, kind=Kind.PHOTO,
            focal_35mm=camera.focal_35mm,
        )  # fmt: skip


def test_a_curl_that_only_the_border_shows_is_laid_flat_and_left_to_the_builder():
    rng = np.random.default_rng(3)
    camera = camera_for(SHEET_MM, VIEW, width_px=4000, height_px=3000)
    seen = CurledCamera(camera, curled(SHEET_MM, rng, shape=Shape.ARCH, direction_deg=20, rise_mm=8))

    calibration = fitted(seen, rng, camera, inner=())

    assert calibration.bent
    assert "not-flat" in {finding.code for finding in calibration.findings}
    assert not calibration.settled


def test_lengths_on_paper_of_which_a_border_does_not_settle_whether_it_curls_lie_within_what_is_stated():
    rng = np.random.default_rng(12)
    inside = []
    for _ in range(20):
        tilt_x_deg, tilt_y_deg = rng.uniform(-15, 15, 2)
        view = View(tilt_x_deg=tilt_x_deg, tilt_y_deg=tilt_y_deg, turn_deg=2, k1=-0.02, k2=0.005)
        camera = camera_for(SHEET_MM, view, width_px=4000, height_px=3000)
        direction_deg, rise_mm = rng.uniform(0, 180), rng.uniform(2, 3.5)
        lifted = curled(SHEET_MM, rng, shape=Shape.ARCH, direction_deg=direction_deg, rise_mm=rise_mm)
        seen = CurledCamera(camera, lifted)
        calibration = fitted(seen, rng, camera, inner=())
        if calibration.settled:
            ends_mm = rng.uniform((40, 40), (800, 550), (2, 40, 2))
            mm, u95_mm = calibration.lengths_u95(*(seen.to_picture(ends) for ends in ends_mm), mark_sigma_px=0.0)
            inside.append(np.abs(mm - np.hypot(*(ends_mm[1] - ends_mm[0]).T)) <= u95_mm)

    assert len(inside) > 5
    # Taken for flat, 83 % of these lengths lie within it.
    assert np.mean(inside) > 0.92


def test_flat_paper_is_not_bent_and_its_map_has_no_bend():
    camera = camera_for(SHEET_MM, VIEW, width_px=4000, height_px=3000)
    for seed in range(4):
        calibration = fitted(camera, np.random.default_rng(seed), camera)

        assert not calibration.bent
        assert not calibration.covariance[P.BEND_TURN :].any()
