"""Pages read back by a library that is not the writer's, in mm."""

import re
from fractions import Fraction
from pathlib import Path as FilePath

import numpy as np
import pytest

from drawing.drawing import Drawing, Outline
from drawing.papers import PAPERS
from drawing.paths import Arc, Line, Path, polyline
from pictures.flat import FlatPicture
from printing.errors import PrintingError
from printing.mirror import mirrored_flat
from printing.page_title import PageTitle
from printing.plan_pages import plan_pages
from printing.setup import PageSetup, parse_paper
from printing.write_pages import write_pages

A4 = PageSetup(PAPERS["a4"])

# Single precision in the reader: 1e-7 of 600 mm, with room.
READ_MM = 2e-4
BAR_MM = 0.01


def four_pages(boxes):
    return boxes((0, 0, 300, 250), (20, 270, 90, 60), (180, 265, 100, 70))


# ISO 216 and ANSI/ASME Y14.1 A: A4 is 210 x 297 mm, Letter 8.5 x 11 in.
@pytest.mark.parametrize(
    ("paper", "sides_mm"),
    [
        ("A4", (210, 297)),
        ("A3", (297, 420)),
        ("Letter", (215.9, 279.4)),
        ("300x400mm", (300, 400)),
        ("A0", (841, 1189)),
    ],
)
def test_every_page_has_exactly_the_paper_s_size(boxes, printed, paper, sides_mm):
    drawing = four_pages(boxes)
    plan = plan_pages(drawing, PageSetup(parse_paper(paper)))

    pdf = printed(plan, drawing)

    assert len(pdf) == plan.page_count
    for page in range(1, len(pdf) + 1):
        assert sorted(pdf.size_mm(page)) == pytest.approx(sides_mm, abs=READ_MM)


# ISO 32000, table 150: PrintScaling None; the reader's own call then answers false.
def test_viewers_are_asked_not_to_scale(boxes, printed):
    drawing = boxes((0, 0, 50, 50))

    pdf = printed(plan_pages(drawing, A4), drawing)

    assert pdf.print_scaling() == 0


def straight(paths, length_mm, axis):
    """Two-point paths of about a length along an axis, as (start, end)."""
    return [
        path
        for path in paths
        if len(path) == 2
        and abs(abs(path[1] - path[0])[axis] - length_mm) < 0.5
        and abs(path[1] - path[0])[1 - axis] < 1e-3
    ]


@pytest.mark.parametrize(
    ("paper", "across_mm", "up_mm"),
    [("A4", 150, 150), ("A3", 150, 150), ("Letter", 150, 150), ("A5", 90, 150), ("100x150mm", 40, 90)],
)
def test_every_page_has_a_bar_across_and_one_up_of_the_length_they_state(boxes, printed, paper, across_mm, up_mm):
    drawing = boxes((0, 0, 95, 260), (0, 300, 60, 260))
    plan = plan_pages(drawing, PageSetup(parse_paper(paper)))
    if plan.grid.landscape:
        across_mm, up_mm = up_mm, across_mm

    pdf = printed(plan, drawing)

    for page in range(1, len(pdf) + 1):
        paths = pdf.paths_mm(page)
        for axis, length in ((0, across_mm), (1, up_mm)):
            bars = straight(paths, length, axis)
            assert bars, f"no bar of {length} mm on page {page}"
            assert all(abs(bar[1] - bar[0])[axis] == pytest.approx(length, abs=BAR_MM) for bar in bars)
            assert re.search(rf"\b{length:g} mm\b", pdf.text(page))


def test_a_bar_s_ends_are_drawn_where_it_ends(boxes, printed):
    drawing = boxes((0, 0, 20, 20))
    pdf = printed(plan_pages(drawing, A4), drawing)

    ink, (px_per_mm, _) = pdf.darkness(2, dpi=1200)

    (bar,) = straight(pdf.paths_mm(2), 150, 0)
    height = pdf.size_mm(2)[1]
    # Above the bar's middle line, where only its end ticks are 1.7 mm long.
    row = ink[round((height - bar[0][1] - 1.6) * px_per_mm)].astype(float)
    ends = []
    for x in bar[:, 0]:
        window = slice(round((x - 0.4) * px_per_mm), round((x + 0.4) * px_per_mm))
        columns = np.arange(window.start, window.stop) + 0.5
        ends.append((columns @ row[window]) / row[window].sum() / px_per_mm)
    assert abs(ends[1] - ends[0]) == pytest.approx(150, abs=BAR_MM)


