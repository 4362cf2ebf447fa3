from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from drawing.drawing import Drawing, Kind, Outline
from drawing.papers import PAPERS
from drawing.paths import Arc, Cubic, Line, Path, polyline, sampled
from printing.best_grid import PageGrid
from printing.errors import PrintingError
from printing.plan_pages import page_label, plan_pages
from printing.setup import PageSetup

A4 = PageSetup(PAPERS["a4"])


def test_a_small_part_takes_one_sheet_and_lies_in_its_middle(boxes):
    plan = plan_pages(boxes((1000, -500, 100, 60)), A4)

    (tile,) = plan.tiles
    assert (tile.page, tile.label, tile.at_page_mm) == (2, "A1", (6, 6))
    middle = tile.origin_mm[0] + tile.size_mm[0] / 2, tile.origin_mm[1] + tile.size_mm[1] / 2
    assert middle == pytest.approx((1050, -470), abs=0.01)


def test_the_way_round_with_fewer_sheets_is_taken(boxes):
    wide = plan_pages(boxes((0, 0, 270, 180)), A4)
    tall = plan_pages(boxes((0, 0, 180, 270)), A4)

    assert wide.grid.landscape
    assert not tall.grid.landscape
    assert len(wide.tiles) == len(tall.tiles) == 1


# 188 x 275 mm is all that A4 shows inside 6 mm margins and two half overlaps of 5 mm: by hand, 210 - 12 - 10.
def test_what_just_fits_takes_one_sheet_and_a_little_more_takes_two(boxes):
    assert len(plan_pages(boxes((3.3, 7.7, 188, 275)), A4).tiles) == 1
    assert len(plan_pages(boxes((3.3, 7.7, 188.1, 275)), A4).tiles) == 2


def test_labels_run_down_by_letter_and_across_by_number_in_reading_order(boxes):
    plan = plan_pages(boxes((0, 0, 400, 500)), A4)

    assert [tile.label for tile in plan.tiles] == [f"{letter}{n}" for letter in "AB" for n in "123"] or [
        tile.label for tile in plan.tiles
    ] == [f"{letter}{n}" for letter in "ABC" for n in "12"]
    assert [tile.page for tile in plan.tiles] == list(range(2, 8))
    tops = [tile.origin_mm[1] for tile in plan.tiles]
    assert tops == sorted(tops, reverse=True)


# ISO 5457 runs letters down and numbers across (from memory); after Z come two letters, as in columns of a table.
def test_labels_after_z_take_two_letters():
    assert [page_label(row, 0) for row in (0, 25, 26, 51, 52, 701, 702)] == [
        "A1", "Z1", "AA1", "AZ1", "BA1", "ZZ1", "AAA1",
    ]  # fmt: skip
    assert page_label(1, 2) == "B3"


def test_blank_pages_are_left_out_and_a_border_is_blank(boxes):
    drawing = boxes((0, 0, 60, 40), (900, 700, 60, 40), border=(-20, -20, 1000, 800))

    plan = plan_pages(drawing, A4)

    assert len(plan.tiles) == 2
    assert plan.cut_parts == ()


def test_a_border_alone_is_nothing_to_print(boxes):
    with pytest.raises(PrintingError, match="nothing to print"):
        plan_pages(boxes(border=(0, 0, 500, 400)), A4)


def test_lettering_counts_where_its_boxes_are_given(boxes):
    drawing = boxes((0, 0, 60, 40))

    plan = plan_pages(drawing, A4, ink_boxes_mm=[(900, 700, 930, 705)])

    assert len(plan.tiles) == 2


def test_open_lines_count():
    line = polyline(np.array([[0.0, 0.0], [600.0, 10.0]]), closed=False)

    plan = plan_pages(Drawing((), (line,)), A4)

    assert len(plan.tiles) == 3
    assert plan.grid.landscape


# By hand: two parts of 150 mm with 5 mm between fit no A4 page together either way round (188, 275 mm), so two
# sheets are needed, and a joint at 152.5 mm spares both parts.
def test_among_grids_of_as_many_sheets_the_one_that_cuts_fewest_parts_is_taken(boxes):
    plan = plan_pages(boxes((0, 0, 150, 150), (155, 0, 150, 150)), A4)

    assert len(plan.tiles) == 2
    assert plan.cut_parts == ()


def test_a_part_larger_than_a_page_is_told_as_cut(boxes):
    plan = plan_pages(boxes((0, 0, 400, 50), (0, 60, 20, 20)), A4)

    assert plan.cut_parts == (1,)


def test_the_same_grid_gives_the_same_tiles_to_the_bit(boxes):
    drawing = boxes((0.123, 7, 700, 300), (50, 400, 333.3, 200))
    plan = plan_pages(drawing, A4)

    again = plan_pages(
        drawing, A4, grid=PageGrid(plan.grid.origin_mm, plan.grid.landscape, plan.grid.rows, plan.grid.cols)
    )

    assert again == plan


def test_a_page_keeps_its_place_when_another_part_is_dropped(boxes):
    plan = plan_pages(boxes((0, 0, 100, 100), (600, 500, 100, 100)), A4)

    fewer = plan_pages(boxes((600, 500, 100, 100)), A4, grid=plan.grid)

    (left,) = fewer.tiles
    (before,) = (tile for tile in plan.tiles if tile.label == left.label)
    assert replace(left, page=0) == replace(before, page=0)


