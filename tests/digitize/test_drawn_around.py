"""Balloons about part numbers, told from openings with centre marks."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray

from benchmarks.fit_error import box, circle, line
from benchmarks.vector_strokes import Inking, strokes_of
from digitize.lettering import lettering_links
from digitize.loop import Role
from digitize.loops import find_loops
from digitize.strokes import DASHED_GAPS, Strokes

Line = NDArray[np.float64]
INKING = Inking(seed=5)
PLATE = box(20, 20, 80, 60)
MIDDLE = np.array([60.0, 50.0])
LEADER = line((60 + 4 / np.sqrt(2), 50 - 4 / np.sqrt(2)), (75, 35))


def roles(*lines: Line) -> list[tuple[Role, int]]:
    """Role and rounded area, mm², of each closed line that is no field."""
    strokes = strokes_of([PLATE, *lines], INKING)
    found = find_loops(strokes, lettering=lettering_links(strokes), border_px=None)
    mm2 = INKING.mm_per_px**2
    return sorted((loop.role, round(loop.area_px2 * mm2 / 10)) for loop in found.loops if loop.role is not Role.FACE)


def ring(radius_mm: float = 4.0) -> Line:
    return circle(60, 50, radius_mm)


def figure(*strokes_mm: list[tuple[float, float]]) -> list[Line]:
    """Strokes about the ring's middle."""
    return [np.vstack([line(a, b) for a, b in pairwise(one)]) + MIDDLE for one in strokes_mm]


@pytest.mark.parametrize(
    "number",
    [
        figure([(0.3, -1.2), (0.3, 1.2)]),
        figure([(-0.7, -1.2), (-0.1, 1.2)], [(0.5, -1.2), (1.1, 1.2)]),
        figure([(0.2, -1.2), (0.2, 1.2), (-0.8, -0.4), (0.8, -0.4)]),
        figure([(0.0, -1.2), (0.1, 1.2)]),
        figure([(0.0, -1.2), (0.6, -0.9), (0.6, 0.9), (0.0, 1.2), (-0.6, 0.9), (-0.6, -0.9), (0.0, -1.2)]),
    ],
    ids=["1", "11", "4", "1 in its middle", "0"],
)
def test_a_circle_that_a_line_ends_on_with_a_number_in_its_middle_is_a_balloon(number: list[Line]) -> None:
    assert (Role.MARK, 5) in roles(ring(), LEADER, *number)


def test_a_circle_that_a_line_ends_on_with_a_centre_mark_is_a_hole() -> None:
    mark = figure([(-1.2, 0), (1.2, 0)], [(0, -1.2), (0, 1.2)])

    assert roles(ring(), LEADER, *mark) == [(Role.HOLE, 5), (Role.PART, 480)]


def test_a_circle_without_a_leader_and_with_a_single_stroke_in_it_is_a_hole() -> None:
    assert (Role.HOLE, 5) in roles(ring(), *figure([(0.3, -1.2), (0.3, 1.2)]))


def test_two_washers_that_touch_are_parts_with_a_hole_each() -> None:
    left, right = circle(160, 50, 20), circle(200, 50, 20)
    bores = [circle(160, 50, 6), circle(200, 50, 6)]
    start = int(np.hypot(*(left - [180, 50]).T).argmin())
    left = np.vstack([left[start:-1], left[:start], left[start : start + 1]])
    start = int(np.hypot(*(right - [180, 50]).T).argmin())
    right = np.vstack([right[start:-1], right[:start], right[start : start + 1]])
    right += left[0] - right[0]

    parts = [area for role, area in roles(left, right, *bores) if role is Role.PART]

    assert parts == [126, 126, 480]


def test_lettering_with_two_closed_parts_and_bends_is_a_letter_by_itself() -> None:
    t = np.linspace(-np.pi / 2, np.pi / 2, 40)
    bows = [np.column_stack([1.0 + 0.7 * np.cos(t), y + 0.7 * np.sin(t)]) for y in (0.7, 2.1)]
    bars = [line((0, y), (1.0, y)) for y in (0.0, 1.4, 2.8)]
    letter = [one + MIDDLE for one in (line((0, 0), (0, 2.8)), *bars, *bows)]
    strokes = strokes_of([PLATE, *letter], INKING)

    lettering = lettering_links(strokes)

    within = shapely.Polygon(INKING.to_picture(PLATE)).buffer(-5)
    inside = [bool(within.contains(shapely.LineString(link.points_px))) for link in strokes.links]
    assert lettering.tolist() == inside


