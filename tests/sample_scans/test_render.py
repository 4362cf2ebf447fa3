import math

import numpy as np
import pytest

from sample_scans.camera import Scanner
from sample_scans.curves import circle
from sample_scans.render import ink_coverage, inside_coverage
from sample_scans.truth import InkStroke

# A picture of 1 px a mm, y down, so that mm and px differ by the sign of y only.
PLAIN = Scanner(60, 50, np.diag([1.0, -1.0]), np.array([0.0, 0.0]), 25.4)

BLUR_PX = 0.7
# What half a cell's softness leaves of the aliasing of a line 0.8 px wide: exp(-2 (pi / 2)^2) / (0.8 * 2 * pi).
COVERAGE_TOLERANCE = 2e-3
# One grey level of 255: two box means and a sampled kernel stand for a part of the normal blur.
PROFILE_TOLERANCE = 4e-3
# What the samples promise of a line's place, px.
PLACE_TOLERANCE_PX = 0.002


def stroke(points_px: list[tuple[float, float]], width_px: float) -> InkStroke:
    return InkStroke(np.array(points_px) * [1.0, -1.0], width_px, False, "outline")


def soft_strip(distance_px: float, width_px: float) -> float:
    """An endless line's darkness behind a normal blur, in closed form."""
    edges = [(side * width_px / 2 - distance_px) / (BLUR_PX * math.sqrt(2)) for side in (1, -1)]
    return (math.erf(edges[0]) - math.erf(edges[1])) / 2


@pytest.mark.parametrize("angle_deg", [0.0, 3.0, 17.0, 45.0, 71.3, 90.0])
@pytest.mark.parametrize("width_px", [0.6, 1.4, 2.2, 4.1])
def test_a_straight_line_is_as_dark_as_the_closed_form_says(angle_deg, width_px):
    way = np.array([np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))])
    middle = np.array([29.37, 24.81])
    drawn = stroke([tuple(middle - 15 * way), tuple(middle + 15 * way)], width_px)

    covered = ink_coverage([drawn], PLAIN, blur_px=BLUR_PX)

    for x in range(24, 35):
        for y in range(20, 31):
            distance = abs((x - middle[0]) * -way[1] + (y - middle[1]) * way[0])
            assert covered[y, x] == pytest.approx(soft_strip(distance, width_px), abs=PROFILE_TOLERANCE)


@pytest.mark.parametrize("seed", range(20))
def test_a_lines_darkness_is_centred_on_its_centre_line(seed):
    rng = np.random.default_rng(seed)
    slope, offset, width_px = rng.uniform(-1, 1), rng.uniform(20, 30), rng.uniform(0.8, 4)
    drawn = stroke([(-10.0, offset - 40 * slope), (70.0, offset + 40 * slope)], width_px)

    covered = ink_coverage([drawn], PLAIN, blur_px=BLUR_PX)[:, 20:40].astype(np.float64)

    rows = np.arange(covered.shape[0])[:, None]
    centre = (rows * covered).sum(axis=0) / covered.sum(axis=0)
    true = offset + slope * (np.arange(20, 40) - 30)
    assert np.abs(centre - true).max() < PLACE_TOLERANCE_PX
    # A column crosses the line over width / cos.
    assert covered.sum(axis=0) == pytest.approx(np.full(20, width_px * np.hypot(1, slope)), rel=COVERAGE_TOLERANCE)


def test_a_closed_circle_holds_the_ink_of_its_ring():
    radius_px, width_px = 15.3, 2.2
    ring = InkStroke(circle((30.2, -25.4), radius_px), width_px, True, "outline")

    covered = ink_coverage([ring], PLAIN, blur_px=BLUR_PX).astype(np.float64)

    # Pappus: the area of a ring is its centre-line's length times its width.
    assert covered.sum() == pytest.approx(2 * np.pi * radius_px * width_px, rel=COVERAGE_TOLERANCE)
    y, x = np.mgrid[:50, :60]
    assert (covered * x).sum() / covered.sum() == pytest.approx(30.2, abs=PLACE_TOLERANCE_PX)
    assert (covered * y).sum() / covered.sum() == pytest.approx(25.4, abs=PLACE_TOLERANCE_PX)


def test_a_round_ended_stroke_holds_the_ink_of_its_strip_and_ends():
    drawn = stroke([(12.3, 20.1), (40.6, 31.7)], 3.0)

    covered = ink_coverage([drawn], PLAIN, blur_px=BLUR_PX)

    # Length times width and one whole circle; the round ends are rendered by their tangents.
    area = np.hypot(28.3, 11.6) * 3.0 + np.pi * 1.5**2
    assert float(covered.sum()) == pytest.approx(area, rel=0.005)


def test_lines_that_cross_or_overlap_are_inked_once():
    across = stroke([(5.0, 25.0), (55.0, 25.0)], 3.0)
    down = stroke([(30.0, 5.0), (30.0, 45.0)], 3.0)

    covered = ink_coverage([across, down, across], PLAIN, blur_px=BLUR_PX)

    assert covered.max() <= 1 + 1e-6
    # Both strips with two caps each, less the 3 x 3 px that they share.
    area = 50 * 3 + 40 * 3 - 9 + 2 * np.pi * 1.5**2
    assert float(covered.sum()) == pytest.approx(area, rel=0.005)


def test_a_sheet_holds_its_own_area():
    corners = np.array([[10.3, -8.2], [50.1, -12.7], [47.9, -41.6], [7.7, -38.4]])

    share = inside_coverage(corners, PLAIN, blur_px=BLUR_PX)

    x, y = corners.T
    area = abs(float((x * np.roll(y, -1) - y * np.roll(x, -1)).sum())) / 2
    # Edges are blurred by their distance, so that each corner keeps up to one blur squared too much.
    assert float(share.sum()) == pytest.approx(area, abs=4 * BLUR_PX**2)