def test_a_drawing_that_outgrows_the_stored_grid_is_refused(boxes):
    plan = plan_pages(boxes((0, 0, 100, 100)), A4)

    with pytest.raises(PrintingError, match=r"beyond the stored page grid.*laid out anew"):
        plan_pages(boxes((0, 0, 400, 100)), A4, grid=plan.grid)


def test_a_grid_without_rows_is_refused(boxes):
    with pytest.raises(PrintingError, match="0 rows"):
        plan_pages(boxes((0, 0, 100, 100)), A4, grid=PageGrid((0.0, 0.0), False, 0, 1))


@pytest.mark.parametrize("size_mm", [6000.0, 60_000.0, 6e6])
def test_more_sheets_than_anyone_joins_are_refused_with_their_number(boxes, size_mm):
    with pytest.raises(PrintingError, match=r"takes \d+ sheets of A4; at most 400"):
        plan_pages(boxes(*((i * size_mm / 40, 0, size_mm / 41, size_mm) for i in range(40))), A4)


def test_an_endless_drawing_is_refused(boxes):
    with pytest.raises(PrintingError, match="finite bounds"):
        plan_pages(boxes((0, 0, float("inf"), 10)), A4)


def _curved(number, x, y, size):
    """A part of a line, an arc and a cubic that bulge out between their ends."""
    a, b, c = (x, y), (x + size, y), (x, y + size)
    path = Path(a, (Arc(b, 0.6), Cubic((x + size, y + size), (x + size / 2, y + 1.5 * size), c), Line(a)), closed=True)
    return Outline(number, path, (), (0.0, 0.0), 0.0)


coordinate = st.floats(-1500, 1500, allow_nan=False)
parts = st.lists(st.tuples(coordinate, coordinate, st.floats(1, 500)), min_size=1, max_size=6)
setups = st.builds(
    lambda paper, margin, overlap: PageSetup(PAPERS[paper], margin, overlap),
    st.sampled_from(["a4", "letter", "a3", "a5"]),
    st.floats(0, 12),
    st.floats(0, 20),
)


@settings(max_examples=25, deadline=None)
@given(parts, setups)
def test_every_point_of_every_outline_lies_on_a_tile(placed, setup):
    drawing = Drawing(tuple(_curved(n, *part) for n, part in enumerate(placed, 1)), ())

    plan = plan_pages(drawing, setup)

    # Stored origins are whole micrometres.
    slack_mm = 0.002
    points = np.concatenate([sampled(outline.boundary, tolerance_mm=0.05) for outline in drawing.outlines])
    on_a_tile = np.zeros(len(points), bool)
    for tile in plan.tiles:
        low = np.array(tile.origin_mm)
        on_a_tile |= ((points >= low - slack_mm) & (points <= low + tile.size_mm + slack_mm)).all(axis=1)
    assert on_a_tile.all()


@settings(max_examples=25, deadline=None)
@given(parts, setups)
def test_neighbours_show_the_same_overlap_and_every_page_shows_something(placed, setup):
    drawing = Drawing(tuple(_curved(n, *part) for n, part in enumerate(placed, 1)), ())

    plan = plan_pages(drawing, setup)

    for tile in plan.tiles:
        right, below = plan.tile_at(tile.row, tile.col + 1), plan.tile_at(tile.row + 1, tile.col)
        if right is not None:
            shared = tile.origin_mm[0] + tile.size_mm[0] - right.origin_mm[0]
            assert shared == pytest.approx(setup.overlap_mm, abs=1e-6)
            assert right.origin_mm[1] == tile.origin_mm[1]
        if below is not None:
            shared = below.origin_mm[1] + below.size_mm[1] - tile.origin_mm[1]
            assert shared == pytest.approx(setup.overlap_mm, abs=1e-6)
    rings = [shapely.LinearRing(sampled(outline.boundary, tolerance_mm=0.001)) for outline in drawing.outlines]
    # Pages are judged on chords 0.01 mm from their curve.
    cores = [shapely.box(*plan.core_mm(tile.row, tile.col)).buffer(0.02) for tile in plan.tiles]
    assert all(any(core.intersects(ring) for ring in rings) for core in cores)


@settings(max_examples=12, deadline=None)
@given(parts, coordinate, coordinate)
def test_moving_the_drawing_takes_no_more_sheets(placed, right, up):
    drawing = Drawing(tuple(_curved(n, *part) for n, part in enumerate(placed, 1)), ())
    moved = Drawing(tuple(_curved(n, x + right, y + up, size) for n, (x, y, size) in enumerate(placed, 1)), ())

    assert len(plan_pages(moved, A4).tiles) == len(plan_pages(drawing, A4).tiles)


@settings(max_examples=12, deadline=None)
@given(parts)
def test_no_more_sheets_than_a_plain_grid_from_the_corner(placed):
    drawing = Drawing(tuple(_curved(n, *part) for n, part in enumerate(placed, 1)), ())
    x0, y0, x1, y1 = drawing.bounds_mm()

    plan = plan_pages(drawing, A4)

    plain = [
        int(np.ceil((x1 - x0) / width - 1e-6) * np.ceil((y1 - y0) / height - 1e-6))
        for width, height in (A4.core_size_mm(landscape=False), A4.core_size_mm(landscape=True))
    ]
    assert len(plan.tiles) <= min(plain)


def test_unsure_outlines_are_printed(boxes):
    drawing = boxes((0, 0, 50, 50))
    unsure = replace(drawing.outlines[0], kind=Kind.UNSURE)

    assert len(plan_pages(Drawing((unsure,), ()), A4).tiles) == 1
