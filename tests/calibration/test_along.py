"""A length known along a line only: from a line to the farthest point of a curved tip."""

import math

import numpy as np
import pytest

from calibration.adjust import adjust
from calibration.calibration import Calibration
from calibration.kind import Kind
from calibration.observations import CalibrationError, CheckLength, Corners, KnownDistance
from drawing.findings import Level

BORDER_MM = np.array([[40.0, 560.0], [800.0, 560.0], [800.0, 40.0], [40.0, 40.0]])
ROOT_MM, TIP_MM = (100.0, 300.0), (640.0, 430.0)
DATUM_MM = np.array([[80.0, 180.0], [760.0, 215.0]])
"""A line a little askew, which the length is measured along."""


def marks(points_px):
    return tuple((float(x), float(y)) for x, y in points_px)


def along_mm() -> float:
    way = (DATUM_MM[1] - DATUM_MM[0]) / math.dist(*DATUM_MM)
    return float((np.array(TIP_MM) - ROOT_MM) @ way)


def half_span(camera, *, sigma_px=0.5, kind=KnownDistance):
    start, end, low, high = marks(camera(np.array([ROOT_MM, TIP_MM, *DATUM_MM])))
    return kind(start, end, along_mm(), 0.2, "540 mm", "known distance 1", sigma_px, (low, high))


def photo(given, **more) -> Calibration:
    return adjust(given, width_px=4000, height_px=3000, kind=Kind.PHOTO, focal_35mm=26.0, **more)


def test_the_part_along_the_line_tells_the_scale_through_perspective(pinhole):
    """Every length of the sheet comes out as it is, to what exact marks leave: 0.01 % (closed form of the camera)."""
    camera = pinhole(26, 14, -11, 5, distance_mm=1350)

    calibration = photo([Corners(marks(camera(BORDER_MM))), half_span(camera)])

    ends_mm = np.random.default_rng(4).uniform((40, 40), (800, 560), (2, 100, 2))
    mm, _ = calibration.lengths_u95(camera(ends_mm[0]), camera(ends_mm[1]))
    assert mm == pytest.approx(np.hypot(*(ends_mm[1] - ends_mm[0]).T), rel=1e-3)
    straight = KnownDistance(*marks(camera(np.array([ROOT_MM, TIP_MM]))), math.dist(ROOT_MM, TIP_MM))
    by_marks = photo([Corners(marks(camera(BORDER_MM))), straight])
    assert calibration.mm_per_px == pytest.approx(by_marks.mm_per_px, rel=2e-4)


def test_a_mark_anywhere_along_the_tips_round_end_gives_the_same(pinhole):
    """The farthest point of a round tip is hard to hit: 0.5 mm aside on a radius of 60 mm falls short by 0.002 mm."""
    camera = pinhole(26, 14, -11, 5, distance_mm=1350)
    corners = Corners(marks(camera(BORDER_MM)))
    way = (DATUM_MM[1] - DATUM_MM[0]) / math.dist(*DATUM_MM)
    across = np.array([-way[1], way[0]])
    beside_mm = np.array(TIP_MM) + 0.5 * across
    start, end, low, high = marks(camera(np.array([ROOT_MM, beside_mm, *DATUM_MM])))
    beside = KnownDistance(start, end, along_mm(), along_px=(low, high))

    shifted, straight = photo([corners, beside]), photo([corners, half_span(camera)])

    assert shifted.mm_per_px == pytest.approx(straight.mm_per_px, rel=1e-5)


def test_a_direction_marked_short_leaves_more_open(pinhole):
    camera = pinhole(26, 0, 0, 0, distance_mm=1350)
    corners = Corners(marks(camera(BORDER_MM)))
    start, end = marks(camera(np.array([ROOT_MM, TIP_MM])))
    u95 = []
    for part in (1.0, 0.05):
        low, high = marks(camera(np.array([DATUM_MM[0], DATUM_MM[0] + part * (DATUM_MM[1] - DATUM_MM[0])])))
        known = KnownDistance(start, end, along_mm(), along_px=(low, high))
        u95.append(photo([corners, known]).length(*marks(camera(BORDER_MM[:2]))).u95_mm)

    assert u95[1] > 1.2 * u95[0]


def test_a_check_along_a_line_is_compared_and_never_fitted(pinhole):
    camera = pinhole(26, 14, -11, 5, distance_mm=1350)
    corners = Corners(marks(camera(BORDER_MM)), 760.0, 520.0)
    check = half_span(camera, kind=CheckLength)

    with_check, without = photo([corners, check]), photo([corners])

    assert with_check.values == pytest.approx(without.values, abs=1e-6)
    assert not [finding for finding in with_check.findings if finding.level is Level.DECIDE]


@pytest.mark.parametrize(
    ("line_mm", "words"),
    [
        (((100.0, 300.0), (100.0, 300.0)), "both ends at"),
        (((100.0, 300.0), (95.0, 520.0)), "lie across"),
    ],
)
def test_a_line_that_is_none_or_runs_across_is_refused(pinhole, line_mm, words):
    camera = pinhole(26, 14, -11, 5, distance_mm=1350)
    start, end, low, high = marks(camera(np.array([(100.0, 300.0), (640.0, 310.0), *line_mm])))
    known = KnownDistance(start, end, 540.0, along_px=(low, high))

    with pytest.raises(CalibrationError, match=words):
        photo([Corners(marks(camera(BORDER_MM))), known])


def test_its_end_on_the_line_may_lie_outside_the_picture(pinhole):
    """The foot of the perpendicular is a place of the plan, not a mark: the tip itself is in the picture."""
    camera = pinhole(26, 3, -2, 0, distance_mm=780)
    start_mm, tip_mm, line_mm = (70.0, 45.0), (770.0, 60.0), ((100.0, 400.0), (700.0, 250.0))
    marks_px = marks(camera(np.array([start_mm, tip_mm, *line_mm])))
    way = np.subtract(line_mm[1], line_mm[0]) / math.dist(*line_mm)
    ahead_mm = float(np.subtract(tip_mm, start_mm) @ way)
    foot_px = camera(np.array([np.add(start_mm, ahead_mm * way)]))[0]
    assert not ((foot_px > 0) & (foot_px < (4000, 3000))).all()
    known = KnownDistance(marks_px[0], marks_px[1], ahead_mm, along_px=(marks_px[2], marks_px[3]))

    calibration = photo([Corners(marks(camera(BORDER_MM))), known])

    mm, _ = calibration.lengths_u95(camera(BORDER_MM[:1]), camera(BORDER_MM[1:2]))
    assert mm[0] == pytest.approx(760.0, rel=1e-3)


def test_a_line_marked_outside_the_picture_is_refused(pinhole):
    camera = pinhole(26, 14, -11, 5, distance_mm=1350)
    start, end = marks(camera(np.array([ROOT_MM, TIP_MM])))
    known = KnownDistance(start, end, 540.0, along_px=((100.0, 100.0), (9000.0, 100.0)))

    with pytest.raises(CalibrationError, match="measured along is at"):
        photo([Corners(marks(camera(BORDER_MM))), known])
