"""The drawing that comes out: order, places to find outlines again, choices and regions."""

import numpy as np
import pytest
import shapely

from benchmarks.fit_error import box, circle, line, naca, plans, score
from benchmarks.vector_strokes import Inking, strokes_of
from digitize.choices import Action, Choice, Region, RegionKind
from digitize.draw_outlines import draw_outlines, reading_order
from digitize.strokes import DigitizeError, PlanStrokes, Strokes
from drawing.drawing import Drawing, Kind
from drawing.findings import Level
from drawing.paths import Line, sampled

INKING = Inking(seed=2)


def plan_of(*lines: np.ndarray) -> PlanStrokes:
    return strokes_of(lines, INKING).mapped(INKING.to_plan)


def area_mm2(drawing: Drawing, number: int) -> float:
    outline = next(outline for outline in drawing.outlines if outline.number == number)
    return float(shapely.Polygon(sampled(outline.boundary, tolerance_mm=0.001)).area)


TWO_PLATES = (box(20, 100, 60, 40), circle(50, 120, 10), box(120, 100, 50, 40))


# Truth: every plan's shapes are known vectors; the benchmark's tolerance and a photo's usual noise.
@pytest.mark.parametrize("plan", plans(), ids=lambda plan: plan.name)
def test_every_part_of_a_known_plan_is_found_within_the_tolerance(plan):
    inking = Inking(sigma_px=0.08, seed=11)

    drawn = draw_outlines(strokes_of(plan.lines, inking).mapped(inking.to_plan), tolerance_mm=0.05)

    result = score(plan, drawn.drawing)
    assert (result.missed, result.false) == (0, 0)
    assert np.quantile(result.errors_mm, 0.95) < 0.025
    # Sharp tips crossed by a datum are the worst places.
    assert result.errors_mm.max() < 0.25


# Closed form: corners where the rectangle's sides cross; noise averages over hundreds of points a side.
def test_the_corners_of_a_box_are_where_its_sides_cross():
    drawing = draw_outlines(plan_of(box(20, 20, 200, 100))).drawing

    boundary = drawing.outlines[0].boundary
    assert [type(segment) for segment in boundary.segments] == [Line] * 4
    corners = sorted((segment.end_mm for segment in boundary.segments), key=lambda at: (round(at[0]), at[1]))
    assert np.allclose(corners, [(20, 20), (20, 120), (220, 20), (220, 120)], rtol=0, atol=0.01)


def test_boundaries_run_counter_clockwise_and_holes_clockwise():
    outline = draw_outlines(plan_of(*TWO_PLATES)).drawing.outlines[0]

    assert shapely.LinearRing(sampled(outline.boundary, tolerance_mm=0.01)).is_ccw
    assert not shapely.LinearRing(sampled(outline.holes[0], tolerance_mm=0.01)).is_ccw


def test_outlines_are_numbered_in_rows_from_the_top_left():
    boxes = np.array([[100, 12, 150, 40], [10, 10, 60, 50], [10, 100, 60, 130], [100, 95, 150, 140]])

    assert reading_order(boxes) == [1, 0, 2, 3]


def test_the_point_inside_lies_in_wood_and_the_area_is_the_pictures():
    outline = draw_outlines(plan_of(*TWO_PLATES)).drawing.outlines[0]

    at_mm = INKING.to_plan(np.array([outline.inside_px]))[0]
    assert shapely.contains_xy(shapely.box(20, 100, 80, 140), *at_mm)
    assert np.hypot(*(at_mm - [50, 120])) > 10
    assert outline.area_px2 == pytest.approx(2400 / INKING.mm_per_px**2, rel=0.005)


def test_a_dropped_outline_is_gone_and_a_named_one_has_its_name():
    plan = plan_of(*TWO_PLATES)
    first, second = draw_outlines(plan).drawing.outlines
    choices = [
        Choice(first.inside_px, first.area_px2, Action.DROP),
        Choice(second.inside_px, second.area_px2, Action.TAKE, "doubler"),
    ]

    drawn = draw_outlines(plan, choices=choices)

    assert [outline.name for outline in drawn.drawing.outlines] == ["doubler"]
    assert not [finding for finding in drawn.findings if finding.level is Level.DECIDE]


def test_a_hole_that_is_taken_becomes_a_part():
    plan = plan_of(*TWO_PLATES)
    at_px = tuple(INKING.to_picture(np.array([[50.0, 120.0]]))[0])
    choice = Choice(at_px, np.pi * 100 / INKING.mm_per_px**2, Action.TAKE)

    drawing = draw_outlines(plan, choices=[choice]).drawing

    assert len(drawing.outlines) == 3
    assert not any(outline.holes for outline in drawing.outlines)


def test_a_field_that_is_taken_becomes_a_part():
    plan = plan_of(box(20, 20, 200, 100), line((90, 20), (90, 120)))
    at_px = tuple(INKING.to_picture(np.array([[50.0, 70.0]]))[0])

    drawing = draw_outlines(plan, choices=[Choice(at_px, 7000 / INKING.mm_per_px**2, Action.TAKE)]).drawing

    assert [round(area_mm2(drawing, n), -1) for n in (1, 2)] == [20000, 7000]


def test_a_choice_that_fits_nothing_is_to_be_decided():
    choice = Choice((10.0, 10.0), 5000.0, Action.DROP)

    drawn = draw_outlines(plan_of(*TWO_PLATES), choices=[choice])

    assert len(drawn.drawing.outlines) == 2
    (finding,) = [finding for finding in drawn.findings if finding.code == "choice-unmatched"]
    assert finding.level is Level.DECIDE


