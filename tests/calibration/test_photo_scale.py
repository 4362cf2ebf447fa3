"""Photos: a foreign camera and a foreign homography, first-order theory, and intervals that hold what they say."""

import json
import math
import os
from pathlib import Path

import cv2
import numpy as np
import pytest

from calibration.adjust import adjust
from calibration.kind import Kind
from calibration.observations import DRAUGHTING_MM, LEAN_SIGMA_RAD, CalibrationError, Corners, KnownDistance
from calibration.parameters import LENS_SIGMA, Prior, Role, priors
from calibration.plane_map import PictureSize, plane_from_picture
from calibration.problem import build
from calibration.solution import solve_from
from calibration.start import starts
from calibration.uncertainty import NORMAL_95, length_sigmas, map_covariance

WIDTH_PX, HEIGHT_PX = 4000, 3000
RECTANGLE_MM = np.array([[60.0, 540.0], [780.0, 540.0], [780.0, 60.0], [60.0, 60.0]])
SIZE = (720.0, 480.0)
PAIRS = ((0, 1), (1, 2), (2, 3), (3, 0), (0, 2), (1, 3))


def photo(observations, **more):
    return adjust(observations, width_px=WIDTH_PX, height_px=HEIGHT_PX, kind=Kind.PHOTO, **more)


def marks(points_px):
    return tuple((float(x), float(y)) for x, y in points_px)


def distance(points):
    return float(np.hypot(*(points[1] - points[0])))


def exact_knowns(camera, pairs_mm):
    return [
        KnownDistance(*marks(camera(pair)), distance(pair), label=f"known distance {i + 1}")
        for i, pair in enumerate(pairs_mm)
    ]


def test_four_exact_corners_give_the_homography_that_opencv_gives(pinhole):
    camera = pinhole()
    # Marks so sure that what is expected of tilt and focal length pulls by less than what is checked.
    corners = Corners(marks(camera(RECTANGLE_MM)), *SIZE, sigma_px=1e-4, give_mm=1e-5)
    world_mm = RECTANGLE_MM - RECTANGLE_MM[3]
    foreign, _ = cv2.findHomography(camera(RECTANGLE_MM), world_mm)
    rows = []
    for (x, y), (u, v) in zip(camera(RECTANGLE_MM), world_mm, strict=True):
        rows += [[x, y, 1, 0, 0, 0, -u * x, -u * y], [0, 0, 0, x, y, 1, -v * x, -v * y]]
    exact = np.append(np.linalg.solve(rows, world_mm.ravel()), 1).reshape(3, 3)
    anywhere_px = np.random.default_rng(3).uniform((500, 400), (3500, 2600), (200, 2))

    calibration = photo([corners], focal_35mm=26)

    # OpenCV takes the corners in single precision: 2e-4 px.
    assert calibration.to_plan(anywhere_px) == pytest.approx(
        cv2.perspectiveTransform(anywhere_px[:, None], foreign)[:, 0], abs=2e-4
    )
    assert calibration.to_plan(anywhere_px) == pytest.approx(
        cv2.perspectiveTransform(anywhere_px[:, None], exact)[:, 0], abs=1e-6
    )


@pytest.mark.parametrize("tilts", [(0.0, 0.0), (22.0, -18.0), (-25.0, 25.0)])
@pytest.mark.parametrize("turn_deg", [0.0, 90.0, 171.0])
def test_exact_marks_give_the_plan_back(pinhole, tilts, turn_deg):
    camera = pinhole(26, *tilts, turn_deg, distance_mm=1300)
    rng = np.random.default_rng(4)
    points_mm = rng.uniform((0, 0), (840, 594), (50, 2))

    unsized = photo([Corners(marks(camera(RECTANGLE_MM))), *exact_knowns(camera, [RECTANGLE_MM[:2]])], focal_35mm=26)
    sized = photo([Corners(marks(camera(RECTANGLE_MM)), *SIZE)], focal_35mm=26)

    for calibration in (unsized, sized):
        # What is expected of tilts pulls by a hundredth of the marks' own error.
        assert calibration.to_plan(camera(points_mm)) == pytest.approx(points_mm - RECTANGLE_MM[3], abs=0.02)


