"""Outlines drawn one inside another upon a straight edge that they share: ribs on their datum, halves of formers."""

from dataclasses import replace

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from digitize.continuation import LineGraph, Side, points_from
from digitize.dashed_lines import is_straight
from digitize.faces import Walk, reversed_walk
from digitize.loop import Loop, Role, crosses_itself, is_same, is_thin, loop_along
from digitize.nesting import ALIKE_SHARE, EVEN_WALL, ONE_SHAPE, alike, has_tip

TIPPED, BLUNT = 0.7, 0.6
"""Confidence of what has a tip as the outline around it has, and of what has not: it may be an opening to the edge."""


def nested_on_edge(graph: LineGraph, outline: Loop, inside: set[int], width_px: float) -> list[Loop]:
    """Give the outlines inside another that a line closes with a straight stretch of its edge, the largest first.

    Each has the shape of the next one around it, at a wall that is not even: an opening or a doubler keeps its
    distance, while a rib drawn smaller comes nearer at one end than at the other.

    Parameters
    ----------
    graph : LineGraph
    outline : Loop
        A part.
    inside : set of int
        Links that lie in it.
    width_px : float
        Width of the drawn lines.
    """
    edge = {graph.place_of(side): at for at, side in enumerate(outline.walk)}
    seen: set[int] = set()
    lines: list[tuple[Loop, Walk]] = []
    for link in sorted(inside):
        for side in (2 * link, 2 * link + 1):
            if link in seen or graph.place_of(side) not in edge:
                continue
            line = _line_to_edge(graph, side, edge)
            if not line:
                continue
            seen.update(one >> 1 for one in line)
            ends = edge[graph.place_of(line[-1] ^ 1)], edge[graph.place_of(side)]
            along = _straight_between(graph, outline.walk, *ends)
            if along:
                loop = loop_along(graph, (*line, *along), Role.PART, BLUNT, "shares a line with its neighbour")
                lines.append((loop, line))
    found: list[Loop] = []
    around = outline
    for loop, line in sorted(lines, key=lambda one: -one[0].area_px2):
        own_px = _points(graph, line)
        if crosses_itself(loop) or is_thin(loop, width_px) or not _is_smaller_copy(loop, around):
            continue
        if _keeps_distance(own_px, around.points_px, width_px):
            continue
        found.append(replace(loop, confidence=TIPPED) if has_tip(loop.polygon, width_px) else loop)
        around = loop
    return found


def _line_to_edge(graph: LineGraph, side: Side, edge: dict[int, int]) -> Walk:
    """The sides of a line that leaves the edge and comes back to it, carrying on wherever others meet it."""
    line = [side]
    while graph.place_of(line[-1] ^ 1) not in edge:
        after = int(graph.mate[line[-1] ^ 1])
        if after < 0 or after in line or len(line) > len(graph.mate):
            return ()
        line.append(after)
    return tuple(line) if graph.place_of(line[-1] ^ 1) != graph.place_of(side) else ()


def _straight_between(graph: LineGraph, walk: Walk, start: int, end: int) -> Walk:
    """The sides of a closed walk from one of its places to another, by number, that lie on one ruled line, or none."""
    ahead = walk[start:end] if start < end else walk[start:] + walk[:end]
    behind = walk[end:start] if end < start else walk[end:] + walk[:start]
    for sides in (ahead, reversed_walk(behind)):
        if is_straight(_points(graph, sides), graph.strokes.links[sides[0] >> 1].width_px):
            return sides
    return ()


def _points(graph: LineGraph, sides: Walk) -> NDArray[np.float64]:
    return np.concatenate([points_from(graph.strokes, side) for side in sides])


HELD_SHARE = 0.98
"""A loop lies in another with all but a sliver of its area."""


def _is_smaller_copy(loop: Loop, around: Loop) -> bool:
    if loop.area_px2 < ALIKE_SHARE * around.area_px2 or is_same(loop, around):
        return False
    common_px2 = float(shapely.area(shapely.intersection(loop.polygon, around.polygon)))
    return common_px2 > HELD_SHARE * loop.area_px2 and alike(loop.polygon, around.polygon, least=ONE_SHAPE)


def _keeps_distance(line_px: NDArray[np.float64], around_px: NDArray[np.float64], width_px: float) -> bool:
    """Whether a line with both its ends on a straight edge runs at an even distance from the outline's other sides."""
    start, end = line_px[[0, -1]]
    across = (end - start)[::-1] * [-1, 1] / np.hypot(*(end - start))
    off_px = np.abs((around_px - start) @ across)
    others = around_px[off_px > width_px]
    if len(others) < 2:
        return True
    some = line_px[:: max(1, len(line_px) // SOME_POINTS)]
    walls_px = cKDTree(others).query(some)[0]
    return bool(walls_px.std() < EVEN_WALL * walls_px.mean())


SOME_POINTS = 200
"""Points of a line that its distance from another is taken at."""
