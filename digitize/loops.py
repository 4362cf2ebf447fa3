"""Which closed walks in the strokes are outlines of parts, which are their holes, and which are neither."""

import math
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import shapely
from numpy.typing import NDArray

from digitize.continuation import LineGraph, line_graph
from digitize.core2 import blocks
from digitize.counters import without_counters
from digitize.dashed_lines import is_straight
from digitize.faces import closed_strokes, faces
from digitize.groups import group_loops, joined_fields, named_parts
from digitize.half_openings import with_half_openings
from digitize.hatching import hatching_links
from digitize.hinge_lines import parted_at_hinges
from digitize.lettering import names_and_others_px
from digitize.link_sizes import link_lengths_px
from digitize.lone_openings import said_if_lone_openings
from digitize.loop import (
    CLOSED_ON_ITSELF,
    LONE_THIN_WIDTHS,
    SAME_SHARE,
    Loop,
    Role,
    crosses_itself,
    is_same,
    is_thin,
    loop_along,
)
from digitize.marks import without_marks
from digitize.measures import links_beside, without_dimension_lines
from digitize.named_fields import Names
from digitize.nested_on_edge import nested_on_edge
from digitize.nesting import FRAME, alike, has_tip, nest
from digitize.not_parts import furniture_links, is_quad
from digitize.open_around import doubted_where_open_around
from digitize.over_outlines import said_if_over_outlines
from digitize.pens import finer_lines, with_full_lines
from digitize.shared_lines import ring_bend_rad, sharing_strokes
from digitize.strokes import Strokes


@dataclass(frozen=True, slots=True)
class Loops:
    """Every loop worth knowing, the graph they were found in, and the links that are sheet furniture and measures."""

    loops: tuple[Loop, ...]
    graph: LineGraph
    furniture: NDArray[np.bool_]
    measures: NDArray[np.bool_]


def find_loops(strokes: Strokes, *, lettering: NDArray[np.bool_], border_px: NDArray[np.float64] | None) -> Loops:
    """Find the outlines of parts and their holes.

    The rule. In every block (two lines of a block lie on one closed walk):

    1. A line that comes back to its own start, carrying straight on wherever others meet it and turning
       only where it is alone, is an outline. Lines across it, and its neighbours, do not matter.
    2. What such outlines leave over, or the whole block where there is none, is one more outline: its outer
       boundary. It may turn from a line that ends onto one that runs on (a shared edge), but not
       from one line that runs on to another: that is a field between crossing lines.
    3. A line inside that joins two places where the boundary turns inward parts it in two. So does one that carries on
       a side of the boundary from such a place to the far edge, where all lines inside are such ones and as wide; and
       so do lines across it where every field between them has its own name.
    4. A line inside that comes back to the same straight side of the boundary, and with that makes a smaller copy of
       it, is one more outline.

    What a centre line closes in a half as an opening, and what a hinge line or a shared edge parts or may part, is told
    when the blocks are done.

    The other fields of the block are kept as FACE. `nest` then tells holes from parts.

    Parameters
    ----------
    strokes : Strokes
    lettering : (L,) array of bool
        Links that are lettering.
    border_px : (4, 2) array or None
        The drawn border's corners, if found.
    """
    none_yet = np.zeros(len(strokes.links), dtype=bool)
    if not strokes.links:
        return Loops((), line_graph(strokes, none_yet), none_yet, none_yet)
    graph = line_graph(strokes, lettering)
    figures = blocks(graph)
    furniture = furniture_links(graph, figures, border_px=border_px)
    if furniture.any():
        graph = line_graph(strokes, lettering | furniture)
        figures = blocks(graph)
    hatching = hatching_links(graph, figures, lettering)
    if hatching.any():
        furniture = furniture | hatching
        graph = line_graph(strokes, lettering | furniture)
        figures = blocks(graph)
    graph, figures, measures = without_dimension_lines(graph, figures, lettering)
    width_px = float(np.median([link.width_px for link in strokes.links]))
    extensions = links_beside(graph, measures)
    names = cache(lambda: names_and_others_px(strokes))
    loops = [loop for block in figures for loop in _block_loops(graph, block, width_px, extensions, names)]
    finer = finer_lines(graph, figures)
    if finer.any():
        full = line_graph(strokes, lettering | furniture | measures | finer)
        of_full = [loop for block in blocks(full) for loop in _block_loops(full, block, width_px, set(), names)]
        letters = [strokes.links[link].points_px.mean(axis=0) for link in np.flatnonzero(lettering).tolist()]
        loops = with_full_lines(loops, of_full, finer, letters_px=np.array(letters).reshape(-1, 2))
    loops = with_half_openings(loops, graph, names)
    loops = parted_at_hinges(loops, graph, names, hatching)
    loops = said_if_lone_openings(loops, graph, lettering)
    loops = without_marks(loops, graph, strokes, lettering, names, width_px)
    nested = without_counters(_nested(loops, graph, width_px, names), graph, lettering, width_px)
    nested = said_if_over_outlines(nested, graph, width_px)
    nested = tuple(_said_if_bridged(loop, strokes) for loop in nested)
    nested = doubted_where_open_around(nested, graph, lettering | furniture | measures)
    return Loops(nested, graph, furniture, measures)


