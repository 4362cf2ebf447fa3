"""The flat picture's geometry, against the map it was made with."""

from dataclasses import dataclass

import numpy as np
import pytest
from numpy.typing import NDArray

from calibration import flatten as flatten_module
from calibration.flatten import flatten, whole_plan_bounds_mm
from calibration.observations import CalibrationError

Points = NDArray[np.float64]

CENTROID_TOLERANCE_PX = 0.03
"""cv2.remap places samples to 1/32 px; a blob's centroid averages that down."""


@dataclass(frozen=True)
class Plane:
    """A test calibration: plan mm -> picture px by a homography; its inverse the other way."""

    to_px: Points
    mm_per_px: float

    def to_picture(self, points_mm: Points) -> Points:
        return _project(self.to_px, points_mm)

    def to_plan(self, points_px: Points) -> Points:
        return _project(np.linalg.inv(self.to_px), points_px)


def _project(matrix: Points, points: Points) -> Points:
    mapped = np.column_stack([points, np.ones(len(points))]) @ matrix.T
    with np.errstate(divide="ignore", invalid="ignore"):
        return mapped[:, :2] / mapped[:, 2:]


def _upright(height_px: int, mm_per_px: float) -> Plane:
    """A scan laid exactly straight: plan (0, 0) at the outer lower-left corner, y up."""
    matrix = np.array([[1 / mm_per_px, 0, -0.5], [0, -1 / mm_per_px, height_px - 0.5], [0, 0, 1]])
    return Plane(matrix, mm_per_px)


TILTED = Plane(np.array([[3.1, 0.4, 60.0], [0.2, -2.9, 700.0], [2e-4, -3e-4, 1.0]]), 0.33)


def _dots(centres_px: Points, shape: tuple[int, int], sigma_px: float = 2.5) -> NDArray[np.uint8]:
    """Dark Gaussian dots on white: their centroids are exact."""
    y, x = np.mgrid[: shape[0], : shape[1]]
    level = np.full(shape, 255.0)
    for cx, cy in centres_px:
        level -= 200 * np.exp(-((x - cx) ** 2 + (y - cy) ** 2) / (2 * sigma_px**2))
    return np.clip(np.round(level), 0, 255).astype(np.uint8)


def _centroid(pixels: NDArray[np.uint8], near_px: Points, reach: int = 9) -> Points:
    x0, y0 = np.round(near_px).astype(int)
    window = 255.0 - pixels[y0 - reach : y0 + reach + 1, x0 - reach : x0 + reach + 1]
    y, x = np.mgrid[y0 - reach : y0 + reach + 1, x0 - reach : x0 + reach + 1]
    return np.array([(window * x).sum(), (window * y).sum()]) / window.sum()


def test_a_straight_scan_at_its_own_resolution_comes_back_unchanged() -> None:
    source = np.random.default_rng(1).integers(0, 256, (100, 160), dtype=np.uint8)

    flat = flatten(source, _upright(100, 0.1), bounds_mm=(0.0, 0.0, 16.0, 10.0))

    assert flat.px_per_m == 10_000
    assert flat.origin_mm == (0.0, 0.0)
    assert np.array_equal(flat.pixels, source)


def test_colour_keeps_its_channels() -> None:
    source = np.random.default_rng(2).integers(0, 256, (40, 60, 3), dtype=np.uint8)

    flat = flatten(source, _upright(40, 0.1), bounds_mm=(0.0, 0.0, 6.0, 4.0))

    assert np.array_equal(flat.pixels, source)


def test_dots_of_a_tilted_view_land_where_the_plan_has_them() -> None:
    marks_mm = np.array([[x, y] for x in (20.0, 120.0, 220.0) for y in (20.0, 90.0, 180.0)])
    source = _dots(TILTED.to_picture(marks_mm), (800, 900))

    flat = flatten(source, TILTED, bounds_mm=(0.0, 0.0, 240.0, 200.0), px_per_m=3000)

    for mark, at in zip(marks_mm, flat.plan_to_flat_px(marks_mm), strict=True):
        # The tilt skews a dot's weights over its own width by less than this tolerance.
        assert _centroid(flat.pixels, at) == pytest.approx(at, abs=CENTROID_TOLERANCE_PX), mark


