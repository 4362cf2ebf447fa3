"""Which figures are parts drawn side by side, each with its own name, and not one part with lines on it."""

from collections import Counter
from collections.abc import Callable, Sequence
from typing import TypeAlias

import numpy as np
import shapely
from numpy.typing import NDArray

from digitize.continuation import LineGraph
from digitize.faces import Walk
from digitize.loop import Loop

Names: TypeAlias = Callable[[], tuple[NDArray[np.float64], NDArray[np.float64]]]
"""Gives the middles (N, 2) of letters and lone figures, and those of what may be one or not, px."""

NEAR_MIDDLE = 0.3
"""A part's name stands this near to its middle, in parts of the root of its area. What is written at a rib stands
beside its line."""

MOST_FIELDS = 12
"""Of so many parts in a row, each with its name, nothing is drawn; panels have as many ribs."""

LEAST_FIELD = 0.15
"""No field is smaller than this part of the largest: what a line cuts off a corner is no part, whatever is in it."""


def are_named_parts(
    graph: LineGraph,
    outer: Walk,
    fields: Sequence[Loop],
    inner: set[int],
    names: Names,
    full_px: float,
) -> bool:
    """Tell whether the lines inside a figure are the edges that parts in a row share.

    They are as wide as the outline, run across it from edge to edge without meeting one another, and every field
    between them has lettering in its middle, or a hole or a lone 1 where at least as many others have lettering. Spars
    cross ribs; a panel's bays are not all named.

    Parameters
    ----------
    graph : LineGraph
    outer : Walk
        The figure's outside.
    fields : sequence of Loop
        What its lines make of it.
    inner : set of int
        Numbers of the lines inside.
    names : callable
        Asked only where the lines are such edges.
    full_px : float
        The width from which a line is as wide as the outside's.
    """
    if len(fields) > MOST_FIELDS or not are_in_a_row(graph, outer, fields, inner, full_px):
        return False
    names_px, others_px = names()
    named = [has_in_middle(field, names_px) for field in fields]
    if 2 * sum(named) < len(fields):
        return False
    return all(is_named or has_in_middle(field, others_px) for field, is_named in zip(fields, named, strict=True))


def are_in_a_row(graph: LineGraph, outer: Walk, fields: Sequence[Loop], inner: set[int], full_px: float) -> bool:
    """Tell whether lines as wide as a figure's outline run across it from edge to edge, none meeting another, and no
    field between them is far smaller than the rest.

    Parameters are those of `are_named_parts`.
    """
    links = graph.strokes.links
    if len(fields) < 2 or not inner or min(links[link].width_px for link in inner) < full_px:
        return False
    edge = {graph.place_of(side) for side in outer}
    ends = Counter(graph.place_of(side) for link in inner for side in (2 * link, 2 * link + 1))
    if any(count > (1 if place in edge else 2) for place, count in ends.items()):
        return False
    # Each line across parts one field more off.
    if sum(count == 1 for count in ends.values()) != 2 * (len(fields) - 1) or not set(ends) & edge:
        return False
    areas = np.array([field.area_px2 for field in fields])
    return bool(areas.min() >= LEAST_FIELD * areas.max())


def has_in_middle(field: Loop, points_px: NDArray[np.float64]) -> bool:
    """Tell whether one of some points (N, 2), px, lies in a field's middle."""
    points = shapely.points(points_px)
    near = shapely.distance(shapely.centroid(field.polygon), points) < NEAR_MIDDLE * np.sqrt(field.area_px2)
    return bool((near & shapely.contains(field.polygon, points)).any())
