"""Outlines drawn one inside another upon a straight line: which lines inside close parts of their own with it."""

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray

from benchmarks.fit_error import box, line
from benchmarks.vector_strokes import Inking, strokes_of
from digitize.lettering import lettering_links
from digitize.loop import Role
from digitize.loops import find_loops

Line = NDArray[np.float64]
INKING = Inking(seed=7)
SAME = 0.95
LENGTHS_MM = (130.0, 110.0, 92.0, 75.0)


def rib(long_mm: float, *, nose_mm: float) -> Line:
    """The back of a flat-bottomed rib, from its nose on the datum at y = 60 mm to its tip on it."""
    part = (1 - np.cos(np.linspace(0, np.pi, 80))) / 2
    thick = 0.13 * (2.6 * np.sqrt(part) * (1 - part) + 0.25 * part * (1 - part))
    return np.column_stack([nose_mm + long_mm * part, 60 - long_mm * thick])


NEST = [rib(long, nose_mm=20 + 0.4 * (LENGTHS_MM[0] - long)) for long in LENGTHS_MM]


def parts(*lines: Line) -> list[shapely.Polygon]:
    """The parts found, in mm."""
    strokes = strokes_of(list(lines), INKING)
    found = find_loops(strokes, lettering=lettering_links(strokes), border_px=None)
    return [shapely.transform(loop.polygon, INKING.to_plan) for loop in found.loops if loop.role is Role.PART]


def shares(found: list[shapely.Polygon], true: list[Line]) -> list[float]:
    """Of each true outline, what it and the part that agrees best share of their joint area."""
    return [
        max(shapely.area(one & shapely.Polygon(ring)) / shapely.area(one | shapely.Polygon(ring)) for one in found)
        for ring in true
    ]


@pytest.mark.parametrize("past_mm", [0.0, 6.0])
@pytest.mark.parametrize("count", [2, 3, 4])
def test_every_rib_of_a_nest_on_a_datum_is_a_part(count: int, past_mm: float) -> None:
    found = parts(*NEST[:count], line((20 - past_mm, 60), (150 + past_mm, 60)))

    assert len(found) == count
    assert min(shares(found, NEST[:count])) > SAME


def test_a_cap_at_an_even_distance_is_no_rib_of_its_own() -> None:
    back = shapely.LineString(NEST[0])
    lower = shapely.get_coordinates(shapely.offset_curve(back, 2.0))
    lower = lower if lower[0, 0] < lower[-1, 0] else lower[::-1]
    inside = shapely.get_coordinates(shapely.intersection(shapely.LineString(lower), shapely.box(0, 0, 200, 60)))

    found = parts(NEST[0], inside, line((14, 60), (156, 60)))

    assert len(found) == 1
    assert shares(found, NEST[:1])[0] > SAME


def test_spars_and_a_window_upon_an_edge_are_no_parts() -> None:
    found = parts(box(20, 20, 140, 40), line((20, 30), (160, 34)), line((60, 60), (60, 50), (75, 50), (75, 60)))

    assert len(found) == 1


def test_a_field_under_a_dimension_line_is_no_part_of_what_it_measures() -> None:
    plate = box(30, 30, 80, 40)
    measure = [line((30, 70), (30, 84)), line((110, 70), (110, 84)), line((30, 82), (110, 82))]

    found = parts(plate, *measure)

    assert min(shares(found, [plate])) > SAME
