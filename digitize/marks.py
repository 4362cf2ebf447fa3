"""Which closed walks are marks and no parts: arrowheads, balloons, boxes of lettering, tables, black bars, letters."""

from dataclasses import replace

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from digitize.continuation import LineGraph, Side
from digitize.drawn_around import holds_figure, is_around
from digitize.lettering import TALLEST_WIDTHS
from digitize.link_sizes import link_bounds_px
from digitize.loop import CLOSED_ON_ITSELF, Loop, Role
from digitize.meetings import steps
from digitize.named_fields import Names
from digitize.not_parts import is_arrowhead, is_round
from digitize.ruled_marks import without_ruled_marks
from digitize.solid_ink import is_beside_solid
from digitize.strokes import Strokes

SPECK_WIDTHS = 4.0
"""A loop inside a part no longer than this, in line widths, is a blot between lines: no hole."""

LEAST_CIRCLE = 2.5
"""... but for a circle by itself whose line's middle is larger than this across: its inside shows as wide as its line
and half of that again."""

BESIDE_SIZES = 1.5
"""... and has its middle farther from any letter's than so many of its own sizes."""

LETTER_SIZES = 1.2
"""A loop that other lines meet, no larger than this many letters, is made of strokes of lettering."""

MOST_FIGURE_SIZES = 2.0
"""A balloon's figure is no wider than this many of the sheet's letters are high; an opening in a part's middle is."""


def without_marks(
    loops: list[Loop], graph: LineGraph, strokes: Strokes, lettering: NDArray[np.bool_], names: Names, width_px: float
) -> list[Loop]:
    """The same loops, those that are arrowheads, balloons or boxes around lettering told apart.

    `names` gives where letters stand, asked only where that matters."""
    bounds_px = link_bounds_px(strokes)[lettering]
    letter_px = float(np.median((bounds_px[:, 2:] - bounds_px[:, :2]).max(axis=1))) if len(bounds_px) else 0.0
    whole_px = whole_letters_px(strokes, lettering)
    drawn = np.flatnonzero(lettering | graph.live)
    middles_px = np.array([strokes.links[link].points_px.mean(axis=0) for link in drawn.tolist()]).reshape(-1, 2)
    tree = shapely.STRtree(np.asarray(shapely.points(middles_px), dtype=object))
    met: dict[int, list[Side]] = {}
    for side in np.flatnonzero(~np.isnan(graph.leaving_rad)).tolist():
        met.setdefault(graph.place_of(side), []).append(side)
    marked = []
    for loop in loops:
        if loop.role is Role.PART:
            inside = drawn[tree.query(loop.polygon, predicate="contains")]
            size_px = float(np.ptp(loop.points_px, axis=0).max())
            meets = any((graph.mate[side ^ 1] != after) for side, after in steps(loop.walk)) or any(
                not np.isnan(graph.leaving_rad[side]) for side in loop.walk
            )
            if meets and is_arrowhead(loop.points_px, width_px=width_px):
                loop = replace(loop, role=Role.MARK, confidence=0.1, why="an arrowhead")
            elif meets and size_px < LETTER_SIZES * letter_px:
                loop = replace(loop, role=Role.MARK, confidence=0.1, why="as small as lettering, and lines meet on it")
            elif is_beside_solid(strokes, loop):
                loop = replace(loop, role=Role.MARK, confidence=0.2, why="a light field between black ones")
            elif size_px < SPECK_WIDTHS * width_px and not _is_drilled(loop, names, meets=meets, width_px=width_px):
                loop = replace(loop, role=Role.MARK, confidence=0.05, why="a speck")
            elif _is_drawn_around(loop, loops, graph, lettering, inside, met, whole_px, width_px):
                loop = replace(loop, role=Role.MARK, confidence=0.2, why="drawn around lettering")
            small = loop.confidence < CLOSED_ON_ITSELF and size_px < TALLEST_WIDTHS * width_px
            if loop.role is Role.PART and (small or (meets and size_px < whole_px)):
                loop = replace(
                    loop, confidence=min(loop.confidence, 0.5), why="lines that meet, no larger than a letter"
                )
        marked.append(loop)
    return without_ruled_marks(marked, strokes, lettering)


def _is_drilled(loop: Loop, names: Names, *, meets: bool, width_px: float) -> bool:
    """Whether a small loop is a circle by itself, as a hole for a pin or a wire is, and no letter beside others."""
    size_px = float(np.ptp(loop.points_px, axis=0).max())
    if meets or size_px <= LEAST_CIRCLE * width_px or not is_round(loop.polygon, width_px=width_px):
        return False
    letters_px, _ = names()
    away_px = np.hypot(*(letters_px - loop.points_px.mean(axis=0)).T)
    return not bool((away_px < BESIDE_SIZES * size_px).any())


