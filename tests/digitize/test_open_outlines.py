"""Outlines that are open: which are closed for sure, which by guess, and what lies in those that stay open."""

import numpy as np
import pytest
from numpy.typing import NDArray

from benchmarks.fit_error import line
from benchmarks.vector_strokes import Inking, strokes_of
from digitize.loop import Loop, Role
from digitize.loops import find_loops
from digitize.open_outlines import with_outlines_closed
from digitize.strokes import Strokes

INKING = Inking(seed=5)
AREA_SHARE = 0.01  # a corner is 1 mm from either end, a closing by guess 2 mm long: of parts of some 20 cm2
UNSURE = 0.65
HOLE = line((32, 60), (48, 60), (48, 70), (32, 70), (32, 60))


def closed(*shapes: NDArray[np.float64]) -> Strokes:
    strokes = strokes_of(shapes, INKING)
    return with_outlines_closed(strokes, np.zeros(len(strokes.links), dtype=np.bool_))


def loops(strokes: Strokes, role: Role) -> list[Loop]:
    found = find_loops(strokes, lettering=np.zeros(len(strokes.links), dtype=np.bool_), border_px=None)
    return [loop for loop in found.loops if loop.role is role]


def area_mm2(loop: Loop) -> float:
    return loop.area_px2 * INKING.mm_per_px**2


def test_a_single_corner_in_a_gap_is_where_its_two_sides_meet_and_that_is_said():
    strokes = closed(line((21, 20), (60, 20), (60, 80), (20, 80), (20, 21)), HOLE)

    (part,) = loops(strokes, Role.PART)

    assert area_mm2(part) == pytest.approx(2400, rel=AREA_SHARE)
    assert UNSURE < part.confidence < 0.8
    assert "bridged" in part.why
    assert [area_mm2(hole) for hole in loops(strokes, Role.HOLE)] == pytest.approx([160], rel=AREA_SHARE)


def test_a_lost_wall_of_a_notch_leaves_one_unsure_part_with_its_hole():
    strokes = closed(line((43, 18), (60, 18), (60, 80), (20, 80), (20, 20), (43, 20)), HOLE)

    (part,) = loops(strokes, Role.PART)

    assert area_mm2(part) == pytest.approx(2400 + 34, rel=AREA_SHARE)
    assert part.confidence < UNSURE
    assert "open at one place" in part.why
    assert len(loops(strokes, Role.HOLE)) == 1


def test_an_outline_open_at_two_places_is_closed_by_guess():
    strokes = closed(
        line((41, 20), (60, 20), (60, 79)), line((59, 80), (20, 80), (20, 20), (38, 20)), HOLE, HOLE + np.array([60, 0])
    )

    part, _ = sorted(loops(strokes, Role.PART), key=lambda loop: loop.points_px[:, 0].min())

    assert area_mm2(part) == pytest.approx(2400, rel=AREA_SHARE)
    assert part.confidence < UNSURE
    assert "open at 2 places" in part.why


def test_the_edge_of_a_sheet_whose_corners_are_not_seen_is_no_outline():
    sides = [line((2, 0), (98, 0)), line((100, 2), (100, 98)), line((98, 100), (2, 100)), line((0, 98), (0, 2))]
    strokes = closed(*sides, HOLE)

    assert not any(link.guessed for link in strokes.links)


@pytest.mark.parametrize(
    "shape",
    [line((20, 20), (20, 80), (60, 80), (60, 20)), line((20, 20), (60, 20), (60, 20.5), (20.5, 20.5), (20.5, 21.5))],
    ids=["a bracket", "a line drawn double"],
)
def test_what_encloses_nothing_or_is_open_for_long_stays_open(shape: NDArray[np.float64]):
    strokes = closed(shape)

    assert not any(link.bridged or link.guessed for link in strokes.links)
    assert loops(strokes, Role.PART) == []


def test_a_closing_crosses_no_line():
    strokes = closed(line((43, 18), (60, 18), (60, 80), (20, 80), (20, 20), (43, 20)), line((38, 19), (48, 19)))

    assert not any(link.guessed for link in strokes.links)


def test_what_lies_in_an_outline_that_stays_open_is_no_sure_part():
    beside = HOLE + np.array([60, 0])
    around = line((52, 20), (60, 20), (60, 80), (20, 80), (20, 20), (35, 20))
    strokes = closed(around, HOLE, beside)

    inside, alone = sorted(loops(strokes, Role.PART), key=lambda loop: loop.points_px[:, 0].min())

    assert inside.confidence < UNSURE
    assert "open" in inside.why
    assert alone.confidence == 1.0


def test_what_pieces_of_an_open_outline_lie_all_around_is_no_sure_part():
    pieces = [
        line((30, 20), (60, 20), (60, 38)),
        line((60, 42), (60, 80), (40, 80)),
        line((36, 80), (20, 80), (20, 50)),
        line((20, 46), (20, 38)),
    ]
    strokes = strokes_of([*pieces, HOLE], INKING)

    (inside,) = loops(strokes, Role.PART)

    assert inside.confidence < UNSURE


def test_a_part_in_a_short_bracket_stays_sure():
    strokes = closed(line((20, 50), (20, 80), (60, 80), (60, 50)), HOLE)

    (part,) = loops(strokes, Role.PART)

    assert part.confidence == 1.0


def test_parts_that_spars_and_a_datum_run_through_stay_sure():
    ribs = [line((20, y), (80, y), (80, y + 12), (20, y + 12), (20, y)) for y in (20, 45, 70)]
    spars = [line((x, 10), (x, 95)) for x in (35, 65)]
    datums = [line((10, y), (90, y)) for y in (26, 51, 76)]

    parts = loops(strokes_of([*ribs, *spars, *datums], INKING), Role.PART)

    assert [part.confidence > UNSURE for part in parts] == [True] * 3
