"""Results as the page takes them, on the small plan, whose sizes are known."""

import json
import math
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from svgelements import Path as SvgPath

from digitize.choices import Action, Choice, Region, RegionKind
from job.job import GivenLength, KeptGrid
from tests.small_plan import HOLE_MM, PLATE_MM, STRIP_MM, SmallPlan
from tests.tracing.small_job import SmallJob, known, place_px, small_job
from tracing.view_job import job_view
from tracing.view_results import outlines_view, pages_view, scale_view, seen_view

INK_PX = 0.3
"""Where a drawn outline lies on the small plan, at most."""


@pytest.fixture(scope="module")
def done(small_plan: SmallPlan) -> SmallJob:
    return small_job(small_plan)


def test_what_is_seen_is_plain_values(done: SmallJob) -> None:
    view = json.loads(json.dumps(seen_view(done.seen)))

    assert view["kind"] == "scan"
    assert view["landmark_count"] == len(done.seen.landmarks_px) > 8
    assert all({"code", "level", "about", "text"} == set(finding) for finding in view["findings"])


def test_outlines_lie_over_the_ink_and_have_their_sizes(done: SmallJob) -> None:
    view = json.loads(json.dumps(outlines_view(done.drawn, done.calibration)))

    plate = next(part for part in view["parts"] if part["holes"] == 1)
    x0, y0, x1, y1 = PLATE_MM
    rings = list(SvgPath(plate["path_px"]).as_subpaths())
    corners = {(round(v.x), round(v.y)) for v in (segment.end for segment in rings[0])}
    assert corners == {tuple(round(v) for v in place_px(done.plan, x, y)) for x in (x0, x1) for y in (y0, y1)}
    hole_px = SvgPath(rings[1]).bbox()
    left, top = place_px(done.plan, HOLE_MM[0] - HOLE_MM[2], HOLE_MM[1] + HOLE_MM[2])
    assert hole_px[:2] == pytest.approx((left, top), abs=INK_PX)
    assert (plate["width_mm"], plate["height_mm"]) == pytest.approx((x1 - x0, y1 - y0), abs=plate["u95_mm"])
    assert 0 < plate["u95_mm"] < 1


def test_a_hole_can_be_taken_and_its_choice_is_told(done: SmallJob) -> None:
    view = outlines_view(done.drawn, done.calibration)
    hole = next(other for other in view["others"] if other["why"] == "a hole")
    # The plate's round hole, drawn with a radius of 12 mm; its loop is kept with few points.
    assert (hole["width_mm"], hole["height_mm"]) == pytest.approx((24, 24), abs=0.3)

    taken = small_job(done.plan, done.seen, choices=(Choice(hole["inside_px"], hole["area_px2"], Action.TAKE, "disc"),))

    disc = next(part for part in outlines_view(taken.drawn, taken.calibration)["parts"] if part["name"] == "disc")
    assert disc["choice"] == 0
    assert disc["width_mm"] == pytest.approx(2 * HOLE_MM[2], abs=0.1)


def test_every_loop_that_is_shown_is_the_only_one_its_choice_fits(done: SmallJob) -> None:
    view = outlines_view(done.drawn, done.calibration)
    shown = [(part, Action.DROP) for part in view["parts"]] + [(other, Action.TAKE) for other in view["others"]]
    choices = tuple(Choice(loop["inside_px"], loop["area_px2"], action) for loop, action in shown)

    chosen = small_job(done.plan, done.seen, choices=choices)

    assert not [finding for finding in chosen.drawn.findings if finding.code == "choice-unmatched"]
    after = outlines_view(chosen.drawn, chosen.calibration)
    assert {other["why"] for other in after["others"]} == {"left out by you"}
    assert len(after["others"]) == len(view["parts"])


def test_what_a_region_leaves_out_is_not_offered(done: SmallJob) -> None:
    x0, y0, x1, y1 = STRIP_MM
    around = tuple(
        place_px(done.plan, x, y) for x, y in ((x0 - 4, y0 - 4), (x1 + 4, y0 - 4), (x1 + 4, y1 + 4), (x0 - 4, y1 + 4))
    )

    cut = small_job(done.plan, done.seen, regions=(Region(around, RegionKind.IN),))

    view = outlines_view(cut.drawn, cut.calibration)
    assert len(view["parts"]) == 1
    assert view["others"] == []


def test_pages_lie_where_they_are_printed(done: SmallJob) -> None:
    view = json.loads(json.dumps(pages_view(done.job, done.drawn.drawing, done.calibration, done.fraction, done.pages)))

    tile, said = done.pages.tiles[0], view["tiles"][0]
    (x, y), (width, height) = tile.origin_mm, tile.size_mm
    # The picture is 8 px a mm at full size, and the build is twice that size.
    plan_mm = done.calibration.to_plan(np.array(said["corners_px"]))
    assert plan_mm[0] * 2 == pytest.approx((x, y + height), abs=0.01)
    assert plan_mm[2] * 2 == pytest.approx((x + width, y), abs=0.01)
    assert said["label"] == tile.label == "A1"
    assert view["count"] == len(done.pages.tiles)
    assert view["words"].startswith(f"{view['count']} A4 sheet")
    assert "mm over all, give or take" in view["words"]


