"""Lines rubbed out: what is left is compared with the lines drawn, which the tests themselves make."""

import numpy as np
import pytest

from benchmarks.fit_error import box, line
from benchmarks.vector_strokes import Inking, strokes_of
from digitize.draw_outlines import draw_outlines
from digitize.rubbed import Rub, without_rubbed
from digitize.strokes import DigitizeError, NodeKind, Strokes
from drawing.path_measures import path_bounds_mm

INKING = Inking(seed=4)

INKED_MM = 0.05
"""How true an outline of drawn strokes comes out with this inking."""


def px(*points_mm: tuple[float, float]) -> tuple[tuple[float, float], ...]:
    """Points of the plan, in the picture."""
    return tuple((float(x), float(y)) for x, y in INKING.to_picture(np.array(points_mm, dtype=float)))


def bounds(strokes: Strokes) -> list[tuple[float, float, float, float]]:
    """Boxes of all outlines, mm."""
    drawing = draw_outlines(strokes.mapped(INKING.to_plan)).drawing
    return [path_bounds_mm(outline.boundary) for outline in drawing.outlines]


TWO_CELLS = [box(20, 10, 70, 100), box(90, 20, 70, 80)]


@pytest.mark.parametrize(
    ("low", "high", "width_px"),
    [(20, 100, 30), (23, 97, 30), (17, 103, 30), (18.5, 101, 12), (20, 100, 80)],
    ids=["from end to end", "stopped short", "gone beyond", "narrow, beyond", "broad"],
)
def test_a_shared_edge_rubbed_out_makes_two_cells_one(low: float, high: float, width_px: float) -> None:
    strokes = strokes_of(TWO_CELLS, INKING)
    assert len(bounds(strokes)) == 2

    left = without_rubbed(strokes, [Rub(px((90, low), (90.4, 60), (90, high)), width_px)])

    (whole,) = bounds(left)
    assert whole == pytest.approx((20, 10, 160, 110), abs=INKED_MM)
    outline = draw_outlines(left.mapped(INKING.to_plan)).drawing.outlines[0]
    assert len(outline.boundary.segments) == 8
    assert left.kinds.tolist() == [NodeKind.CORNER] * 8


def test_a_datum_line_rubbed_out_leaves_the_parts_that_it_crosses() -> None:
    cells = [box(20, 20, 40, 80), box(80, 20, 40, 80), line((5, 60), (135, 60))]
    strokes = strokes_of(cells, INKING)

    left = without_rubbed(strokes, [Rub(px((0, 60), (140, 60)), 40)])

    assert sorted(bounds(left)) == [
        pytest.approx((20, 20, 60, 100), abs=INKED_MM),
        pytest.approx((80, 20, 120, 100), abs=INKED_MM),
    ]
    assert len(left.links) == 8


def test_a_dab_on_a_line_opens_it_by_its_own_width() -> None:
    strokes = strokes_of([line((20, 50), (120, 50))], INKING)
    (middle,) = px((70, 50))

    left = without_rubbed(strokes, [Rub((middle,), 24.0)])

    assert len(left.links) == 2
    ends = sorted(end[0] for end in left.nodes_px.tolist())
    assert ends[2] - ends[1] == pytest.approx(24, abs=0.05)
    assert left.kinds.tolist() == [NodeKind.END] * 4


def test_half_a_line_rubbed_out_ends_at_the_band() -> None:
    strokes = strokes_of([line((20, 50), (120, 50))], INKING)
    (start, _), (end, y) = px((20, 50), (70, 50))

    left = without_rubbed(strokes, [Rub(((start - 30, y), (end, y)), 20.0)])

    (link,) = left.links
    assert link.points_px[:, 0].min() == pytest.approx(end + 10, abs=0.05)
    assert (left.nodes_px[[link.start, link.end]] == link.points_px[[0, -1]]).all()


def test_scribbling_over_small_pieces_takes_out_them_and_nothing_else() -> None:
    letters = [box(60 + 6 * n, 50, 3, 4) for n in range(5)]
    strokes = strokes_of([box(20, 20, 140, 80), *letters], INKING)
    scribble = px(*((57 + 4 * n, 49 if n % 2 else 55) for n in range(10)))

    left = without_rubbed(strokes, [Rub(scribble, 60)])

    assert len(left.links) == 4
    assert bounds(left) == [pytest.approx((20, 20, 160, 100), abs=INKED_MM)]


def test_a_circle_left_of_a_circle_with_a_spoke_is_a_closed_line() -> None:
    turn = np.linspace(0, 2 * np.pi, 721)
    circle = np.column_stack([90 + 30 * np.cos(turn), 60 + 30 * np.sin(turn)])
    strokes = strokes_of([circle, line((90, 60), (120, 60))], INKING)

    left = without_rubbed(strokes, [Rub(px((88, 60), (118, 60)), 30)])

    assert left.kinds.tolist() == [NodeKind.LOOP]
    (link,) = left.links
    assert link.start == link.end == 0
    assert len(draw_outlines(left.mapped(INKING.to_plan)).drawing.outlines[0].boundary.segments) == 2


def test_no_rubbing_changes_nothing_and_rubbing_all_leaves_nothing() -> None:
    strokes = strokes_of(TWO_CELLS, INKING)

    assert without_rubbed(strokes, []) is strokes
    assert without_rubbed(strokes, [Rub(((-1e5, -1e5),), 10.0)]).links == strokes.links
    nothing = without_rubbed(strokes, [Rub(px((0, 60), (200, 60)), 1e5)])
    assert len(nothing.links) == len(nothing.nodes_px) == 0
    assert without_rubbed(nothing, [Rub(((1.0, 1.0),), 10.0)]) is nothing


@pytest.mark.parametrize(("points", "width"), [((), 4.0), (((1.0, float("nan")),), 4.0), (((1.0, 2.0),), 0.0)])
def test_a_band_that_is_none_is_refused(points: tuple[tuple[float, float], ...], width: float) -> None:
    with pytest.raises(DigitizeError, match="rub again"):
        Rub(points, width)
