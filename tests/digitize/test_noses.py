"""Tight noses are no corners, and real corners near each other are."""

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from benchmarks.render_lines import Camera, TrueLine, photograph
from digitize.find_strokes import find_strokes
from digitize.strokes import NodeKind, Strokes
from pictures.ink import find_ink
from pictures.picture import Medium, Picture, Source

GREY, BILEVEL = Camera(noise=2.0), Camera(blur_px=0.6, noise=8, bilevel=True, seed=3)


def drawn(ring: NDArray[np.float64], width_px: float, turn_deg: float, camera: Camera = GREY) -> Strokes:
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    ring = ring @ np.array([[c, s], [-s, c]])
    ring = ring - ring.min(axis=0) + [40.3, 40.6]
    side = np.ceil(ring.max(axis=0)).astype(int) + 40
    grey = photograph([TrueLine(ring, width_px, True, "round")], camera, width=int(side[0]), height=int(side[1]))
    return find_strokes(find_ink(Picture(grey, Source(Path("drawn.png"), "", Medium.RASTER))))


@pytest.mark.parametrize(("radius_px", "width_px"), [(1.5, 1.8), (3.0, 1.8), (3.0, 4.0), (6.0, 1.8), (6.0, 4.0)])
@pytest.mark.parametrize("turn_deg", [0.0, 20.0, 65.0, 110.0, 155.0])
def test_an_ellipse_has_no_corner_however_tight_its_ends(turn_deg: float, radius_px: float, width_px: float) -> None:
    """Its ends have the radius b^2 / a; ink more than twice as wide has a corner inside."""
    t = np.linspace(0, 2 * np.pi, 1500, endpoint=False)
    ring = np.column_stack([300 * np.cos(t), np.sqrt(300 * radius_px) * np.sin(t)])

    strokes = drawn(ring, width_px, turn_deg)

    assert strokes.kinds.tolist() == [NodeKind.LOOP]


@pytest.mark.parametrize("radius_px", [7.0, 9.0, 12.0])
@pytest.mark.parametrize("turn_deg", [20.0, 65.0, 110.0, 155.0])
def test_ends_of_an_ellipse_in_black_and_white_are_not_cut_into_corners(turn_deg: float, radius_px: float) -> None:
    """Beyond the corners that their stairs seem to have there is not as much ink as a corner's."""
    t = np.linspace(0, 2 * np.pi, 1500, endpoint=False)
    ring = np.column_stack([300 * np.cos(t), np.sqrt(300 * radius_px) * np.sin(t)])

    strokes = drawn(ring, 8.3, turn_deg, BILEVEL)

    assert strokes.kinds.tolist() == [NodeKind.LOOP]


@pytest.mark.parametrize("turn_deg", [3.0, 31.0, 77.0])
def test_corners_of_a_slim_bar_are_corners_though_little_of_its_ends_is_seen_alone(turn_deg: float) -> None:
    strokes = drawn(np.array([(0, 0), (90, 0), (90, 10), (0, 10)], dtype=float), 2.5, turn_deg)

    assert strokes.kinds.tolist() == [NodeKind.CORNER] * 4
