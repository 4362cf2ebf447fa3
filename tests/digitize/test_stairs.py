"""Stairs of black-and-white edges are averaged out, and nothing else is."""

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from benchmarks.render_lines import Camera, TrueLine, photograph
from digitize.continuation import line_graph
from digitize.find_strokes import find_strokes
from digitize.fit import Contour, fit_contours
from digitize.sections import closed_sections
from digitize.stairs import without_stairs
from drawing.paths import Arc
from pictures.ink import find_ink
from pictures.picture import Medium, Picture, Source

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


@pytest.mark.parametrize("radius", [20.0, 30.0, 50.0])
def test_a_ring_in_black_and_white_is_found_on_its_circle(radius: float) -> None:
    """The whole way from pixels: no stair is left, and the ring is two arcs within a fiftieth of a mm."""
    t = np.linspace(0, 2 * np.pi, 360, endpoint=False)
    ring = radius * np.column_stack([np.cos(t), np.sin(t)]) + radius + 30.3
    side = round(2 * radius) + 61
    camera = Camera(blur_px=0.6, noise=8, bilevel=True, seed=4)
    grey = photograph([TrueLine(ring, 4.0, True)], camera, width=side, height=side)
    strokes = find_strokes(find_ink(Picture(grey, Source(Path("drawn.png"), "", Medium.RASTER))))
    assert len(strokes.links) == 1
    off = np.hypot(*(strokes.links[0].points_px - radius - 30.3).T) - radius
    assert np.sqrt((off**2).mean()) < 0.1
    plan = strokes.mapped(lambda p: p * [0.1, -0.1])
    graph = line_graph(strokes, np.zeros(1, dtype=bool))
    path = fit_contours([Contour(closed_sections(graph, plan, [0]), True)], tolerance_mm=0.02)[0].path
    assert [type(segment) for segment in path.segments] == [Arc, Arc]
