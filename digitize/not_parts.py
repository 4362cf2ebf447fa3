"""Which drawn loops are the sheet's furniture or marks and no parts: border, title block, arrowheads."""

import math

import numpy as np
import shapely
from numpy.typing import NDArray

from digitize.continuation import LineGraph
from digitize.faces import Walk, area_px2, closed_strokes, faces, walk_points
from digitize.link_sizes import link_bounds_px
from digitize.strokes import Strokes

BORDER_SPANS = 0.9
"""A border reaches across at least this share of all that is drawn, both ways."""

CELL_OF_SHEET = 0.2
"""A box on the border larger than this share of the sheet is the drawing field, not a title block."""

QUAD_FILL = 0.96
"""A four-sided loop fills its four-cornered hull to this share; a rib or a rounded former does not."""

ROUND = 0.94
"""4 pi area / perimeter² of a circle drawn by hand or by compass; a square has 0.785, a 3:2 ellipse 0.92."""


def furniture_links(
    graph: LineGraph, figures: list[list[int]], *, border_px: NDArray[np.float64] | None
) -> NDArray[np.bool_]:
    """Tell which links are the drawn border and the boxes attached to it.

    A border is where `border_px` says, and any four-sided loop that reaches across nine tenths of all that
    is drawn and has two closed figures side by side inside, circles not counted. A four-sided face on the border
    smaller than a fifth of the sheet is a box of the title block, and so is every four-sided face that
    shares a line with one.

    Parameters
    ----------
    graph : LineGraph
    figures : list of list of int
        The graph's blocks.
    border_px : (4, 2) array or None
        Corners of the border found elsewhere, picture px.

    Returns
    -------
    (L,) array of bool
    """
    strokes = graph.strokes
    on_border = np.zeros(len(strokes.links), dtype=bool)
    if border_px is not None:
        on_border = _near(strokes, shapely.LinearRing(border_px))
    width_px = _width_px(strokes)
    boxes = link_bounds_px(strokes)
    live = boxes[graph.live]
    if not len(live):
        return on_border
    across_px = live[:, 2:].max(axis=0) - live[:, :2].min(axis=0)
    for block in figures:
        size_px = boxes[block, 2:].max(axis=0) - boxes[block, :2].min(axis=0)
        if (size_px < BORDER_SPANS * across_px).any():
            continue
        for walk in {faces(graph, block).outer, *closed_strokes(graph, block)}:
            links = [side >> 1 for side in walk]
            if not walk or (np.ptp(boxes[links].reshape(-1, 2), axis=0) < BORDER_SPANS * across_px).any():
                continue
            if is_quad(walk_points(graph, walk), width_px=width_px) and _holds_figures(graph, figures, walk):
                on_border[links] = True
    if not on_border.any():
        return on_border
    return on_border | _boxes_on(graph, figures, on_border, float(np.prod(across_px)))


def is_quad(points_px: NDArray[np.float64], *, width_px: float) -> bool:
    """Tell whether a closed polyline is four straight sides and fills them."""
    corners = hull_corners(points_px, width_px=width_px)
    if len(corners) != 4:
        return False
    return abs(area_px2(points_px)) > QUAD_FILL * abs(area_px2(corners))


def hull_corners(points_px: NDArray[np.float64], *, width_px: float) -> NDArray[np.float64]:
    """Corners of a closed polyline's convex hull, bends under one and a half line widths left out."""
    hull = np.asarray(shapely.convex_hull(shapely.LineString(points_px)).boundary.coords)[:-1]
    if len(hull) < 3:
        return hull
    first = int(np.hypot(*(hull - hull.mean(axis=0)).T).argmax())
    ring = np.roll(hull, -first, axis=0)
    slack_px = max(1.5 * width_px, 0.01 * math.sqrt(abs(area_px2(hull))))
    simple = shapely.simplify(shapely.LineString(np.vstack([ring, ring[:1]])), slack_px, preserve_topology=False)
    return np.asarray(simple.coords)[:-1]


def is_round(polygon: shapely.Polygon, *, width_px: float) -> bool:
    """Tell whether a loop is a circle."""
    smooth = shapely.simplify(polygon, 0.2 * width_px)
    around_px = shapely.length(smooth)
    return bool(around_px > 0 and 4 * math.pi * shapely.area(smooth) / around_px**2 > ROUND)


ARROW_WIDTHS = 16.0
"""An arrowhead is at most this long, in line widths: 4 mm for a 0.25 mm line."""

