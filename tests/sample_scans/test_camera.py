import cv2
import numpy as np
import pytest

from sample_scans.camera import View, camera_for, page_of, random_view, scanner_for
from sample_scans.plan import school_plan

SHEET_MM = school_plan().sheet_mm


# OpenCV's projectPoints is the published pinhole and radial model, by another hand.
@pytest.mark.parametrize("seed", range(10))
def test_the_camera_projects_as_opencv_does(seed):
    rng = np.random.default_rng(seed)
    camera = camera_for(SHEET_MM, random_view(rng), width_px=4000, height_px=3000)
    points_mm = rng.uniform([-20, -10], [574, 410], (50, 2))
    matrix = np.array([[camera.focal_px, 0, camera.centre_px[0]], [0, camera.focal_px, camera.centre_px[1]], [0, 0, 1]])
    space = np.column_stack([points_mm, np.zeros(50)])
    turn, _ = cv2.Rodrigues(camera.rotation)
    theirs, _ = cv2.projectPoints(space, turn, camera.shift_mm, matrix, np.array([camera.k1, camera.k2, 0, 0]))

    ours = camera.to_picture(points_mm)

    assert np.abs(ours - theirs[:, 0]).max() < 1e-6


@pytest.mark.parametrize("seed", range(30))
def test_a_random_view_holds_the_sheet_and_is_a_proper_rotation(seed):
    camera = camera_for(SHEET_MM, random_view(np.random.default_rng(seed)), width_px=4000, height_px=3000)

    corners = camera.to_picture(SHEET_MM)

    assert ((corners > 0) & (corners < [4000, 3000])).all()
    # Upper-left stays left of upper-right and above lower-left: nothing is mirrored.
    assert corners[0, 0] < corners[1, 0]
    assert corners[0, 1] < corners[3, 1]
    assert np.linalg.det(camera.rotation) == pytest.approx(1)
    # It fills the picture one way or the other.
    low, high = corners.min(axis=0), corners.max(axis=0)
    assert ((high - low) / [4000, 3000]).max() > 0.9


def test_the_equivalent_focal_length_is_of_the_diagonal():
    camera = camera_for(SHEET_MM, View(focal_35mm=26), width_px=4000, height_px=3000)

    # 5000 px of diagonal stand for the 43.27 mm of a 36 x 24 mm frame.
    assert camera.focal_px == pytest.approx(26 / 43.2666 * 5000, rel=1e-4)
    assert camera.focal_35mm == pytest.approx(26)


def test_a_scan_has_its_dpi_skew_and_stretch():
    scanner = scanner_for(SHEET_MM, dpi=200, skew_deg=0.4, stretch=(1.002, 0.997))

    origin, right, up = scanner.to_picture(np.array([[0.0, 0.0], [100.0, 0.0], [0.0, 100.0]]))

    # 100 mm are 787.402 px at 200 dpi; counter-clockwise raises the right end, and y is down in the picture.
    skew = np.radians(0.4)
    assert right - origin == pytest.approx([787.402 * np.cos(skew) * 1.002, -787.402 * np.sin(skew) * 0.997], abs=1e-3)
    assert up - origin == pytest.approx([-787.402 * np.sin(skew) * 1.002, -787.402 * np.cos(skew) * 0.997], abs=1e-3)


def test_a_page_begins_half_a_px_before_its_first_pixels_centre():
    page = page_of(SHEET_MM)

    upper_left, _, lower_right, _ = page.to_picture(SHEET_MM)

    assert upper_left == pytest.approx([-0.5, -0.5])
    # 594 x 420 mm at 300 dpi.
    assert lower_right - upper_left == pytest.approx([7015.748, 4960.630], abs=1e-3)
