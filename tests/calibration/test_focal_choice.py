"""A file's focal length that is not the picture's: intervals hold without anyone being told, and it is said."""

import math

import numpy as np
import pytest

from benchmarks.calibration_error import calibrated
from benchmarks.simulated_views import BY_MACHINE, Scene
from benchmarks.simulated_views import photo as simulated_photo
from calibration.adjust import adjust
from calibration.kind import Kind
from calibration.observations import Corners, KnownDistance, StraightLine
from drawing.findings import Level

BORDER_MM = np.array([[40.0, 560.0], [800.0, 560.0], [800.0, 40.0], [40.0, 40.0]])
LENGTH_MM = np.array([[60.0, 100.0], [780.0, 120.0]])
TRUE_35MM = 26.0


def marks(points_px):
    return tuple((float(x), float(y)) for x, y in points_px)


def taken(pinhole, tilts, told_35mm, seed=3):
    """Calibrate a photo of a border of unknown size and one length, its file stating that focal length."""
    camera = pinhole(TRUE_35MM, *tilts, 5.0, distance_mm=1300, k1=-0.045, k2=0.012)
    rng = np.random.default_rng(seed)
    t = (np.arange(24) + 0.5)[:, None] / 24
    sides = []
    for start, end in zip(BORDER_MM, np.roll(BORDER_MM, -1, axis=0), strict=True):
        px = camera(start + t * (end - start))
        sides.append(StraightLine(px + rng.normal(0, 0.05, px.shape), 0.1))
    known = KnownDistance(*marks(camera(LENGTH_MM)), math.dist(*LENGTH_MM), label="known distance 1")
    given = [Corners(marks(camera(BORDER_MM)), label="drawn border", sigma_px=0.1), *sides, known]
    return camera, adjust(given, width_px=4000, height_px=3000, kind=Kind.PHOTO, focal_35mm=told_35mm)


def errors(calibration, camera):
    """Errors of 200 lengths of the sheet and what is said of them, as parts."""
    ends_mm = np.random.default_rng(9).uniform((10, 10), (830, 584), (2, 200, 2))
    mm, u95_mm = calibration.lengths_u95(camera(ends_mm[0]), camera(ends_mm[1]), mark_sigma_px=0.0)
    true_mm = np.hypot(*(ends_mm[1] - ends_mm[0]).T)
    return np.abs(mm - true_mm) / true_mm, u95_mm / true_mm


def doubts(calibration):
    return [finding for finding in calibration.findings if finding.code == "focal-length-doubted"]


@pytest.mark.parametrize("told_35mm", [26.0, 29.0, 31.0, 33.0, 36.0])
@pytest.mark.parametrize("tilts", [(14.0, -11.0), (8.0, -6.0), (10.0, -4.0), (5.0, -5.0)])
def test_intervals_hold_whatever_the_file_states(pinhole, tilts, told_35mm):
    camera, calibration = taken(pinhole, tilts, told_35mm)

    off, said = errors(calibration, camera)

    assert (off <= said).mean() >= 0.95


@pytest.mark.parametrize("seed", [22, 33, 39, 64])
def test_one_that_is_likely_not_the_pictures_is_said_with_its_effect_and_a_remedy(seed):
    """Views where 12 % off is too little to leave it out, and too much to believe."""
    scene = Scene(lines=True, knowns=1, drawn=BY_MACHINE, focal_off=0.12)
    view = simulated_photo(np.random.default_rng(seed), scene)

    calibration = calibrated(view)

    (said,) = doubts(calibration)
    assert said.level is Level.NOTE
    assert f"states a focal length of {view.focal_35mm:.0f} mm" in said.text
    assert "known distance along each side" in said.text
    shown_35mm = float(said.text.split("rather show ")[1].split(" mm")[0])
    assert abs(shown_35mm - view.picturing.focal_35mm) < abs(view.focal_35mm - view.picturing.focal_35mm)


@pytest.mark.parametrize("seed", range(5))
def test_one_that_is_a_little_off_as_rounding_leaves_it_is_not_doubted(pinhole, seed):
    _, calibration = taken(pinhole, (14.0, -11.0), 26.5, seed)

    assert not doubts(calibration)
