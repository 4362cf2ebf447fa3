"""Lines made whole over folds: which bands count, how lines go on over them, and what is said."""

import math

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray

from benchmarks.fit_error import line
from benchmarks.vector_strokes import Inking, strokes_of
from digitize.fold_bands import fold_bands
from digitize.line_ends import line_ends
from digitize.loop import Role
from digitize.loops import find_loops
from digitize.over_folds import with_folds_bridged
from digitize.strokes import Strokes
from drawing.drawing import Point

INKING = Inking(seed=11)
AREA_SHARE = 0.01  # a bridge of 3 mm of a line whose ends point to within some degrees: of parts of some 20 cm2
PLATES = [
    line((20, 20), (60, 20), (60, 80), (20, 80), (20, 20)),
    line((75, 20), (115, 20), (115, 80), (75, 80), (75, 20)),
]


def folded(shapes: list[NDArray[np.float64]], *, at_mm: Point, turn_deg: float, wide_mm: float) -> Strokes:
    """Lines with a band of their ink gone, as strokes."""
    t = math.radians(turn_deg)
    along = 400 * np.array([math.cos(t), math.sin(t)])
    band = shapely.LineString([np.array(at_mm) - along, np.array(at_mm) + along]).buffer(wide_mm / 2, cap_style="flat")
    left = [shapely.line_merge(shapely.difference(shapely.LineString(shape), band)) for shape in shapes]
    pieces = [np.asarray(part.coords) for whole in left for part in shapely.get_parts(whole)]
    return strokes_of(pieces, INKING)


def no_letters(strokes: Strokes) -> NDArray[np.bool_]:
    return np.zeros(len(strokes.links), dtype=np.bool_)


def areas_mm2(strokes: Strokes, role: Role) -> list[float]:
    found = find_loops(strokes, lettering=no_letters(strokes), border_px=None)
    return sorted(loop.area_px2 * INKING.mm_per_px**2 for loop in found.loops if loop.role is role)


def circle(x_mm: float, y_mm: float, radius_mm: float) -> NDArray[np.float64]:
    t = np.linspace(0, 2 * np.pi, 400)
    ring = np.column_stack([x_mm + radius_mm * np.cos(t), y_mm + radius_mm * np.sin(t)])
    ring[-1] = ring[0]
    return ring


def test_a_fold_at_a_slant_leaves_every_part_and_hole_whole():
    strokes = folded([*PLATES, circle(40, 50, 10)], at_mm=(60, 52), turn_deg=14, wide_mm=3)

    whole = with_folds_bridged(strokes, no_letters(strokes))

    assert areas_mm2(whole, Role.PART) == pytest.approx([2400, 2400], rel=AREA_SHARE)
    assert areas_mm2(whole, Role.HOLE) == pytest.approx([math.pi * 100], rel=AREA_SHARE)
    assert sum(link.gaps for link in whole.links) == 6


def test_a_corner_that_a_fold_has_taken_is_where_its_two_sides_meet():
    notched = line((130, 20), (170, 20), (170, 50), (160, 56), (160, 62), (170, 62), (170, 80), (130, 80), (130, 20))
    strokes = folded([*PLATES, notched], at_mm=(60, 50), turn_deg=0, wide_mm=1.9)

    whole = with_folds_bridged(strokes, no_letters(strokes))

    assert areas_mm2(whole, Role.PART) == pytest.approx([2310, 2400, 2400], rel=AREA_SHARE)
    corner_px = INKING.to_picture(np.array([[170.0, 50.0]]))[0]
    assert np.hypot(*(whole.nodes_px - corner_px).T).min() < INKING.width_px


def test_an_arc_that_grazes_a_fold_comes_back_out_of_it_as_an_arc():
    strokes = folded([*PLATES, circle(150, 40, 10)], at_mm=(60, 50), turn_deg=0, wide_mm=2)

    whole = with_folds_bridged(strokes, no_letters(strokes))

    ring = next(link for link in whole.links if INKING.to_plan(link.points_px)[:, 0].min() > 130)
    off_px = np.hypot(*(ring.points_px - INKING.to_picture(np.array([[150.0, 40.0]]))[0]).T) - 10 / INKING.mm_per_px
    assert ring.start == ring.end
    assert np.abs(off_px).max() < INKING.width_px


def test_gaps_with_a_line_drawn_between_them_are_no_fold():
    strokes = folded(PLATES, at_mm=(60, 50), turn_deg=0, wide_mm=3)
    drawn = [INKING.to_plan(link.points_px) for link in strokes.links]
    through = strokes_of([*drawn, line((5, 50), (130, 50))], INKING)

    assert len(fold_bands(strokes, line_ends(strokes, _ends(strokes)))) == 1
    assert fold_bands(through, line_ends(through, _ends(through))) == []


def test_gaps_of_dashed_lines_side_by_side_are_no_fold():
    lines = [line((x, y), (x, y + 9)) for x in (20, 40, 60, 80) for y in (20, 32)]
    strokes = strokes_of(lines, INKING)

    whole = with_folds_bridged(strokes, no_letters(strokes))

    assert whole is strokes


def test_gaps_that_lie_on_no_one_line_are_no_fold():
    high, low = (
        folded([plate], at_mm=(60, y), turn_deg=0, wide_mm=2) for plate, y in zip(PLATES, (70, 30), strict=True)
    )
    drawn = [INKING.to_plan(link.points_px) for strokes in (high, low) for link in strokes.links]
    strokes = strokes_of(drawn, INKING)

    bands = fold_bands(strokes, line_ends(strokes, _ends(strokes)))

    assert all(abs(band.along[1]) < math.sin(math.radians(5)) for band in bands)


def _ends(strokes: Strokes) -> list[int]:
    degree = np.bincount([node for link in strokes.links for node in (link.start, link.end)])
    return [
        2 * n + end
        for n, link in enumerate(strokes.links)
        for end in (0, 1)
        if degree[(link.start, link.end)[end]] == 1
    ]


def test_what_a_fold_leaves_of_a_line_is_no_letter_if_lines_go_on_from_both_its_ends():
    large = line((0, 100), (60, 100), (60, 140), (0, 140), (0, 100))
    strokes = folded([*PLATES, large], at_mm=(30, 50), turn_deg=90, wide_mm=1.6)
    points_mm = [INKING.to_plan(link.points_px) for link in strokes.links]
    small = np.array([points[:, 0].max() < 30 and points[:, 1].max() < 90 for points in points_mm])

    whole = with_folds_bridged(strokes, small)

    assert small.any()
    assert areas_mm2(whole, Role.PART) == pytest.approx([2400, 2400, 2400], rel=AREA_SHARE)


def test_a_ring_that_bends_more_beside_the_fold_than_before_it_closes_in_a_curve():
    slot = circle(0, 0, 1) * np.array([8, 3]) + np.array([40, 50])
    strokes = folded([*PLATES, slot], at_mm=(60, 50), turn_deg=0, wide_mm=2.5)
    # The halves of a hole are no larger than letters.
    middles_mm = [INKING.to_plan(link.points_px.mean(axis=0)[None])[0] for link in strokes.links]
    small = np.array([np.hypot(*(middle - (40, 50))) < 5 for middle in middles_mm])

    whole = with_folds_bridged(strokes, small)

    assert small.any()
    assert areas_mm2(whole, Role.PART) == pytest.approx([2400, 2400], rel=AREA_SHARE)
    assert areas_mm2(whole, Role.HOLE) == pytest.approx([math.pi * 24], rel=AREA_SHARE)