@pytest.mark.parametrize("paper", ["A4", "Letter", "A5", "100x150mm"])
@pytest.mark.parametrize("overlap_mm", [0.0, 10.0, 16.0])
def test_nothing_is_printed_outside_the_margin(boxes, printed, paper, overlap_mm):
    drawing = boxes((0, 0, 170, 230), (-20, 250, 180, 90))
    setup = PageSetup(parse_paper(paper), margin_mm=7, overlap_mm=overlap_mm)
    plan = plan_pages(drawing, setup)
    dark = FlatPicture(np.tile(np.array([[90, 200], [200, 90]], np.uint8), (400, 400)), 2000, (-100.0, -100.0))

    pdf = printed(
        plan, drawing, dark, stamp="SCALE NOT SETTLED", name="A name so long that no page has room for it " * 4
    )

    for page in range(1, len(pdf) + 1):
        ink, px_per_mm = pdf.darkness(page, dpi=300)
        # The px that the margin's edge runs through is partly inside.
        across, up = (int(np.floor(7 * scale)) for scale in px_per_mm)
        outside = ink.copy()
        outside[up:-up, across:-across] = 0
        assert outside.max() == 0
        width, height = pdf.size_mm(page)
        for _, (x0, y0, x1, y1) in pdf.texts_mm(page):
            assert min(x0, y0) >= 7
            assert x1 <= width - 7
            assert y1 <= height - 7


def crossed_edge_mm(ink, px_per_mm, page_height_mm, at_mm, axis, *, reach_mm=1.0):
    """Where a thin line running across `axis` lies along it, near a point in page mm: the middle of its ink."""
    x, y = at_mm[0] * px_per_mm[0], (page_height_mm - at_mm[1]) * px_per_mm[1]
    if axis == 0:
        low, high = round(x - reach_mm * px_per_mm[0]), round(x + reach_mm * px_per_mm[0])
        profile = ink[int(y), low:high].astype(float)
    else:
        low, high = round(y - reach_mm * px_per_mm[1]), round(y + reach_mm * px_per_mm[1])
        profile = ink[low:high, int(x)].astype(float)
    middle = (np.arange(low, high) + 0.5) @ profile / profile.sum()
    return middle / px_per_mm[0] if axis == 0 else page_height_mm - middle / px_per_mm[1]


# What PRINTING asks of joined pages: 0.05 mm.
JOINED_MM = 0.05


def test_joined_pages_show_the_drawing_where_it_is(printed):
    # Lines of a lattice with uneven steps, each a drawing line of its own, and no two alike.
    xs, ys = 37.31 * np.arange(12) + np.arange(12) ** 2 / 7, 41.77 * np.arange(10) + np.arange(10) ** 2 / 9
    lines = [polyline(np.array([[x, ys[0]], [x, ys[-1]]]), closed=False) for x in xs]
    lines += [polyline(np.array([[xs[0], y], [xs[-1], y]]), closed=False) for y in ys]
    drawing = Drawing((), tuple(lines))
    plan = plan_pages(drawing, A4)

    pdf = printed(plan, drawing)

    off_mm, pages_seen = [], {}
    for tile in plan.tiles:
        ink, px_per_mm = pdf.darkness(tile.page, dpi=300)
        height = pdf.size_mm(tile.page)[1]
        shift = np.array(tile.at_page_mm) - tile.origin_mm
        x0, y0, x1, y1 = plan.core_mm(tile.row, tile.col)
        for axis, places, others in ((0, xs, ys), (1, ys, xs)):
            for place in places:
                for other in (others[:-1] + others[1:]) / 2:
                    at = np.array([place, other] if axis == 0 else [other, place])
                    # Joint lines and marks reach 4.3 mm into the core.
                    if not (x0 + 6 < at[0] < x1 - 6 and y0 + 6 < at[1] < y1 - 6):
                        continue
                    found = crossed_edge_mm(ink, px_per_mm, height, at + shift, axis) - shift[axis]
                    off_mm.append(found - place)
                    pages_seen.setdefault((axis, round(place, 3)), set()).add(tile.label)
    assert len(off_mm) > 150
    assert max(len(pages) for pages in pages_seen.values()) > 1
    assert np.abs(off_mm).max() < JOINED_MM


