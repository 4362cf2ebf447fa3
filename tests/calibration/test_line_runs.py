"""Straight pieces of lines: where they lie, and that nothing drawn densely ends the program."""

import math

import cv2
import numpy as np
import pytest

from calibration.line_runs import line_pieces


@pytest.mark.parametrize("turn_deg", [0.0, 0.3, 17.0, 45.0, 90.0, 135.0])
def test_both_edges_of_a_line_lie_near_its_middle(turn_deg: float) -> None:
    c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    ends = np.array([[200 - 150 * c, 200 - 150 * s], [200 + 150 * c, 200 + 150 * s]])
    image = np.zeros((400, 400), np.uint8)
    cv2.line(image, *np.rint(ends * 16).astype(int).tolist(), 255, 2, cv2.LINE_AA, 4)

    pieces = line_pieces(image, least_px=50)

    assert len(pieces) >= 2
    off = (pieces.reshape(-1, 2) - 200) @ [-s, c]
    assert np.abs(off).max() < 1.1
    assert np.hypot(*(pieces[0, 2:] - pieces[0, :2])) > 270


@pytest.mark.parametrize("pitch_px", [4, 6, 12, 40])
def test_squared_paper_of_any_pitch_is_looked_at(pitch_px: int) -> None:
    grid = np.zeros((600, 800), np.uint8)
    grid[::pitch_px] = grid[:, ::pitch_px] = 255
    noisy = np.clip(grid + np.random.default_rng(1).normal(0, 8, grid.shape), 0, 255).astype(np.uint8)

    assert len(line_pieces(noisy, least_px=12)) <= 1500


def test_blank_paper_has_no_pieces() -> None:
    assert line_pieces(np.zeros((300, 300), np.uint8), least_px=10).shape == (0, 4)
