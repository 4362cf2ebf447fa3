"""Which loops are parts and holes, on drawings whose parts are known."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray

from benchmarks.fit_error import box, circle, line, naca
from benchmarks.vector_strokes import Inking, strokes_of
from digitize.draw_outlines import draw_outlines
from digitize.loop import Role
from digitize.loops import Loops, find_loops
from digitize.strokes import Strokes

Line = NDArray[np.float64]

INKING = Inking(seed=5)


def loops(*lines: Line, border_mm: Line | None = None, inking: Inking = INKING) -> Loops:
    strokes = strokes_of(lines, inking)
    border_px = None if border_mm is None else inking.to_picture(border_mm[:4])
    return find_loops(strokes, lettering=np.zeros(len(strokes.links), dtype=bool), border_px=border_px)


def areas(found: Loops, role: Role, inking: Inking = INKING) -> list[float]:
    """Areas of a role's loops, mm², largest first."""
    return sorted((loop.area_px2 * inking.mm_per_px**2 for loop in found.loops if loop.role is role), reverse=True)


def near(*expected: float) -> object:
    return pytest.approx(expected, rel=0.01)


def test_a_line_crossing_a_part_neither_breaks_nor_joins_outlines():
    found = loops(box(20, 20, 60, 60), box(120, 20, 60, 60), line((5, 50), (220, 50)))

    assert areas(found, Role.PART) == near(3600, 3600)
    assert areas(found, Role.HOLE) == []


def test_two_lines_that_cross_two_parts_make_no_part_between_them():
    found = loops(box(20, 20, 60, 60), box(120, 20, 60, 60), line((5, 40), (220, 40)), line((5, 60), (220, 60)))

    assert areas(found, Role.PART) == near(3600, 3600)


def test_ribs_and_spars_that_end_on_an_edge_leave_the_panel_whole():
    ribs = [line((x, 20), (x, 120)) for x in (60, 100, 140)]

    found = loops(box(20, 20, 200, 100), line((20, 70), (220, 70)), *ribs)

    assert areas(found, Role.PART) == near(20000)


def test_a_brace_into_a_corner_leaves_the_part_whole():
    found = loops(box(20, 20, 200, 100), line((20, 20), (220, 120)))

    assert areas(found, Role.PART) == near(20000)


def test_a_line_along_a_side_and_beyond_leaves_the_part():
    found = loops(box(20, 20, 100, 60), line((5, 20), (220, 20)))

    assert areas(found, Role.PART) == near(6000)


# Areas: shapely's of the same formula's points.
@pytest.mark.parametrize("sigma_px", [0.05, 0.1, 0.2])
def test_ribs_drawn_inside_one_another_on_a_datum_are_parts_not_holes(sigma_px):
    ribs = [naca("4412", chord, (20 + 0.3 * (200 - chord), 60)) for chord in (200, 150, 105)]
    inking = Inking(sigma_px=sigma_px, seed=3)

    found = loops(*ribs, line((5, 60), (240, 60)), inking=inking)

    assert areas(found, Role.PART, inking) == near(*(shapely.Polygon(rib).area for rib in ribs))
    assert areas(found, Role.HOLE, inking) == []


@pytest.mark.parametrize("seed", range(6))
def test_a_datum_through_both_tips_leaves_the_whole_rib(seed):
    rib = naca("2412", 150, (20, 60))
    inking = Inking(sigma_px=0.15, seed=seed)

    found = loops(rib, line((5, 60), (200, 60)), inking=inking)

    assert areas(found, Role.PART, inking) == near(shapely.Polygon(rib).area)


def test_round_holes_and_slots_are_holes_even_on_a_centre_line():
    found = loops(naca("2412", 200, (20, 60)), circle(70, 63, 6), circle(110, 63, 5), line((5, 63), (240, 63)))

    assert len(areas(found, Role.PART)) == 1
    assert areas(found, Role.HOLE) == near(np.pi * 36, np.pi * 25)


def former(width: float, high: float, at: tuple[float, float]) -> Line:
    """A fuselage former that tapers to its foot, (mm)."""
    x, y = at
    corners = [(-0.5, 0.3), (-0.25, 0.5), (0.25, 0.5), (0.5, 0.3), (0.3, -0.5), (-0.3, -0.5), (-0.5, 0.3)]
    return np.array([(x + width * a, y + high * b) for a, b in corners])


