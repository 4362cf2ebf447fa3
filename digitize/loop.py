"""A closed walk in the strokes and what it is taken for."""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import shapely
from numpy.typing import NDArray

from digitize.continuation import LineGraph
from digitize.faces import Walk, area_px2, reversed_walk, walk_points


class Role(StrEnum):
    """What a closed walk is taken for."""

    PART = "part"
    HOLE = "hole"
    FACE = "face"
    """A field between the inner lines of a part, or between parts: kept so that a person can take it."""
    MARK = "mark"
    """An arrowhead, a balloon, a box around lettering, or too small to be a part."""


CLOSED_ON_ITSELF = 0.95
"""Confidence of a line that is closed on itself, whatever meets it: a letter's outside is rarely one."""


@dataclass(frozen=True, slots=True)
class Loop:
    """A closed walk and what it is taken for.

    `walk` runs clockwise as seen (positive area with y down); `points_px` (N, 2) are its points and
    `polygon` nearly the same with fewer. `parent` is the number of the loop a hole lies in. `why` says
    in a few words what the role rests on.
    """

    walk: Walk
    points_px: NDArray[np.float64]
    polygon: shapely.Polygon
    role: Role
    confidence: float
    why: str
    parent: int | None = None

    @property
    def area_px2(self) -> float:
        """Area inside, px²; holes not taken off."""
        return area_px2(self.points_px)

    @property
    def links(self) -> frozenset[int]:
        """Numbers of the links it runs along."""
        return frozenset(side >> 1 for side in self.walk)


def loop_along(graph: LineGraph, walk: Walk, role: Role, confidence: float, why: str) -> Loop:
    """Give the loop that runs along a walk, clockwise as seen."""
    points = walk_points(graph, walk)
    if area_px2(points) < 0:
        walk = reversed_walk(walk)
        points = walk_points(graph, walk)
    width_px = graph.strokes.links[walk[0] >> 1].width_px
    return Loop(walk, points, _polygon(points, COARSE_WIDTHS * width_px), role, confidence, why)


COARSE_WIDTHS = 0.15
"""What the polygons that loops are compared by may leave out, in line widths: a twentieth of the points, no area."""


def _polygon(points: NDArray[np.float64], slack_px: float) -> shapely.Polygon:
    if len(points) < 3:
        return shapely.Polygon()
    ring = shapely.simplify(shapely.LineString(np.vstack([points, points[:1]])), slack_px, preserve_topology=False)
    polygon = shapely.Polygon(ring.coords if len(ring.coords) > 3 else points)
    if shapely.is_valid(polygon):
        return polygon
    # Noise lets the two sides of a sharp tip cross: the large remainder is meant.
    pieces = [piece for piece in shapely.get_parts(shapely.make_valid(polygon)) if isinstance(piece, shapely.Polygon)]
    return max(pieces, key=shapely.area, default=shapely.Polygon())


THIN_WIDTHS = 1.5
"""A loop whose area over half its perimeter is less, in line widths, is a gap inside one line."""

LONE_THIN_WIDTHS = 1.0
"""The same of a loop that nothing meets: a gap in a line has the line at its ends. The sides of a slender rib drawn
small lie no farther apart than this."""


def crosses_itself(loop: Loop) -> bool:
    """Tell whether a loop is a figure of eight rather than the outline of one area."""
    return bool(shapely.area(loop.polygon) < 0.95 * loop.area_px2)


def is_thin(loop: Loop, width_px: float, *, least_widths: float = THIN_WIDTHS) -> bool:
    """Tell whether a loop is no more than a gap inside one line."""
    around = shapely.length(loop.polygon)
    return bool(around == 0 or 2 * shapely.area(loop.polygon) / around < least_widths * width_px)


SAME_SHARE = 0.9
"""Two loops are one outline, traced twice, from this share of their joint area."""


def is_same(one: Loop, other: Loop) -> bool:
    """Tell whether two loops are one outline, traced twice."""
    common = shapely.area(shapely.intersection(one.polygon, other.polygon))
    return bool(common > SAME_SHARE * (one.area_px2 + other.area_px2 - common))
