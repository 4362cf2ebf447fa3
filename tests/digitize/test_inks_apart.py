"""Parts drawn in several inks over one another, against where they were drawn."""

import numpy as np
import pytest
import shapely

from benchmarks.render_lines import TrueLine
from digitize.draw_outlines import draw_outlines
from digitize.find_strokes import find_strokes
from digitize.inks_apart import by_ink, drawn_to, plans_together, together
from digitize.strokes import Strokes
from digitize.traces import Trace, with_traces
from drawing.drawing import Drawing, Kind
from drawing.paths import sampled
from pictures.tints import inks_of
from sample_scans.truth import Points
from tests.coloured_lines import BLACK, RED, in_colours, ink_and_tints

WIDTH, HEIGHT = 460, 340


def box(x0: float, y0: float, x1: float, y1: float) -> Points:
    return np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])


def layers_of(black: list[TrueLine], red: list[TrueLine]) -> list[Strokes]:
    ink, tints = ink_and_tints(in_colours([(black, BLACK), (red, RED)], width=WIDTH, height=HEIGHT))
    assert tints is not None
    return [find_strokes(one) for one in inks_of(ink, tints)]


def drawn(strokes: Strokes) -> Drawing:
    return draw_outlines(strokes.mapped(lambda px: px * [0.1, -0.1])).drawing


def areas_px2(drawing: Drawing) -> list[float]:
    loops = [sampled(outline.boundary, tolerance_mm=0.002) for outline in drawing.outlines]
    return sorted(100 * float(shapely.area(shapely.Polygon(loop))) for loop in loops)


def ring(points: Points) -> TrueLine:
    return TrueLine(points, 3, True)


def test_parts_that_overlap_in_two_inks_are_two_parts() -> None:
    # One edge lies along the other's, where grey shows a single line.
    black, red = box(40, 60, 260, 240), box(180, 120, 420, 240.0)

    drawing = drawn(together(layers_of([ring(black)], [ring(red)])))

    assert areas_px2(drawing) == pytest.approx(sorted([220 * 180.0, 240 * 120.0]), rel=0.01)
    assert all(outline.kind is Kind.PART for outline in drawing.outlines)


def test_a_part_in_one_ink_is_no_hole_of_one_in_another() -> None:
    drawing = drawn(together(layers_of([ring(box(40, 60, 420, 280))], [ring(box(120, 120, 260, 220))])))

    assert len(drawing.outlines) == 2
    assert not any(outline.holes for outline in drawing.outlines)


def test_a_hole_in_a_parts_own_ink_is_its_hole() -> None:
    black = [ring(box(40, 60, 300, 280)), ring(box(80, 100, 160, 160))]

    drawing = drawn(together(layers_of(black, [ring(box(200, 120, 420, 240))])))

    assert sorted(len(outline.holes) for outline in drawing.outlines) == [0, 1]


def test_ribs_and_spars_in_a_second_ink_draw_on_the_same_part() -> None:
    inner = [TrueLine(np.array([[x, 60.0], [x, 280.0]]), 3, False) for x in (120.0, 200.0, 280.0)]
    inner.append(TrueLine(np.array([[40.0, 170.0], [420.0, 170.0]]), 3, False))

    which, other = drawn_to(layers_of([ring(box(40, 60, 420, 280))], inner)) or (0, 0)

    assert {which, other} == {1, 2}


def test_patterns_across_each_other_are_not_drawn_to_each_other() -> None:
    assert drawn_to(layers_of([ring(box(40, 60, 260, 240))], [ring(box(180, 120, 420, 280))])) is None


def test_strokes_taken_apart_and_put_together_are_the_same() -> None:
    strokes = together(layers_of([ring(box(40, 60, 260, 240))], [ring(box(180, 120, 420, 280))]))
    plan = strokes.mapped(lambda px: px * 0.1)

    again = plans_together(by_ink(plan))

    assert [link.tint for link in again.strokes.links] == [1] * len(by_ink(plan)[0].links_mm) + [2] * len(
        by_ink(plan)[1].links_mm
    )
    for link, line_mm in zip(again.strokes.links, again.links_mm, strict=True):
        assert np.allclose(link.points_px * 0.1, line_mm)
        assert np.allclose(again.strokes.nodes_px[link.start], link.points_px[0], atol=1e-9)


def test_a_traced_line_goes_with_the_ink_that_it_ends_on() -> None:
    # The red outline has lost a side; a person draws it.
    red = [TrueLine(box(180, 120, 420, 280)[[3, 0, 1, 2]], 3, False)]
    strokes = together(layers_of([ring(box(40, 60, 260, 200))], red))
    straight = ((260.0, 280.0), (340.0, 280.0), (420.0, 280.0))

    traced = with_traces(strokes, [Trace((180.0, 280.0), (straight,), closed=False)])

    assert areas_px2(drawn(traced)) == pytest.approx(sorted([220 * 140.0, 240 * 160.0]), rel=0.02)