def test_a_region_keeps_what_lies_wholly_inside_and_says_what_it_cut():
    plan = plan_of(*TWO_PLATES)
    corners = INKING.to_picture(np.array([(10.0, 90.0), (130, 90), (130, 150), (10, 150)]))

    drawn = draw_outlines(plan, regions=[Region(tuple(map(tuple, corners)), RegionKind.IN)])

    assert len(drawn.drawing.outlines) == 1
    (finding,) = [finding for finding in drawn.findings if finding.code == "region-cut"]
    assert "1 outline" in finding.text
    assert "partly inside" in finding.text


def test_a_region_left_out_takes_its_outlines_away():
    corners = INKING.to_picture(np.array([(10.0, 90.0), (90, 90), (90, 150), (10, 150)]))

    drawing = draw_outlines(plan_of(*TWO_PLATES), regions=[Region(tuple(map(tuple, corners)), RegionKind.OUT)]).drawing

    assert len(drawing.outlines) == 1
    assert area_mm2(drawing, 1) == pytest.approx(2000, rel=0.001)


def test_no_outline_is_said():
    drawn = draw_outlines(plan_of(line((10, 10), (100, 10))))

    assert [finding.code for finding in drawn.findings if finding.level is Level.DECIDE] == ["no-outline"]
    assert len(drawn.drawing.lines) == 1


def test_nothing_drawn_gives_an_empty_drawing():
    nothing = Strokes(np.empty((0, 2)), np.empty(0, np.uint8), ())

    drawn = draw_outlines(nothing.mapped(INKING.to_plan))

    assert drawn.drawing == Drawing((), ())


def test_progress_reaches_its_end():
    shares = []

    draw_outlines(plan_of(*TWO_PLATES), progress=lambda what, share: shares.append(share))

    assert shares == sorted(shares)
    assert shares[-1] == 1.0


def test_a_smooth_crossing_leaves_no_dent():
    drawing = draw_outlines(plan_of(circle(60, 60, 30), line((10, 60), (110, 60)), line((60, 10), (60, 110)))).drawing

    off_mm = np.abs(np.hypot(*(sampled(drawing.outlines[0].boundary, tolerance_mm=0.001) - [60, 60]).T) - 30)
    assert off_mm.max() < 0.01


def test_a_rib_crossed_by_its_datum_is_as_good_as_one_alone():
    rib = naca("2412", 150, (20, 60))
    crossed = plan_of(rib, line((5, 60), (200, 60)), line((65, 40), (65, 90)))

    outline = draw_outlines(crossed, tolerance_mm=0.05).drawing.outlines[0]

    off_mm = shapely.distance(shapely.LineString(rib), shapely.points(sampled(outline.boundary, tolerance_mm=0.001)))
    assert len(outline.boundary.segments) <= 12
    assert np.quantile(off_mm, 0.95) < 0.025


def test_a_choice_without_area_is_refused():
    with pytest.raises(DigitizeError, match="choose the outline again"):
        Choice((1.0, 2.0), 0.0, Action.TAKE)


@pytest.mark.parametrize("corners", [((0.0, 0.0), (1.0, 1.0)), ((0.0, 0.0), (1.0, 1.0), (2.0, 2.0))])
def test_a_region_without_area_is_refused(corners):
    with pytest.raises(DigitizeError, match="mark"):
        Region(corners, RegionKind.IN)


@pytest.mark.parametrize("half_deg", [60, 45, 36])
def test_a_corner_on_a_centre_line_stays_where_its_short_sides_meet(half_deg: int) -> None:
    # The sides run straight for three line widths only: what lies farther back points elsewhere.
    side = 1.6 * np.array([np.cos(np.radians(half_deg)), np.sin(np.radians(half_deg))])
    tip = np.array([100.0, 50.0])
    upper, lower = tip + side * [-1, 1], tip + side * [-1, -1]
    back = [upper + np.array([-30, 6]), lower + np.array([-30, -6])]
    blade = np.array([tip, upper, back[0], (30, 54), (30, 46), back[1], lower, tip])
    datum = np.array([[20.0, 50.0], [112.0, 50.0]])

    inking = Inking(seed=3)
    (outline,) = draw_outlines(strokes_of([blade, datum], inking).mapped(inking.to_plan)).drawing.outlines
    ring = sampled(outline.boundary, tolerance_mm=0.01)

    assert ring[:, 0].max() == pytest.approx(100, abs=0.3)
    assert shapely.hausdorff_distance(shapely.LinearRing(ring), shapely.LinearRing(blade), densify=0.01) < 0.4


def test_an_outline_that_steps_stand_in_for_is_unsure_until_it_is_chosen(monkeypatch: pytest.MonkeyPatch) -> None:
    # As if the fit had crossed itself; its points from the lines do not.
    monkeypatch.setattr("digitize.outline_curves._is_clear", lambda ring: False)
    plan = plan_of(box(20, 20, 40, 30))
    found = draw_outlines(plan)
    (outline,) = found.drawing.outlines

    assert outline.kind is Kind.UNSURE
    assert {"outline-crosses-itself", "outline-unsure"} <= {finding.code for finding in found.findings}

    choice = Choice(inside_px=outline.inside_px, area_px2=outline.area_px2, action=Action.TAKE)
    (chosen,) = draw_outlines(plan, choices=[choice]).drawing.outlines
    assert chosen.kind is Kind.PART
