"""Letters by themselves on a part, told from its openings."""

import numpy as np
import pytest
from numpy.typing import NDArray

from benchmarks.fit_error import line
from benchmarks.vector_strokes import Inking, strokes_of
from digitize.draw_outlines import Drawn, draw_outlines
from drawing.drawing import Kind

Line = NDArray[np.float64]
INKING = Inking(seed=7)
PLATE = np.array([(20.0, 20.0), (90.0, 20.0), (90.0, 60.0), (20.0, 60.0)])
MIDDLE = np.array([60.0, 40.0])
LETTER_MM = 3.5
CODE = "letters-alone"


def oval(wide_mm: float, high_mm: float, *, turn_deg: float = 20.0) -> Line:
    t, turn = np.linspace(0, 2 * np.pi, 200), np.radians(turn_deg)
    x, y = wide_mm / 2 * np.cos(t), high_mm / 2 * np.sin(t)
    ring = MIDDLE + np.column_stack([x * np.cos(turn) - y * np.sin(turn), x * np.sin(turn) + y * np.cos(turn)])
    ring[-1] = ring[0]
    return ring


def slot(wide_mm: float, high_mm: float) -> Line:
    half, straight = wide_mm / 2, (high_mm - wide_mm) / 2
    t = np.linspace(0, np.pi, 60)
    top = np.column_stack([half * np.cos(t), straight + half * np.sin(t)])
    return MIDDLE + np.vstack([top, -top, top[:1]])


def word(letters: int) -> list[Line]:
    """So many times an E, in a row."""
    found = []
    for x in 25.0 + 3.5 * np.arange(letters):
        wide, middle, high = x + 2.1, 27.0 + LETTER_MM / 2, 27.0 + LETTER_MM
        found += [np.vstack([line((wide, 27.0), (x, 27.0)), line((x, 27.0), (x, middle))])]
        found += [np.vstack([line((x, middle), (x, high)), line((x, high), (wide, high))])]
        found += [line((x, middle), (wide, middle))]
    return found


def drawn(*lines: Line, across: float = 1.0) -> Drawn:
    """What is drawn of a plate with a word and more on it, its picture squeezed sideways by `across`."""
    sides = [line(a, b) for a, b in zip(PLATE, np.roll(PLATE, -1, axis=0), strict=True)]
    squeeze = np.array([across, 1.0])
    strokes = strokes_of([one * squeeze for one in [*sides, *word(4), *lines]], INKING)
    return draw_outlines(strokes.mapped(lambda px: INKING.to_plan(px) / squeeze))


def holes(found: Drawn) -> int:
    assert len(found.drawing.outlines) == 1
    return len(found.drawing.outlines[0].holes)


@pytest.mark.parametrize("wide_mm", [2.1, 2.6])
def test_an_oval_as_large_as_the_lettering_is_a_letter_and_told_of(wide_mm: float) -> None:
    found = drawn(oval(wide_mm, LETTER_MM))

    assert holes(found) == 0
    assert [finding.code for finding in found.findings].count(CODE) == 1


def test_an_oval_with_a_short_tail_through_it_is_a_q() -> None:
    at = oval(2.6, LETTER_MM, turn_deg=0)[175]
    way = (at - MIDDLE) / np.hypot(*(at - MIDDLE))

    found = drawn(oval(2.6, LETTER_MM, turn_deg=0), line(at - 0.7 * way, at + 0.7 * way))

    assert holes(found) == 0


@pytest.mark.parametrize(
    "opening",
    [oval(LETTER_MM, LETTER_MM), slot(2.6, LETTER_MM), oval(5.5, 8.0)],
    ids=["a circle", "a slot", "an oval larger than letters"],
)
def test_openings_are_none(opening: Line) -> None:
    found = drawn(opening)

    assert holes(found) == 1
    assert CODE not in [finding.code for finding in found.findings]


def test_an_oval_with_a_centre_line_through_it_is_an_opening() -> None:
    found = drawn(oval(2.6, LETTER_MM, turn_deg=0), line((60.0, 36.0), (60.0, 44.0)))

    assert holes(found) == 1


def test_a_round_hole_seen_at_a_slant_is_no_letter() -> None:
    found = drawn(oval(LETTER_MM, LETTER_MM), across=0.7)

    assert holes(found) == 1


def test_an_oval_on_a_sheet_without_lettering_is_an_opening() -> None:
    sides = [line(a, b) for a, b in zip(PLATE, np.roll(PLATE, -1, axis=0), strict=True)]
    strokes = strokes_of([*sides, oval(2.6, LETTER_MM)], INKING)

    assert holes(draw_outlines(strokes.mapped(INKING.to_plan))) == 1


@pytest.mark.parametrize(("high_mm", "kind"), [(6.5, Kind.UNSURE), (30.0, Kind.PART)])
def test_an_oval_by_itself_of_a_size_of_larger_lettering_is_in_doubt(high_mm: float, kind: Kind) -> None:
    found = drawn(oval(0.65 * high_mm, high_mm) + np.array([100.0, 0.0]))

    assert min(found.drawing.outlines, key=lambda outline: outline.area_px2).kind is kind
