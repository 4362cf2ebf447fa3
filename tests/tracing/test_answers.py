"""Answers about a place: where a mark would go, the way along ink, what is measured, the flat preview."""

import json
import math
from fractions import Fraction
from itertools import pairwise

import cv2
import numpy as np
import pytest
import shapely

from digitize.ink_path import InkGraph, ink_graph
from digitize.strokes import DigitizeError
from drawing.errors import ScantlingError
from tests.small_plan import HOLE_MM, PLATE_MM, PX_PER_MM, STRIP_MM, SmallPlan
from tests.tracing.small_job import SmallJob, place_px, small_job
from tracing.flat_preview import flat_preview
from tracing.follow_ink import follow_ink, followed_view, ink_way, way_view
from tracing.snap import Snapper
from tracing.view_measure import measure_view

MIDDLE_PX = 0.15

DRAWN_PX = 0.2
"""The small plan's lines lie where they should to an eighth of a px; ways are measured closer in tests/digitize."""


@pytest.fixture(scope="module")
def done(small_plan: SmallPlan) -> SmallJob:
    return small_job(small_plan)


@pytest.fixture(scope="module")
def graph(done: SmallJob) -> InkGraph:
    return ink_graph(done.seen.strokes)


def test_a_mark_goes_to_the_corner_then_to_the_line_then_nowhere(done: SmallJob, graph: InkGraph) -> None:
    snapper = Snapper(done.seen.strokes, done.seen.landmarks_px, graph)
    corner, side = place_px(done.plan, PLATE_MM[0], PLATE_MM[1]), place_px(done.plan, 60, PLATE_MM[1])

    at_corner = snapper.snap((corner[0] + 3, corner[1] - 2), reach_px=10)
    on_line = snapper.snap((side[0], side[1] + 4), reach_px=10)
    nowhere = snapper.snap(place_px(done.plan, 15, 75), reach_px=10)

    assert at_corner["what"] == "corner"
    assert at_corner["at"] == pytest.approx(corner, abs=MIDDLE_PX)
    assert done.seen.landmarks_px[at_corner["number"] - 1] == pytest.approx(corner, abs=MIDDLE_PX)
    assert (on_line["what"], on_line["number"]) == ("line", None)
    assert on_line["at"] == pytest.approx(side, abs=MIDDLE_PX)
    assert nowhere["what"] == "nothing"
    assert nowhere["at"] == pytest.approx(place_px(done.plan, 15, 75))


def test_a_trace_round_a_corner_keeps_it_sharp(done: SmallJob, graph: InkGraph) -> None:
    x0, y0 = PLATE_MM[:2]
    start, end = place_px(done.plan, x0, y0 + 25), place_px(done.plan, x0 + 25, y0)

    found = follow_ink(graph, done.seen.picture, [start, end])

    view = json.loads(json.dumps(followed_view(found)))
    assert view["on_ink"]
    assert view["words"] == "Along drawn lines."
    assert len(view["trace"]["cubics_px"]) == 2
    assert view["trace"]["cubics_px"][0][2] == pytest.approx(place_px(done.plan, x0, y0), abs=0.3)
    assert not view["trace"]["closed"]
    true = shapely.LineString([start, place_px(done.plan, x0, y0), end])
    far = shapely.distance(true, shapely.points(found.way.points_px))
    assert math.sqrt((far**2).mean()) < DRAWN_PX


def test_clicks_between_lead_the_way_round_the_other_side(done: SmallJob, graph: InkGraph) -> None:
    x, y, r = HOLE_MM
    right, top, left = (place_px(done.plan, *at) for at in ((x + r, y), (x, y + r), (x - r, y)))

    over = follow_ink(graph, done.seen.picture, [right, top, left])

    middle = np.array(place_px(done.plan, x, y))
    far = np.hypot(*(over.way.points_px - middle).T)
    assert far == pytest.approx(np.full(len(far), r * PX_PER_MM), abs=0.5)
    assert over.way.points_px[:, 1].max() < middle[1] + 2
    # One smooth curve through the middle click: no corner where somebody happened to click.
    cubics = over.trace.cubics_px
    for (_, before, at), (after, _, _) in pairwise(cubics):
        one, two = np.subtract(at, before), np.subtract(after, at)
        assert abs(math.atan2(one[0] * two[1] - one[1] * two[0], one @ two)) < math.radians(2)


def test_where_there_is_no_ink_the_line_is_straight_and_says_so(done: SmallJob, graph: InkGraph) -> None:
    start, end = place_px(done.plan, STRIP_MM[0] + 20, STRIP_MM[1]), place_px(done.plan, PLATE_MM[0] + 20, PLATE_MM[3])

    found = follow_ink(graph, done.seen.picture, [start, end])

    assert not found.way.on_ink
    assert "a straight line: no ink" in found.way.words
    assert len(found.trace.cubics_px) == 1
    assert found.way.points_px[-1] == pytest.approx(end, abs=MIDDLE_PX)


