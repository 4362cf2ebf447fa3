"""Which closed lines are a letter by itself: a 0, an O or a Q written on a part, with no other letter near to tell by.

A hole drawn by compass is a circle, a slot has straight sides. The oval of a font is neither, and as large as the
other lettering of the sheet. What is a circle shows on the plan alone: a camera at a slant makes ovals of all.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely
from numpy.typing import NDArray

from digitize.continuation import LineGraph
from digitize.lettering import RING, TALLEST_WIDTHS, TWO_PENS
from digitize.link_sizes import link_lengths_px
from digitize.loop import Loop, Role
from digitize.marks import whole_letters_px
from digitize.strokes import PlanStrokes
from drawing.findings import Finding, Level

Floats = NDArray[np.float64]

NARROWEST = 0.45
"""A letter is at least this wide for its height."""

OVAL_FILL = 0.7, 0.82
"""An ellipse fills its box to pi / 4; one that a tail pulls at to a little less, a slot of a letter's shape to 0.85."""

SLOT_FILL = 0.85
"""What fills more of its box is no letter, nor a slot of a letter's shape; a 0 has fuller shoulders than an O."""

LETTER_SIZES = 0.6, 1.5
"""A letter by itself is as high as this many of the sheet's others: 3.5 mm among letters of 2.5."""

IN_DOUBT = 0.5
"""Confidence of an oval larger than the sheet's other letters that could be one of a title or a mark."""

LONGEST_TAIL = 0.75
"""The tail of a Q is shorter than this, in heights of the letter; a leader or a centre line is longer."""


def without_lone_letters(
    loops: Sequence[Loop], graph: LineGraph, plan: PlanStrokes, lettering: NDArray[np.bool_]
) -> tuple[tuple[Loop, ...], int]:
    """Give the loops, those that are a letter by itself taken for marks, and how many these are.

    Parameters
    ----------
    loops : sequence of Loop
        Parts and holes of the same strokes as `graph`.
    graph : LineGraph
    plan : PlanStrokes
        The strokes on the plan.
    lettering : (L,) array of bool
        Links known to be lettering: a letter by itself is as large, and of the same pen.
    """
    letters_px = whole_letters_px(plan.strokes, lettering)
    if letters_px == 0:
        return tuple(loops), 0
    pen_px = float(np.median([plan.strokes.links[which].width_px for which in np.flatnonzero(lettering).tolist()]))
    around = {loop.parent for loop in loops if loop.role is Role.HOLE}
    at = graph.sides_at(np.flatnonzero(graph.live).tolist())
    done, count = list(loops), 0
    for which, loop in enumerate(loops):
        if loop.role not in (Role.PART, Role.HOLE) or which in around:
            continue
        size_px = float(np.ptp(loop.points_px, axis=0).max())
        width_px = float(np.median([plan.strokes.links[link].width_px for link in loop.links]))
        if not LETTER_SIZES[0] * letters_px < size_px < LETTER_SIZES[1] * letters_px:
            large = loop.role is Role.PART and size_px < TALLEST_WIDTHS * width_px
            if large and _is_oval(_points_mm(plan, loop), most_fill=SLOT_FILL):
                why = "an oval as high for its line as letters are: a 0 or an O of larger lettering, or a small part"
                done[which] = replace(loop, confidence=min(loop.confidence, IN_DOUBT), why=why)
            continue
        if not pen_px / TWO_PENS < width_px < TWO_PENS * pen_px:
            continue
        if _is_oval(_points_mm(plan, loop)) and _has_a_tail_at_most(graph, loop, at, LONGEST_TAIL * size_px):
            why = "an oval as large as the lettering: a letter by itself"
            done[which] = replace(loop, role=Role.MARK, confidence=0.3, why=why, parent=None)
            count += 1
    return tuple(done), count


def _points_mm(plan: PlanStrokes, loop: Loop) -> Floats:
    return np.concatenate(
        [plan.links_mm[side >> 1][::-1] if side & 1 else plan.links_mm[side >> 1] for side in loop.walk]
    )


def _is_oval(points: Floats, *, most_fill: float = OVAL_FILL[1]) -> bool:
    """Tell whether a closed polyline is an oval, neither a circle nor, below a fill of 0.82, a slot."""
    polygon = shapely.make_valid(shapely.Polygon(points))
    box = shapely.minimum_rotated_rectangle(polygon)
    if not OVAL_FILL[0] < shapely.area(polygon) / max(shapely.area(box), 1e-9) < most_fill:
        return False
    # A thorn at the tail widens the box; the area's own axes hardly know of it.
    short, long = _axes(points)
    return bool(NARROWEST * long < short < RING * long)


def _axes(points: Floats) -> tuple[float, float]:
    """The axes of the ellipse whose second moments of area are those of a closed polyline, the shorter first."""
    here = points - points.mean(axis=0)
    there = np.roll(here, -1, axis=0)
    twice = here[:, 0] * there[:, 1] - here[:, 1] * there[:, 0]
    both = here + there
    middle = (twice[:, None] * both).sum(axis=0) / (3 * twice.sum())
    # Of each triangle from the origin (Steger 1996).
    squares = np.einsum("n,ni,nj->ij", twice, both, both)
    squares += np.einsum("n,ni,nj->ij", twice, here, here) + np.einsum("n,ni,nj->ij", twice, there, there)
    spread = squares / (12 * twice.sum()) - np.outer(middle, middle)
    short, long = (4 * np.sqrt(np.maximum(np.linalg.eigvalsh(spread), 0.0))).tolist()
    return short, long


def _has_a_tail_at_most(graph: LineGraph, loop: Loop, at: dict[int, list[int]], longest_px: float) -> bool:
    """Tell whether no line meets a loop but one short stroke inside of it and one outside, that end free."""
    inside: list[int] = []
    outside: list[int] = []
    lengths_px = link_lengths_px(graph.strokes)
    for place in {graph.place_of(side) for side in loop.walk}:
        for side in at.get(place, ()):
            if side >> 1 in loop.links:
                continue
            if lengths_px[side >> 1] > longest_px or len(at[graph.place_of(side ^ 1)]) > 1:
                return False
            middle = graph.strokes.links[side >> 1].points_px.mean(axis=0)
            (inside if shapely.contains_xy(loop.polygon, *middle) else outside).append(side)
    return len(inside) <= 1 and len(outside) <= 1


def told_of_lone_letters(count: int) -> Finding:
    """Say that ovals are taken for letters, and what to do."""
    what, them = (
        ("1 oval as large as the lettering is", "it")
        if count == 1
        else (
            f"{count} ovals as large as the lettering are",
            "any",
        )
    )
    return Finding(
        "letters-alone",
        Level.NOTE,
        "the plan",
        f"{what} taken for a letter by itself, 0, O or Q, and for no opening: take {them} that is to be cut.",
    )