def test_knowns_alone_find_the_tilt(pinhole):
    # Four crosses, their sides and diagonals: lengths elsewhere come out to the search's own precision.
    camera = pinhole(tilt_x_deg=-20, tilt_y_deg=15)
    knowns = exact_knowns(camera, [RECTANGLE_MM[list(pair)] for pair in PAIRS])
    pairs_mm = np.random.default_rng(5).uniform((0, 0), (840, 594), (2, 30, 2))

    calibration = photo(knowns, focal_35mm=26)

    mm, _ = calibration.lengths_u95(camera(pairs_mm[0]), camera(pairs_mm[1]))
    assert mm == pytest.approx(np.hypot(*(pairs_mm[1] - pairs_mm[0]).T), rel=1e-4)
    assert calibration.settled


def test_covariance_agrees_with_first_order_theory_of_a_homography(pinhole):
    """Criminisi, Reid, Zisserman 1999: the covariance of a plane-to-plane map from four exact world points.

    With a focal length that nothing tells and a rectangle drawn true, only the principal point's place
    is known beyond a free homography; so our interval is at most theirs, and not far below.
    """
    camera = pinhole(tilt_x_deg=20, tilt_y_deg=18)
    px, sigma_px = camera(RECTANGLE_MM), 0.5
    world = RECTANGLE_MM - RECTANGLE_MM[3]
    rows = []
    for (x, y), (u, v) in zip(px / 1000, world, strict=True):
        rows += [[x, y, 1, 0, 0, 0, -u * x, -u * y, -u], [0, 0, 0, x, y, 1, -v * x, -v * y, -v]]
    a = np.array(rows)
    h = np.linalg.svd(a)[2][-1]
    h = h / np.linalg.norm(h)
    # Error of each algebraic row: the corner's px error through the row's own derivative.
    row_covariance = np.zeros((8, 8))
    for i, (u, v) in enumerate(world):
        slope = np.array([[h[0] - u * h[6], h[1] - u * h[7]], [h[3] - v * h[6], h[4] - v * h[7]]])
        row_covariance[2 * i : 2 * i + 2, 2 * i : 2 * i + 2] = (sigma_px / 1000) ** 2 * slope @ slope.T
    inverse = np.linalg.pinv(a)
    covariance = inverse @ row_covariance @ inverse.T
    ends_px = camera(np.array([[150.0, 200.0], [650.0, 450.0]]))

    def length(hh):
        p = np.column_stack([ends_px / 1000, np.ones(2)]) @ hh.reshape(3, 3).T
        q = p[:, :2] / p[:, 2:]
        return float(np.hypot(*(q[1] - q[0])))

    slopes = np.array([(length(h + 1e-7 * e) - length(h - 1e-7 * e)) / 2e-7 for e in np.eye(9)])
    theirs = math.sqrt(slopes @ covariance @ slopes)

    ours = _lens_known_sigma(camera, [Corners(marks(px), *SIZE, give_mm=1e-6, lean_sigma_rad=1e-9)], ends_px)

    assert 0.6 * theirs < ours < 1.05 * theirs


def _lens_known_sigma(camera, observations, ends_px):
    found, covariance = _solved(observations, None, lens=Role.FIXED)
    _, sigma = length_sigmas(
        found.values, covariance, ends_px[:1], ends_px[1:], PictureSize(WIDTH_PX, HEIGHT_PX), mark_sigma_px=0.0
    )
    return float(sigma[0])


