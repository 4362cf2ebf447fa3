import numpy as np
import pytest

from pictures.depth import to_8_bits
from pictures.picture import PictureError
from tests.pictures.plans import plan

ROUNDING_LEVELS = 1
"""Grey levels that rounding may differ by."""


def test_full_range_16_bits_is_the_same_as_8() -> None:
    grey = plan()

    eight, findings = to_8_bits(grey.astype(np.uint16) * 257, name="scan.tif")

    assert np.array_equal(eight, grey)
    assert findings == ()


def test_12_bits_in_16_are_stretched_and_said() -> None:
    grey = plan()

    eight, findings = to_8_bits(grey.astype(np.uint16) * 16, name="scan.tif")

    assert [finding.code for finding in findings] == ["tones-stretched"]
    assert (eight.min(), eight.max()) == (0, 255)
    assert np.array_equal(np.argsort(np.unique(eight)), np.argsort(np.unique(grey)))


def test_one_hot_pixel_does_not_hide_the_plan() -> None:
    samples = plan().astype(np.uint16) * 16
    samples[7, 9] = 65535

    eight, _ = to_8_bits(samples, name="scan.tif")

    assert np.ptp(np.quantile(eight, [0.02, 0.98])) > 200


@pytest.mark.parametrize("top", [1.0, 255.0, 65535.0])
def test_float_samples_of_the_usual_ranges(top: float) -> None:
    grey = plan(paper=255, ink=0)

    eight, findings = to_8_bits((grey / 255 * top).astype(np.float32), name="scan.tif")

    assert np.abs(eight.astype(int) - grey).max() <= ROUNDING_LEVELS
    assert findings == ()


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
def test_samples_that_are_no_numbers_are_refused(bad: float) -> None:
    samples = plan().astype(np.float32)
    samples[3, 4] = bad

    with pytest.raises(PictureError, match="not numbers"):
        to_8_bits(samples, name="scan.tif")


def test_flat_samples_come_out_flat() -> None:
    eight, _ = to_8_bits(np.full((70, 90), 500, np.uint16), name="scan.tif")

    assert np.ptp(eight) == 0


def test_colour_samples_keep_their_shape() -> None:
    grey = plan()

    eight, _ = to_8_bits(np.dstack([grey, grey, 255 - grey]).astype(np.uint16) * 257, name="scan.tif")

    assert np.array_equal(eight, np.dstack([grey, grey, 255 - grey]))
