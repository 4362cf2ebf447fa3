"""Points along a drawn line, against the curve that the test itself drew."""

import numpy as np
import pytest

from benchmarks.fit_error import line
from benchmarks.vector_strokes import Inking, strokes_of
from digitize.strokes import Strokes
from job.job import GivenStraight, Mark, Settled
from job.straight_lines import clear_ink, points_along, straight_lines

INKING = Inking(seed=7, mm_per_px=0.2)

BOW_MM = 4.0
LENGTH_MM = 300.0


def bowed(y_mm: float, x0_mm: float = 20.0, x1_mm: float = 320.0) -> np.ndarray:
    """A line that a lens has bowed by BOW_MM over its length."""
    x = np.linspace(x0_mm, x1_mm, 400)
    t = (x - 20) / LENGTH_MM
    return np.column_stack([x, y_mm + BOW_MM * 4 * t * (1 - t)])


def found(strokes: Strokes, start_mm: tuple[float, float], end_mm: tuple[float, float]) -> np.ndarray:
    """Points found between two marks, mm."""
    (start, end) = INKING.to_picture(np.array([start_mm, end_mm]))
    along = points_along(clear_ink(strokes), start, end)
    assert along is not None
    return INKING.to_plan(along[0])


def off_mm(points_mm: np.ndarray, y_mm: float) -> float:
    """How far points lie from the bowed line at a height, root mean square, mm."""
    t = (points_mm[:, 0] - 20) / LENGTH_MM
    return float(np.sqrt(np.mean((points_mm[:, 1] - y_mm - BOW_MM * 4 * t * (1 - t)) ** 2)))


INK_MM = 0.08 * 0.2
"""The inking's own scatter; a stretch's middle is better."""


def test_a_bowed_line_crossed_by_others_is_followed() -> None:
    crossing = [line((x, 30), (x + 8, 90)) for x in range(40, 310, 30)]
    strokes = strokes_of([bowed(60), *crossing], INKING)

    points = found(strokes, (21.0, 60.3), (319.0, 59.8))

    assert len(points) >= 20
    assert (np.diff(points[:, 0]) > 0).all()
    assert off_mm(points, 60) < INK_MM


@pytest.mark.parametrize("beside_mm", [1.6, -1.6, 5.0])
def test_of_two_lines_side_by_side_the_marked_one_is_followed(beside_mm: float) -> None:
    strokes = strokes_of([bowed(60), bowed(60 + beside_mm)], INKING)

    points = found(strokes, (20.5, 60.1), (319.5, 60.0))

    assert off_mm(points, 60) < INK_MM


def test_a_dashed_line_is_followed_over_its_gaps() -> None:
    strokes = strokes_of([bowed(60, x, x + 6) for x in range(20, 320, 12)], INKING)

    points = found(strokes, (20.0, 60.0), (320.0, 60.0))

    assert len(points) >= 20
    assert off_mm(points, 60) < INK_MM


def test_where_no_line_runs_nothing_is_taken_and_that_is_said() -> None:
    crossing = [line((x, 30), (x + 8, 90)) for x in range(40, 310, 30)]
    strokes = strokes_of([bowed(60), *crossing], INKING)
    marks = [Mark(float(x), float(y), Settled.AS_GIVEN) for x, y in INKING.to_picture(np.array([(30, 40), (310, 85)]))]

    lines, notes = straight_lines((GivenStraight(*marks),), strokes, full_per_paper=1.0)

    assert lines == ()
    (note,) = notes
    assert note.code == "straight-without-ink"
    assert "straight line 1" in note.about


def test_on_a_blank_picture_nothing_is_taken() -> None:
    nothing = Strokes(np.empty((0, 2)), np.empty(0, np.uint8), ())

    assert points_along(clear_ink(nothing), np.array([0.0, 0.0]), np.array([100.0, 5.0])) is None