def _is_drawn_around(
    loop: Loop,
    loops: list[Loop],
    graph: LineGraph,
    lettering: NDArray[np.bool_],
    inside: NDArray[np.int64],
    met: dict[int, list[Side]],
    letter_px: float,
    width_px: float,
) -> bool:
    """Whether a loop is a balloon or a box, by the links (numbers) whose middles lie inside of it.

    `met` has the sides at each place where lines meet, `letter_px` is the usual size of a letter.
    """
    places = {graph.place_of(side) for side in loop.walk}
    own = loop.links
    links = graph.strokes.links
    # Two dashes of crossed centre lines may meet end to end: no figure's stroke is dashed.
    within = [link for link in inside.tolist() if link not in own and not links[link].dashed]
    if holds_figure(loop, [links[link].points_px for link in within], width_px=width_px):
        openings = _openings_in(loop, loops, width_px)
        rest = [links[link].points_px for link in within if link not in openings]
        if holds_figure(loop, rest, width_px=width_px):
            return True
    letters = [links[link].points_px for link in inside.tolist() if lettering[link]]
    if letters and _has_an_opening(loop, loops, letter_px):
        return False
    others: list[NDArray[np.float64]] = []
    for link in inside.tolist():
        if link in own or lettering[link]:
            continue
        if not places.isdisjoint(graph.place_of(side) for side in (2 * link, 2 * link + 1)):
            return False
        if not letters or not _runs_out(graph, link, loop):
            others.append(links[link].points_px)
    ending = [side for place in places for side in met.get(place, ()) if side >> 1 not in own]
    return is_around(loop, letters, others, led=len(ending) == 1, width_px=width_px)


def _openings_in(loop: Loop, loops: list[Loop], width_px: float) -> set[int]:
    """Links of the round outlines inside a loop, and of those about its middle: centre lines may cut them into arcs."""
    middle = shapely.centroid(loop.polygon)
    inside = [one for one in loops if one.role is Role.PART and shapely.contains(loop.polygon, one.polygon)]
    openings = [
        one for one in inside if shapely.contains(one.polygon, middle) or is_round(one.polygon, width_px=width_px)
    ]
    return {link for one in openings for link in one.links}


def _has_an_opening(loop: Loop, loops: list[Loop], letter_px: float) -> bool:
    """Whether an outline about a loop's middle is too large for a figure: lettering beside it is the part's name."""
    middle = shapely.centroid(loop.polygon)
    return any(
        float(np.ptp(one.points_px, axis=0).min()) > MOST_FIGURE_SIZES * letter_px
        and shapely.contains(one.polygon, middle)
        and shapely.contains(loop.polygon, one.polygon)
        for one in loops
        if one.role is Role.PART and one.links != loop.links
    )


def _runs_out(graph: LineGraph, link: int, loop: Loop) -> bool:
    """Whether the line that a link is of leaves a loop: one drawn through it, no stroke of a number inside."""
    for side in (2 * link, 2 * link + 1):
        seen = {link}
        while (after := int(graph.mate[side])) >= 0 and after >> 1 not in seen:
            seen.add(after >> 1)
            if not shapely.contains(loop.polygon, shapely.LineString(graph.strokes.links[after >> 1].points_px)):
                return True
            side = after ^ 1
    return False


def whole_letters_px(strokes: Strokes, lettering: NDArray[np.bool_]) -> float:
    """The usual size of a connected piece of lettering, px, 0 without any: an 0 that a line touches is no larger."""
    which = np.flatnonzero(lettering)
    if not len(which):
        return 0.0
    ends = np.array([(strokes.links[link].start, strokes.links[link].end) for link in which.tolist()])
    count = len(strokes.nodes_px)
    joined = coo_matrix((np.ones(len(ends)), (ends[:, 0], ends[:, 1])), shape=(count, count))
    _, of_node = connected_components(joined, directed=False)
    order = np.argsort(of_node[ends[:, 0]], kind="stable")
    begin = np.flatnonzero(np.diff(of_node[ends[order, 0]], prepend=-1))
    bounds_px = link_bounds_px(strokes)[which[order]]
    low, high = np.minimum.reduceat(bounds_px[:, :2], begin), np.maximum.reduceat(bounds_px[:, 2:], begin)
    return float(np.median((high - low).max(axis=1)))
