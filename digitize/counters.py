"""Which small openings are the insides of letters: a P or an 8 that a line touches is no longer known as lettering."""

from dataclasses import replace

import numpy as np
import shapely
from numpy.typing import NDArray

from digitize.continuation import LineGraph
from digitize.loop import Loop, Role
from digitize.marks import whole_letters_px
from digitize.not_parts import is_round

LETTER_SIZES = 1.3
"""The inside of a letter is no larger than this many of the sheet's letters: part names are written larger than notes,
and a closed part is some 0.6 of its letter."""

SLOT_FILL = 0.92
"""A slot fills its box to this share, rounded by blur; the bow of a P or a D to 0.9, an oval to 0.8, a 4 to half."""


def without_counters(
    loops: tuple[Loop, ...], graph: LineGraph, lettering: NDArray[np.bool_], width_px: float
) -> tuple[Loop, ...]:
    """Give the loops, the holes that are the insides of letters taken for marks.

    Such a hole is as small as lettering, neither a circle nor a slot, and strokes leave it: those of its letter, and
    the line that touches these.
    """
    most_px = LETTER_SIZES * whole_letters_px(graph.strokes, lettering)
    at = graph.sides_at(np.flatnonzero(graph.live).tolist())
    done = list(loops)
    for which, loop in enumerate(loops):
        if loop.role is not Role.HOLE or np.ptp(loop.points_px, axis=0).max() >= most_px:
            continue
        places = {graph.place_of(side) for side in loop.walk}
        if all(side >> 1 in loop.links for place in places for side in at.get(place, ())):
            continue
        box = shapely.minimum_rotated_rectangle(loop.polygon)
        is_slot = shapely.area(loop.polygon) > SLOT_FILL * shapely.area(box)
        if not is_slot and not is_round(loop.polygon, width_px=width_px):
            why = "as small as lettering, neither round nor a slot, and strokes leave it: the inside of a letter"
            done[which] = replace(loop, role=Role.MARK, confidence=0.2, why=why, parent=None)
    return tuple(done)