def test_a_block_that_reads_too_wide_a_window_is_halved_without_a_seam(monkeypatch: pytest.MonkeyPatch) -> None:
    source = np.random.default_rng(3).integers(0, 256, (800, 900), dtype=np.uint8)
    whole = flatten(source, TILTED, bounds_mm=(0.0, 0.0, 240.0, 200.0))
    monkeypatch.setattr(flatten_module, "REMAP_LIMIT_PX", 90)

    halved = flatten(source, TILTED, bounds_mm=(0.0, 0.0, 240.0, 200.0))

    # Window offsets round differently in float32: at most one grey level in a few px.
    difference = np.abs(whole.pixels.astype(int) - halved.pixels.astype(int))
    assert np.mean(difference > 8) < 0.001


def test_a_source_wider_than_32767_px_is_read_to_its_end() -> None:
    source = np.full((40, 40_000), 255, np.uint8)
    source[10:20, 39_900:39_910] = 0
    scan = _upright(40, 0.1)

    flat = flatten(source, scan, bounds_mm=(0.0, 0.0, 4000.0, 4.0))

    assert np.array_equal(flat.pixels, source)


def test_what_the_picture_does_not_show_is_filled() -> None:
    source = np.zeros((100, 160), np.uint8)

    flat = flatten(source, _upright(100, 0.1), bounds_mm=(-4.0, -3.0, 16.0, 10.0), fill=200)

    assert flat.pixels.shape == (130, 200)
    assert (flat.pixels[-30:] == 200).all()
    assert (flat.pixels[:, :40] == 200).all()
    assert (flat.pixels[:100, 40:] == 0).all()


@dataclass(frozen=True)
class Folding:
    """A map whose picture side folds back beyond x = 100 mm, as a lens polynomial does beyond its range."""

    mm_per_px: float = 1.0

    def to_picture(self, points_mm: Points) -> Points:
        x, y = points_mm.T
        return np.column_stack([100 - np.abs(100 - x), 99 - y])

    def to_plan(self, points_px: Points) -> Points:
        return np.column_stack([points_px[:, 0], 99 - points_px[:, 1]])


def test_a_place_is_never_shown_twice() -> None:
    source = np.zeros((100, 120), np.uint8)

    flat = flatten(source, Folding(), bounds_mm=(0.0, 0.0, 200.0, 100.0))

    # A node step beyond the fold everything is blank.
    assert (flat.pixels[:, 120:] == 255).all()
    assert (flat.pixels[5:95, 2:90] == 0).all()


def test_resolution_follows_the_picture_and_is_capped() -> None:
    source = np.zeros((100, 160), np.uint8)

    usual = flatten(source, _upright(100, 0.1234), bounds_mm=(0.0, 0.0, 19.0, 12.0))
    far = flatten(source, _upright(100, 0.1234), bounds_mm=(0.0, 0.0, 1900.0, 1200.0))

    assert usual.px_per_m == 8104  # 1000 / 0.1234 = 8103.7, up to a whole number
    assert far.pixels.size <= 2.1 * source.size


def test_the_whole_picture_is_bounded_by_its_outer_px_edges() -> None:
    bounds = whole_plan_bounds_mm(_upright(100, 0.1), width_px=160, height_px=100)

    assert bounds == pytest.approx((0.0, 0.0, 16.0, 10.0), abs=1e-9)


def test_the_papers_edge_bounds_the_plan_when_it_was_found() -> None:
    sheet_px = np.array([[19.5, 9.5], [139.5, 9.5], [139.5, 89.5], [19.5, 89.5]])

    bounds = whole_plan_bounds_mm(_upright(100, 0.1), width_px=160, height_px=100, sheet_px=sheet_px)

    assert bounds == pytest.approx((2.0, 1.0, 14.0, 9.0), abs=1e-9)


def test_a_horizon_in_the_picture_is_refused_in_words() -> None:
    with pytest.raises(CalibrationError, match="finite"):
        flatten(np.zeros((10, 10), np.uint8), TILTED, bounds_mm=(0.0, 0.0, float("inf"), 10.0))
