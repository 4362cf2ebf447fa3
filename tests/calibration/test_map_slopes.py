"""How places and rows move with the map's parameters: the closed form against differences of the map itself."""

import numpy as np
import pytest

from calibration.kind import Kind
from calibration.map_slopes import first_cylinders, local_scales, plane_slopes
from calibration.observations import Corners, KnownDistance, StraightLine
from calibration.parameters import priors, with_bulge, with_cylinder
from calibration.plane_map import BULGE, CYLINDER, LENS, P, PictureSize, plane_from_picture
from calibration.problem import build

SIZE = PictureSize(4000, 3000)
STEP = 1e-5
DIFFERENCES_GOOD_TO = 1e-7
"""Part of the largest: central differences of such a step lose a tenth of it to rounding."""


def some_map(rng, *, cylinder, bulge):
    values = np.zeros(len(P))
    values[P.LOG_SCALE], values[P.LOG_FOCAL] = 6.3, 0.2
    values[[P.TILT_X, P.TILT_Y]] = rng.uniform(-0.2, 0.2, 2)
    values[[P.STRETCH, P.SHEAR]] = rng.uniform(-0.004, 0.004, 2)
    values[list(LENS)] = rng.uniform(-0.02, 0.02, 4)
    values[P.BEND_TURN] = rng.uniform(0, np.pi)
    values[list(CYLINDER)] = rng.uniform(-cylinder, cylinder, len(CYLINDER))
    values[list(BULGE)] = rng.uniform(-bulge, bulge, len(BULGE))
    return values


@pytest.mark.parametrize(("cylinder", "bulge"), [(0.0, 0.0), (0.02, 0.0), (0.0, 0.005), (0.02, 0.005)])
def test_places_move_with_each_parameter_as_differences_of_the_map_say(cylinder, bulge):
    rng = np.random.default_rng(6)
    values = some_map(rng, cylinder=cylinder, bulge=bulge)
    points_px = rng.uniform((100, 100), (3900, 2900), (200, 2))

    plane_mm, slopes = plane_slopes(values, points_px, SIZE, tuple(P))

    assert plane_mm == pytest.approx(plane_from_picture(values, points_px, SIZE), abs=1e-9)
    steps = STEP * np.eye(len(P))
    ahead, behind = (plane_from_picture(values + way * steps, points_px, SIZE) for way in (1, -1))
    differences = (ahead - behind) / (2 * STEP)
    for p in P:
        largest = max(np.abs(differences[p]).max(), 1.0)
        assert slopes[p] == pytest.approx(differences[p], abs=DIFFERENCES_GOOD_TO * largest), p.name


@pytest.mark.parametrize(("cylinder", "bulge"), [(0.0, 0.0), (0.02, 0.005)])
def test_a_px_measures_what_places_half_a_px_to_both_sides_say(cylinder, bulge):
    rng = np.random.default_rng(7)
    values = some_map(rng, cylinder=cylinder, bulge=bulge)
    points_px = rng.uniform((100, 100), (3900, 2900), (50, 2))

    local = local_scales(values, points_px, SIZE)

    for axis, step in enumerate(np.eye(2) / 2):
        ahead, behind = (plane_from_picture(values, points_px + way * step, SIZE) for way in (1, -1))
        assert local[:, :, axis] == pytest.approx(ahead - behind, abs=1e-7)


def test_cylinders_in_every_direction_move_places_as_each_does_alone():
    rng = np.random.default_rng(9)
    values = some_map(rng, cylinder=0.0, bulge=0.0)
    points_px = rng.uniform((100, 100), (3900, 2900), (30, 2))
    turns_rad = np.array([0.0, 0.7, 2.0])

    moves = first_cylinders(values, points_px, SIZE, turns_rad)

    for turn, moved in zip(turns_rad, moves, strict=True):
        values[P.BEND_TURN] = turn
        _, alone = plane_slopes(values, points_px, SIZE, CYLINDER)
        assert moved == pytest.approx(alone, abs=1e-9)


def test_beyond_the_horizon_nothing_is_said_to_move():
    values = np.zeros(len(P))
    values[P.LOG_SCALE], values[P.TILT_X] = 6.0, -1.5

    plane_mm, slopes = plane_slopes(values, np.array([[3990.0, 1500.0], [10.0, 1500.0]]), SIZE, tuple(P))

    assert np.isnan(plane_mm[0]).all()
    assert np.isnan(slopes[int(P.TILT_X), 0]).all()
    assert np.isfinite(plane_mm[1]).all()


@pytest.mark.parametrize(
    "more", [lambda told: told, lambda told: with_cylinder(told), lambda told: with_bulge(told, sigma=0.005)]
)
def test_rows_move_with_the_unknowns_as_their_differences_say(more):
    rng = np.random.default_rng(8)
    corners = Corners(((300.0, 250.0), (3700.0, 300.0), (3650.0, 2700.0), (350.0, 2750.0)), 801.0, 554.0)
    known = KnownDistance((500.0, 600.0), (3000.0, 2000.0), 600.0)
    line = StraightLine(np.column_stack([np.linspace(400, 3500, 12), np.linspace(900, 1000, 12)]), 0.1)
    problem = build([known, corners, line], size=SIZE, priors=more(priors(kind=Kind.PHOTO, focal_35mm=26.0)))
    values = some_map(rng, cylinder=0.0, bulge=0.0)
    values[[P.STRETCH, P.SHEAR]] = 0.0
    unknowns = problem.start(values)
    unknowns[: len(problem.free)] += 0.002 * rng.normal(size=len(problem.free))
    weights = problem.weights(problem.values(unknowns))

    slopes = problem.slopes(problem.values(unknowns), unknowns, weights, problem.free)

    steps = np.diag(STEP * problem.bounds)
    sets = np.concatenate([unknowns + steps, unknowns - steps])
    ahead, behind = np.split(problem.rows(problem.values(sets), sets, weights), 2)
    differences = (ahead - behind).T / (2 * STEP)
    assert slopes * problem.bounds == pytest.approx(differences, abs=1e-6 * np.abs(differences).max())


def test_marks_pulled_into_one_point_weigh_without_end_and_warn_of_nothing():
    t = np.linspace(0, 1, 5)[:, None]
    line = StraightLine(np.array([500.0, 400.0]) + t * np.array([2500.0, 300.0]), 0.1)
    known = KnownDistance((600.0, 700.0), (3000.0, 2500.0), 650.0)
    told = priors(kind=Kind.PHOTO, focal_35mm=26.0)
    problem = build([known, line], size=SIZE, priors=told)
    collapsed = np.zeros(len(P))
    collapsed[P.LOG_SCALE] = -800.0

    *_, weight = problem.weights(collapsed)

    assert not np.isfinite(weight).all()