def joint_mark_strokes(paths, size_mm):
    """Every two-point piece of 45 degrees, or a tick of 8.6 mm, in page mm."""
    strokes = []
    for path in paths:
        for start, end in zip(path[:-1:2], path[1::2], strict=False):
            along = np.abs(end - start)
            if abs(along[0] - along[1]) < 1e-3 and abs(along[0] - 5.0) < 1e-3:
                strokes.append(np.sort([start, end], axis=0))
            if abs(along.max() - 8.6) < 1e-3 and along.min() < 1e-3:
                strokes.append(np.sort([start, end], axis=0))
    return np.array(strokes)


def test_marks_of_neighbours_fall_on_each_other(boxes, printed):
    drawing = four_pages(boxes)
    plan = plan_pages(drawing, A4)
    pdf = printed(plan, drawing)
    left, right = plan.tile_at(0, 0), plan.tile_at(0, 1)
    assert left is not None
    assert right is not None
    joint = plan.core_mm(0, 0)[2]

    on = []
    for tile in (left, right):
        strokes = joint_mark_strokes(pdf.paths_mm(tile.page), pdf.size_mm(tile.page))
        build = strokes - tile.at_page_mm + tile.origin_mm
        near = build[(np.abs(build.mean(axis=1)[:, 0] - joint) < 0.1)]
        on.append(near[np.lexsort(near.mean(axis=1).T)])

    # Halo and ink, two marks of three strokes; a mark's ends lie on both sides of the joint.
    assert len(on[0]) == 12
    np.testing.assert_allclose(on[0], on[1], atol=1e-3)
    ticks = [stroke for stroke in on[0] if abs(stroke[1][0] - stroke[0][0] - 8.6) < 1e-3]
    ys = {round(float(stroke[0][1]), 2) for stroke in ticks}
    assert len(ys) == 2
    assert max(ys) - min(ys) >= 150


def test_every_page_says_what_it_is_and_what_joins_it(boxes, printed):
    drawing = four_pages(boxes)
    plan = plan_pages(drawing, A4)

    pdf = printed(plan, drawing, fraction=Fraction(1, 2))

    for tile in plan.tiles:
        text = " ".join(pdf.text(tile.page).split())
        assert re.search(rf"(^| ){tile.label} ", text + " ")
        assert "Otterwing" in text
        assert "1/2 of full size" in text
        assert "2024-02-29" in text
        assert f"page {tile.page} of {len(pdf)}" in text
        for row, col, words in (
            (0, 1, "{} joins here"),
            (1, 0, "{} joins here"),
            (0, -1, "cut here, then lay over {}"),
            (-1, 0, "cut here, then lay over {}"),
        ):
            other = plan.tile_at(tile.row + row, tile.col + col)
            if other is not None:
                assert words.format(other.label) in text
    first = " ".join(pdf.text(1).split())
    assert "Print this page alone first" in first
    assert "page 1 of" in first
    assert all(tile.label in first for tile in plan.tiles)


@pytest.mark.parametrize("stamp", ["SCALE NOT SETTLED", None])
def test_the_stamp_is_on_every_page_or_on_none(boxes, printed, stamp):
    drawing = four_pages(boxes)

    pdf = printed(plan_pages(drawing, A4), drawing, stamp=stamp)

    stamped = ["SCALE NOT SETTLED" in pdf.text(page) for page in range(1, len(pdf) + 1)]
    assert stamped == [stamp is not None] * len(pdf)


def test_cautions_stand_on_the_page_plan(boxes, printed):
    drawing = boxes((0, 0, 50, 50))

    pdf = printed(plan_pages(drawing, A4), drawing, cautions=("The paper was curled at its left edge.",))

    assert "The paper was curled at its left edge." in " ".join(pdf.text(1).split())


def test_the_same_input_gives_the_same_bytes_and_names_no_maker(boxes, printed):
    drawing = four_pages(boxes)
    plan = plan_pages(drawing, A4)
    flat = FlatPicture(np.random.default_rng(5).integers(0, 256, (700, 600), np.uint8), 2000, (0.0, 0.0))

    first, second = printed(plan, drawing, flat), printed(plan, drawing, flat)

    assert first.data == second.data
    assert b"ASCII85" not in first.data
    assert first.document.get_metadata_value("Title") == "Otterwing"
    assert first.document.get_metadata_value("Producer") == "Scantling"