def test_an_opening_of_another_shape_is_a_hole_though_the_centre_line_runs_through_it():
    outline, opening = former(80, 100, (100, 100)), box(80, 78, 40, 55)

    found = loops(outline, opening, line((100, 40), (100, 160)))

    assert areas(found, Role.PART) == near(shapely.Polygon(outline).area)
    assert areas(found, Role.HOLE) == near(2200)


def test_formers_of_one_body_drawn_one_in_another_on_their_centre_line_are_parts():
    large, small = former(80, 100, (100, 100)), former(58, 74, (100, 90))

    found = loops(large, small, line((100, 40), (100, 160)))

    assert areas(found, Role.PART) == near(shapely.Polygon(large).area, shapely.Polygon(small).area)


def test_a_ring_has_a_hole():
    found = loops(circle(80, 80, 50), circle(80, 80, 40))

    assert areas(found, Role.PART) == near(np.pi * 2500)
    assert areas(found, Role.HOLE) == near(np.pi * 1600)


def test_a_part_drawn_inside_a_hole_is_a_part():
    found = loops(box(20, 20, 160, 120), box(40, 40, 120, 80), box(70, 60, 40, 30))

    assert areas(found, Role.PART) == near(19200, 1200)
    assert areas(found, Role.HOLE) == near(9600)


def test_parts_that_share_an_edge_are_two():
    found = loops(box(20, 20, 100, 120), box(120, 50, 70, 60))

    assert areas(found, Role.PART) == near(12000, 4200)


STEPPED = np.array([(20.0, 20), (140, 20), (140, 70), (80, 70), (80, 120), (20, 120), (20, 20)])


def test_sheets_cut_side_by_side_are_parts_that_share_edges():
    """Lines of one width that carry on a side of one of them, and nothing else inside."""
    outside = [(20.0, 20), (140, 20), (140, 90), (100, 90), (100, 70), (60, 70), (60, 120), (20, 120), (20, 20)]

    found = loops(np.array(outside), line((60, 70), (60, 20)), line((100, 70), (100, 20)))

    assert areas(found, Role.PART) == near(4000, 2800, 2000)
    assert near(8800) in [[area] for area in areas(found, Role.FACE)]


def test_sheets_whose_shared_edge_is_a_pixel_thinner_as_the_side_it_carries_on_are_two():
    """In black and white one pen's lines are 2 or 3 px wide as the pixels lie."""
    strokes = strokes_of([STEPPED, line((80, 70), (80, 20))], INKING)
    upright = [abs(INKING.to_plan(link.points_px)[:, 0] - 80).max() < 2 for link in strokes.links]
    links = [replace(link, width_px=2.0 if thin else 3.0) for link, thin in zip(strokes.links, upright, strict=True)]

    found = find_loops(
        Strokes(strokes.nodes_px, strokes.kinds, tuple(links)),
        lettering=np.zeros(len(links), dtype=bool),
        border_px=None,
    )

    assert sum(upright) == 2
    assert areas(found, Role.PART) == near(6000, 3000)


def test_a_thin_line_across_a_stepped_part_leaves_it_whole():
    strokes = strokes_of([STEPPED, line((80, 70), (80, 20))], INKING)
    across = [n for n, link in enumerate(strokes.links) if np.ptp(link.points_px[:, 0]) < 5 and link.start != link.end]
    inner = [n for n in across if (abs(INKING.to_plan(strokes.links[n].points_px) - [80, 45]) < [2, 26]).all()]
    links = [replace(link, width_px=1.25) if n in inner else link for n, link in enumerate(strokes.links)]

    found = find_loops(
        Strokes(strokes.nodes_px, strokes.kinds, tuple(links)),
        lettering=np.zeros(len(links), dtype=bool),
        border_px=None,
    )

    assert len(inner) == 1
    assert areas(found, Role.PART) == near(9000)


def test_a_stepped_panel_with_ribs_beside_the_step_stays_whole():
    ribs = [line((x, 20), (x, 120)) for x in (40, 60)] + [line((x, 20), (x, 70)) for x in (100, 120)]

    found = loops(STEPPED, line((80, 70), (80, 20)), *ribs)

    assert areas(found, Role.PART) == near(9000)


def test_lines_that_run_together_at_a_shallow_angle_are_no_edges_of_sheets():
    """The second line leaves the first by 25 degrees, as ribs leave a datum; sheets step by a right angle."""
    high = 60 + 80 * np.tan(np.radians(25))
    outside = np.array([(20.0, 20), (200, 20), (200, 60), (100, 60), (20, high), (20, 20)])

    found = loops(outside, line((100, 60), (20, 60)))

    assert areas(found, Role.PART) == near(shapely.Polygon(outside).area)


