"""Which small openings are the insides of letters: a P or an 8 that a line touches is no longer known as lettering."""

from dataclasses import replace
from functools import cache

import numpy as np
import shapely
from numpy.typing import NDArray

from digitize.continuation import LineGraph
from digitize.lettering import Piece, small_pieces
from digitize.loop import Loop, Role
from digitize.marks import whole_letters_px
from digitize.not_parts import is_round

LETTER_SIZES = 1.3
"""The inside of a letter is no larger than this many of the sheet's letters: part names are written larger than notes,
and a closed part is some 0.6 of its letter."""

SLOT_FILL = 0.92
"""A slot fills its box to this share, rounded by blur; the bow of a P or a D to 0.9, an oval to 0.8, a 4 to half."""


HOLLOW = 0.97
"""Letters that touch leave more of their hull empty; small openings bow outward all round."""

FINER = 1.5
"""An opening is drawn with its part's pen; a line so much finer, neither round nor a slot, is of lettering."""

HIGHEST_LETTERS = 2.0
"""... if it is no higher than so many of the sheet's letters."""

MOST_LETTERS = 3.0
"""So many letters that touch are looked for, by how long their outline is for a letter's height."""

BOLD = 2.0
"""A bold letter's strokes are at least this many times as wide as the outline of the part that it stands on."""


def without_counters(
    loops: tuple[Loop, ...], graph: LineGraph, lettering: NDArray[np.bool_], width_px: float
) -> tuple[Loop, ...]:
    """Give the loops, the holes that are the insides of letters taken for marks.

    Such a hole is one of these:

    - as small as lettering, neither a circle nor a slot, and strokes leave it: those of its letter, and the line
      that touches these;
    - neither a circle nor a slot, and with the strokes that leave it, all of them outward, a letter by itself;
    - as high as lettering, and bent inward: letters that touch;
    - as high as lettering, neither a circle nor a slot, and drawn with a finer pen than the part;
    - drawn with strokes much wider than the part's outline.
    """
    letters_px = whole_letters_px(graph.strokes, lettering)
    at = graph.sides_at(np.flatnonzero(graph.live).tolist())
    piece_of = cache(lambda: {link: one for one in small_pieces(graph.strokes) for link in one.links.tolist()})
    done = list(loops)
    for which, loop in enumerate(loops):
        if loop.role is not Role.HOLE:
            continue
        places = {graph.place_of(side) for side in loop.walk}
        alone = all(side >> 1 in loop.links for place in places for side in at.get(place, ()))
        why = None
        pens = 1.0 if loop.parent is None else _pen_px(graph, loop) / _pen_px(graph, loops[loop.parent])
        if pens > BOLD:
            why = "drawn with much wider strokes than the part's outline: the inside of a bold letter"
        elif not _is_opening(loop.polygon, width_px):
            if not alone and np.ptp(loop.points_px, axis=0).max() < LETTER_SIZES * letters_px:
                why = "as small as lettering, neither round nor a slot, and strokes leave it: the inside of a letter"
            elif _is_letter(loop, piece_of().get(loop.walk[0] >> 1)):
                why = "neither round nor a slot, and with the strokes that leave it a letter by itself"
            elif alone and _are_letters(loop.polygon, letters_px):
                why = "as high as lettering, and bent inward: letters that touch"
            elif alone and pens < 1 / FINER and _box_px(loop.polygon)[0] < HIGHEST_LETTERS * letters_px:
                why = "as small as lettering, neither round nor a slot, and drawn with a finer pen than the part"
        if why is not None:
            done[which] = replace(loop, role=Role.MARK, confidence=0.2, why=why, parent=None)
    return tuple(done)


def _is_opening(polygon: shapely.Polygon, width_px: float) -> bool:
    """Whether a loop is a circle or a slot."""
    box = shapely.minimum_rotated_rectangle(polygon)
    is_slot = shapely.area(polygon) > SLOT_FILL * shapely.area(box)
    return bool(is_slot or is_round(polygon, width_px=width_px))


def _is_letter(loop: Loop, piece: Piece | None) -> bool:
    """Whether a connected piece as small as a letter is a loop with strokes that leave it outward and end free."""
    if piece is None or piece.ends == 0 or not loop.links < set(piece.links.tolist()):
        return False
    others = [link for which, link in zip(piece.links.tolist(), piece.members, strict=True) if which not in loop.links]
    return not any(shapely.contains_xy(loop.polygon, *link.points_px.mean(axis=0)) for link in others)


def _are_letters(polygon: shapely.Polygon, letters_px: float) -> bool:
    """Whether a loop that nothing meets is as high as lettering, and bent inward."""
    if shapely.area(polygon) > HOLLOW * shapely.area(shapely.convex_hull(polygon)):
        return False
    short, long = _box_px(polygon)
    return bool(short < LETTER_SIZES * letters_px and long < MOST_LETTERS * letters_px)


def _box_px(polygon: shapely.Polygon) -> tuple[float, float]:
    """The sides of the least box around a loop, the shorter first."""
    box = shapely.get_coordinates(shapely.minimum_rotated_rectangle(polygon))
    short, long = sorted(np.hypot(*np.diff(box[:3], axis=0).T).tolist())
    return short, long


def _pen_px(graph: LineGraph, loop: Loop) -> float:
    return float(np.median([graph.strokes.links[link].width_px for link in loop.links]))
