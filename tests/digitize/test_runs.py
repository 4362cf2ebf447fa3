"""Even spacing and local fits along many lines at once."""

import numpy as np
import pytest

from digitize.runs import evenly_spaced, lengths_along, local_fits, median_of, parted


def test_points_are_even_and_ends_exact() -> None:
    bent = np.array([[0.0, 0.0], [30.0, 0.0], [30.0, 40.5]])
    short = np.array([[100.0, 50.0], [100.4, 50.3]])

    points, first = evenly_spaced([bent, short])

    assert first.tolist() == [0, 71, 73]
    assert (points[0] == bent[0]).all()
    assert (points[70] == bent[-1]).all()
    assert (points[71:] == short).all()
    assert np.hypot(*np.diff(points[:71], axis=0).T).max() < 1.01


def test_parts_are_those_that_numpy_splits_off() -> None:
    values = np.arange(24.0).reshape(12, 2)

    parts = parted(values, np.array([0, 5, 6, 12]))

    assert [part.tolist() for part in parts] == [part.tolist() for part in np.split(values, [5, 6])]


@pytest.mark.parametrize("count", [1, 2, 5, 8])
def test_the_middle_of_some_numbers_is_their_median(count: int) -> None:
    numbers = np.random.default_rng(count).normal(size=count).tolist()

    assert median_of(numbers) == np.median(numbers)


# 3-4-5 triangles.
def test_lengths_along_a_bent_line_add_up() -> None:
    bent = np.array([[1.0, 1.0], [4.0, 5.0], [4.0, 5.0], [0.0, 8.0]])

    assert lengths_along(bent).tolist() == [0.0, 5.0, 5.0, 10.0]


@pytest.mark.parametrize("half", [3, 5, 9])
def test_a_parabola_is_kept_and_its_slope_given(half: int) -> None:
    index = np.arange(60.0)
    curve = np.column_stack([0.9 * index + 2000, 0.004 * (index - 20) ** 2 - 7])
    other = np.column_stack([5 - index, 3 * index])
    points = np.concatenate([curve, other])

    place, slope = local_fits(points, np.ones(120), np.array([0, 60, 120]), half=half, degree=2)

    assert np.abs(place - points).max() < 1e-6
    assert np.abs(slope[:60, 1] - 0.008 * (index - 20)).max() < 1e-6
    assert np.abs(slope[60:] - [-1, 3]).max() < 1e-6


def test_what_weighs_nothing_is_filled_in_and_never_pulls() -> None:
    points = np.column_stack([np.arange(40.0), np.full(40, 5.0)])
    weights = np.ones(40)
    points[[10, 11, 25], 1] = 90
    weights[[10, 11, 25]] = 0

    place, _ = local_fits(points, weights, np.array([0, 40]), half=4, degree=2)

    assert np.abs(place[:, 1] - 5).max() < 1e-9


def test_lines_never_mix() -> None:
    points = np.array([[float(k), 0.0] for k in range(10)] + [[float(k), 100.0] for k in range(10)])

    place, _ = local_fits(points, np.ones(20), np.array([0, 10, 20]), half=6, degree=1)

    assert np.abs(place[:10, 1]).max() < 1e-9
    assert np.abs(place[10:, 1] - 100).max() < 1e-9
