"""Parts that may be the holes of one whose outline is open: lines that bound nothing all but surround them."""

from collections.abc import Sequence
from dataclasses import replace
from typing import TypeAlias

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from digitize.continuation import LineGraph
from digitize.facing_ends import MOST_WIDTHS, towards
from digitize.loop import Loop, Role
from digitize.open_outlines import open_pieces
from digitize.strokes import Strokes

Floats: TypeAlias = NDArray[np.float64]

OPEN_AROUND = 0.55
"""Confidence, at most, of a part that open lines all but surround: it is shown as unsure."""

SEEN_RAD = np.radians(300)
"""Seen from its middle, the lines of one figure lie around a hole in so many directions."""

STEP_RAD = np.radians(5)
"""Directions nearer to each other than this count as one."""

STEP_POINTS = 4
"""Of points 1 px apart so many make a step over 5 deg from the middle of the smallest part."""

OPEN_SHARE = 0.25
"""A line that leads from one free end to another around a part is open for no more than this part of its length: a
bracket, a long corner and a bow are open for more."""


def doubted_where_open_around(
    loops: Sequence[Loop], graph: LineGraph, leave_out: NDArray[np.bool_]
) -> tuple[Loop, ...]:
    """Give the loops, each part in doubt that lies in nothing but in what open lines all but surround.

    A line that runs into a part is none of these: a spar, a datum or a centre line passes many parts.

    Parameters
    ----------
    loops : sequence of Loop
        After holes are told from parts.
    graph : LineGraph
    leave_out : (L,) array of bool
        Links that are lettering, measures or sheet furniture: they bound no part.
    """
    wanted = [
        which
        for which, loop in enumerate(loops)
        if loop.role is Role.PART and loop.parent is None and loop.confidence > OPEN_AROUND
    ]
    bounding = {link for loop in loops if loop.role in (Role.PART, Role.HOLE) for link in loop.links}
    is_open = ~leave_out
    is_open[list(bounding)] = False
    if not wanted or not is_open.any():
        return tuple(loops)
    strokes = graph.strokes
    is_open &= ~_running_into(graph, is_open, [loops[which].polygon for which in wanted])
    if not is_open.any():
        return tuple(loops)
    figures = _figures(strokes, is_open)
    rings = _nearly_closed(strokes, is_open)
    around = {
        which
        for which in wanted
        if any(_surrounds(points, loops[which].polygon) for points in figures)
        or any(ring.contains(loops[which].polygon) for ring in rings)
    }
    why = "the lines around it close around no part: it may be a hole of one whose outline is open"
    return tuple(
        replace(loop, confidence=OPEN_AROUND, why=why) if which in around else loop for which, loop in enumerate(loops)
    )


def _running_into(graph: LineGraph, is_open: NDArray[np.bool_], parts: Sequence[shapely.Polygon]) -> NDArray[np.bool_]:
    """Tell which open links are of a line that, carried on over its crossings, runs within a part somewhere."""
    mates = np.flatnonzero(graph.mate >= 0)
    joins = np.array([mates >> 1, graph.mate[mates] >> 1])
    joins = joins[:, is_open[joins].all(axis=0)]
    size = len(is_open)
    line = connected_components(coo_matrix((np.ones(joins.shape[1]), joins), shape=(size, size)), directed=False)[1]
    links = np.flatnonzero(is_open)
    points = [graph.strokes.links[link].points_px for link in links.tolist()]
    middles = shapely.points([each[len(each) // 2] for each in points])
    within = np.zeros(size, np.bool_)
    within[links[shapely.STRtree(middles).query(list(parts), predicate="contains")[1]]] = True
    into: NDArray[np.bool_] = np.isin(line, line[within])
    return into


def _figures(strokes: Strokes, is_open: NDArray[np.bool_]) -> list[Floats]:
    """Points (N, 2) of the open lines, those together that meet or end near each other."""
    links = np.flatnonzero(is_open)
    nodes = np.array([(strokes.links[link].start, strokes.links[link].end) for link in links.tolist()])
    count = np.bincount(nodes.ravel(), minlength=len(strokes.nodes_px))
    free = np.flatnonzero(count == 1)
    width_px = np.zeros(len(strokes.nodes_px))
    for (start, end), link in zip(nodes.tolist(), links.tolist(), strict=True):
        width_px[[start, end]] = strokes.links[link].width_px
    places = strokes.nodes_px[free]
    reach_px = MOST_WIDTHS * width_px[free]
    pairs = cKDTree(places).query_pairs(float(reach_px.max(initial=0.0)), output_type="ndarray")
    far_px = np.hypot(*(places[pairs[:, 0]] - places[pairs[:, 1]]).T)
    pairs = pairs[far_px <= np.minimum(reach_px[pairs[:, 0]], reach_px[pairs[:, 1]])]
    joins = np.concatenate([nodes, free[pairs]])
    size = len(strokes.nodes_px)
    of_node = connected_components(coo_matrix((np.ones(len(joins)), joins.T), shape=(size, size)), directed=False)[1]
    of_link = of_node[nodes[:, 0]]
    order = np.argsort(of_link, kind="stable")
    groups = np.split(links[order], np.flatnonzero(np.diff(of_link[order])) + 1)
    return [
        np.concatenate([strokes.links[link].points_px[::STEP_POINTS] for link in group.tolist()]) for group in groups
    ]


def _surrounds(points: Floats, polygon: shapely.Polygon) -> bool:
    """Whether points lie outside a loop in nearly all directions from its middle."""
    middle = shapely.get_coordinates(shapely.centroid(polygon))[0]
    if not ((points.min(axis=0) < middle) & (middle < points.max(axis=0))).all():
        return False
    shapely.prepare(polygon)
    outside = points[~shapely.contains_xy(polygon, points)]
    away = outside - middle
    steps = np.unique(np.floor(np.arctan2(away[:, 1], away[:, 0]) / STEP_RAD))
    return bool(len(steps) * STEP_RAD >= SEEN_RAD)


def _nearly_closed(strokes: Strokes, is_open: NDArray[np.bool_]) -> list[shapely.Polygon]:
    """What lines from one free end to another enclose with the straight line between these."""
    rings = []
    for run in open_pieces(strokes):
        if not all(is_open[side >> 1] for side in run):
            continue
        points = np.concatenate([towards(strokes.links[side >> 1], side ^ 1) for side in run])
        long_px = float(np.hypot(*np.diff(points, axis=0).T).sum())
        if float(np.hypot(*(points[-1] - points[0]))) <= OPEN_SHARE * long_px and len(points) > STEP_POINTS:
            polygon = shapely.buffer(shapely.Polygon(points[::STEP_POINTS]), 0)
            shapely.prepare(polygon)
            rings.append(polygon)
    return rings
