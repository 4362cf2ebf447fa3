"""Loops that were found and are no parts, for a person to take; and points by which any loop is told from others."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from digitize.choices import AREA_WITHIN, Region, inside_regions
from digitize.loop import Loop, Role
from drawing.paths import Point


@dataclass(frozen=True, slots=True)
class NotTaken:
    """A loop that was found and is no part: a hole, a field, a mark, or one that a person dropped.

    `points_px` (N, 2) run around it, nearly as found: with a twentieth of the points. `inside_px` and `area_px2` are
    those by which a choice finds it. `choice` is the number of the choice that dropped it, None where the program left
    it out.
    """

    points_px: NDArray[np.float64]
    inside_px: Point
    area_px2: float
    why: str
    choice: int | None


def not_taken(
    loops: Sequence[Loop], parts: Sequence[int], chosen_by: Mapping[int, Sequence[int]], regions: Sequence[Region]
) -> tuple[NotTaken, ...]:
    """Give every loop that is no part and could be taken for one; largest first.

    Parameters
    ----------
    loops : sequence of Loop
        With all choices carried out.
    parts : sequence of int
        Numbers of the loops that are parts, those left out by the regions too: nothing takes these.
    chosen_by : mapping
        For a loop's number the numbers of the choices about it.
    regions : sequence of Region
        A loop that they leave out is not given: taking it would change nothing.
    """
    taken = set(parts)
    left = [which for which, loop in enumerate(loops) if which not in taken and not shapely.is_empty(loop.polygon)]
    if regions and left:
        counts = inside_regions(regions, np.array([loops[which].polygon for which in left], dtype=object))
        left = [which for which, is_in in zip(left, counts, strict=True) if is_in]
    left.sort(key=lambda which: -loops[which].area_px2)
    free = clear_of_alike(loops, left)
    return tuple(
        NotTaken(
            shapely.get_coordinates(loops[which].polygon.exterior)[:-1],
            point_in(free[which]),
            loops[which].area_px2,
            _why(loops[which], dropped=bool(chosen_by.get(which))),
            chosen_by[which][-1] if chosen_by.get(which) else None,
        )
        for which in left
    )


def clear_of_alike(loops: Sequence[Loop], wanted: Sequence[int]) -> dict[int, shapely.Geometry]:
    """Give the inside of each wanted loop without the other loops that a choice could mistake for it.

    That are those of nearly its area which overlap it: a point in both would fit two outlines. Where nothing is left
    the whole inside is given.
    """
    polygons = np.array([loop.polygon for loop in loops], dtype=object)
    areas = np.array([loop.area_px2 for loop in loops])
    tree = shapely.STRtree(polygons)
    free: dict[int, shapely.Geometry] = {}
    own, other = tree.query(polygons[list(wanted)], predicate="intersects") if len(wanted) else (np.array([]),) * 2
    for at, which in enumerate(wanted):
        near = other[own == at]
        near = near[(near != which) & (np.abs(areas[near] - areas[which]) <= ALIKE * areas[which])]
        clear = shapely.difference(polygons[which], shapely.union_all(polygons[near])) if len(near) else polygons[which]
        free[which] = polygons[which] if shapely.area(clear) < LEAST_CLEAR * areas[which] else clear
    return free


ALIKE = 1.2 * AREA_WITHIN
"""Areas within this share may come to count as one and the same once lines are found a little differently."""

LEAST_CLEAR = 1e-3
"""A sliver smaller than this share of an outline is its line's own noise: no place for a point."""


def point_in(area: shapely.Geometry) -> Point:
    """Give a point well inside."""
    at = shapely.point_on_surface(area)
    return float(shapely.get_x(at)), float(shapely.get_y(at))


def _why(loop: Loop, *, dropped: bool) -> str:
    if dropped:
        return "left out by you"
    return "a hole" if loop.role is Role.HOLE else loop.why
