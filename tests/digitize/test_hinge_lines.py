"""Outlines that one line parts: a fin and its rudder, and parts with a datum, a centre line or a dimension across."""

from itertools import pairwise

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray

from benchmarks.fit_error import box, line
from digitize.draw_outlines import UNSURE_BELOW
from digitize.lettering import lettering_links
from digitize.loop import Loop, Role
from digitize.loops import find_loops
from sample_scans.lettering import text
from tests.digitize.test_pens import INKING, two_pens

Line = NDArray[np.float64]

FIN = [(60.0, 20.0), (24.0, 22.0), (44.0, 78.0), (60.0, 80.0)]
RUDDER = [(60.0, 80.0), (72.0, 72.0), (80.0, 60.0), (78.0, 40.0), (60.0, 20.0)]
HINGE = line((60, 14), (60, 86))


def closed(corners: list[tuple[float, float]]) -> Line:
    ring = [*corners, corners[0]]
    return np.vstack([line(a, b)[:-1] for a, b in pairwise(ring)] + [np.array(ring[:1])])


def parts_of(outlines: list[Line], fine: list[Line]) -> list[Loop]:
    strokes = two_pens(outlines, fine)
    found = find_loops(strokes, lettering=np.zeros(len(strokes.links), dtype=bool), border_px=None)
    return sorted((loop for loop in found.loops if loop.role is Role.PART), key=lambda loop: loop.area_px2)


def areas_mm2(parts: list[Loop]) -> list[float]:
    return [loop.area_px2 * INKING.mm_per_px**2 for loop in parts]


def area_mm2(corners: list[tuple[float, float]]) -> float:
    return float(shapely.Polygon(corners).area)


AROUND = closed([*FIN, *RUDDER[1:-1]])


def test_a_fin_and_its_rudder_on_a_hinge_line_that_runs_past_both_are_two_parts() -> None:
    parts = parts_of([AROUND, HINGE], [])

    assert areas_mm2(parts) == pytest.approx(sorted([area_mm2(FIN), area_mm2(RUDDER)]), rel=0.01)
    assert all(part.confidence < UNSURE_BELOW for part in parts)


def test_what_a_finer_hinge_line_parts_is_never_surely_one_part() -> None:
    parts = parts_of([AROUND], [HINGE])

    assert areas_mm2(parts) == pytest.approx([area_mm2(FIN) + area_mm2(RUDDER)], rel=0.01)
    assert parts[0].confidence < UNSURE_BELOW


def test_an_aileron_cut_out_of_a_wing_is_a_part_beside_the_wing() -> None:
    aileron = [line((60, 20), (60, 32)), line((54, 32), (126, 32)), line((120, 32), (120, 20))]
    parts = parts_of([closed([(20, 20), (140, 20), (136, 64), (20, 70)]), *aileron], [])

    wing = area_mm2([(20, 20), (140, 20), (136, 64), (20, 70)])
    assert areas_mm2(parts) == pytest.approx([60 * 12, wing - 60 * 12], rel=0.01)


FRAME = [(20.0, 80.0), (100.0, 80.0), (98.0, 50.0), (84.0, 30.0), (60.0, 20.0), (36.0, 30.0), (22.0, 50.0)]


@pytest.mark.parametrize(("past_mm", "is_sure"), [(6.0, True), (0.0, False)])
def test_a_water_line_well_past_both_sides_of_a_frame_with_one_name_leaves_it_one_part(
    past_mm: float, is_sure: bool
) -> None:
    water = line((21.4 - past_mm, 56), (98.4 + past_mm, 56))
    name = [stroke.points_mm for stroke in text("FR 3", (54, 40), height_mm=4.0).strokes]
    strokes = two_pens([closed(FRAME), water], name)
    found = find_loops(strokes, lettering=lettering_links(strokes), border_px=None)
    (frame,) = [loop for loop in found.loops if loop.role is Role.PART]

    assert areas_mm2([frame]) == pytest.approx([area_mm2(FRAME)], rel=0.01)
    assert (frame.confidence > UNSURE_BELOW) is is_sure


FORMER = [(40.0, 20.0), (60.0, 20.0), (72.0, 40.0), (66.0, 76.0), (50.0, 80.0), (34.0, 76.0), (28.0, 40.0)]
RIB = [(20.0, 42.0), (30.0, 54.0), (60.0, 56.0), (140.0, 40.0), (60.0, 36.0), (26.0, 36.0)]
PLATE = [(20.0, 20.0), (90.0, 20.0), (90.0, 50.0), (60.0, 62.0), (20.0, 62.0)]


@pytest.mark.parametrize(
    ("outlines", "fine"),
    [
        ([closed(FORMER), line((50, 12), (50, 88))], []),
        ([closed(RIB), line((12, 42.17), (148, 39.83))], []),
        ([closed(PLATE), closed([(44, 40), (56, 40), (56, 50), (44, 50)]), line((12, 45), (98, 45))], []),
        ([closed(PLATE)], [line((20, 30), (90, 30))]),
        ([closed(PLATE), line((20, 24), (32, 20))], []),
    ],
    ids=["its centre line", "its datum", "a line through its opening", "a finer line between straight edges", "corner"],
)
def test_a_part_that_one_line_crosses_stays_a_sure_part(outlines: list[Line], fine: list[Line]) -> None:
    parts = parts_of(outlines, fine)

    assert len(parts) == 1
    assert areas_mm2(parts) == pytest.approx([shapely.Polygon(outlines[0]).area], rel=0.01)
    assert parts[0].confidence >= UNSURE_BELOW


@pytest.mark.parametrize("across", [(50,), (45, 70), (40, 60, 80)])
def test_fields_in_a_row_between_straight_edges_may_be_one_part_or_several(across: tuple[float, ...]) -> None:
    edges = [line((x, 20), (x - 4, 50)) for x in across]

    parts = parts_of([box(20, 20, 80, 30), *edges], [])

    assert areas_mm2(parts) == pytest.approx([80 * 30], rel=0.01)
    assert parts[0].confidence < UNSURE_BELOW


def test_a_line_that_bounds_hatching_parts_nothing() -> None:
    corners = [(20.0, 20.0), (60.0, 20.0), (80.0, 50.0), (60.0, 80.0), (24.0, 70.0)]
    across = line((45, 20), (45, 70 + 10 * 21 / 36))
    strip = shapely.intersection(shapely.Polygon(corners), shapely.box(0, 0, 45, 100))
    hatches = []
    for off in np.arange(40, 120, 4.0):
        cut = shapely.intersection(shapely.LineString([(0, off), (90, off - 90)]), strip)
        hatches += [line(*piece.coords) for piece in shapely.get_parts(cut) if piece.length > 5]

    plain = parts_of([closed(corners), across], [])
    found = parts_of([closed(corners), across], hatches)

    assert plain[-1].confidence < UNSURE_BELOW
    assert areas_mm2(found) == pytest.approx([area_mm2(corners)], rel=0.01)
    assert found[0].confidence > UNSURE_BELOW
