"""Closed lines that share ink with a neighbour."""

import math

import numpy as np
import pytest

from digitize.shared_lines import ring_bend_rad


def test_a_line_that_bends_one_way_bends_a_full_turn_and_a_crescent_about_twice_that() -> None:
    # The total curvature of a closed convex curve is 2 pi (Fenchel 1929; from memory).
    at = np.linspace(0, 2 * math.pi, 400, endpoint=False)
    circle = 100 * np.column_stack([np.cos(at), np.sin(at)])
    assert ring_bend_rad(circle, 2.0) == pytest.approx(2 * math.pi, rel=0.01)
    half = np.linspace(0, math.pi, 200)
    outer = 100 * np.column_stack([np.cos(half), np.sin(half)])
    inner = np.column_stack([100 * np.cos(half), 70 * np.sin(half)])[::-1][1:-1]
    assert ring_bend_rad(np.concatenate([outer, inner]), 2.0) > 3 * math.pi
