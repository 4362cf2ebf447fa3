"""The mean of two bends that explain the same border: its lengths are the mean of theirs, its spread their distance."""

import numpy as np
import pytest

from calibration.bend_rivals import average_flat_and_bent, mean_and_spread
from calibration.evidence import log_evidence
from calibration.kind import Kind
from calibration.observations import Corners, StraightLine
from calibration.parameters import priors, with_cylinder
from calibration.plane_map import CYLINDER, P, PictureSize, plane_from_picture
from calibration.problem import build
from calibration.solution import solve
from calibration.start import starts
from calibration.uncertainty import length_sigmas, map_covariance
from sample_scans.camera import View, camera_for
from sample_scans.curled import CurledCamera, Shape, curled

SHEET_MM = np.array([[0.0, 594.0], [841.0, 594.0], [841.0, 0.0], [0.0, 0.0]])
BORDER_MM = np.array([[20.0, 574.0], [821.0, 574.0], [821.0, 20.0], [20.0, 20.0]])
SIZE = PictureSize(4000, 3000)


def bowed():
    """Give a border that bows along a diagonal, and what is known of the photo beforehand."""
    view = View(tilt_x_deg=6, tilt_y_deg=-4, turn_deg=2, k1=-0.02, k2=0.005)
    camera = camera_for(SHEET_MM, view, width_px=4000, height_px=3000)
    rng = np.random.default_rng(3)
    seen = CurledCamera(camera, curled(SHEET_MM, rng, shape=Shape.ARCH, direction_deg=40, rise_mm=4))
    first, second, third, fourth = ((float(x), float(y)) for x, y in seen.to_picture(BORDER_MM))
    given = [Corners((first, second, third, fourth), 801.0, 554.0, sigma_px=0.15)]
    for start, end in zip(BORDER_MM, np.roll(BORDER_MM, -1, axis=0), strict=True):
        px = seen.to_picture(start + np.linspace(0.02, 0.98, 24)[:, None] * (end - start))
        given.append(StraightLine(px + rng.normal(0, 0.5, px.shape), 0.5))
    return given, priors(kind=Kind.PHOTO, focal_35mm=camera.focal_35mm)


def both_ways():
    """Give the minima of a bowed border whose profile runs up the one diagonal, and up the other."""
    given, told = bowed()
    begin = starts(given, kind=Kind.PHOTO, size=SIZE, priors=told)[0]
    problem = build(given, size=SIZE, priors=with_cylinder(told))
    minima = []
    for turn_deg in (40, 140):
        values = begin.copy()
        values[P.BEND_TURN], values[CYLINDER[0]] = np.radians(turn_deg), -0.03
        minima.append(solve(problem, values))
    return sorted(minima, key=lambda one: one.cost)


def test_the_mean_of_two_bends_has_the_mean_of_their_lengths_and_its_spread_reaches_both():
    minima = both_ways()
    ends_px = np.random.default_rng(1).uniform((400, 300), (3600, 2700), (2, 60, 2))

    mean, spread = mean_and_spread(minima, SIZE)

    likely = np.exp([log_evidence(one) - log_evidence(minima[0]) for one in minima])
    likely /= likely.sum()
    assert likely.min() > 0.02
    lengths = []
    for values in [one.values for one in minima]:
        start, end = (plane_from_picture(values, px, SIZE) for px in ends_px)
        lengths.append(np.hypot(*(end - start).T))
    apart = np.abs(lengths[1] - lengths[0])
    mm, sigmas_mm = length_sigmas(minima[0].values + mean, spread, *ends_px, SIZE, mark_sigma_px=0.0)
    # A tenth of how far they are apart: arcs are not in the humps that stand for the other bend.
    assert np.abs(mm - likely @ np.array(lengths)).max() < 0.1 * apart.max()
    assert sigmas_mm == pytest.approx(apart * np.sqrt(likely.prod()), abs=0.1 * apart.max())


def test_the_mean_of_flat_and_bent_paper_has_the_mean_of_their_lengths_and_its_spread_reaches_both():
    given, told = bowed()
    flat = solve(build(given, size=SIZE, priors=told), starts(given, kind=Kind.PHOTO, size=SIZE, priors=told)[0])
    bent, _ = both_ways()
    ends_px = np.random.default_rng(1).uniform((800, 600), (3200, 2400), (2, 60, 2))
    flat_sure, bent_sure = map_covariance(flat), map_covariance(bent)

    values, covariance = average_flat_and_bent((flat, flat_sure), (bent, bent_sure), 0.3, size=SIZE)

    def lengths(values, covariance):
        return length_sigmas(values, covariance.whole, *ends_px, SIZE, mark_sigma_px=0.0)

    (flat_mm, flat_sigmas), (bent_mm, bent_sigmas) = lengths(flat.values, flat_sure), lengths(bent.values, bent_sure)
    apart = bent_mm - flat_mm
    assert np.abs(apart).max() > 0.2
    mm, sigmas_mm = lengths(values, covariance)
    assert mm == pytest.approx(flat_mm + 0.3 * apart, abs=0.1 * np.abs(apart).max())
    # The variance of a mixture (any textbook).
    mixed = np.sqrt(0.7 * flat_sigmas**2 + 0.3 * bent_sigmas**2 + 0.21 * apart**2)
    assert sigmas_mm == pytest.approx(mixed, rel=0.15)


def test_a_bend_without_rivals_stays_as_it_is():
    lowest, _ = both_ways()

    mean, spread = mean_and_spread([lowest], SIZE)

    assert not mean.any()
    assert not spread.any()