def test_a_circle_over_an_outline_whose_line_the_figure_in_it_touches_is_a_balloon() -> None:
    t = np.linspace(-np.pi / 2, np.pi / 2, 40)
    three = [np.column_stack([102.0 + 0.9 * np.cos(t), y + 0.9 * np.sin(t)]) for y in (39.1, 40.9)]

    found = roles(circle(101.5, 40, 4), *three, line((100, 40), (102.9, 39.1)))

    assert (Role.MARK, 5) in found
    assert (Role.PART, 480) in found


def test_a_round_opening_cut_into_arcs_by_centre_lines_is_no_figure_in_the_part_around_it() -> None:
    washer, opening = circle(160, 50, 20), circle(160, 50, 12)
    centre_lines = [line((135, 50), (185, 50)), line((160, 25), (160, 75))]

    found = roles(washer, opening, *centre_lines)

    assert (Role.PART, 126) in found
    assert (Role.HOLE, 45) in found


def letters(x: float, y: float) -> list[Line]:
    """A B and an S by it, 2.8 mm high, their lower left corner at a place."""
    t = np.linspace(-np.pi / 2, np.pi / 2, 40)
    bows = [np.column_stack([1.0 + 0.7 * np.cos(t), middle + 0.7 * np.sin(t)]) for middle in (0.7, 2.1)]
    bars = [line((0, height), (1.0, height)) for height in (0.0, 1.4, 2.8)]
    wave = np.column_stack([3.2 + 0.6 * np.sin(4 * t), 1.4 + t * 2.8 / np.pi])
    return [one + np.array([x, y]) for one in (line((0, 0), (0, 2.8)), *bars, *bows, wave)]


def test_lettering_beside_an_opening_about_the_middle_is_the_name_of_a_rounded_part() -> None:
    former, opening = circle(0, 0, 20) * [0.7, 1.0] + [160, 50], circle(160, 50, 6)

    found = roles(former, opening, *letters(158, 37))

    assert (Role.PART, 88) in found
    assert (Role.HOLE, 11) in found


def apart(one: Strokes, other: Strokes) -> Strokes:
    """Both, as where a crossing is known and its lines are taken apart."""
    count = len(one.nodes_px)
    links = [replace(link, start=link.start + count, end=link.end + count) for link in other.links]
    nodes_px, kinds = np.vstack([one.nodes_px, other.nodes_px]), np.concatenate([one.kinds, other.kinds])
    return Strokes(nodes_px, kinds, one.links + tuple(links))


def test_an_outline_drawn_through_a_balloon_is_no_stroke_of_its_number() -> None:
    one = [line((-0.9, 1.4), (-0.9, -1.4)), line((-1.5, -1.4), (-0.3, -1.4))]
    number = [stroke + np.array([60, 82.8]) for stroke in (*one, circle(0, 0, 1.4) * [0.6, 1.0] + [1.0, 0.0])]
    strokes = apart(strokes_of([PLATE, *number], INKING), strokes_of([circle(60, 82.8, 4)], INKING))
    middle = shapely.Polygon(INKING.to_picture(circle(60, 82.8, 2.6)))
    lettering = np.array([bool(middle.contains(shapely.LineString(link.points_px))) for link in strokes.links])

    found = find_loops(strokes, lettering=lettering, border_px=None)

    parts = [loop.area_px2 * INKING.mm_per_px**2 for loop in found.loops if loop.role is Role.PART]
    assert parts == pytest.approx([4800], rel=0.01)


@pytest.mark.parametrize("dashed", [True, False])
def test_dashes_that_turn_from_one_centre_line_into_another_are_no_figure(dashed: bool) -> None:
    t = np.linspace(np.pi, np.pi / 2, 20)
    turn = np.column_stack([161 + np.cos(t), 49 + np.sin(t)])
    dashes = np.vstack([line((160, 32), (160, 49)), turn[1:-1], line((161, 50), (172, 50))])
    strokes = strokes_of([PLATE, circle(160, 50, 20), dashes, line((146, 50), (156, 50))], INKING)
    within = shapely.Polygon(INKING.to_picture(circle(160, 50, 19)))
    links = [
        replace(link, gaps=DASHED_GAPS * (dashed and bool(within.contains(shapely.LineString(link.points_px)))))
        for link in strokes.links
    ]

    found = find_loops(replace(strokes, links=tuple(links)), lettering=np.zeros(len(links), np.bool_), border_px=None)

    areas_mm2 = [loop.area_px2 * INKING.mm_per_px**2 for loop in found.loops if loop.role is Role.PART]
    assert len(areas_mm2) == (2 if dashed else 1)
