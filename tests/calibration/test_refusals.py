"""Bad input: one sentence that says what was found, what was needed and what to do next."""

import math

import numpy as np
import pytest

from calibration.adjust import adjust
from calibration.kind import Kind
from calibration.observations import Across, CalibrationError, Corners, GivenScale, KnownDistance

UL, UR, LR, LL = (300.0, 250.0), (3500.0, 300.0), (3400.0, 2700.0), (250.0, 2600.0)
KNOWN = KnownDistance((400, 400), (3200, 420), 700.0, label="known distance 1")


def refusal(*observations, kind=Kind.PHOTO):
    with pytest.raises(CalibrationError) as refused:
        adjust(observations, width_px=4000, height_px=3000, kind=kind)
    sentence = str(refused.value)
    # Found; needed; do: three parts in one sentence.
    assert ";" in sentence
    assert sentence.count(": ") >= 1
    assert sentence.endswith(".")
    assert "\n" not in sentence
    return sentence


@pytest.mark.parametrize(
    ("points", "says"),
    [
        ((UL, LL, LR, UR), "mirrored"),
        ((UR, UL, LL, LR), "mirrored"),
        ((UL, LR, UR, LL), "cross over"),
        ((UL, UR, LL, LR), "cross over"),
        ((UL, (1900.0, 275.0), UR, LL), "on one line"),
        ((UL, UR, (1500.0, 800.0), LL), "inside the triangle"),
        ((UL, UL, LR, LL), "both at"),
        ((UL, (4100.0, 300.0), LR, LL), "4000 x 3000 px"),
        ((UL, (math.nan, 300.0), LR, LL), "4000 x 3000 px"),
    ],
)
def test_corners_that_cannot_be(points, says):
    assert says in refusal(Corners(points), KNOWN)


def test_a_picture_taken_from_the_other_side_is_no_fault():
    corners = Corners((LR, LL, UL, UR))

    calibration = adjust([corners, KNOWN], width_px=4000, height_px=3000, kind=Kind.SCAN)

    # The plan reads upside down in the picture: its lower-left corner is at the picture's upper right.
    assert calibration.to_plan(np.array([UR])) == pytest.approx(np.zeros((1, 2)), abs=1e-9)
    assert calibration.to_plan(np.array([LR]))[0, 1] > 0


def test_a_mark_outside_the_picture():
    assert "second mark of known distance 2" in refusal(
        KNOWN, KnownDistance((10, 10), (10, 3400), 50.0, label="known distance 2"), kind=Kind.SCAN
    )


def test_no_length():
    assert "No length at all" in refusal(kind=Kind.SCAN)
    assert "without a size" in refusal(Corners((UL, UR, LR, LL)))


def test_a_photo_with_one_known_distance_says_what_to_add():
    sentence = refusal(KNOWN)

    assert "four crosses" in sentence
    assert "both diagonals" in sentence


def test_a_scale_for_a_photo():
    assert "photo's scale differs" in refusal(GivenScale(0.1, 0.1, "72 dpi in the file", 0.01))


@pytest.mark.parametrize("scale", [GivenScale(0.0, 0.1, "tag", 0.01), GivenScale(0.1, 0.1, "tag", 0.0)])
def test_a_scale_of_nothing(scale):
    assert "above zero" in refusal(scale, kind=Kind.SCAN)


def test_half_a_size_and_sizes_of_nothing():
    assert "one side" in refusal(Corners((UL, UR, LR, LL), width_mm=700.0))
    assert "above zero" in refusal(Corners((UL, UR, LR, LL), width_mm=700.0, height_mm=0.0))


def test_a_line_to_lay_straight_with_one_end():
    assert "two places" in refusal(KNOWN, Across((5, 5), (5, 5)), kind=Kind.SCAN)


def test_a_mark_beyond_the_horizon_that_the_corners_give():
    # Converging sides meet near y = 600 px; a mark above them cannot lie on the paper.
    steep = Corners(((1700.0, 1500.0), (2300.0, 1500.0), (3700.0, 2900.0), (300.0, 2900.0)))
    above = KnownDistance((500, 100), (3500, 120), 700.0, label="known distance 1")

    assert "horizon" in refusal(steep, above)


@pytest.mark.parametrize(
    ("knowns", "says"),
    [
        ([((500, 500 + 300 * i), (3000, 500 + 300 * i), 600.0) for i in range(5)], "leaned"),
        ([((500 + 100 * i, 1000), (3000 - 50 * i, 1000), 600 - 36.0 * i) for i in range(5)], "leaned"),
    ],
)
def test_five_knowns_that_do_not_tell_the_tilt(knowns, says):
    given = [KnownDistance(start, end, mm, label=f"known distance {i}") for i, (start, end, mm) in enumerate(knowns)]

    assert says in refusal(*given)


def test_a_length_too_short_to_tell_the_scale():
    short = KnownDistance((400, 400), (404, 400), 1.0, give_mm=0.5)
    far = KnownDistance((100, 100), (3900, 2900), 1180.0, give_mm=600.0)

    assert "give or take" in refusal(short, far, kind=Kind.SCAN)