def _solved(observations, focal_35mm, *, lens):
    size = PictureSize(WIDTH_PX, HEIGHT_PX)
    told = priors(kind=Kind.PHOTO, focal_35mm=focal_35mm)
    told |= {p: Prior(lens, sigma=sigma) for p, sigma in LENS_SIGMA.items()}
    begin = starts(observations, kind=Kind.PHOTO, size=size, priors=told)
    found = solve_from(build(observations, size=size, priors=told), begin)[0]
    return found, map_covariance(found).whole


def _random_photo(rng, pinhole, what):
    """A phone held askew over a drawn rectangle, marks put by hand; lengths and rectangle as people draw them."""
    camera = pinhole(rng.uniform(24, 28), *rng.uniform(-24, 24, 2), rng.uniform(-5, 5), distance_mm=1250)

    def clicked(points_mm):
        return marks(camera(points_mm) + rng.normal(0, 0.5, (len(points_mm), 2)))

    drawn = RECTANGLE_MM - (420, 300)
    drawn[:, 0] += rng.normal(0, LEAN_SIGMA_RAD) * drawn[:, 1]
    drawn += np.array((420, 300)) + rng.uniform(-DRAUGHTING_MM, DRAUGHTING_MM, (4, 2))

    def known(pair_mm):
        return KnownDistance(*clicked(pair_mm), distance(pair_mm) + rng.uniform(-DRAUGHTING_MM, DRAUGHTING_MM))

    match what:
        case "sized":
            given = [Corners(clicked(drawn), *SIZE)]
        case "unsized":
            given = [Corners(clicked(drawn)), known(np.array([[100.0, 100.0], [700.0, 130.0]]))]
        case _:
            given = [known(RECTANGLE_MM[list(pair)]) for pair in PAIRS]
    return camera, given, camera.focal_35mm * (1 + rng.normal(0, 0.02))


@pytest.mark.parametrize(("what", "seed"), [("sized", 21), ("unsized", 22), ("crosses", 23)])
def test_photo_intervals_hold_what_they_say_without_a_lens(pinhole, what, seed):
    """60 to 200 photos, 20 lengths each: 95 % lie within. The lens bends nothing and is known not to."""
    rng = np.random.default_rng(seed)
    size = PictureSize(WIDTH_PX, HEIGHT_PX)
    inside = []
    for _ in range(80 if what == "crosses" else 200):
        camera, given, focal = _random_photo(rng, pinhole, what)
        found, covariance = _solved(given, focal, lens=Role.FIXED)
        pairs_mm = rng.uniform((0, 0), (840, 594), (2, 20, 2))
        starts_px, ends_px = camera(pairs_mm[0]), camera(pairs_mm[1])
        mm, sigma = length_sigmas(found.values, covariance, starts_px, ends_px, size, mark_sigma_px=0.0)
        inside.append(np.abs(mm - np.hypot(*(pairs_mm[1] - pairs_mm[0]).T)) <= NORMAL_95 * sigma)
    # Lengths of one photo share its errors: 95 % to some 2 %.
    assert 0.90 <= np.mean(inside) <= 0.99


def test_photo_intervals_hold_what_they_say_with_a_lens_that_nothing_tells(pinhole):
    """k1 from -0.06 to 0.02 and k2 to 0.02 (phones' main cameras) bend the picture; nothing is told of it."""
    rng = np.random.default_rng(31)
    inside = []
    for _ in range(100):
        camera, given, focal = _random_photo(
            rng, lambda *a, **k: pinhole(*a, k1=rng.uniform(-0.06, 0.02), k2=rng.uniform(0, 0.02), **k), "sized"
        )
        calibration = photo(given, focal_35mm=focal)
        pairs_mm = rng.uniform((0, 0), (840, 594), (2, 20, 2))
        mm, u95 = calibration.lengths_u95(camera(pairs_mm[0]), camera(pairs_mm[1]), mark_sigma_px=0.0)
        inside.append(np.abs(mm - np.hypot(*(pairs_mm[1] - pairs_mm[0]).T)) <= u95)
    # The lens is one draw a photo, and its prior is wider than most of these lenses: no upper bound.
    assert np.mean(inside) >= 0.90


