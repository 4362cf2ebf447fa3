"""Straight edges of black-and-white pictures against the lines drawn, however long their stairs are."""

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from benchmarks.render_lines import Camera, TrueLine, photograph
from digitize.straight_edges import WRONG_PX, StraightEdges, straight_edges

LONG_PX, WIDE_PX = 300.0, 4.1
SEEN = Camera(blur_px=0.6, noise=8, bilevel=True, seed=11)


def edges_of(turn_deg: float, bow_px: float) -> tuple[StraightEdges | None, float]:
    """What is found of a line that bows, looked for a third of a px beside it, and how far that is off at its ends."""
    x = np.linspace(-LONG_PX / 2, LONG_PX / 2, 200)
    along = np.array([math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))])
    across = np.array([-along[1], along[0]])
    at = np.array([210.3, 210.8])
    bow = bow_px * (1 - (2 * x / LONG_PX) ** 2)
    points: NDArray[np.float64] = at + x[:, None] * along + bow[:, None] * across
    darkness = 255 - photograph([TrueLine(points, WIDE_PX)], SEEN, width=420, height=420)
    found = straight_edges(darkness, at + across / 3, along, reach_px=(-140, 140), width_px=WIDE_PX)
    if found is None:
        return None, math.inf
    ends = [1 / 3 + found.level_px + reach * found.slope for reach in (-140, 140)]
    return found, max(abs(end) for end in ends)


# A line at 0.3 deg has a stair in 191 px: what lies between is known from when its edges cross rows of pixels alone.
@pytest.mark.parametrize("turn_deg", [0.3, 1.0, 3.0, 26.5, 44.8, 89.6, 135.2])
def test_a_straight_line_parts_black_from_white(turn_deg: float) -> None:
    found, off_px = edges_of(turn_deg, 0.0)

    assert found is not None
    assert found.wrong_px < WRONG_PX
    assert off_px < 0.15


@pytest.mark.parametrize("turn_deg", [0.3, 3.0, 26.5, 44.8])
def test_a_bow_puts_pixels_on_the_wrong_side(turn_deg: float) -> None:
    found, _ = edges_of(turn_deg, 1.0)

    assert found is not None
    assert found.wrong_px > WRONG_PX


def test_blank_paper_has_no_edges() -> None:
    nothing = np.zeros((50, 50), np.uint8)

    found = straight_edges(
        nothing, np.array([1e3, 1e3]), np.array([1.0, 0.0]), reach_px=(-20.0, 20.0), width_px=WIDE_PX
    )

    assert found is None