@pytest.mark.parametrize("chord_to", [(66.0, 26.0), (160.0, 24.0)])
def test_a_chord_from_the_floor_of_a_notch_that_parts_nothing_leaves_the_rib_whole(chord_to: tuple[float, float]):
    corners = [(20, 18), (60, 19), (60, 32), (66, 32), (66, 24), (160, 24), (66, 64), (66, 56)]
    corners += [(60, 56), (60, 63), (20, 52), (20, 44), (28, 44), (28, 26), (20, 26), (20, 18)]
    outline = np.vstack([line(a, b)[:-1] for a, b in pairwise(np.array(corners, dtype=float))])

    found = loops(np.vstack([outline, outline[:1]]), line((28, 26), chord_to))

    whole = shapely.Polygon(corners)
    (part,) = [loop for loop in found.loops if loop.role is Role.PART]
    assert part.area_px2 * INKING.mm_per_px**2 == pytest.approx(whole.area, rel=0.015)
    assert part.confidence < 0.8


@pytest.mark.parametrize(("width_px", "expected"), [(2.5, (6400.0, 420.0)), (1.25, (6400.0,))])
def test_a_line_that_closes_a_field_beside_a_part_makes_one_only_where_it_is_as_wide(width_px, expected):
    """A chord line under a hollow rib is thin; a second sheet cut on the same edge is drawn as the first."""
    below = np.array([(40.0, 20), (80, 8), (110, 20)])
    strokes = strokes_of([box(20, 20, 100, 64), below], INKING)
    under = [n for n, link in enumerate(strokes.links) if INKING.to_plan(link.points_px)[:, 1].min() < 18]
    links = [replace(link, width_px=width_px) if n in under else link for n, link in enumerate(strokes.links)]

    found = find_loops(
        Strokes(strokes.nodes_px, strokes.kinds, tuple(links)),
        lettering=np.zeros(len(links), dtype=bool),
        border_px=None,
    )

    assert areas(found, Role.PART) == near(*expected)


def test_a_slot_that_a_line_crosses_is_a_hole():
    slot = np.array([(60.0, 40), (75, 40), (75, 80), (60, 80), (60, 40)])

    found = loops(box(20, 20, 80, 80), slot, line((5, 55), (115, 65)))

    assert areas(found, Role.PART) == near(6400)
    assert areas(found, Role.HOLE) == near(600)


def test_a_dimension_drawn_onto_the_part_is_no_part():
    lines = [line((50, 20), (50, 5)), line((150, 20), (150, 5)), line((50, 10), (150, 10))]

    found = loops(box(50, 20, 100, 60), *lines)

    assert areas(found, Role.PART) == near(6000)


def test_border_and_title_block_are_no_parts():
    border = np.array([(5.0, 305.0), (405, 305), (405, 5), (5, 5), (5, 305)])
    title = [line((305, 5), (305, 45), (405, 45)), line((305, 25), (405, 25)), line((345, 5), (345, 45))]

    found = loops(border, *title, box(40, 100, 50, 30), naca("2412", 150, (120, 200)), border_mm=border)

    assert areas(found, Role.PART) == near(shapely.Polygon(naca("2412", 150, (0, 0))).area, 1500)


def test_a_border_is_known_by_what_it_spans_and_holds():
    border = np.array([(5.0, 305.0), (405, 305), (405, 5), (5, 5), (5, 305)])

    found = loops(border, box(40, 100, 50, 30), box(200, 100, 50, 40))

    assert areas(found, Role.PART) == near(2000, 1500)


def test_a_border_of_two_lines_is_none_of_them_a_part():
    outer = np.array([(5.0, 305.0), (405, 305), (405, 5), (5, 5), (5, 305)])
    inner = np.array([(9.0, 301.0), (401, 301), (401, 9), (9, 9), (9, 301)])

    found = loops(outer, inner, box(40, 100, 50, 30), box(200, 100, 50, 40), border_mm=outer)

    assert areas(found, Role.PART) == near(2000, 1500)
    assert areas(loops(outer, inner, box(40, 100, 50, 30), box(200, 100, 50, 40)), Role.PART) == near(2000, 1500)


def test_a_plate_with_holes_alone_on_a_sheet_is_no_border():
    found = loops(box(20, 20, 200, 100), circle(60, 70, 20), circle(160, 70, 20), box(100, 40, 20, 60))

    assert areas(found, Role.PART) == near(20000)
    assert len(areas(found, Role.HOLE)) == 3