def test_a_mirrored_build_is_laid_over_the_picture_the_right_way(done: SmallJob) -> None:
    other = small_job(done.plan, done.seen, mirrored=True)

    view = pages_view(other.job, other.drawn.drawing, other.calibration, other.fraction, other.pages)

    tile = other.pages.tiles[0]
    plan_mm = other.calibration.to_plan(np.array(view["tiles"][0]["corners_px"]))
    assert plan_mm[0] * (-2, 2) == pytest.approx((tile.origin_mm[0], tile.origin_mm[1] + tile.size_mm[1]), abs=0.01)


def test_the_wanted_span_is_the_headline(done: SmallJob) -> None:
    wanted = replace(known(done.plan, STRIP_MM, "130 mm"), text="390 mm")
    large = small_job(done.plan, done.seen, build_length=wanted)

    view = pages_view(large.job, large.drawn.drawing, large.calibration, large.fraction, large.pages)

    assert float(large.fraction) == pytest.approx(3, abs=0.01)
    assert view["words"].split(", ")[1] == "390 mm"
    assert view["words"].split(", ")[2].startswith("give or take 0.")
    assert view["fraction"].endswith(" %") or Fraction(view["fraction"]) == 3


def test_agreeing_lengths_are_quiet_and_a_wrong_one_is_loud(done: SmallJob) -> None:
    quiet = scale_view(done.gathered, done.calibration)
    plate, strip = known(done.plan, PLATE_MM, "80 mm"), known(done.plan, STRIP_MM, "130 mm")
    up = known(done.plan, PLATE_MM, "40 mm", up=True)
    wrong = small_job(done.plan, done.seen, knowns=(plate, strip, up), checks=(known(done.plan, STRIP_MM, "128 mm"),))

    loud = json.loads(json.dumps(scale_view(wrong.gathered, wrong.calibration)))

    assert not any(item["loud"] for item in quiet["observed"])
    assert quiet["observed"][0]["words"].startswith("Agrees: ")
    assert [item["label"] for item in loud["observed"] if item["loud"]] == ["check length 1"]
    check = next(item for item in loud["observed"] if item["label"] == "check length 1")
    assert check["words"].startswith("Does not agree: comes out 130 mm")
    assert "2 mm more than given" in check["words"]
    assert not loud["settled"]


def test_a_known_distance_that_the_rest_outvotes_is_loud(done: SmallJob) -> None:
    lengths = (
        (PLATE_MM, "80 mm", False),
        (STRIP_MM, "130 mm", False),
        (PLATE_MM, "40 mm", True),
        (STRIP_MM, "15.9 mm", True),
    )
    job = small_job(done.plan, done.seen, knowns=tuple(known(done.plan, box, text, up=up) for box, text, up in lengths))

    view = scale_view(job.gathered, job.calibration)

    fourth = view["observed"][3]
    assert fourth["loud"] == (not fourth["used"] or not view["settled"])
    assert fourth["residual_mm"] == pytest.approx(-0.9, abs=0.2)


def test_a_lone_length_says_that_nothing_checks_it(done: SmallJob) -> None:
    lone = small_job(done.plan, done.seen, knowns=(known(done.plan, STRIP_MM, "130 mm"),))

    view = scale_view(lone.gathered, lone.calibration)

    first = next(item for item in view["observed"] if item["kind"] == "known distance")
    assert not first["loud"]
    assert first["words"].startswith("Sets the scale; nothing checks it yet. Give or take ")
    assert first["short"] == "sets the scale"
    assert "known distance 1 (130 mm)" in view["words"]


def test_a_lone_length_with_one_to_compare_says_so(done: SmallJob) -> None:
    lengths = {"knowns": (known(done.plan, STRIP_MM, "130 mm"),), "checks": (known(done.plan, PLATE_MM, "80 mm"),)}
    job = small_job(done.plan, done.seen, **lengths)

    observed = {item["label"]: item for item in scale_view(job.gathered, job.calibration)["observed"]}

    assert observed["known distance 1"]["words"].startswith("Sets the scale; what you compare is held against it.")
    assert observed["check length 1"]["short"] == "agrees"


def test_a_job_is_plain_values_under_its_own_names(done: SmallJob) -> None:
    kept = KeptGrid(done.pages.grid, done.fraction, done.job.setup)

    view = json.loads(json.dumps(job_view(replace(done.job, kept_grid=kept))))

    start = done.job.knowns[0].start
    assert view["knowns"][0]["start"] == {"x_px": start.x_px, "y_px": start.y_px, "settled": "as given"}
    assert view["fraction"] == "2"
    assert (view["setup"]["paper"], view["setup"]["margin_mm"]) == ("A4", 6.0)
    assert view["grid"]["origin_mm"] == list(done.pages.grid.origin_mm)
    assert view["grid"]["landscape"] is done.pages.grid.landscape
    assert job_view(done.job)["grid"] is None
    assert isinstance(done.job.knowns[0], GivenLength)
    assert math.isfinite(view["knowns"][0]["end"]["x_px"])
