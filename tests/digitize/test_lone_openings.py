"""Parts closed along a centre line: which may be openings in a half that was not found."""

from dataclasses import replace

import numpy as np

from benchmarks.vector_strokes import strokes_of
from digitize.lettering import lettering_links
from digitize.lone_openings import IN_DOUBT, said_if_lone_openings
from digitize.loop import Loop, Role
from digitize.loops import Loops, find_loops
from tests.digitize.test_half_openings import CENTRE, FORMER, INKING, NAME, WINDOW, Line, half_oval


def seen(*lines: Line) -> Loops:
    strokes = strokes_of([*lines, CENTRE, *NAME], INKING)
    return find_loops(strokes, lettering=lettering_links(strokes), border_px=None)


def confidences(found: Loops, loops: list[Loop]) -> list[float]:
    told = said_if_lone_openings(loops, found.graph, lettering_links(found.graph.strokes))
    return [loop.confidence for loop in told]


def as_part(loop: Loop) -> Loop:
    return replace(loop, role=Role.PART, confidence=1.0)


def test_a_part_between_the_ends_of_a_line_around_it_that_bounds_none_may_be_an_opening() -> None:
    found = seen(FORMER, WINDOW)
    opening = min((loop for loop in found.loops if loop.area_px2 > 1000), key=lambda loop: loop.area_px2)
    whole = max(found.loops, key=lambda loop: loop.area_px2)

    assert confidences(found, [as_part(opening)]) == [IN_DOUBT]
    assert confidences(found, [as_part(opening), as_part(whole)]) == [1.0, 1.0]


def test_a_half_between_others_above_and_below_it_stays_sure() -> None:
    found = seen(half_oval(20, 15, 45), half_oval(24, 50, 90), half_oval(20, 95, 125))
    halves = sorted(
        (loop for loop in found.loops if loop.role is Role.PART), key=lambda loop: loop.points_px[:, 1].mean()
    )

    assert len(halves) == 3
    assert confidences(found, [as_part(halves[1])]) == [1.0]


def test_what_no_line_goes_around_stays_sure() -> None:
    turn = np.linspace(0, 2 * np.pi, 91)[:-1]
    apart = np.column_stack([120 + 10 * np.cos(turn), 70 + 10 * np.sin(turn)])
    found = seen(WINDOW, np.vstack([apart, apart[:1]]))

    parts = [as_part(loop) for loop in found.loops if loop.role is Role.PART]

    assert len(parts) == 2
    assert confidences(found, parts) == [1.0, 1.0]
