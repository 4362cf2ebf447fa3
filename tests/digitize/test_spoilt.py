"""How many samples at a node see the ink of other lines."""

import numpy as np
import pytest

from digitize.centre_lines import Samples
from digitize.spoilt import spoilt_ends


@pytest.mark.parametrize("width_px", [2.0, 6.0, 12.0])
def test_no_count_is_less_than_none(width_px: float) -> None:
    """Thick sides of a tip are clear of each other before they meet."""
    along = np.arange(80.0)
    half = np.radians(35)
    sides = [np.column_stack([along * np.cos(half), way * along * np.sin(half)]) for way in (1, -1)]
    points = np.concatenate(sides)
    count = len(points)
    flat = np.full(count, 1.0)
    samples = Samples(
        points,
        np.tile([0.0, 1.0], (count, 1)),
        width_px * flat,
        flat,
        flat,
        flat > 0,
        flat,
        np.array([0, 80, 160]),
        points,
    )
    nodes = np.array([[0.0, 0.0], points[79], points[159]])
    start, end = np.array([0, 0]), np.array([1, 2])
    skip = spoilt_ends(nodes, start, end, samples, np.full(2, width_px), np.zeros(2, np.bool_), {0})
    assert (skip >= 0).all()
    assert (skip < 80).all()