def test_one_page_printed_again_is_the_same_page(boxes, printed):
    drawing = four_pages(boxes)
    plan = plan_pages(drawing, A4)
    again = plan_pages(drawing, A4, grid=plan.grid)

    assert printed(again, drawing).data == printed(plan, drawing).data


def test_an_arc_is_printed_round(printed):
    ring = Path((100.0, 0.0), (Arc((-100.0, 0.0), 1.0), Arc((100.0, 0.0), 1.0)), closed=True)
    drawing = Drawing((Outline(1, ring, (), (0.0, 0.0), 0.0),), ())
    plan = plan_pages(drawing, PageSetup(PAPERS["a3"]))
    pdf = printed(plan, drawing)
    (tile,) = plan.tiles

    ink, px_per_mm = pdf.darkness(tile.page, dpi=300)

    height = pdf.size_mm(tile.page)[1]
    rows, cols = np.nonzero(ink > 128)
    x = (cols + 0.5) / px_per_mm[0] - tile.at_page_mm[0] + tile.origin_mm[0]
    y = height - (rows + 0.5) / px_per_mm[1] - tile.at_page_mm[1] + tile.origin_mm[1]
    radius = np.hypot(x, y)
    on_it = radius[np.abs(radius - 100) < 3]
    # All of the line, 0.25 mm wide, and half a px of 0.085 mm.
    assert on_it.min() > 100 - 0.125 - 0.085
    assert on_it.max() < 100 + 0.125 + 0.085
    assert on_it.mean() == pytest.approx(100, abs=0.01)


def test_a_name_in_other_letters_is_written_as_near_as_the_page_can(boxes, printed):
    drawing = boxes((0, 0, 50, 50))

    pdf = printed(plan_pages(drawing, A4), drawing, name="Möwe Łódź ž 鳥\n2")

    assert "Möwe ?ódz ž ? 2" in pdf.text(1)


def test_a_file_that_cannot_be_written_is_said_in_words(boxes, tmp_path):
    drawing = boxes((0, 0, 50, 50))
    title = PageTitle("Otterwing", Fraction(1), "2024-02-29")

    with pytest.raises(PrintingError, match="could not be written"):
        write_pages(
            FilePath(tmp_path / "no such folder" / "pages.pdf"), plan_pages(drawing, A4), drawing, None, title=title
        )


def test_progress_ends_at_one(boxes, tmp_path):
    drawing = four_pages(boxes)
    said = []

    write_pages(
        tmp_path / "pages.pdf",
        plan_pages(drawing, A4),
        drawing,
        None,
        title=PageTitle("Otterwing", Fraction(1), "2024-02-29"),
        progress=said.append,
    )

    assert said == sorted(said)
    assert said[-1] == 1


def part_with_hole():
    outer = polyline(np.array([[0.0, 0.0], [80, 0], [80, 60], [0, 60]]), closed=True)
    hole = Path(
        (20.0, 20.0), (Line((20.0, 40.0)), Line((40.0, 40.0)), Line((40.0, 20.0)), Line((20.0, 20.0))), closed=True
    )
    return Outline(7, outer, (hole,), (0.0, 0.0), 0.0)


def test_a_mirrored_plan_has_its_numbers_the_right_way_round(printed):
    drawing = Drawing((part_with_hole(),), ()).mirrored()
    pixels = np.full((600, 800), 255, np.uint8)
    pixels[590:, :] = 0
    flat = mirrored_flat(FlatPicture(pixels, 10_000, (0.0, 0.0)))

    pdf = printed(plan_pages(drawing, A4), drawing, flat)

    assert flat.origin_mm == (-80.0, 0.0)
    assert "7" in pdf.text(2).split()
    for matrix, _ in pdf.texts_mm(2):
        a, b, c, d = matrix.get()[:4]
        assert a * d - b * c > 0


def test_a_number_stands_in_its_part_and_not_in_a_hole(printed):
    drawing = Drawing((part_with_hole(),), ())
    plan = plan_pages(drawing, A4)
    (tile,) = plan.tiles

    pdf = printed(plan, drawing)

    shift = np.array(tile.origin_mm) - tile.at_page_mm
    middles = [np.array([(x0 + x1) / 2, (y0 + y1) / 2]) + shift for _, (x0, y0, x1, y1) in pdf.texts_mm(2)]
    inside = [x for x, y in middles if 0 < x < 80 and 0 < y < 60 and not (20 < x < 40 and 20 < y < 40)]
    assert inside
