"""Hatching told from what bounds parts: outlines, openings, strips drawn side by side."""

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray

from benchmarks.fit_error import box, circle, line
from benchmarks.vector_strokes import Inking, strokes_of
from digitize.continuation import line_graph
from digitize.core2 import blocks
from digitize.hatching import hatching_links

Line = NDArray[np.float64]
INKING = Inking(seed=5)
ON_EDGE_PX = 1.0
"""More than an edge wanders, less than the shortest line in a corner is long."""
PLATE = box(20, 20, 60, 40)
OPENING = circle(50, 40, 10)


def hatched(area: shapely.Polygon, *, angle_deg: float, step_mm: float) -> list[Line]:
    """Lines over an area at an even step."""
    way = np.array([np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))])
    middle, reach = np.array(area.centroid.coords[0]), 100.0
    lines = []
    for off in np.arange(-reach, reach, step_mm):
        at = middle + off * np.array([-way[1], way[0]])
        cut = shapely.intersection(shapely.LineString([at - reach * way, at + reach * way]), area)
        lines += [line(*piece.coords) for piece in shapely.get_parts(cut) if piece.length > step_mm]
    return lines


def told(lines: list[Line]) -> tuple[NDArray[np.bool_], list[Line]]:
    """Which links of a drawing are hatching, and where each runs, px."""
    strokes = strokes_of(lines, INKING)
    none = np.zeros(len(strokes.links), dtype=np.bool_)
    graph = line_graph(strokes, none)
    return hatching_links(graph, blocks(graph), none), [link.points_px for link in strokes.links]


@pytest.mark.parametrize(
    ("angles_deg", "openings"),
    [((45.0,), [OPENING]), ((45.0, -45.0), []), ((38.0, -52.0), [])],
    ids=["one way, about an opening", "crossed", "crossed askew"],
)
def test_lines_at_an_even_step_are_hatching_and_what_they_fill_is_not(
    angles_deg: tuple[float, ...], openings: list[Line]
) -> None:
    area = shapely.Polygon(PLATE, openings)
    filling = [one for angle in angles_deg for one in hatched(area, angle_deg=angle, step_mm=3.0)]

    hatching, runs_px = told([PLATE, *openings, *filling])

    edge_px = shapely.transform(area.boundary, INKING.to_picture)
    on_edge = np.array([shapely.distance(edge_px, shapely.points(run)).max() < ON_EDGE_PX for run in runs_px])
    assert not hatching[on_edge].any()
    assert hatching[~on_edge].mean() > 0.9


def test_ribs_over_a_wing_are_no_hatching() -> None:
    hatching, _ = told([PLATE, *(line((x, 20), (x, 60)) for x in np.arange(28, 80, 8.0))])

    assert not hatching.any()


def test_lines_at_uneven_steps_are_no_hatching() -> None:
    hatching, _ = told([PLATE, *(line((20, y), (80, y)) for y in (21.2, 25, 26.5, 33, 38, 39.5, 46, 52, 58.6))])

    assert not hatching.any()
