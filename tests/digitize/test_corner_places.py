"""Corners of drawn boxes: each found once, where the centre-lines of its two sides meet."""

import math

import numpy as np
import pytest

from benchmarks.nodes_error import pictured, strokes_in, views
from digitize.line_begins import from_its_straightest
from digitize.turning_runs import turning_runs

VIEWS = {view.name: view for view in views(5)}
MARGIN_PX = 80.0
GREY_PX, BILEVEL_PX = 0.2, 0.3
"""What a corner may be off: as asked of grey pictures; a black-and-white one's edges run in stairs of one px."""


def _box(tilt_deg: float, sides_px: tuple[float, float]) -> np.ndarray:
    tilt = math.radians(tilt_deg)
    box = np.array([(0, 0), (1, 0), (1, 1), (0, 1)]) * sides_px
    turned = box @ np.array([[math.cos(tilt), math.sin(tilt)], [-math.sin(tilt), math.cos(tilt)]])
    placed: np.ndarray = turned - turned.min(axis=0) + MARGIN_PX + [0.31, 0.17]
    return placed


# Truth: the drawn box. A line 11 px wide, whose skeleton in a corner is some px off its centre-line.
@pytest.mark.parametrize("tilt_deg", [8.0, 23.0, 38.0, 45.0, 52.0, 71.0])
@pytest.mark.parametrize(
    ("view", "most_px"),
    [("grey scan 400 dpi, 0.7 mm", GREY_PX), ("bilevel 400 dpi, 0.5 mm", BILEVEL_PX)],
)
def test_a_thick_lines_corners_are_each_one_node_where_its_sides_meet(
    view: str, most_px: float, tilt_deg: float
) -> None:
    box = _box(tilt_deg, (520.0, 380.0))

    nodes = strokes_in(pictured([box], VIEWS[view])).nodes_px

    assert len(nodes) == 4
    off = np.hypot(*(nodes[:, None] - box[None]).transpose(2, 0, 1)).min(axis=1)
    assert off.max() < most_px


# Truth: the drawn box. A line of 2 px that climbs by one px in 20: its stairs are longer than the arms of a grey one.
@pytest.mark.parametrize("tilt_deg", [3.0, 5.0, 86.0])
def test_corners_lie_where_sides_without_their_stairs_meet(tilt_deg: float) -> None:
    box = _box(tilt_deg, (420.0, 330.0))

    nodes = strokes_in(pictured([box], VIEWS["bilevel 300 dpi, 0.35 mm"])).nodes_px

    off = np.hypot(*(box[:, None] - nodes[None]).transpose(2, 0, 1)).min(axis=1)
    assert off.max() < BILEVEL_PX


def test_a_ring_begins_on_its_straightest_side_and_keeps_its_points() -> None:
    side = np.arange(100.0)
    square = np.concatenate(
        [
            np.column_stack([side, 0 * side]),
            np.column_stack([0 * side + 100, side]),
            np.column_stack([100 - side, 0 * side + 100]),
            np.column_stack([0 * side, 100 - side]),
        ]
    )

    ring = from_its_straightest(square, 2.0)

    assert np.hypot(*(ring[:1] - square[::100]).T).min() > 8
    assert {tuple(point) for point in ring} == {tuple(point) for point in square}


def test_wide_ink_turns_in_a_corner_not_at_a_crossing_nor_at_a_lines_end() -> None:
    side = np.arange(40.0)
    points = np.concatenate([np.column_stack([side, 0 * side]), np.column_stack([0 * side + 40, side])])
    wide = np.zeros(80, np.bool_)
    wide[:5] = wide[15:22] = wide[35:46] = True

    turning = turning_runs(points, wide, width_px=4.0, is_ring=False)

    assert np.flatnonzero(turning).tolist() == list(range(35, 46))


def test_a_corner_astride_a_rings_end_turns() -> None:
    side = np.arange(40.0)
    points = np.concatenate([np.column_stack([side, 0 * side]), np.column_stack([0 * side + 40, side])])
    wide = np.zeros(80, np.bool_)
    wide[35:46] = True
    begun = np.roll(points, 40, axis=0), np.roll(wide, 40)

    turning = turning_runs(*begun, width_px=4.0, is_ring=True)

    assert turning.tolist() == begun[1].tolist()
