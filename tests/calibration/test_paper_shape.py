"""A paper's size that its corners deny is questioned, with the paper that they fit."""

import numpy as np
import pytest

from calibration.adjust import adjust
from calibration.kind import Kind
from calibration.observations import CalibrationError, Corners


def marks(points_px):
    return tuple((float(x), float(y)) for x, y in points_px)


def sheet_mm(width, height):
    return np.array([[0.0, height], [width, height], [width, 0.0], [0.0, 0.0]])


def photo(pinhole, paper_mm, typed_mm, seed):
    rng = np.random.default_rng(seed)
    width, height = paper_mm
    tilts = rng.uniform(-22, 22, 2)
    camera = pinhole(
        26, *tilts, 3, distance_mm=1.7 * width, middle_mm=(width / 2, height / 2), k1=rng.uniform(-0.06, 0.02)
    )
    px = camera(sheet_mm(width, height)) + rng.normal(0, 0.5, (4, 2))
    return adjust([Corners(marks(px), *typed_mm)], width_px=4000, height_px=3000, kind=Kind.PHOTO, focal_35mm=26.0)


# ISO 216: A4 is 210 x 297 mm, 1 to 1.414; ANSI/ASME Y14.1 A (Letter) 8.5 x 11 in, 1 to 1.294.
@pytest.mark.parametrize("seed", range(5))
def test_letter_given_as_a4_is_questioned(pinhole, seed):
    with pytest.raises(CalibrationError, match=r"size of A4, whose sides are 1 to 1\.414.*is it Letter") as refused:
        photo(pinhole, (279.4, 215.9), (297.0, 210.0), seed)

    assert "\n" not in str(refused.value)


def test_a4_given_as_letter_on_a_scan_is_questioned():
    corners = Corners(marks([(100, 100), (2580, 100), (2580, 3608), (100, 3608)]), 215.9, 279.4)

    with pytest.raises(CalibrationError, match=r"Letter, whose sides are 1 to 1\.294.*1 to 1\.41.*is it A4"):
        adjust([corners], width_px=2700, height_px=3720, kind=Kind.SCAN)


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("paper_mm", [(297.0, 210.0), (279.4, 215.9), (841.0, 594.0)])
def test_the_right_paper_is_not_questioned(pinhole, paper_mm, seed):
    assert photo(pinhole, paper_mm, paper_mm, seed).settled
