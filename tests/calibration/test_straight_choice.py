"""Which of a drawing's long lines are taken for straight: truth is a sheet whose lines the test itself drew.

The paper curls or bulges on lengths of its own (`sample_scans/curled.py`), which is not the model that decides.
"""

import numpy as np
import pytest

from calibration.adjust import adjust
from calibration.kind import Kind
from calibration.observations import Corners, StraightLine
from calibration.straight_choice import straight_among
from sample_scans.camera import View, camera_for
from sample_scans.curled import CurledCamera, Shape, bulged, curled

SHEET_MM = np.array([[0.0, 594.0], [841.0, 594.0], [841.0, 0.0], [0.0, 0.0]])
BORDER_MM = np.array([[20.0, 574.0], [821.0, 574.0], [821.0, 20.0], [20.0, 20.0]])
VIEW = View(tilt_x_deg=14, tilt_y_deg=-9, turn_deg=2, k1=-0.02, k2=0.005)
CAMERA = camera_for(SHEET_MM, VIEW, width_px=4000, height_px=3000)
SEEN = {"width_px": 4000, "height_px": 3000, "kind": Kind.PHOTO, "focal_35mm": CAMERA.focal_35mm}
T = np.linspace(0.02, 0.98, 24)[:, None]
STRAIGHT_MM = (
    ((60.0, 300.0), (780.0, 300.0)),
    ((60.0, 180.0), (700.0, 180.0)),
    ((150.0, 420.0), (790.0, 420.0)),
    ((240.0, 60.0), (240.0, 540.0)),
    ((430.0, 50.0), (430.0, 550.0)),
    ((640.0, 60.0), (640.0, 520.0)),
    ((80.0, 80.0), (520.0, 520.0)),
    ((350.0, 500.0), (780.0, 90.0)),
    ((100.0, 520.0), (420.0, 480.0)),
)
CURVED_MM = (
    ((80.0, 240.0), (760.0, 240.0), 3.0),
    ((90.0, 350.0), (700.0, 370.0), -1.2),
    ((320.0, 80.0), (330.0, 520.0), 1.5),
    ((540.0, 60.0), (540.0, 540.0), -4.0),
    ((100.0, 120.0), (400.0, 140.0), 0.8),
)
"""Start, end, and by how much an arc bows: 0.2 to 0.9 % of its length."""


def line(seen, rng, start, end, label, bow_mm=0.0):
    along = np.array(end) - np.array(start)
    across = np.array([-along[1], along[0]]) / np.hypot(*along)
    px = seen.to_picture(np.array(start) + T * along + 4 * T * (1 - T) * bow_mm * across)
    return StraightLine(px + rng.normal(0, 0.1, px.shape), 0.1, label)


def sheet(seen, rng):
    first, second, third, fourth = ((float(x), float(y)) for x, y in seen.to_picture(BORDER_MM))
    sides = [line(seen, rng, BORDER_MM[i], BORDER_MM[(i + 1) % 4], f"side {i}") for i in range(4)]
    return [Corners((first, second, third, fourth), 801.0, 554.0, sigma_px=0.15), *sides]


def candidates(seen, rng):
    straight = [line(seen, rng, *ends, "straight") for ends in STRAIGHT_MM]
    return straight + [line(seen, rng, start, end, "curved", bow) for start, end, bow in CURVED_MM]


def paper(name):
    rng = np.random.default_rng(5)
    if name == "flat":
        return CAMERA
    if name == "bulge":
        return CurledCamera(CAMERA, bulged(SHEET_MM, rng, rise_mm=8))
    return CurledCamera(CAMERA, curled(SHEET_MM, rng, shape=Shape(name), direction_deg=35, rise_mm=8))


@pytest.mark.parametrize("name", ["flat", "arch", "wave", "lift", "roll", "bulge"])
def test_straight_lines_are_taken_and_gentle_curves_are_not(name):
    seen, rng = paper(name), np.random.default_rng(1)

    taken = straight_among(candidates(seen, rng), sheet(seen, rng), **SEEN)

    labels = [one.label for one in taken]
    assert "curved" not in labels
    # Eight are what a bend is judged by.
    assert labels.count("straight") >= 8


def test_curves_alone_are_not_taken():
    rng = np.random.default_rng(2)
    lines = [line(CAMERA, rng, start, end, "curved", bow) for start, end, bow in CURVED_MM]

    assert straight_among(lines, sheet(CAMERA, rng), **SEEN) == ()


def test_without_a_border_lines_that_agree_tell_the_lens_and_fewer_than_four_nothing():
    rng = np.random.default_rng(3)
    corners = sheet(CAMERA, rng)[:1]

    many = straight_among(candidates(CAMERA, rng), corners, **SEEN)
    few = straight_among(candidates(CAMERA, rng)[:3], corners, **SEEN)

    assert {one.label for one in many} == {"straight"}
    assert few == ()


def test_found_lines_that_disagree_on_flat_paper_are_not_used():
    rng = np.random.default_rng(4)
    wrong = [
        StraightLine(one.points_px + 3 * np.sin(20 * T), one.sigma_px, "found", found=True)
        for one in candidates(CAMERA, rng)[:2]
    ]

    calibration = adjust([*sheet(CAMERA, rng), *wrong], **SEEN)

    assert calibration.adjustment is not None
    assert "found" not in {row.label for row in calibration.adjustment.observations}
    assert calibration.settled
