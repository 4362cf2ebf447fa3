"""Openings told from letters beside them, however small, and parts drawn in a frame from openings in a part."""

import numpy as np
import pytest
from numpy.typing import NDArray

from benchmarks.fit_error import box, circle, line
from benchmarks.vector_strokes import Inking, strokes_of
from digitize.draw_outlines import UNSURE_BELOW
from digitize.lettering import lettering_links
from digitize.loop import Loop, Role
from digitize.loops import find_loops
from sample_scans.lettering import text
from tests.digitize.test_pens import two_pens

Line = NDArray[np.float64]
INKING = Inking(seed=5)
PLATE = box(20, 20, 80, 60)
SPAR = box(120, 20, 8, 60)
MM2 = INKING.mm_per_px**2


def letters(words: str, at: tuple[float, float], *, height_mm: float) -> list[Line]:
    """The strokes of lettering."""
    return [stroke.points_mm for stroke in text(words, at, height_mm=height_mm).strokes]


def found(*lines: Line, finer: list[Line] | None = None) -> list[Loop]:
    """The parts and openings among some lines."""
    strokes = two_pens(list(lines), finer) if finer is not None else strokes_of(list(lines), INKING)
    loops = find_loops(strokes, lettering=lettering_links(strokes), border_px=None).loops
    return [loop for loop in loops if loop.role in (Role.PART, Role.HOLE)]


def holes_mm2(loops: list[Loop]) -> list[int]:
    return sorted(round(loop.area_px2 * MM2) for loop in loops if loop.role is Role.HOLE)


def test_a_hole_larger_than_the_letters_beside_it_is_an_opening() -> None:
    name = letters("R1", (30, 48), height_mm=4.0)

    assert holes_mm2(found(PLATE, *name, circle(42, 50, 3.2))) == [32]


def test_a_hole_drawn_with_the_outlines_pen_beside_fine_letters_is_an_opening() -> None:
    name = letters("R1", (30, 48), height_mm=4.0)

    assert holes_mm2(found(PLATE, circle(41, 50, 2.1), finer=name)) == [14]


def test_an_o_among_letters_is_no_opening() -> None:
    assert holes_mm2(found(PLATE, *letters("KORN", (30, 48), height_mm=4.0))) == []


def test_a_hole_for_a_pin_is_an_opening_and_a_speck_is_none() -> None:
    # Lines are 0.45 mm wide here.
    assert holes_mm2(found(PLATE, circle(50, 50, 0.8))) == [2]
    assert holes_mm2(found(PLATE, circle(50, 50, 0.4))) == []


def test_a_4_larger_than_other_lettering_is_no_opening_and_a_triangle_is() -> None:
    notes = letters("CUT 3 OF SPRUCE", (30, 30), height_mm=1.6)
    three = line((60, 50), (63, 50), (63, 54.5), (60, 50))
    stems = [line((63, 50), (64.2, 50)), line((63, 50), (63, 48.6))]

    assert holes_mm2(found(PLATE, *notes, three)) == [7]
    assert holes_mm2(found(PLATE, *notes, three, *stems)) == []


def test_letters_that_touch_are_no_opening() -> None:
    notes = letters("CUT 3 OF SPRUCE", (30, 30), height_mm=2.4)
    turn = np.linspace(0, 2 * np.pi, 200)
    bean = np.column_stack([60 + 2.2 * np.cos(turn), 50 + (1.0 + 0.5 * np.cos(2 * turn)) * np.sin(turn)])

    assert holes_mm2(found(PLATE, *notes, np.vstack([bean[:-1], bean[:1]]))) == []


def three_plates(*, holes: bool, names: bool) -> list[Line]:
    lines = []
    for number, x in enumerate((30.0, 52.0, 74.0)):
        lines.append(line((x, 30), (x + 16, 30), (x + 16, 44), (x + 6, 52), (x, 44), (x, 30)))
        if holes:
            lines.append(circle(x + 7, 42, 2))
        if names:
            lines += letters(f"B{number + 4}", (x + 4, 31.5), height_mm=3.0)
    return lines


@pytest.mark.parametrize(("holes", "names"), [(True, False), (False, True), (True, True)])
def test_plates_with_openings_or_names_of_their_own_in_a_frame_are_parts(holes: bool, names: bool) -> None:
    loops = found(PLATE, SPAR, *three_plates(holes=holes, names=names))

    (frame,) = [loop for loop in loops if loop.area_px2 * MM2 > 4000]
    plates = [loop for loop in loops if 200 < loop.area_px2 * MM2 < 400]
    assert frame.role is Role.PART
    assert frame.confidence < UNSURE_BELOW
    assert [(plate.role, plate.confidence > UNSURE_BELOW) for plate in plates] == [(Role.PART, True)] * 3
    assert holes_mm2(loops) == ([13] * 3 if holes else [])


def test_openings_in_a_plate_one_of_them_written_in_are_openings() -> None:
    loops = found(PLATE, SPAR, *three_plates(holes=False, names=False), *letters("OUT", (31, 36), height_mm=3.0))

    assert len(holes_mm2(loops)) == 3
    assert [loop.confidence > UNSURE_BELOW for loop in loops if loop.role is Role.PART] == [True, True]


def test_an_opening_shaped_like_its_former_is_one_unless_it_has_a_name_of_its_own() -> None:
    former = line((30, 20), (90, 20), (94, 50), (80, 72), (40, 72), (26, 50), (30, 20))
    inner = (former - [60, 46]) * 0.55 + [65, 50]

    assert len(holes_mm2(found(former, inner))) == 1
    assert len(holes_mm2(found(former, inner, *letters("F7", (64, 52), height_mm=3.0)))) == 0