BRIDGED = 0.75
"""Confidence of an outline whose line has bridged gaps, at most: it is told of, and is a part all the same."""


GUESSED = 0.6
"""Confidence, at most, of an outline that is open and was closed by guess: a person looks at it."""


def _said_if_bridged(loop: Loop, strokes: Strokes) -> Loop:
    guessed = sum(strokes.links[link].guessed for link in loop.links)
    if loop.role is Role.PART and guessed:
        places = "one place" if guessed == 1 else f"{guessed} places"
        why = f"its line is open at {places} where no two ends point at each other, and was closed there by guess"
        return replace(loop, confidence=min(loop.confidence, GUESSED), why=why)
    if loop.role is not Role.PART or not any(strokes.links[link].bridged for link in loop.links):
        return loop
    why = "its line has gaps, bridged where two ends point at each other"
    return replace(
        loop, confidence=min(loop.confidence, BRIDGED), why=f"{loop.why}; {why}" if loop.confidence < 0.8 else why
    )


def _block_loops(graph: LineGraph, block: list[int], width_px: float, extensions: set[int], names: Names) -> list[Loop]:
    """The loops of one block: outlines, and the fields of what holds lines inside."""
    whole = faces(graph, block)
    if not whole.outer:
        return []
    if len(whole.inner) == 1:
        loop = loop_along(graph, whole.outer, Role.PART, 1.0, "a line closed on itself")
        return [] if is_thin(loop, width_px, least_widths=LONE_THIN_WIDTHS) else [loop]
    strokes_closed = closed_strokes(graph, block)
    taken = [
        loop_along(graph, walk, Role.PART, CLOSED_ON_ITSELF, "a line closed on itself, met by others")
        for walk in strokes_closed
    ]
    taken = [loop for loop in taken if not crosses_itself(loop) and not is_thin(loop, width_px)]
    fields = [loop_along(graph, walk, Role.FACE, 0.3, "a field between lines") for walk in whole.inner]
    inside = shapely.point_on_surface(np.array([field.polygon for field in fields], dtype=object))
    covered = np.zeros(len(fields), dtype=bool)
    named: list[Loop] = []
    for loop in list(taken):
        is_own = shapely.contains(loop.polygon, inside)
        covered |= is_own
        parts = named_parts(graph, loop.walk, [fields[which] for which in np.flatnonzero(is_own).tolist()], names)
        if parts:
            taken.remove(loop)
            named += parts
    taken += named
    walls = {link for loop in taken for link in loop.links}
    left = [field for field, is_in in zip(fields, covered, strict=True) if not is_in]
    shared = [
        _sharing(loop_along(graph, walk, Role.PART, SHARING, "shares a line with its neighbour"), width_px)
        for walk in sharing_strokes(graph, block, walls)
    ]
    shared = [loop for loop in shared if not crosses_itself(loop) and not is_thin(loop, width_px)]
    for group in joined_fields(left, walls):
        outlines = group_loops(graph, group, walls, extensions, names)
        taken += [
            loop
            for loop in outlines
            if walls.isdisjoint(loop.links) or not any(_is_rest(loop, one, graph) for one in shared)
        ]
    parts = [one for one in taken if one.role is Role.PART]
    taken += [loop for loop in shared if not any(is_same(loop, one) or _is_cut_off(loop, one, graph) for one in parts)]
    walls = {link for loop in taken for link in loop.links}
    for loop in [one for one in taken if one.role is Role.PART]:
        is_own = shapely.contains(loop.polygon, inside)
        lines = {link for which in np.flatnonzero(is_own).tolist() for link in fields[which].links}
        taken += nested_on_edge(graph, loop, lines - walls, width_px)
    taken += _nested_fields(graph, fields, taken, width_px)
    known = {loop.links for loop in taken}
    rest = [field for field in fields if field.links not in known and not is_thin(field, width_px)]
    return [loop for loop in taken if not is_thin(loop, width_px)] + rest