def test_a_lens_that_nothing_tells_is_said_with_its_effect(pinhole):
    camera = pinhole()

    calibration = photo([Corners(marks(camera(RECTANGLE_MM)), *SIZE)], focal_35mm=26)

    (said,) = [finding for finding in calibration.findings if finding.code == "lens-not-solved"]
    assert "mm" in said.text
    assert "zoom" in said.text


def test_a_lens_widens_what_is_said_of_a_length_far_from_the_marks(pinhole):
    """A lens that four corners cannot tell stays in the covariance as its prior."""
    camera = pinhole(tilt_x_deg=5, tilt_y_deg=5)
    small_mm = (RECTANGLE_MM - (420, 300)) * 0.5 + (420, 300)
    ends_px = camera(np.array([[10.0, 20.0], [830.0, 570.0]]))
    given = [Corners(marks(camera(small_mm)), 360.0, 240.0)]

    _, unknown = _solved(given, 26, lens=Role.FREE)
    found, fixed = _solved(given, 26, lens=Role.FIXED)

    size = PictureSize(WIDTH_PX, HEIGHT_PX)
    sigma = [
        length_sigmas(found.values, c, ends_px[:1], ends_px[1:], size, mark_sigma_px=0.0)[1][0]
        for c in (unknown, fixed)
    ]
    # By hand: K1 of one sigma moves the ends at r = 0.75 against the corners at 0.37 by K1 r^2 of their distance.
    span = float(np.hypot(*np.diff(plane_from_picture(found.values, ends_px, size), axis=0)[0]))
    assert sigma[0] > 2 * sigma[1]
    assert 0.2 * 0.02 * 0.75**2 * span < sigma[0] < 3 * 0.02 * 0.75**2 * span


def test_a_cropped_pictures_focal_length_is_found_wrong_where_known_distances_agree(pinhole):
    camera = pinhole(tilt_x_deg=22, tilt_y_deg=18)
    given = [Corners(marks(camera(RECTANGLE_MM)), *SIZE), *exact_knowns(camera, [RECTANGLE_MM[:2], RECTANGLE_MM[1:3]])]
    given += exact_knowns(camera, [RECTANGLE_MM[[0, 2]], RECTANGLE_MM[[1, 3]]])

    calibration = photo(given, focal_35mm=40)

    assert "the focal length that the file states" in [finding.about for finding in calibration.findings]
    assert calibration.length(*marks(camera(np.array([[100.0, 100.0], [700.0, 500.0]])))).mm == pytest.approx(
        math.hypot(600, 400), rel=1e-3
    )


@pytest.mark.skipif("SCANTLING_REAL" not in os.environ, reason="real pictures are not here")
@pytest.mark.parametrize("focal_35mm", [15.0, None])
def test_a_real_wide_lens_is_never_passed_in_silence(focal_35mm):
    """A published chessboard through an action camera's lens: lines bow by 14 px, far beyond any phone's."""
    listed = json.loads((Path(os.environ["SCANTLING_REAL"]) / "wide_lens_grid_corners.json").read_text())
    grid_px = np.array(listed["corners"])
    corners = Corners(marks(grid_px[[0, 0, -1, -1], [0, -1, -1, 0]]), 260.0, 190.0, sigma_px=0.1, give_mm=0.01)
    places = np.random.default_rng(6).integers(0, grid_px.shape[:2], (2, 300, 2))
    true_mm = 10 * np.hypot(*(places[1] - places[0]).T)

    try:
        calibration = photo([corners], focal_35mm=focal_35mm)
    except CalibrationError:
        # Refused in words is not passed in silence; the words are tested with the refusals.
        return
    mm, u95 = calibration.lengths_u95(*(grid_px[p[:, 0], p[:, 1]] for p in places))
    assert not calibration.settled or (np.abs(mm - true_mm) <= u95).mean() > 0.90
