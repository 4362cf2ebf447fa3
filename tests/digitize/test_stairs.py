"""Stairs of black-and-white edges are averaged out, and nothing else is."""

import numpy as np
import pytest
from numpy.typing import NDArray

from digitize.stairs import without_stairs

Floats = NDArray[np.float64]


def stairs(points: Floats) -> Floats:
    """Points as the middle of an edge of whole pixels gives them: the lesser coordinate's step rounded."""
    rounded = points.copy()
    rounded[:, 1] = np.round(points[:, 1])
    return rounded


@pytest.mark.parametrize("slope", [0.02, 0.05, 0.11, 0.2])
def test_a_line_is_straight_again(slope: float) -> None:
    """A line across rows of pixels steps by one px; its middle is straight after."""
    x = np.arange(600.0)
    true = np.column_stack([x, 0.3 + slope * x])
    found = without_stairs(stairs(true), np.array([0, 600]), np.array([False]))
    inner = slice(200, 400)
    before = np.abs(stairs(true) - true)[inner, 1].max()
    after = np.abs(found - true)[inner, 1].max()
    assert before > 0.4
    assert after < 0.15


@pytest.mark.parametrize("radius", [5.0, 12.0, 50.0, 400.0])
def test_a_circle_keeps_its_radius(radius: float) -> None:
    """What has no stairs stays where it is, all the way round and where the ring begins."""
    count = round(2 * np.pi * radius) + 1
    t = np.linspace(0, 2 * np.pi, count)
    ring = radius * np.column_stack([np.cos(t), np.sin(t)])
    found = without_stairs(ring, np.array([0, count]), np.array([True]))
    assert np.abs(np.hypot(*found.T) - radius).max() < 0.02
    assert found[0] == pytest.approx(found[-1], abs=1e-9)


def test_ends_stay_and_lines_do_not_mix() -> None:
    """Each line is averaged over itself alone."""
    x = np.arange(300.0)
    one = np.column_stack([x, 0.05 * x])
    other = np.column_stack([x, 500 - 0.08 * x])
    both = without_stairs(np.concatenate([one, other]), np.array([0, 300, 600]), np.array([False, False]))
    assert both == pytest.approx(np.concatenate([one, other]), abs=1e-6)
    assert without_stairs(np.empty((0, 2)), np.array([0]), np.empty(0, np.bool_)).shape == (0, 2)