def _nested_fields(graph: LineGraph, fields: list[Loop], taken: list[Loop], width_px: float) -> list[Loop]:
    """Fields that are ribs of their own inside another, nested so closely that the ink of their lines has merged.

    They have the shape of the rib around them, and a tip as it has; what ribs and spars part has not.
    """
    found = []
    for field in fields:
        if (
            is_thin(field, width_px)
            or not has_tip(field.polygon, width_px)
            or is_quad(field.points_px, width_px=width_px)
        ):
            continue
        if any(is_same(field, one) for one in taken):
            continue
        lengths = {link: link_lengths_px(graph.strokes)[link] for link in field.links}
        most_px = MOST_SHARED * sum(lengths.values())
        around = [one for one in taken if sum(lengths[link] for link in field.links & one.links) < most_px]
        around = [one for one in around if _is_inside(field, one)]
        if any(has_tip(one.polygon, width_px) and alike(field.polygon, one.polygon) for one in around):
            why = "shares a line with its neighbour"
            found.append(_sharing(replace(field, role=Role.PART, confidence=SHARING, why=why), width_px))
    return found


MOST_SHARED = 0.3
"""A rib runs along the one around it for less of its length: what a chord line cuts off a rib has its whole back."""


def _is_inside(loop: Loop, other: Loop) -> bool:
    return bool(shapely.area(shapely.intersection(loop.polygon, other.polygon)) > SAME_SHARE * loop.area_px2)


def _is_cut_off(loop: Loop, outline: Loop, graph: LineGraph) -> bool:
    """Whether a loop is what one ruled line cuts off an outline: a dimension, a chord, a leader drawn across a part.

    What an outline that shares lines with another has to itself bends, about a nose at least.
    """
    own = [graph.strokes.links[link] for link in loop.links - outline.links]
    if not own or len(own) == len(loop.links) or not _is_inside(loop, outline):
        return False
    return is_straight(np.concatenate([link.points_px for link in own]), own[0].width_px)


def _is_rest(loop: Loop, outline: Loop, graph: LineGraph) -> bool:
    """Whether a loop is what is left of an outline beside others that lie in it."""
    if is_same(loop, outline):
        return False
    lengths = {link: link_lengths_px(graph.strokes)[link] for link in loop.links}
    return sum(lengths[link] for link in loop.links & outline.links) > 0.5 * sum(lengths.values())


def _sharing(loop: Loop, width_px: float) -> Loop:
    """An outline that shares a line with another; in doubt where it bends about, as one made of two lines does."""
    if ring_bend_rad(loop.points_px, width_px) <= MOST_BEND_RAD:
        return loop
    return replace(loop, confidence=0.5, why="lines that run together, and it bends too much for one outline of them")


SMALL_WIDTHS = 12.0
"""A loop on its own no longer than this, in line widths, is a letter, an arrowhead or a mark: no part, unless it has a
hole, as a washer has."""

SHARING = 0.6
"""Confidence of an outline that shares its line with another over some of its length: the ink does not tell which way
it goes there, nor always where its tip lies, so a person looks at it."""

MOST_BEND_RAD = 3 * math.pi
"""Half again what a line bends that closes on itself bending one way; a crescent between two lines bends twice it."""


def _nested(loops: list[Loop], graph: LineGraph, width_px: float, names: Names) -> tuple[Loop, ...]:
    """Tell holes from parts and drop loops too small to be parts."""
    candidates = [i for i, loop in enumerate(loops) if loop.role is Role.PART]
    nested = nest(
        [loops[i].polygon for i in candidates],
        [loops[i].walk for i in candidates],
        graph,
        width_px=width_px,
        letters_px=lambda: names()[0],
    )
    done = list(loops)
    with_holes = {candidates[found.parent] for found in nested if found.is_hole and found.parent is not None}
    for which, found in zip(candidates, nested, strict=True):
        loop = loops[which]
        size_px = float(np.ptp(loop.points_px, axis=0).max())
        if found.is_hole and found.parent is not None:
            done[which] = replace(
                loop, role=Role.HOLE, confidence=found.confidence, why=found.why, parent=candidates[found.parent]
            )
        elif size_px < SMALL_WIDTHS * width_px and which not in with_holes:
            done[which] = replace(loop, role=Role.MARK, confidence=0.1, why="too small to be a part")
        elif found.parent is not None or found is FRAME:
            done[which] = replace(loop, confidence=min(loop.confidence, found.confidence), why=found.why)
    return tuple(done)
