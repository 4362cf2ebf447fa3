"""Outlines drawn with one pen, and what a finer one draws along them and across them."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray

from benchmarks.fit_error import box, line
from benchmarks.vector_strokes import Inking, strokes_of
from digitize.loop import Loop, Role
from digitize.loops import find_loops
from digitize.pens import with_full_lines
from digitize.strokes import Strokes

Line = NDArray[np.float64]
INKING = Inking(seed=5)
FINE_PX = 1.3  # half of the outlines' 2.5, and what blur adds


def two_pens(outlines: list[Line], fine: list[Line]) -> Strokes:
    """Strokes of outlines and of finer lines; where these run along an outline, its ink is what is seen."""
    strokes = strokes_of([*outlines, *fine], INKING)
    near = shapely.buffer(shapely.union_all([shapely.LineString(INKING.to_picture(one)) for one in outlines]), 3)
    links = [
        link if near.covers(shapely.LineString(link.points_px)) else replace(link, width_px=FINE_PX)
        for link in strokes.links
    ]
    return replace(strokes, links=tuple(links))


def part_areas(strokes: Strokes, lettering_mm: list[tuple[float, float]] | None = None) -> list[float]:
    lettering = np.zeros(len(strokes.links), dtype=bool)
    for at in lettering_mm or []:
        at_px = INKING.to_picture(np.array([at]))[0]
        lettering |= [bool(np.hypot(*(link.points_px.mean(axis=0) - at_px)) < 20) for link in strokes.links]
    found = find_loops(strokes, lettering=lettering, border_px=None)
    return sorted(loop.area_px2 * INKING.mm_per_px**2 for loop in found.loops if loop.role is Role.PART)


def test_fine_lines_that_shut_in_a_figure_beside_a_part_do_not_make_it_larger() -> None:
    beside = [line((20, 20), (20, -40)), line((20, -40), (100, -40)), line((100, -40), (100, 20))]
    figure = line((58, 0), (62, 4))

    areas = part_areas(two_pens([box(20, 20, 80, 40)], [*beside, figure]), [(60, 2)])

    assert areas == pytest.approx([80 * 40], rel=0.01)


def test_a_datum_along_the_floors_of_notches_cuts_nothing_off_a_rib() -> None:
    corners = [(20, 20), (60, 18), (60, 24), (68, 24), (68, 18), (140, 24), (140, 60), (28, 60), (28, 24), (20, 24)]
    ring = np.array([*corners, corners[0]], dtype=float)
    outline = np.vstack([line(a, b)[:-1] for a, b in pairwise(ring)] + [ring[:1]])

    areas = part_areas(two_pens([outline], [line((5, 24), (160, 24))]))

    assert areas == pytest.approx([shapely.Polygon(ring).area], rel=0.01)


def test_hatching_that_is_longer_than_the_outline_around_it_is_drawn_with_the_finer_pen() -> None:
    hatching = [line((x, 20), (x + 40, 60)) for x in range(20, 60, 4)]

    assert part_areas(two_pens([box(20, 20, 80, 40)], hatching)) == pytest.approx([80 * 40], rel=0.01)


@pytest.mark.parametrize(("size_px", "role"), [(4.0, Role.PART), (40.0, Role.FACE)])
def test_a_blot_where_lines_merge_makes_no_field_of_the_rib_it_lies_on(size_px: float, role: Role) -> None:
    def loop(corners_px: list[tuple[float, float]], links: tuple[int, ...], confidence: float) -> Loop:
        walk = tuple(2 * link for link in links)
        return Loop(walk, np.array(corners_px), shapely.Polygon(corners_px), Role.PART, confidence, "")

    rib = loop([(0, 0), (200, 0), (200, 40), (0, 40)], (0, 1, 2), 0.7)
    closed = loop([(50, -1), (50 + size_px, -1), (50 + size_px, size_px), (50, size_px)], (2, 3), 1.0)
    finer = np.array([True, True, False, False])

    loops = with_full_lines([rib], [closed], finer, letters_px=np.empty((0, 2)))

    assert [one.role for one in loops] == [role, Role.PART]
