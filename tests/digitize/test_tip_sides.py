"""How the sides of sharp tips run from where they meet to where they stand apart; the truth is the outline drawn."""

import math
from pathlib import Path

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray

from benchmarks.render_lines import Camera, TrueLine, photograph
from digitize.draw_outlines import draw_outlines
from digitize.find_strokes import find_strokes
from digitize.strokes import NodeKind, Strokes
from drawing.paths import sampled
from pictures.ink import find_ink
from pictures.picture import Medium, Picture, Source

Floats = NDArray[np.float64]

TIP = np.array([44.3, 52.6])
LONG_PX = 700.0

SIDE_PX = 0.5
"""Sides are told by the amount of ink where it is one, by what is seen before and beyond where they come apart, and
there by neither; noise leaves 0.2 px. A bridge turned by the last few samples misses by 1 to 5 px."""

MM_PER_PX = 0.0635
TOLERANCE_MM = 0.02


def blade(opening_deg: float, turn_deg: float) -> Floats:
    """A closed outline with a tip: one side bends towards the other, which runs nearly straight; both end in an arc."""
    along = np.linspace(0, LONG_PX, 500)
    upper = along * math.tan(math.radians(opening_deg)) + 1.2e-4 * along**2 - 1.6e-7 * along**3
    lower = 2e-5 * along**2
    middle, radius = (upper[-1] + lower[-1]) / 2, (upper[-1] - lower[-1]) / 2
    back = np.radians(np.linspace(88, -88, 60))
    nose = np.column_stack([LONG_PX + radius * np.cos(back), middle + radius * np.sin(back)])
    ring = np.concatenate([np.column_stack([along, upper]), nose, np.column_stack([along, lower])[:0:-1]])
    c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    return np.asarray(ring @ np.array([[c, s], [-s, c]]) + TIP)


def seen(ring: Floats, width_px: float, camera: Camera) -> Strokes:
    size = np.ceil(ring.max(axis=0)).astype(int) + 40
    grey = photograph([TrueLine(ring, width_px, True, "mitre")], camera, width=int(size[0]), height=int(size[1]))
    return find_strokes(find_ink(Picture(grey, Source(Path("drawn.png"), "", Medium.RASTER))))


CAMERAS = [
    (11.0, Camera(blur_px=0.8, noise=3.0, seed=4)),
    (7.9, Camera(blur_px=0.6, noise=8.0, bilevel=True, seed=4)),
    (1.8, Camera(blur_px=0.9, noise=6.0, shade=0.3, seed=4)),
]


@pytest.mark.parametrize(("width_px", "camera"), CAMERAS)
@pytest.mark.parametrize("turn_deg", [4.0, 21.0, 40.0])
@pytest.mark.parametrize("opening_deg", [5.0, 8.0])
def test_sides_run_on_where_they_come_apart(
    opening_deg: float, turn_deg: float, width_px: float, camera: Camera
) -> None:
    ring = blade(opening_deg, turn_deg)

    strokes = seen(ring, width_px, camera)

    points = np.concatenate([link.points_px for link in strokes.links])
    beside = points[(np.hypot(*(points - TIP).T) > 3) & (points[:, 0] < ring[:, 0].mean())]
    assert shapely.distance(shapely.points(beside), shapely.LinearRing(ring)).max() < SIDE_PX


@pytest.mark.parametrize(("width_px", "camera"), CAMERAS)
@pytest.mark.parametrize("turn_deg", [4.0, 21.0, 40.0])
def test_outlines_follow_their_lines_up_to_a_tip(turn_deg: float, width_px: float, camera: Camera) -> None:
    ring = blade(5.0, turn_deg)
    flip = np.array([MM_PER_PX, -MM_PER_PX])

    strokes = seen(ring, width_px, camera).mapped(lambda p: p * flip)
    outline = draw_outlines(strokes, tolerance_mm=TOLERANCE_MM).drawing.outlines[0]

    line = shapely.LinearRing(sampled(outline.boundary, tolerance_mm=0.1 * TOLERANCE_MM) / flip)
    beside = ring[(np.hypot(*(ring - TIP).T) > 5) & (ring[:, 0] < ring[:, 0].mean())]
    assert shapely.distance(shapely.points(beside), line).max() < SIDE_PX


@pytest.mark.parametrize("turn_deg", [-1.0, 0.5, 2.0, 178.0])
def test_a_slender_mitre_in_black_and_white_is_no_line_that_runs_on(turn_deg: float) -> None:
    along = np.linspace(0, LONG_PX, 300)
    half = 0.045 * along + 3e-5 * along**2
    ring = np.concatenate([np.column_stack([along, half]), np.column_stack([along, -half])[:0:-1]])
    c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    ring = ring @ np.array([[c, s], [-s, c]])
    ring = ring - ring.min(axis=0) + 40.3

    strokes = seen(ring, 2.0, Camera(blur_px=0.6, noise=8.0, bilevel=True, seed=4))

    # Stairs of half a px tell its place to 0.5 / (2 * 0.045) px; sides cut off where they merge end some 25 px before.
    assert float(np.hypot(*(strokes.nodes_px[strokes.kinds == NodeKind.TIP] - ring[0]).T).min(initial=np.inf)) < 6
