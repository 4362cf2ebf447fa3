"""The surveyor's sheet: residuals, their size in sigmas and the unknowns, against closed forms and a foreign camera."""

import math
from collections.abc import Callable

import cv2
import numpy as np
import pytest

from calibration.adjust import adjust
from calibration.adjustment import Adjustment, ObservedRow, Seen, Unit, Use
from calibration.calibration import Calibration
from calibration.kind import Kind
from calibration.observations import Across, Cards, CheckLength, Corners, KnownDistance, LaidCard, Skew, StraightLine
from tests.calibration.conftest import Pinhole


def sheet(calibration: Calibration) -> Adjustment:
    assert calibration.adjustment is not None
    return calibration.adjustment


def row(told: Adjustment, label: str) -> ObservedRow:
    (found,) = [one for one in told.observations if one.label.startswith(label)]
    return found


def px_line(x0: float, y0: float, x1: float, y1: float, mm: float, label: str, sigma_px: float) -> KnownDistance:
    return KnownDistance((x0, y0), (x1, y1), mm, 0.0, f"{mm:g} mm", label, sigma_px)


def test_two_lengths_along_one_line_disagree_by_the_surveyors_formula() -> None:
    # Both along x at one height, so that one unknown, the scale there, serves both: 100 mm in 1000 px, 301 in 3000.
    first = px_line(500, 1500, 1500, 1500, 100.0, "known distance 1", 1.0)
    second = px_line(500, 1500, 3500, 1500, 301.0, "known distance 2", 2.0)

    told = sheet(adjust([first, second], width_px=4000, height_px=3000, kind=Kind.SCAN))

    # Two observations of one scale: both standardized residuals are L1 l2 - L2 l1 over its own sigma (weights' law of
    # propagation; Ghilani, Adjustment Computations; from memory). Ends err in x by sigma each, so a length by
    # sqrt(2) of it, at some 0.1003 mm a px.
    w = (100.0 * 3000 - 301.0 * 1000) / math.hypot(3000 * math.sqrt(2) * 1.0, 1000 * math.sqrt(2) * 2.0) / 0.1003
    one, two = row(told, "known distance 1"), row(told, "known distance 2")
    assert one.standardized == pytest.approx(-w, rel=0.01)
    assert two.standardized == pytest.approx(w, rel=0.01)
    assert one.residual == pytest.approx(one.fitted - 100.0, abs=1e-12)
    assert one.residual_px == pytest.approx(one.residual / 0.1003, rel=0.01)
    assert one.sigma == pytest.approx(math.sqrt(2) * 0.1003, rel=0.01)
    assert (one.unit, one.use, one.given) == (Unit.MM, Use.FITTED, 100.0)


def test_what_stands_alone_is_checked_by_nothing() -> None:
    known = px_line(500, 1500, 3500, 1500, 300.0, "known distance 1", 0.5)

    told = sheet(adjust([known], width_px=4000, height_px=3000, kind=Kind.SCAN))

    assert row(told, "known distance 1").standardized is None
    # Equations: the length, and what is known of a scan's stretch and shear; unknowns: those two and the scale.
    assert (told.rows, told.unknown_count, told.redundancy) == (3, 3, 0)


def test_redundancy_is_equations_less_unknowns_and_its_parts_add_up(pinhole: Callable[..., Pinhole]) -> None:
    told = sheet(photo(pinhole()))

    # The redundancy numbers of all equations sum to the redundancy (Baarda 1968); the rest is the usual priors'.
    assert told.redundancy == told.rows - told.unknown_count
    assert 0 < told.given.redundancy + told.lines.redundancy <= told.redundancy + 1e-6


