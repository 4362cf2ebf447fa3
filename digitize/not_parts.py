"""Which drawn loops are the sheet's furniture or marks and no parts: border, title block, arrowheads, balloons, boxes."""

import math

import numpy as np
import shapely
from numpy.typing import NDArray

from digitize.continuation import LineGraph, line_graph
from digitize.core2 import blocks
from digitize.faces import Walk, area_px2, closed_strokes, faces, walk_points
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
    strokes: Strokes, *, lettering: NDArray[np.bool_], border_px: NDArray[np.float64] | None
) -> NDArray[np.bool_]:
    """Tell which links are the drawn border and the boxes attached to it.

    A border is where `border_px` says, and any four-sided loop that reaches across nine tenths of all
    that is drawn and has two closed figures inside, circles not counted. A four-sided face on the border smaller than a fifth of
    the sheet is a box of the title block, and so is every four-sided face that shares a line with one.

    Parameters
    ----------
    strokes : Strokes
    lettering : (L,) array of bool
        Links to ignore.
    border_px : (4, 2) array or None
        Corners of the border found elsewhere, picture px.

    Returns
    -------
    (L,) array of bool
    """
    on_border = np.zeros(len(strokes.links), dtype=bool)
    if border_px is not None:
        on_border = _near(strokes, shapely.LinearRing(border_px))
    low, high = _bounds(strokes)
    for _ in range(3):
        graph = line_graph(strokes, lettering | on_border)
        spanning = [
            walk
            for block in blocks(graph)
            if _spans(strokes, block, low, high)
            for walk in [faces(graph, block).outer]
            if walk and is_quad(walk_points(graph, walk), width_px=_width_px(strokes)) and _holds_figures(graph, walk)
        ]
        if not spanning:
            break
        for walk in spanning:
            on_border[[side >> 1 for side in walk]] = True
    if not on_border.any():
        return on_border
    return on_border | _boxes_on(strokes, on_border, lettering)


def is_quad(points_px: NDArray[np.float64], *, width_px: float) -> bool:
    """Tell whether a closed polyline is four straight sides and fills them."""
    corners = hull_corners(points_px, width_px=width_px)
    if len(corners) != 4:
        return False
    return abs(area_px2(points_px)) > QUAD_FILL * abs(area_px2(corners))


def hull_corners(points_px: NDArray[np.float64], *, width_px: float) -> NDArray[np.float64]:
    """Corners of a closed polyline's convex hull, bends under one and a half line widths left out."""
    hull = np.asarray(shapely.convex_hull(shapely.MultiPoint(points_px)).boundary.coords)[:-1]
    if len(hull) < 3:
        return hull
    first = int(np.hypot(*(hull - hull.mean(axis=0)).T).argmax())
    ring = np.roll(hull, -first, axis=0)
    slack_px = max(1.5 * width_px, 0.01 * math.sqrt(abs(area_px2(hull))))
    simple = shapely.simplify(shapely.LineString(np.vstack([ring, ring[:1]])), slack_px)
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


def _bounds(strokes: Strokes) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    lows = np.array([link.points_px.min(axis=0) for link in strokes.links])
    highs = np.array([link.points_px.max(axis=0) for link in strokes.links])
    return lows.min(axis=0), highs.max(axis=0)


def _near(strokes: Strokes, ring: shapely.LinearRing) -> NDArray[np.bool_]:
    """Links that lie along a ring."""
    within_px = max(3 * _width_px(strokes), 0.001 * shapely.length(ring))
    probes = np.array(
        [link.points_px[np.linspace(0, len(link.points_px) - 1, 5).astype(int)] for link in strokes.links]
    )
    far_px = shapely.distance(ring, shapely.points(probes))
    near: NDArray[np.bool_] = (far_px < within_px).all(axis=1)
    # A tick across the border is near it all along too, but it does not run along it.
    lengths_px = np.array([np.hypot(*np.ptp(link.points_px, axis=0)) for link in strokes.links])
    return near & (lengths_px > 2 * within_px)


def _spans(strokes: Strokes, block: list[int], low: NDArray[np.float64], high: NDArray[np.float64]) -> bool:
    lows = np.min([strokes.links[link].points_px.min(axis=0) for link in block], axis=0)
    highs = np.max([strokes.links[link].points_px.max(axis=0) for link in block], axis=0)
    return bool((highs - lows >= BORDER_SPANS * (high - low)).all())


def _holds_figures(graph: LineGraph, border: Walk) -> bool:
    """Tell whether two or more closed figures, circles not counted, lie apart from a loop.

    A plate with lightening holes drawn alone on a sheet has circles only, or one opening.
    """
    places = {graph.place_of(side) for side in border}
    width_px = _width_px(graph.strokes)
    figures = 0
    for block in blocks(graph):
        walks = closed_strokes(graph, block) or [faces(graph, block).outer]
        for walk in walks:
            if walk and places.isdisjoint(graph.place_of(side) for side in walk):
                points = walk_points(graph, walk)
                big = len(points) > 3 and np.ptp(points, axis=0).max() > ARROW_WIDTHS * width_px
                figures += int(big and not is_round(shapely.Polygon(points), width_px=width_px))
        if figures >= 2:
            return True
    return False


def _boxes_on(strokes: Strokes, on_border: NDArray[np.bool_], lettering: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Links of four-sided faces that lie on the border, and of those that lie on such a face."""
    graph = line_graph(strokes, lettering)
    boxes = np.zeros(len(strokes.links), dtype=bool)
    low, high = _bounds(strokes)
    sheet_px2 = float(np.prod(high - low))
    for block in blocks(graph):
        if not on_border[block].any():
            continue
        cells = []
        for walk in faces(graph, block).inner:
            points = walk_points(graph, walk)
            if abs(area_px2(points)) < CELL_OF_SHEET * sheet_px2 and is_quad(points, width_px=_width_px(strokes)):
                cells.append({side >> 1 for side in walk})
        reached = set(np.flatnonzero(on_border).tolist())
        waiting = cells
        while True:
            now = [cell for cell in waiting if cell & reached]
            if not now:
                break
            waiting = [cell for cell in waiting if not cell & reached]
            for cell in now:
                reached |= cell
                boxes[list(cell)] = True
    return boxes
