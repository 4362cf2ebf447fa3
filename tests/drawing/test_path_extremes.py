"""Outermost points of paths, against a library that is not ours and small cases by hand."""

import math

import numpy as np
import pytest
from svgelements import CubicBezier

from drawing.path_extremes import path_extremes_mm
from drawing.path_measures import path_bounds_mm
from drawing.paths import Arc, Cubic, Line, Path


def test_a_round_hole_reaches_its_radius_each_way() -> None:
    circle = Path((13, 20), (Arc((7, 20), 1.0), Arc((13, 20), 1.0)), True)

    (points,) = path_extremes_mm([circle])

    assert points == pytest.approx(np.array([[7, 20], [13, 20], [10, 17], [10, 23]]), abs=1e-12)


def test_cubics_reach_as_far_as_another_library_says() -> None:
    rng = np.random.default_rng(2)
    controls = rng.uniform(-100, 100, (200, 4, 2))
    paths = [Path(tuple(c[0]), (Cubic(tuple(c[1]), tuple(c[2]), tuple(c[3])),), False) for c in controls.tolist()]

    points = path_extremes_mm(paths)

    # svgelements computes a curve's bounding box from its derivative's roots.
    boxes = np.array([CubicBezier(*(complex(x, y) for x, y in c)).bbox() for c in controls.tolist()])
    assert points[:, 0, 0] == pytest.approx(boxes[:, 0], abs=1e-6)
    assert points[:, 2, 1] == pytest.approx(boxes[:, 1], abs=1e-6)
    assert points[:, 1, 0] == pytest.approx(boxes[:, 2], abs=1e-6)
    assert points[:, 3, 1] == pytest.approx(boxes[:, 3], abs=1e-6)


def test_many_paths_give_what_each_gives_alone() -> None:
    plate = Path((0, 0), (Line((40, 0)), Arc((40, 30), math.tan(math.pi / 8)), Cubic((30, 50), (10, 10), (0, 0))), True)
    stick = Path((5, -3), (Line((6, 90)),), False)

    points = path_extremes_mm([stick, plate, stick])

    for got, path in zip(points, (stick, plate, stick), strict=True):
        x0, y0, x1, y1 = path_bounds_mm(path)
        assert (got[0, 0], got[1, 0], got[2, 1], got[3, 1]) == pytest.approx((x0, x1, y0, y1), abs=1e-9)


def test_no_paths_have_no_points() -> None:
    assert path_extremes_mm([]).shape == (0, 4, 2)
