"""Gaps in drawn lines: which are bridged, where the bridge runs, and what is said."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray

from benchmarks.fit_error import line
from benchmarks.vector_strokes import Inking, strokes_of
from digitize.bridged_gaps import with_gaps_bridged
from digitize.dashed_lines import dashed_links
from digitize.draw_outlines import draw_outlines
from digitize.find_strokes import find_strokes
from digitize.half_outlines import with_halves_closed
from digitize.lettering import lettering_links
from digitize.loop import Role
from digitize.loops import find_loops
from digitize.strokes import Strokes
from pictures.ink import find_ink
from pictures.picture import Medium, Picture, Source
from sample_scans.plan import plan_of
from sample_scans.rendered import rendered_scan
from sample_scans.truth import InkStroke, Piece

INKING = Inking(seed=7)
BRIDGE_OFF_PX = 0.5  # a bridge is drawn by the eye of its two ends: half a px over three line widths


def bridged(*lines: NDArray[np.float64]) -> Strokes:
    strokes = strokes_of(lines, INKING)
    return with_gaps_bridged(strokes, np.zeros(len(strokes.links), dtype=np.bool_))


def part_areas(strokes: Strokes) -> list[float]:
    found = find_loops(strokes, lettering=lettering_links(strokes), border_px=None)
    return [loop.area_px2 * INKING.mm_per_px**2 for loop in found.loops if loop.role is Role.PART]


def arc(radius_mm: float, from_deg: float, to_deg: float) -> NDArray[np.float64]:
    t = np.radians(np.linspace(from_deg, to_deg, 400))
    return np.column_stack([100 + radius_mm * np.cos(t), 100 + radius_mm * np.sin(t)])


def test_a_circle_with_a_gap_of_two_mm_is_closed_on_its_own_curve():
    strokes = bridged(arc(15, 8, 360))

    ring = shapely.Polygon(strokes.links[0].points_px)
    true = shapely.Polygon(INKING.to_picture(arc(15, 0, 360)))
    assert part_areas(strokes) == pytest.approx([np.pi * 15**2], rel=0.005)
    assert shapely.hausdorff_distance(ring.exterior, true.exterior) < 5 * BRIDGE_OFF_PX
    assert strokes.links[0].bridged


def test_an_outline_with_a_gap_is_a_part_and_the_gap_is_told_of():
    sides = [line((20, 20), (70, 20)), line((72, 20), (120, 20)), line((120, 20), (120, 80)), line((120, 80), (20, 80))]
    strokes = bridged(*sides, line((20, 80), (20, 20)))

    drawn = draw_outlines(strokes.mapped(lambda px: px * INKING.mm_per_px))

    assert len(drawn.drawing.outlines) == 1
    assert any("gaps" in finding.text for finding in drawn.findings)


@pytest.mark.parametrize("another", [False, True])
def test_a_gap_of_three_mm_in_a_hairline_is_bridged_where_darker_ink_makes_it_look_thinner_still(another: bool):
    corners = np.array([(0.0, 0.0), (46, 5), (40, 28), (3, 24)])
    ring = np.vstack([corners, corners[:1]])
    at = [mm / np.hypot(46, 5) * corners[1] for mm in (20, 22.9, 34, 35)]
    # With another gap in the same side it is still a single line that comes back around its corners.
    runs = (
        [np.vstack([at[3], ring[1:], at[0]]), np.vstack(at[1:3])] if another else [np.vstack([at[1], ring[1:], at[0]])]
    )
    hairlines = [InkStroke(run, 0.25, False, "outline") for run in runs]
    # Crossings of thick lines show what full ink is: a hairline's never is, blurred.
    thick = [InkStroke(np.array([(x, 40.0), (x + 9, 60.0)]), 0.7, False, "inside") for x in range(0, 45, 5)]
    thick += [InkStroke(np.array([(0.0, y), (54.0, y)]), 0.7, False, "inside") for y in (45.0, 50.0, 55.0)]
    plan = plan_of("gap", Piece((*hairlines, *thick)).at(15, 15), width_mm=90, height_mm=90)
    scan = rendered_scan(3, plan=plan, dpi=200)

    strokes = find_strokes(find_ink(Picture(scan.pixels, Source(Path("gap"), "", Medium.RASTER))))

    outline = shapely.Polygon(scan.camera.to_picture(corners + 15))
    closed = [link for link in strokes.links if link.bridged]
    assert len(closed) == 1
    assert np.hypot(*np.ptp(closed[0].points_px, axis=0)) > 0.95 * np.hypot(
        *np.ptp(scan.camera.to_picture(corners[:2]), axis=0)
    )
    assert outline.exterior.buffer(2).covers(shapely.LineString(closed[0].points_px))


def test_a_gap_of_ten_mm_stays_open():
    assert part_areas(bridged(arc(15, 40, 360))) == []


def test_ends_that_pass_each_other_are_not_joined():
    strokes = bridged(line((20, 20), (70, 20)), line((72, 22), (120, 22)))

    assert len(strokes.links) == 2


def test_a_gap_with_a_line_across_it_stays_open():
    strokes = bridged(line((20, 20), (70, 20)), line((73, 20), (120, 20)), line((71.5, 5), (71.5, 35)))

    assert len(strokes.links) == 3


def test_a_gap_with_a_line_of_a_finer_pen_across_it_is_bridged():
    strokes = strokes_of([arc(15, 8, 360), line((90, 101), (125, 101))], INKING)
    fine = replace(strokes.links[1], width_px=0.4 * strokes.links[0].width_px)
    strokes = replace(strokes, links=(strokes.links[0], fine))

    whole = with_gaps_bridged(strokes, np.zeros(2, dtype=np.bool_))

    assert part_areas(whole) == pytest.approx([np.pi * 15**2], rel=0.005)


def test_dashes_that_end_free_stay_dashes_and_are_known_for_a_dashed_line():
    dashes = [line((x, 20), (x + 6, 20)) for x in np.arange(20, 100, 8).tolist()]
    strokes = strokes_of(dashes, INKING)

    assert dashed_links(strokes).all()
    assert len(with_gaps_bridged(strokes, np.zeros(len(strokes.links), dtype=np.bool_)).links) == len(dashes)


def test_an_outline_of_dashes_is_a_part():
    corners = np.array([[20.0, 20.0], [92.0, 20.0], [92.0, 68.0], [20.0, 68.0]])
    lines = []
    for number, (a, b) in enumerate(zip(corners, np.roll(corners, -1, axis=0), strict=True)):
        way = (b - a) / np.hypot(*(b - a))
        before = (corners[number - 1] - a) / np.hypot(*(corners[number - 1] - a))
        lines.append(np.array([a + 3 * before, a, a + 3 * way]))
        lines += [line(a + way * s, a + way * (s + 4)) for s in np.arange(4.5, np.hypot(*(b - a)) - 6, 5.5).tolist()]

    assert part_areas(bridged(*lines)) == pytest.approx([72 * 48], rel=0.01)


def test_dashes_that_happen_to_be_measured_thin_close_an_outline_as_their_line_does():
    corners = np.array([[20.0, 20.0], [98.0, 20.0], [98.0, 72.0], [20.0, 72.0]])
    lines = []
    for number, (a, b) in enumerate(zip(corners, np.roll(corners, -1, axis=0), strict=True)):
        way = (b - a) / np.hypot(*(b - a))
        before = (corners[number - 1] - a) / np.hypot(*(corners[number - 1] - a))
        lines.append(np.array([a + 2 * before, a, a + 2 * way]))
        lines += [line(a + way * s, a + way * (s + 4)) for s in np.arange(4.5, np.hypot(*(b - a)) - 6, 6.5).tolist()]
    strokes = strokes_of(lines, INKING)
    thin = {len(strokes.links) // 2, len(strokes.links) // 2 + 1}
    links = [replace(link, width_px=1.1) if n in thin else link for n, link in enumerate(strokes.links)]
    strokes = replace(strokes, links=tuple(links))

    whole = with_gaps_bridged(strokes, np.zeros(len(strokes.links), dtype=np.bool_))

    assert part_areas(whole) == pytest.approx([78 * 52], rel=0.01)


def test_a_gap_in_a_narrow_curve_is_bridged_where_both_ends_are_tangents_of_one_arc():
    at = np.radians(np.linspace(16, 360, 400))
    narrow = np.column_stack([100 + 9 * np.cos(at), 100 + 9 * np.sin(at)])

    strokes = bridged(narrow)

    assert part_areas(strokes) == pytest.approx([np.pi * 9**2], rel=0.01)
    assert strokes.links[0].bridged


def folds(*ends: tuple[tuple[float, float], tuple[float, float]]) -> list[NDArray[np.float64]]:
    """Six dashes from each place to the other, beginning and ending on them."""
    pitch = 1 / 5.68
    places = [(np.array(a), np.array(b), pitch * n) for a, b in ends for n in range(6)]
    return [line(tuple(a + (b - a) * at), tuple(a + (b - a) * (at + 0.68 * pitch))) for a, b, at in places]


def test_dashes_that_end_on_an_edge_in_line_with_them_are_a_fold_and_stay_dashes():
    net = [(10, 30), (34, 30), (34, 20), (54, 20), (54, 30), (80, 30), (80, 60), (34, 60), (34, 72), (10, 72), (10, 30)]
    dashes = folds(((34, 30), (34, 60)), ((54, 30), (54, 60)), ((34, 30), (54, 30)), ((10, 60), (34, 60)))

    assert not any(link.bridged for link in bridged(line(*net), *dashes).links)


@pytest.mark.parametrize("step", [1, -1])
def test_flaps_beside_one_another_are_not_closed_along_the_fold_that_they_share(step: int):
    flaps = [(34, 30), (36, 20), (52, 20), (54, 30), (56, 20), (72, 20), (74, 30)]
    net = [(10, 30), (12, 20), (32, 20), *flaps, (74, 60), (10, 60), (10, 30)]
    dashes = folds(((10, 30), (34, 30)), ((34, 30), (54, 30)), ((54, 30), (74, 30)))
    strokes = strokes_of([*dashes, line(*net[::step])][::step], INKING)

    closed = with_halves_closed(strokes, np.zeros(len(strokes.links), dtype=np.bool_))

    assert not any(link.bridged for link in closed.links)
