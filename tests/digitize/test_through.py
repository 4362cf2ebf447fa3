"""Lines through a crossing, measured on both sides of it, against where they were drawn."""

import math
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from benchmarks.grid_error import GRIDS, grid_error
from benchmarks.render_lines import Camera, TrueLine, photograph
from digitize.arms import REACH, fit_arms
from digitize.centre_lines import Samples
from digitize.find_strokes import find_strokes
from digitize.through import join_through_arms
from pictures.ink import find_ink
from pictures.picture import Medium, Picture, Source

Floats = NDArray[np.float64]


# The grids are drawn by the benchmark, so the true crossings are known. Arms fitted one by one leave 0.16 px rms here.
@pytest.mark.parametrize("name", ["faint", "noisy"])
def test_crossings_of_faint_and_noisy_grids_lie_where_they_were_drawn(name: str) -> None:
    grid = next(grid for grid in GRIDS if grid.name == name)

    found = grid_error(grid, seed=3)

    assert len(found.error_px) == found.crossings
    assert np.sqrt(np.mean(found.error_px**2)) < 0.12


# Drawn with a kink: one line fitted through it would cut the corner by a quarter of the arms' rise, 0.5 px and more.
@pytest.mark.parametrize("kink_deg", [4.0, 8.0, 15.0])
def test_a_line_with_a_kink_at_a_crossing_keeps_it(kink_deg: float) -> None:
    kink = np.array([150.3, 110.6])
    rise = 90 * math.tan(math.radians(kink_deg))
    lines = [
        TrueLine(np.array([kink - [100, 0], kink, kink + np.array([90, rise])]), 2.5, False, "round", "round"),
        TrueLine(np.array([kink - [0, 80], kink + np.array([0, 90])]), 2.5, False, "round", "round"),
    ]
    grey = photograph(lines, Camera(blur_px=0.7, noise=2.0), width=300, height=220)

    strokes = find_strokes(find_ink(Picture(grey, Source(Path("drawn.png"), "", Medium.RASTER))))

    assert np.hypot(*(strokes.nodes_px - kink).T).min() < 0.12


# An arc of a radius that is known, crossed at right angles; truth by construction.
def test_an_arc_through_a_crossing_is_one_curve_and_closer_than_its_arms_alone() -> None:
    rng = np.random.default_rng(5)
    radius, sigma = 300.0, 0.15
    points: list[Floats] = []
    index: list[NDArray[np.int64]] = []
    alone_px: list[Floats] = []
    joined_px: list[Floats] = []
    for turn in (0.0, 0.5 * math.pi, math.pi, 1.5 * math.pi):
        along = np.arange(5, 5 + REACH)
        level = along**2 / (2 * radius) * (1 if turn % math.pi == 0 else 0) + rng.normal(0, sigma, REACH)
        level = level if turn < math.pi else -level
        way, side = np.array([math.cos(turn), math.sin(turn)]), np.array([-math.sin(turn), math.cos(turn)])
        index.append(np.arange(REACH) + REACH * len(points))
        points.append(along[:, None] * way + level[:, None] * side)
    flat, which = np.concatenate(points), np.array(index)
    weights, node = np.ones(len(flat)), np.zeros(4, np.int64)
    same = np.full(len(flat), 2.5)
    samples = Samples(flat, flat, same, same, same, weights > 0, weights, np.arange(5) * REACH, flat)
    arms = fit_arms(flat, weights, which, np.zeros((4, 2)), sigma_px=sigma)

    joined = join_through_arms(
        arms,
        node,
        samples,
        weights,
        which,
        width_px=np.full(4, 2.5),
        broken=np.zeros(4, np.bool_),
        darkness=np.zeros((2, 2), np.uint8),
    )

    for fitted, miss in ((arms, alone_px), (joined, joined_px)):
        local = fitted.local(np.zeros((4, 2)))
        miss.append(np.abs(local[:, 1] - fitted.fit[:, 0] - local[:, 0] * fitted.fit[:, 1]))
    assert np.max(joined_px) < 0.06
    assert np.max(joined_px) < np.max(alone_px)
    # Each pair is one line: its two halves lead in opposite directions and lie on each other.
    assert np.allclose(joined.axis[0], -joined.axis[2])
    assert np.allclose(joined.fit[0], joined.fit[2] * [-1, 1, -1])