def test_an_arrowhead_on_a_leader_is_no_part_and_no_hole():
    arrow = line((60, 70), (63.5, 71), (63.5, 69), (60, 70))

    found = loops(box(20, 20, 100, 100), arrow, line((63.5, 70), (100, 70)))

    assert areas(found, Role.PART) == near(10000)
    assert areas(found, Role.HOLE) == []


def test_an_0_that_a_line_runs_into_is_taken_for_a_part_only_in_doubt():
    inking = Inking(width_px=1.2, seed=5)
    letters = [
        stroke
        for x in (26.0, 30.0, 34.0)
        for stroke in [line((x, 20), (x, 23.5)), *(line((x, y), (x + 2, y)) for y in (20, 21.75, 23.5))]
    ]
    strokes = strokes_of([circle(22, 21.75, 1.6), line((22, 23.35), (22, 40)), *letters], inking)
    lettering = np.array([inking.to_plan(link.points_px)[:, 0].min() > 25 for link in strokes.links])

    found = find_loops(strokes, lettering=lettering, border_px=None)

    assert [loop.confidence for loop in found.loops if loop.role is Role.PART] == [0.5]


def test_a_free_end_is_an_open_line_and_no_part_of_the_outline():
    strokes = strokes_of([box(20, 20, 100, 60), line((70, 80), (70, 110))], INKING)

    drawing = draw_outlines(strokes.mapped(INKING.to_plan)).drawing

    assert len(drawing.outlines) == 1
    assert len(drawing.outlines[0].boundary.segments) == 4
    assert len(drawing.lines) == 1


def test_two_thousand_boxes_are_all_found():
    lines = [box(10 + 8 * (i % 50), 10 + 8 * (i // 50), 6, 6) for i in range(2000)]

    found = loops(*lines)

    assert len(areas(found, Role.PART)) == 2000


def figured(*lines: Line) -> Loops:
    """The loops of lines with a figure, two strokes about (120, 136.5) mm, that is known for lettering."""
    strokes = strokes_of([*lines, line((118, 134), (118, 139)), line((122, 134), (122, 139))], INKING)
    low, high = np.sort(INKING.to_picture(np.array([[116.0, 133.5], [124.0, 139.5]])), axis=0)
    lettering = [bool(((link.points_px > low) & (link.points_px < high)).all()) for link in strokes.links]
    return find_loops(strokes, lettering=np.array(lettering), border_px=None)


PLATE = (box(20, 20, 200, 100), line((120, 20), (120, 120)))
EXTENSIONS = (line((20, 120), (20, 134.5)), line((220, 120), (220, 134.5)))


def test_a_dimension_line_whose_extension_lines_touch_a_part_leaves_the_part():
    found = figured(*PLATE, *EXTENSIONS, line((20, 132), (220, 132)))

    assert areas(found, Role.PART) == near(20000)
    assert found.measures.sum() == 1


def test_a_dimension_line_broken_for_its_figure_leaves_the_part():
    found = figured(*PLATE, *EXTENSIONS, line((20, 132), (112, 132)), line((128, 132), (220, 132)))

    assert areas(found, Role.PART) == near(20000)


def test_a_dimension_outside_another_on_the_same_extension_lines_leaves_the_part():
    longer = (line((20, 120), (20, 146.5)), line((220, 120), (220, 146.5)))

    found = figured(*PLATE, *longer, line((20, 132), (220, 132)), line((20, 144), (220, 144)))

    assert areas(found, Role.PART) == near(20000)


def test_a_plate_with_corners_drawn_past_each_other_stays_whole_beside_lettering():
    sides = [
        line((20, 132), (220, 132)),
        line((20, 60), (220, 60)),
        line((25, 55), (25, 137)),
        line((215, 55), (215, 137)),
    ]

    found = figured(*sides)

    assert areas(found, Role.PART) == near(190 * 72)
    assert not found.measures.any()


def test_a_strip_between_a_panels_edge_and_its_extension_lines_stays_part_of_it():
    """The dimension line is broken for its figure, and its halves end free: nothing encloses the extension lines."""
    strip = line((20, 106), (220, 106))

    found = figured(*PLATE, *EXTENSIONS, strip, line((20, 132), (100, 132)), line((140, 132), (220, 132)))

    assert areas(found, Role.PART) == near(20000)