def photo(camera: Pinhole, *, check_mm: float = 500.0, sag_mm: float = 0.0) -> Calibration:
    def px(*mm: tuple[float, float]) -> list[tuple[float, float]]:
        return [(float(x), float(y)) for x, y in camera(np.array(mm))]

    corners = px((20, 574), (820, 574), (820, 20), (20, 20))
    t = np.linspace(0, 1, 25)
    line_mm = np.column_stack([20 + 800 * t, 300 + sag_mm * 4 * t * (1 - t)])
    return adjust(
        [
            KnownDistance(*px((100, 100), (700, 100)), 600.0, 0.05, "600 mm", "known distance 1", 0.1),
            KnownDistance(*px((100, 100), (100, 500)), 400.0, 0.05, "400 mm", "known distance 2", 0.1),
            CheckLength(*px((100, 120), (500, 420)), check_mm, 0.3, f"{check_mm:g} mm", "check length 1", 0.1),
            Corners((corners[0], corners[1], corners[2], corners[3]), 800.0, 554.0, sigma_px=0.1, give_mm=0.05),
            StraightLine(camera(line_mm), 0.1, "straight line 1", 0.3),
            Across(*px((20, 20), (820, 20))),
        ],
        width_px=camera.width_px,
        height_px=camera.height_px,
        kind=Kind.PHOTO,
        focal_35mm=camera.focal_35mm,
    )


def test_every_observation_has_its_row_with_what_was_done_with_it(pinhole: Callable[..., Pinhole]) -> None:
    told = sheet(photo(pinhole(), check_mm=503.0))

    kinds = [one.seen for one in told.observations]
    assert kinds.count(Seen.KNOWN) == 2
    assert kinds.count(Seen.CORNER) == 4
    assert kinds.count(Seen.SIZE) == 2
    assert {Seen.SQUARE, Seen.LINE, Seen.CHECK, Seen.TURN} <= set(kinds)
    check = row(told, "check length 1")
    # A 3-4-5 triangle: 500 mm, said to be 503.
    assert check.residual == pytest.approx(-3.0, abs=0.1)
    assert check.use is Use.COMPARED
    assert check.standardized is not None
    assert check.standardized < -5
    assert row(told, "the line to lay straight").use is Use.TURNS
    for one in told.observations:
        if one.seen is Seen.CORNER:
            assert one.shown is not None
            assert one.residual_px == pytest.approx(float(np.hypot(*one.shown.off_px[0])))


def test_a_lines_bow_is_told_in_the_picture_and_on_the_plan(pinhole: Callable[..., Pinhole]) -> None:
    camera = pinhole(tilt_x_deg=0.0, tilt_y_deg=0.0, turn_deg=0.0)
    straight, bowed = (row(sheet(photo(camera, sag_mm=sag)), "straight line 1") for sag in (0.0, 0.4))

    mm_per_px = camera.distance_mm / (26 / math.hypot(36, 24) * math.hypot(4000, 3000))
    assert straight.bow_px == pytest.approx(0, abs=1e-6)
    # A parabola 0.4 mm high: seen from right above it is as many px as the scale says.
    assert bowed.bow_px == pytest.approx(0.4 / mm_per_px, rel=1e-3)
    # Off the line that fits it best it is 2/3 and 1/3 of that to either side: its root mean square is h 4 / (6 sqrt 5).
    assert bowed.residual == pytest.approx(0.4 * 4 / (6 * math.sqrt(5)), rel=0.1)
    assert bowed.shown is not None
    assert np.ptp(bowed.shown.off_px[:, 1]) == pytest.approx(bowed.bow_px, rel=0.1)


def test_the_tilt_is_the_cameras(pinhole: Callable[..., Pinhole]) -> None:
    camera = pinhole(tilt_x_deg=14.0, tilt_y_deg=-11.0)
    unknowns = {one.name: one for one in sheet(photo(camera)).unknowns}

    # The plane's normal in the camera's frame, through OpenCV's rotation.
    turned = [cv2.Rodrigues(np.radians(np.eye(3)[i] * a))[0] for i, a in enumerate((14.0, -11.0, 5.0))]
    leans = math.acos(abs((turned[0] @ turned[1] @ turned[2])[2, 2]))
    side, forward = (unknowns[f"tilt of the camera {way}"] for way in ("to the side", "forward"))
    tilt = math.atan(math.hypot(math.tan(side.value), math.tan(forward.value)))
    assert tilt == pytest.approx(leans, abs=2 * math.hypot(side.sigma, forward.sigma))
    assert side.unit is Unit.RAD
    focal = unknowns["focal length (35 mm equivalent)"]
    assert focal.value == pytest.approx(26, abs=2 * focal.sigma)
    assert (focal.prior, focal.solved) == (pytest.approx(26), True)