def test_the_way_shown_under_the_pointer_is_the_one_its_trace_takes(done: SmallJob, graph: InkGraph) -> None:
    x, y, r = HOLE_MM
    right, left = (place_px(done.plan, *at) for at in ((x + r, y), (x - r, y)))

    shown = way_view(ink_way(graph, done.seen.picture, [right, left]))
    followed = follow_ink(graph, done.seen.picture, [right, left])

    line = shapely.LineString(shown["points_px"])
    assert shapely.distance(line, shapely.points(followed.way.points_px)).max() < 0.15
    assert len(shown["points_px"]) < len(followed.way.points_px) / 2
    assert (shown["on_ink"], shown["words"]) == (True, "Along drawn lines.")


def test_a_trace_needs_two_places(done: SmallJob, graph: InkGraph) -> None:
    for clicks in ([(5.0, 5.0)], [(5.0, 5.0), (5.1, 5.0)], [(math.nan, 1.0), (5.0, 5.0)], [(5.0, 5.0)] * 300):
        with pytest.raises(DigitizeError):
            follow_ink(graph, done.seen.picture, clicks)


def test_what_is_measured_is_said_at_both_sizes(done: SmallJob) -> None:
    x0, y0, x1, y1 = PLATE_MM
    corners = [place_px(done.plan, x, y) for x, y in ((x0, y0), (x1, y0), (x1, y1), (x0, y1))]
    ask = _asker(done)

    length = ask("length", corners[:2])
    angle = ask("angle", corners[:3])
    area = ask("area", corners)
    x, y, r = HOLE_MM
    radius = ask("radius", [place_px(done.plan, x + r * math.cos(a), y + r * math.sin(a)) for a in (0.0, 2.0, 4.0)])

    assert length["full"] == pytest.approx(80, abs=length["u95"])
    assert length["build"] == pytest.approx(160, abs=2 * length["u95"])
    assert "at full size" in length["words"]
    assert "at build size" in length["words"]
    assert angle["full"] == pytest.approx(90, abs=angle["u95"])
    assert area["full"] == pytest.approx(3200, abs=area["u95"])
    assert area["words"].startswith("32.0 cm², give or take ")
    assert area["build"] == pytest.approx(4 * area["full"])
    assert radius["full"] == pytest.approx(12, abs=max(radius["u95"], 0.05))


def test_a_hundred_mm_here_is_as_sure_as_the_worst_way_it_can_lie(done: SmallJob) -> None:
    middle = place_px(done.plan, 85, 55)
    across = done.calibration.length(place_px(done.plan, 35, 55), place_px(done.plan, 135, 55))

    here = _asker(done)("here", [middle])

    assert here["full"] == 100
    assert here["u95"] >= across.u95_mm * 0.99
    assert here["words"].startswith("100 mm here: give or take ")


def test_what_measures_nothing_is_refused_in_words(done: SmallJob) -> None:
    ask = _asker(done)
    for kind, points in (
        ("length", [(1.0, 1.0)]),
        ("length", [(1.0, 1.0), (1.0, 1.0)]),
        ("area", [(1.0, 1.0), (2.0, 2.0)]),
        ("volume", [(1.0, 1.0)]),
        ("angle", [(1.0, 1.0), (math.inf, 1.0), (2.0, 2.0)]),
    ):
        with pytest.raises(ScantlingError):
            ask(kind, points)


def test_the_preview_is_the_plan_at_its_true_shape(done: SmallJob) -> None:
    grey = done.seen.picture.grey
    levels = [grey, cv2.resize(grey, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)]

    small = _decoded(flat_preview(levels, done.calibration, width_px=600, sheet_px=None))
    large = _decoded(flat_preview(levels, done.calibration, width_px=99_999, sheet_px=None))

    assert 560 <= small.shape[1] <= 600
    assert 1500 <= large.shape[1] <= 1600
    for shown in (small, large):
        # The frame is 170 x 110 mm on a sheet of 190 x 130 mm.
        dark = np.argwhere(shown < 150)
        (top, left), (bottom, right) = dark.min(axis=0), dark.max(axis=0)
        px_per_mm = shown.shape[1] / 190
        assert (right - left) / px_per_mm == pytest.approx(170, abs=1.2)
        assert (bottom - top) / px_per_mm == pytest.approx(110, abs=1.2)


def _decoded(data: bytes) -> np.ndarray:
    return np.asarray(cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_GRAYSCALE))


def _asker(done: SmallJob):  # type: ignore[no-untyped-def]
    def ask(kind: str, points: list[tuple[float, float]]) -> dict[str, object]:
        return measure_view(
            kind,
            points,
            calibration=done.calibration,
            fraction=Fraction(2),
            landmarks_px=done.seen.landmarks_px,
            sigmas_px=done.seen.landmark_sigmas_px,
        )

    return ask
