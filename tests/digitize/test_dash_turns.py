"""Dashed outlines whose corners, noses and tips lie in gaps, and curves of dashes."""

import numpy as np
import pytest
import shapely
import shapely.ops
from numpy.typing import NDArray

from benchmarks.vector_strokes import Inking, strokes_of
from digitize.bridged_gaps import with_gaps_bridged
from digitize.dash_corners import with_dash_corners
from digitize.dash_turns import with_dash_turns
from digitize.draw_outlines import UNSURE_BELOW
from digitize.end_stubs import without_end_stubs
from digitize.lettering import lettering_links
from digitize.loop import Loop, Role
from digitize.loops import find_loops
from digitize.strokes import Link, NodeKind, Strokes

Floats = NDArray[np.float64]
INKING = Inking(seed=7)
QUAD_MM = np.array([(20, 20), (86, 24), (78, 66), (30, 60)], dtype=float)
CORNER_OFF_PX = 0.5  # where two lines of dashes cross, each told by a side's dashes


def dashes_along(points_mm: Floats, *, on_mm: float, off_mm: float, begin_mm: float = 0.0) -> list[Floats]:
    """Dashes set down along a closed line one after another, whatever its corners."""
    ring = shapely.LineString(np.vstack([points_mm, points_mm[:1]]))
    count = round(ring.length / (on_mm + off_mm))
    scale = ring.length / (count * (on_mm + off_mm))
    starts = begin_mm + scale * (on_mm + off_mm) * np.arange(count)
    twice = shapely.LineString(np.vstack([points_mm, points_mm, points_mm[:1]]))
    return [
        shapely.get_coordinates(shapely.ops.substring(twice, start, start + scale * on_mm)) for start in starts.tolist()
    ]


def parts_in(lines_mm: list[Floats]) -> list[Loop]:
    strokes = strokes_of(lines_mm, INKING)
    strokes = with_dash_corners(strokes, lettering_links(strokes))
    strokes = with_dash_turns(strokes, lettering_links(strokes))
    strokes = with_gaps_bridged(strokes, lettering_links(strokes))
    found = find_loops(strokes, lettering=lettering_links(strokes), border_px=None)
    return [loop for loop in found.loops if loop.role is Role.PART]


def circle_mm(radius_mm: float, at_mm: tuple[float, float] = (60.0, 50.0)) -> Floats:
    t = np.linspace(0, 2 * np.pi, 400, endpoint=False)
    return np.array(at_mm) + radius_mm * np.column_stack([np.cos(t), np.sin(t)])


@pytest.mark.parametrize("radius_mm", [6.0, 12.0])
def test_a_circle_of_dashes_as_small_as_letters_is_a_part(radius_mm: float) -> None:
    parts = parts_in(dashes_along(circle_mm(radius_mm), on_mm=3.0, off_mm=1.3))

    assert [part.area_px2 * INKING.mm_per_px**2 for part in parts] == pytest.approx([np.pi * radius_mm**2], rel=0.03)


@pytest.mark.parametrize("begin_mm", [0.4, 0.9, 1.4])
def test_a_corner_in_a_gap_of_dashes_is_where_both_sides_cross(begin_mm: float) -> None:
    strokes = strokes_of(dashes_along(QUAD_MM, on_mm=4.0, off_mm=1.6, begin_mm=begin_mm), INKING)

    turned = with_dash_turns(strokes, lettering_links(strokes))

    corners = turned.nodes_px[turned.kinds == NodeKind.CORNER]
    off_px = np.hypot(*(corners[:, None] - INKING.to_picture(QUAD_MM)[None]).transpose(2, 0, 1)).min(axis=0)
    assert off_px[0] < CORNER_OFF_PX


@pytest.mark.parametrize("begin_mm", [0.4, 1.4, 2.4, 3.4])
def test_an_outline_of_dashes_is_a_part_wherever_its_corners_fall(begin_mm: float) -> None:
    parts = parts_in(dashes_along(QUAD_MM, on_mm=4.0, off_mm=1.6, begin_mm=begin_mm))

    true = shapely.Polygon(INKING.to_picture(QUAD_MM))
    assert len(parts) == 1
    assert shapely.area(shapely.symmetric_difference(parts[0].polygon, true)) < 0.01 * true.area


def test_a_rib_of_dashes_whose_tip_lies_in_a_gap_closes_over_it() -> None:
    x = (1 - np.cos(np.linspace(0, np.pi, 200))) / 2
    half = 0.6 * (0.2969 * np.sqrt(x) - 0.126 * x - 0.3516 * x**2 + 0.2843 * x**3 - 0.1036 * x**4)
    rib = 90 * np.vstack([np.column_stack([x, half])[::-1], np.column_stack([x, -half])[1:-1]]) + [15, 50]

    parts = parts_in(dashes_along(rib, on_mm=3.0, off_mm=1.3, begin_mm=0.7))

    true = shapely.Polygon(INKING.to_picture(rib))
    assert len(parts) == 1
    assert shapely.area(shapely.symmetric_difference(parts[0].polygon, true)) < 0.02 * true.area


def test_dashed_lines_that_end_near_each_other_on_a_full_corner_do_not_turn_there() -> None:
    angle = np.array([(20, 60), (20, 20), (80, 20)], dtype=float)
    across = [np.array([(20.0, y), (20.0, y - 3)]) for y in np.arange(19.2, 2, -4.0)]
    along = [np.array([(x, 20.0), (x - 3, 20.0)]) for x in np.arange(19.2, 2, -4.0)]
    strokes = strokes_of([angle, *across, *along], INKING)

    turned = with_dash_turns(strokes, lettering_links(strokes))

    assert turned is strokes


def test_dashes_inside_a_part_are_no_hole_for_sure() -> None:
    solid = np.array([(10, 10), (110, 10), (110, 90), (10, 90), (10, 10)], dtype=float)

    parts = parts_in([solid, *dashes_along(circle_mm(14), on_mm=3.0, off_mm=1.3)])

    assert len(parts) == 2
    inner = min(parts, key=lambda part: part.area_px2)
    assert "dashes" in inner.why
    assert inner.confidence < UNSURE_BELOW


def test_a_corner_within_the_pens_half_width_of_an_end_is_that_end() -> None:
    nodes = np.array([(0.0, 0.0), (30.0, 0.0), (31.0, 0.8)])
    line_px = np.column_stack([np.linspace(0, 30, 31), np.zeros(31)])
    kinds = np.array([NodeKind.END, NodeKind.CORNER, NodeKind.END], dtype=np.uint8)
    strokes = Strokes(nodes, kinds, (Link(0, 1, line_px, 0.1, 5.0), Link(1, 2, nodes[1:], 0.1, 5.0)))

    ended = without_end_stubs(strokes)

    assert len(ended.links) == 1
    assert ended.kinds.tolist() == [NodeKind.END, NodeKind.END]
