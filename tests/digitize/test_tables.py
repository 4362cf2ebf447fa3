"""Boxes ruled for lettering are tables; panels with ribs and spars, and sheets cut side by side, are parts."""

import numpy as np
from numpy.typing import NDArray

from benchmarks.fit_error import box, line
from benchmarks.vector_strokes import Inking, strokes_of
from digitize.loop import Role
from digitize.loops import find_loops

Line = NDArray[np.float64]

INKING = Inking(seed=5)


def word(x: float, y: float, high: float, letters: int = 4) -> list[Line]:
    """Upright strokes, as a word of as many letters."""
    return [line((x + 0.7 * high * n, y), (x + 0.7 * high * n, y + high)) for n in range(letters)]


def parts(drawn: list[Line], words: list[Line]) -> list[float]:
    """Areas of the parts found, mm², largest first."""
    strokes = strokes_of(drawn + words, INKING)
    heights = [max(np.ptp(one, axis=0)) for one in words]
    known = np.array(
        [
            len(link.points_px) > 1
            and np.ptp(link.points_px, axis=0).max() * INKING.mm_per_px < 1.1 * max(heights)
            and np.ptp(link.points_px[:, 0]) < 3
            for link in strokes.links
        ]
    )
    found = find_loops(strokes, lettering=known, border_px=None)
    return sorted((loop.area_px2 * INKING.mm_per_px**2 for loop in found.loops if loop.role is Role.PART), reverse=True)


def ruled(left: float, low: float, width: float, high: float, rows: int, columns: tuple[float, ...]) -> list[Line]:
    lines = [box(left, low, width, high)]
    lines += [line((left, low + high * n / rows), (left + width, low + high * n / rows)) for n in range(1, rows)]
    return lines + [line((left + width * at, low), (left + width * at, low + high)) for at in columns]


def test_a_list_of_parts_that_stands_free_is_no_part() -> None:
    drawn = ruled(50, 50, 60, 30, 5, (0.2, 0.75))
    words = [stroke for row in range(5) for stroke in word(65, 52 + 6 * row, 2.4)]

    assert parts(drawn, words) == []


def test_a_panel_with_ribs_and_a_spar_is_a_part_whatever_is_written_in_it() -> None:
    drawn = ruled(50, 50, 180, 60, 2, (0.2, 0.4, 0.6, 0.8))
    words = [stroke for column in range(5) for stroke in word(56 + 36 * column, 60, 3.0)]

    (area,) = parts(drawn, words)

    assert abs(area - 180 * 60) < 150


def test_sheets_in_one_row_are_no_table() -> None:
    drawn = ruled(50, 50, 60, 8, 1, (0.2, 0.4, 0.6, 0.8))
    words = [stroke for column in range(5) for stroke in word(52 + 12 * column, 52, 3.0)]

    assert parts(drawn, words) != []
