"""Which circles lie over another outline: a balloon, or a wheel drawn where it sits. Few are parts to cut there."""

from dataclasses import replace

import numpy as np
import shapely

from digitize.continuation import LineGraph
from digitize.loop import Loop, Role
from digitize.not_parts import is_round

IN_DOUBT = 0.5
"""Confidence of such a circle: the ink does not tell a balloon whose number a line runs through from a disc."""

EDGE_WIDTHS = 2.0
"""An outline runs through a circle by more than this, in line widths: by less, their lines merely touch."""


def said_if_over_outlines(loops: tuple[Loop, ...], graph: LineGraph, width_px: float) -> tuple[Loop, ...]:
    """Give the loops, the circles that a larger part's outline runs through or touches from around put in doubt.

    Parts drawn one over another to save paper share a datum or lie whole inside: none is a circle cut by the other.
    """
    parts = [loop for loop in loops if loop.role is Role.PART]
    tree = shapely.STRtree(np.array([shapely.boundary(loop.polygon) for loop in parts], dtype=object))
    done = list(loops)
    for which, loop in enumerate(loops):
        if loop.role is not Role.PART or not is_round(loop.polygon, width_px=width_px):
            continue
        core = shapely.buffer(loop.polygon, -EDGE_WIDTHS * width_px)
        through = tree.query(core, predicate="intersects").tolist()
        if any(parts[other].area_px2 > loop.area_px2 for other in through) or _touches_around(loop, loops, graph):
            why = "a circle that an outline runs through: a balloon, or a wheel drawn where it sits"
            done[which] = replace(loop, confidence=min(loop.confidence, IN_DOUBT), why=why)
    return tuple(done)


def _touches_around(loop: Loop, loops: tuple[Loop, ...], graph: LineGraph) -> bool:
    """Whether a loop touches, from inside, one that it is drawn in."""
    places = {graph.place_of(side) for side in loop.walk}
    return any(
        not places.isdisjoint(graph.place_of(side) for side in other.walk)
        for other in loops
        if other.role is Role.PART and other.area_px2 > loop.area_px2 and shapely.covers(other.polygon, loop.polygon)
    )