def test_a_length_left_out_says_so(pinhole: Callable[..., Pinhole]) -> None:
    camera = pinhole()

    def known(n: int, start: tuple[float, float], end: tuple[float, float], off_mm: float = 0.0) -> KnownDistance:
        (a, b) = [(float(x), float(y)) for x, y in camera(np.array([start, end]))]
        return KnownDistance(a, b, math.dist(start, end) + off_mm, 0.05, "", f"known distance {n}", 0.1)

    corners = [(float(x), float(y)) for x, y in camera(np.array([(20, 574), (820, 574), (820, 20), (20, 20)]))]
    observations = [
        known(1, (100, 100), (700, 100)), known(2, (100, 100), (100, 500)), known(3, (300, 120), (500, 420), 6.0),
        known(4, (700, 100), (700, 500)), known(5, (300, 420), (500, 120)),
        Corners((corners[0], corners[1], corners[2], corners[3]), sigma_px=0.1),
    ]  # fmt: skip

    told = sheet(adjust(observations, width_px=4000, height_px=3000, kind=Kind.PHOTO, focal_35mm=26))

    wrong = row(told, "known distance 3")
    assert wrong.use is Use.LEFT_OUT
    assert wrong.residual == pytest.approx(-6.0, abs=0.3)
    assert wrong.standardized is not None
    assert abs(wrong.standardized) > 3.3
    assert row(told, "known distance 1").use is Use.FITTED


def test_a_scans_right_angle_is_an_observation_in_radians() -> None:
    known = px_line(500, 1500, 3500, 1500, 300.0, "known distance 1", 0.5)
    skew = Skew(math.radians(0.4), 1e-4, math.radians(0.45), 1e-4)

    told = sheet(adjust([known, skew], width_px=4000, height_px=3000, kind=Kind.SCAN))

    angle = row(told, "drawn lines along and across")
    assert (angle.unit, angle.given) == (Unit.RAD, math.pi / 2)
    assert angle.sigma == pytest.approx(math.hypot(1e-4, 1e-4))
    assert row(told, "turn of the drawn lines").given == pytest.approx(-math.radians(0.4))


def test_each_card_is_an_observation_as_good_as_its_corners_are_found(pinhole: Callable[..., Pinhole]) -> None:
    camera, rng, sigma_px = pinhole(), np.random.default_rng(4), 0.2
    places = 15.0 * np.stack(np.meshgrid(np.arange(6.0), np.arange(5.0)), axis=-1).reshape(-1, 2)
    laid = tuple(
        LaidCard(f"card {n}", places, camera(places + at) + rng.normal(0, sigma_px, places.shape), sigma_px)
        for n, at in enumerate([(60.0, 60.0), (650.0, 80.0), (330.0, 420.0)], 1)
    )

    told = sheet(adjust([Cards(laid)], width_px=4000, height_px=3000, kind=Kind.PHOTO, focal_35mm=26))

    cards = [one for one in told.observations if one.seen is Seen.CARD]
    assert [one.label for one in cards] == ["card 1", "card 2", "card 3"]
    for one in cards:
        assert one.use is Use.FITTED
        # Thirty corners of two coordinates, less what their own place takes: within a third of what was put in.
        assert one.residual_px == pytest.approx(math.sqrt(2) * sigma_px, rel=0.33)
        assert one.standardized == pytest.approx(1.0, abs=0.33)
    assert told.cards.variance_factor == pytest.approx(1.0, abs=0.4)
    size = next(one for one in told.unknowns if one.name.startswith("cards' printed size"))
    # Nothing but what printers do tells it.
    assert size.sigma == pytest.approx(size.prior_sigma, rel=0.01)
