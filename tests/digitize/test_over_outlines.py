"""Circles over an outline are in doubt: balloons, wheels drawn where they sit."""

import numpy as np
import pytest
from numpy.typing import NDArray

from benchmarks.fit_error import box, circle
from benchmarks.vector_strokes import Inking, strokes_of
from digitize.lettering import lettering_links
from digitize.loop import Role
from digitize.loops import find_loops

Line = NDArray[np.float64]
INKING = Inking(seed=5)
PLATE = box(20, 20, 80, 60)


def parts(*lines: Line) -> dict[int, float]:
    """Confidence of each part by its rounded area, cm²."""
    strokes = strokes_of(lines, INKING)
    found = find_loops(strokes, lettering=lettering_links(strokes), border_px=None)
    mm2 = INKING.mm_per_px**2
    return {
        round(loop.area_px2 * mm2 / 100): loop.confidence
        for loop in found.loops
        if loop.role is Role.PART and loop.area_px2 * mm2 > 100
    }


@pytest.mark.parametrize("up_mm", [0.0, 3.0], ids=["through its middle", "beside its middle"])
def test_a_circle_that_an_outline_runs_through_is_in_doubt(up_mm: float) -> None:
    found = parts(PLATE, circle(60, 80 + up_mm, 8))

    assert found[2] == 0.5
    assert found[48] > 0.65


def test_a_circle_by_itself_and_one_beside_an_outline_are_sure() -> None:
    found = parts(PLATE, circle(60, 90, 8), circle(150, 50, 10))

    assert found[2] > 0.9
    assert found[3] > 0.9
