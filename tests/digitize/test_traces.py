"""Hand-traced lines joined to what was found."""

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from benchmarks.fit_error import box, line
from benchmarks.vector_strokes import Inking, strokes_of
from digitize.draw_outlines import draw_outlines
from digitize.strokes import DigitizeError, NodeKind, Strokes
from digitize.traces import Trace, with_traces
from drawing.paths import Point

INKING = Inking(seed=4)

NOTHING = Strokes(np.empty((0, 2)), np.empty(0, np.uint8), ())


def straight(*corners: Point) -> Trace:
    """A trace of straight pieces, their handles a third along."""
    cubics = []
    for a, b in pairwise(corners):
        thirds = [(a[0] + (b[0] - a[0]) * k / 3, a[1] + (b[1] - a[1]) * k / 3) for k in (1, 2)]
        cubics.append((thirds[0], thirds[1], b))
    return Trace(corners[0], tuple(cubics), corners[0] == corners[-1])


def test_a_closed_traced_square_is_an_outline_of_four_lines():
    corners = [(100.0, 3000.0), (600.0, 3000.0), (600.0, 3400.0), (100.0, 3400.0), (100.0, 3000.0)]

    strokes = with_traces(NOTHING, [straight(*corners)])

    outline = draw_outlines(strokes.mapped(INKING.to_plan)).drawing.outlines[0]
    assert outline.area_px2 == pytest.approx(200_000, rel=1e-6)
    assert len(outline.boundary.segments) == 4


# Four cubics with handles 4/3 tan(pi/8) r differ from a circle by 2.7e-4 r (closed form, see the published values).
def test_a_traced_circle_is_a_circle():
    r, k = 300.0, 300.0 * 4 / 3 * math.tan(math.pi / 8)
    quarters = [
        ((r, k), (k, r), (0.0, r)),
        ((-k, r), (-r, k), (-r, 0.0)),
        ((-r, -k), (-k, -r), (0.0, -r)),
        ((k, -r), (r, -k), (r, 0.0)),
    ]
    moved = tuple(tuple((x + 1000, y + 3000) for x, y in cubic) for cubic in quarters)

    strokes = with_traces(NOTHING, [Trace((1300.0, 3000.0), moved, True)])

    assert strokes.kinds.tolist() == [NodeKind.LOOP]
    path = draw_outlines(strokes.mapped(INKING.to_plan)).drawing.outlines[0].boundary
    assert len(path.segments) == 2
    assert abs(path.start_mm[0] - path.segments[0].end_mm[0]) == pytest.approx(600 * INKING.mm_per_px, rel=3e-4)


def test_a_gap_traced_over_closes_the_outline():
    broken = [line((20, 20), (20, 100), (140, 100), (140, 20), (90, 20)), line((20, 20), (70, 20))]
    strokes = strokes_of(broken, INKING)
    a, b = (tuple(point) for point in INKING.to_picture(np.array([(70.2, 20.1), (89.8, 19.9)])))

    drawing = draw_outlines(with_traces(strokes, [straight(a, b)]).mapped(INKING.to_plan)).drawing

    assert not draw_outlines(strokes.mapped(INKING.to_plan)).drawing.outlines
    assert len(drawing.outlines) == 1
    assert drawing.outlines[0].area_px2 == pytest.approx(120 * 80 / INKING.mm_per_px**2, rel=0.005)


def test_a_trace_that_ends_on_a_line_and_one_that_crosses_it_split_it():
    strokes = strokes_of([box(20, 20, 100, 60)], INKING)
    mm = np.array([(20.1, 50.0), (150.0, 50.0)])
    a, b = (tuple(point) for point in INKING.to_picture(mm))

    joined = with_traces(strokes, [straight(a, b)])

    assert (joined.kinds == NodeKind.JUNCTION).sum() == 2
    for link in joined.links:
        assert np.array_equal(link.points_px[0], joined.nodes_px[link.start])
        assert np.array_equal(link.points_px[-1], joined.nodes_px[link.end])
    drawing = draw_outlines(joined.mapped(INKING.to_plan)).drawing
    assert len(drawing.outlines) == 1


@pytest.mark.parametrize("off_px", [0.0, 0.8])
@pytest.mark.parametrize("sigma_px", [0.0, 0.08])
def test_a_trace_along_a_drawn_side_adds_no_second_line(off_px: float, sigma_px: float) -> None:
    inking = replace(INKING, sigma_px=sigma_px, corner_sigma_px=0.0)
    drawn = strokes_of([box(20, 20, 120, 80)], inking)
    start, end = ((x, y + off_px) for x, y in inking.to_picture(np.array([(50.0, 20.0), (110.0, 20.0)])).tolist())

    strokes = with_traces(drawn, [straight(start, end)])

    (outline,) = draw_outlines(strokes.mapped(inking.to_plan)).drawing.outlines
    # A closed form: 120 x 80 mm.
    assert outline.area_px2 == pytest.approx(120 * 80 / inking.mm_per_px**2, rel=1e-3)
    assert len(outline.boundary.segments) == 4


def test_a_gap_narrower_than_the_line_is_closed_by_a_trace() -> None:
    """Both ends of its one link are then near all of the trace."""
    inking = replace(INKING, sigma_px=0.0, corner_sigma_px=0.0)
    gap_mm = 0.9 * inking.width_px * inking.mm_per_px
    open_disc = line(
        *[(70 + 40 * math.cos(t), 70 + 40 * math.sin(t)) for t in np.linspace(gap_mm / 40, 2 * math.pi, 400)]
    )
    drawn = strokes_of([open_disc], inking)
    start, end = (tuple(drawn.nodes_px[node].tolist()) for node in (drawn.links[0].end, drawn.links[0].start))

    strokes = with_traces(drawn, [straight(start, end)])

    assert len(draw_outlines(strokes.mapped(inking.to_plan)).drawing.outlines) == 1


def test_without_traces_strokes_stay_as_they_are():
    strokes = strokes_of([box(20, 20, 100, 60)], INKING)

    assert with_traces(strokes, []) is strokes


def test_a_closed_trace_that_does_not_close_is_refused():
    with pytest.raises(DigitizeError, match="close it again"):
        Trace((0.0, 0.0), (((1.0, 0.0), (2.0, 0.0), (3.0, 0.0)),), True)