ARROW_POINT_RAD = math.radians(50)
"""An arrowhead's point is sharper than this."""


def is_arrowhead(points_px: NDArray[np.float64], *, width_px: float) -> bool:
    """Tell whether a loop is a small sharp triangle, its base straight or notched."""
    if np.ptp(points_px, axis=0).max() > ARROW_WIDTHS * width_px:
        return False
    corners = hull_corners(points_px, width_px=0.6 * width_px)
    if len(corners) != 3:
        return False
    area = abs(area_px2(corners))
    if area == 0 or abs(area_px2(points_px)) < 0.5 * area:
        return False
    before, after = np.roll(corners, 1, axis=0) - corners, np.roll(corners, -1, axis=0) - corners
    cosines = (before * after).sum(axis=1) / (np.hypot(*before.T) * np.hypot(*after.T))
    return bool(np.arccos(np.clip(cosines, -1, 1)).min() < ARROW_POINT_RAD)


def _width_px(strokes: Strokes) -> float:
    return float(np.median([link.width_px for link in strokes.links]))


def _near(strokes: Strokes, ring: shapely.LinearRing) -> NDArray[np.bool_]:
    """Links that lie along a ring."""
    within_px = max(3 * _width_px(strokes), 0.001 * shapely.length(ring))
    counts = np.array([len(link.points_px) for link in strokes.links])
    at = np.linspace(0, counts - 1, 5, axis=1).astype(int) + (np.cumsum(counts) - counts)[:, None]
    probes = np.concatenate([link.points_px for link in strokes.links])[at]
    far_px = np.asarray(shapely.distance(ring, shapely.points(probes)))
    near: NDArray[np.bool_] = np.asarray((far_px < within_px).all(axis=1))
    # A tick across the border is near it all along too, but it does not run along it.
    bounds_px = link_bounds_px(strokes)
    lengths_px = np.hypot(*(bounds_px[:, 2:] - bounds_px[:, :2]).T)
    along: NDArray[np.bool_] = near & (lengths_px > 2 * within_px)
    return along


def _holds_figures(graph: LineGraph, figures: list[list[int]], border: Walk) -> bool:
    """Tell whether two or more closed figures side by side, circles not counted, lie in a loop and apart from it.

    A plate with lightening holes drawn alone on a sheet has circles only, or one opening; a frame with something
    drawn inside it has figures one in another. A border's second line is no figure.
    """
    frame = shapely.buffer(shapely.Polygon(walk_points(graph, border)), 0)
    across_px = BORDER_SPANS * np.ptp(walk_points(graph, border), axis=0)
    places = {graph.place_of(side) for side in border}
    width_px = _width_px(graph.strokes)
    held: list[shapely.Polygon] = []
    for block in figures:
        for walk in closed_strokes(graph, block) or [faces(graph, block).outer]:
            if not walk or not places.isdisjoint(graph.place_of(side) for side in walk):
                continue
            points = walk_points(graph, walk)
            if len(points) < 4 or np.ptp(points, axis=0).max() <= ARROW_WIDTHS * width_px:
                continue
            figure = shapely.convex_hull(shapely.LineString(points))
            if not isinstance(figure, shapely.Polygon) or (np.ptp(points, axis=0) > across_px).all():
                continue
            if not shapely.contains(frame, figure):
                continue
            if not is_round(figure, width_px=width_px) and all(shapely.disjoint(figure, other) for other in held):
                held.append(figure)
            if len(held) >= 2:
                return True
    return False


def _boxes_on(
    graph: LineGraph, figures: list[list[int]], on_border: NDArray[np.bool_], sheet_px2: float
) -> NDArray[np.bool_]:
    """Links of four-sided faces that lie on the border, and of those that lie on such a face."""
    boxes = np.zeros(len(on_border), dtype=bool)
    width_px = _width_px(graph.strokes)
    for block in figures:
        if not on_border[block].any():
            continue
        waiting = []
        for walk in faces(graph, block).inner:
            points = walk_points(graph, walk)
            if abs(area_px2(points)) < CELL_OF_SHEET * sheet_px2 and is_quad(points, width_px=width_px):
                waiting.append({side >> 1 for side in walk})
        reached = set(np.flatnonzero(on_border).tolist())
        while True:
            now = [cell for cell in waiting if cell & reached]
            if not now:
                break
            waiting = [cell for cell in waiting if not cell & reached]
            for cell in now:
                reached |= cell
                boxes[list(cell)] = True
    return boxes
