"""Which drawn lines are dimension lines: straight, between extension lines that run on a little past them."""

import math
from dataclasses import replace
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from digitize.continuation import THIN_LINE, LineGraph, Side, points_from
from digitize.core2 import blocks
from digitize.lettering import TALLEST_WIDTHS
from digitize.link_sizes import link_ends_px, link_lengths_px
from digitize.not_parts import ARROW_WIDTHS
from digitize.pens import usual_width_px
from digitize.ruled_lines import BOW_SHARE, IN_LINE_WIDTHS, Ruled, Stretch, ruled_links, stretches

Floats: TypeAlias = NDArray[np.float64]

PAST_WIDTHS = 32.0
"""An extension line runs on past its dimension line for at most this: 8 mm of a 0.25 mm line; usual are 2 or 3 mm."""

ACROSS_COSINE = np.cos(np.radians(25))
"""An extension line crosses its dimension line at more than this; most stand square to it."""

OPPOSITE_COSINE = -np.cos(np.radians(25))
"""The two arms of an extension line at its dimension line leave in opposite directions to within this."""

BLURRED_THIN = 0.85
"""What half as wide on the paper comes to, at most, in a picture so blurred that figures run into their lines."""

ALIKE_WIDTH = 1.2
"""Lines drawn with one pen differ by this much in their measured widths, at most."""

FIGURE_WIDTHS = 30.0
"""A dimension's figure stands within this of its line: 7 mm of a 0.25 mm line, twice a figure's height."""

FIGURE_SHARE = 0.6
"""... and within this middle part of it."""


def without_dimension_lines(
    graph: LineGraph, figures: list[list[int]], lettering: NDArray[np.bool_]
) -> tuple[LineGraph, list[list[int]], NDArray[np.bool_]]:
    """Give the graph and its blocks without dimension lines, and tell which links these are.

    Between a part, its extension lines and a dimension line lies a field that is no part of it. Without the dimension
    line the extension lines end free. A line whose going would leave no closed figure where it was is none.
    """
    measures = measure_links(graph, figures, lettering=lettering)
    if not measures.any():
        return graph, figures, measures
    left = without_links(graph, measures)
    held = {link for block in blocks(left) for link in block}
    needed = [link for block in figures if held.isdisjoint(block) for link in block]
    if needed:
        measures[needed] = False
        left = without_links(graph, measures)
    return left, blocks(left), measures


def measure_links(graph: LineGraph, closed: list[list[int]], *, lettering: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Tell which links are dimension lines.

    A dimension line is a straight line, whole or broken for its figure, that ends at both ends on a line across it
    which runs on a little past it and stops there; and one of three things more tells it from a side of a part whose
    corners were drawn past each other: it is thinner than the other lines, a figure stands at or in its middle, or
    arrowheads, ticks or dots leave small marks at both its ends. In a small or blurred picture the run past it is lost
    in an arrowhead: a thin line with a figure may end in a corner with another thin line. Thin there is what is thinner
    than the outlines it closes with: a camera shows the far side of a sheet smaller.

    Parameters
    ----------
    graph : LineGraph
        Without lettering and the sheet's furniture.
    closed : list of list of int
        The graph's blocks.
    lettering : (L,) array of bool
        Links that are lettering.

    Returns
    -------
    (L,) array of bool
    """
    marked = np.zeros(len(graph.live), dtype=np.bool_)
    ruled = ruled_links(graph)
    if not ruled:
        return marked
    usual_px = _usual_width_px(graph)
    own_px = _own_widths_px(graph, closed, usual_px)
    letters_px = [graph.strokes.links[link].points_px.mean(axis=0) for link in np.flatnonzero(lettering).tolist()]
    figures = cKDTree(np.array(letters_px)) if letters_px else None
    while True:
        # One dimension line outside another on the same extension lines: the inner comes to light without the outer.
        found = _found(graph, ruled, marked, usual_px, own_px, figures)
        if not found:
            return marked | _touching_figures(graph, marked)
        marked[found] = True


def _touching_figures(graph: LineGraph, measures: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """What hangs together by dimension lines alone and is no larger than a letter: figures that touch them, ticks."""
    figures = np.zeros_like(measures)
    left = np.flatnonzero(graph.live & ~measures)
    if not measures.any() or not len(left):
        return figures
    links = graph.strokes.links
    ends = graph.places[np.array([(links[link].start, links[link].end) for link in left.tolist()], dtype=np.int64)]
    count = len(graph.places)
    pairs = coo_matrix((np.ones(len(left)), (ends[:, 0], ends[:, 1])), shape=(count, count))
    _, piece_of = connected_components(pairs, directed=False)
    of_measures = graph.places[
        [node for link in np.flatnonzero(measures) for node in (links[link].start, links[link].end)]
    ]
    for piece in np.unique(piece_of[of_measures]).tolist():
        members = left[piece_of[ends[:, 0]] == piece]
        if not len(members):
            continue
        points = np.concatenate([links[link].points_px for link in members.tolist()])
        width_px = float(np.median([links[link].width_px for link in members.tolist()]))
        if np.ptp(points, axis=0).max() < TALLEST_WIDTHS * width_px:
            figures[members] = True
    return figures


def _found(
    graph: LineGraph,
    ruled: list[Ruled],
    marked: NDArray[np.bool_],
    usual_px: float,
    own_px: Floats,
    figures: "cKDTree[None] | None",
) -> list[int]:
    at = _sides_at(graph, marked)
    met = {graph.place_of(side) for link in np.flatnonzero(marked).tolist() for side in (2 * link, 2 * link + 1)}
    left = [one for one in ruled if not marked[one.link]]
    # Only lines that end on a line with a short free end can be one, or thin ones that end in a corner: few do.
    lasts = {side: _last(graph, side, at) for one in left for side in (2 * one.link, 2 * one.link + 1)}
    ending = {side: lasts[side] for side in lasts if _is_stopped(graph, side, lasts[side], at, met)}
    found: list[int] = []
    thin_px = THIN_LINE * usual_px
    corners = {
        side: lasts[side] for side in lasts if side not in ending and _is_corner(graph, lasts[side], at, thin_px)
    }
    # One draughtsman's dimension lines are of one width: what comes to light behind others is no thicker.
    widest_px = ALIKE_WIDTH * _width_px(graph, marked, 0.5) if marked.any() else math.inf
    for stretch in stretches(left, ending, corners):
        if stretch.width_px > widest_px:
            continue
        is_thin = stretch.width_px < thin_px
        has_figure = stretch.is_broken or _has_figure(stretch, figures)
        if stretch.is_stopped:
            has_marks = all(_has_mark(graph, side, at, met) for side in stretch.last_sides)
            is_thinner = stretch.width_px < BLURRED_THIN * usual_px
            is_measure = is_thin or has_figure or has_marks or (is_thinner and _is_touched(graph, stretch, at))
        else:
            is_thin = stretch.width_px < THIN_LINE * float(own_px[list(stretch.links)].max())
            is_measure = is_thin and (has_figure or _is_touched(graph, stretch, at))
        if is_measure:
            found += stretch.links
            found += _beside(graph, stretch).tolist()
    return found


def without_links(graph: LineGraph, gone: NDArray[np.bool_]) -> LineGraph:
    """Give the graph without some lines; no line carries on as one of them."""
    mate = graph.mate.copy()
    of_gone = np.repeat(gone, 2)
    paired = mate >= 0
    mate[paired & (of_gone != of_gone[np.maximum(mate, 0)])] = -1
    return replace(graph, live=graph.live & ~gone, mate=mate)


def links_beside(graph: LineGraph, measures: NDArray[np.bool_]) -> set[int]:
    """Give the links that meet dimension lines: extension lines and what they run on as."""
    ends = np.array([(link.start, link.end) for link in graph.strokes.links], dtype=np.int64).reshape(-1, 2)
    places = graph.places[ends]
    beside = np.isin(places, places[measures]).any(axis=1) & ~measures
    return set(np.flatnonzero(beside).tolist())


def _sides_at(graph: LineGraph, gone: NDArray[np.bool_]) -> dict[int, list[Side]]:
    """The sides at each place, spurs too: a short run past a dimension line is one."""
    at: dict[int, list[Side]] = {}
    ends = np.array([(link.start, link.end) for link in graph.strokes.links], dtype=np.int64).reshape(-1, 2)
    places = graph.places[ends]
    there = ~gone & (graph.live | (places[:, 0] != places[:, 1]))
    for link, (first, last) in zip(np.flatnonzero(there).tolist(), places[there].tolist(), strict=True):
        at.setdefault(first, []).append(2 * link)
        at.setdefault(last, []).append(2 * link + 1)
    return at


def _usual_width_px(graph: LineGraph) -> float:
    """The middle of the widths of all lines, by length: where outlines and thin lines differ, that of the outlines."""
    return _width_px(graph, graph.live, 0.6)


def _own_widths_px(graph: LineGraph, closed: list[list[int]], usual_px: float) -> Floats:
    """The usual width of outlines for each link: its own figure's where that is less than the sheet's."""
    own_px = np.full(len(graph.live), usual_px)
    widths_px = np.array([link.width_px for link in graph.strokes.links])
    lengths_px = np.array(link_lengths_px(graph.strokes))
    for figure in closed:
        own_px[figure] = min(usual_px, usual_width_px(widths_px[figure], lengths_px[figure]))
    return own_px


def _width_px(graph: LineGraph, some: NDArray[np.bool_], share: float) -> float:
    """The width that this share of the length of some lines is no wider than."""
    links = [graph.strokes.links[link] for link in np.flatnonzero(some).tolist()]
    widths = np.array([link.width_px for link in links])
    lengths = np.array([len(link.points_px) for link in links])
    order = np.argsort(widths)
    total = np.cumsum(lengths[order])
    return float(widths[order][np.searchsorted(total, share * total[-1])])


def _outward(graph: LineGraph, side: Side) -> Floats:
    """The direction in which a link leaves its place."""
    points = points_from(graph.strokes, side)
    (x0, y0), (x1, y1) = points[0].tolist(), points[min(len(points) - 1, 30)].tolist()
    far = max(math.hypot(x1 - x0, y1 - y0), 1e-9)
    return np.array([(x1 - x0) / far, (y1 - y0) / far])


def _is_free(graph: LineGraph, side: Side, at: dict[int, list[Side]], met: set[int], most_px: float) -> bool:
    """Whether what leaves a place by a link ends free after at most so far, with nothing met but dimension lines.

    The way to the last of these, farther out than the one in question, does not count.
    """
    gone_px = 0.0
    for _ in range(MOST_STEPS):
        gone_px += link_lengths_px(graph.strokes)[side >> 1]
        place = graph.place_of(side ^ 1)
        others = [other for other in at[place] if other != side ^ 1]
        if place in met:
            gone_px = 0.0
        if not others:
            return gone_px < most_px
        if len(others) > 1:
            return False
        side = others[0]
    return False


MOST_STEPS = 20
"""Links of an extension line beyond a dimension line, at most: it meets a few more of these."""


def _last(graph: LineGraph, side: Side, at: dict[int, list[Side]]) -> Side:
    """A line's last side beyond what an arrowhead has cut off it: a short piece that carries on from it."""
    most_px = ARROW_WIDTHS * graph.strokes.links[side >> 1].width_px
    others = [other for other in at[graph.place_of(side)] if other != side]
    short = [other for other in others if len(graph.strokes.links[other >> 1].points_px) < most_px]
    if len(others) == 1 and short:
        return others[0] ^ 1
    # A filled one is as wide as its barbs are apart: thinning leaves stubs of these beside the way to its point.
    if len(others) == len(short):
        own = _outward(graph, side)
        onward = [
            other
            for other in short
            if len(at[graph.place_of(other ^ 1)]) > 2 and float(_outward(graph, other) @ own) < OPPOSITE_COSINE
        ]
        if len(onward) == 1:
            return onward[0] ^ 1
    return side


def _is_stopped(graph: LineGraph, along: Side, side: Side, at: dict[int, list[Side]], met: set[int]) -> bool:
    """Whether a line (`along`) ends at its last side on another across it, which runs a little past it and stops."""
    width_px = graph.strokes.links[along >> 1].width_px
    here = [other for other in at[graph.place_of(side)] if other >> 1 != side >> 1]
    if len(here) < 2:
        return False
    own = _outward(graph, along)
    ways = {other: _outward(graph, other) for other in here}
    free = [other for other in here if _is_free(graph, other, at, met, PAST_WIDTHS * width_px)]
    fixed = [other for other in here if other not in free]
    # An arc that goes on from a straight edge is fixed too: then the edge does not end here.
    if len(fixed) != 1:
        return False
    across = abs(float(ways[fixed[0]] @ own)) <= ACROSS_COSINE
    if across and any(float(ways[fixed[0]] @ ways[past]) < OPPOSITE_COSINE for past in free):
        return True
    base, way = _beyond_arrow(graph, fixed[0], width_px)
    if abs(float(way @ own)) > ACROSS_COSINE:
        return False
    return any(_is_past(graph, past, base, way, width_px) for past in free)


def _beyond_arrow(graph: LineGraph, side: Side, width_px: float) -> tuple[Floats, Floats]:
    """Where a link is and how it leaves beyond the ink of an arrowhead, which bends it towards the barbs."""
    points = points_from(graph.strokes, side)
    first = min(len(points) // 2, round(ARROW_WIDTHS * width_px))
    way = points[min(len(points) - 1, first + 30)] - points[first]
    unit: Floats = way / max(float(np.hypot(*way)), 1e-9)
    return points[first], unit


def _is_past(graph: LineGraph, side: Side, base: Floats, way: Floats, width_px: float) -> bool:
    """Whether what leaves a place by a link ends on the line through `base`, on the other side of the place."""
    points = points_from(graph.strokes, side)
    off = points[-1] - base
    beyond = float((points[0] - points[-1]) @ way)
    aside = abs(float(off[0] * way[1] - off[1] * way[0]))
    return beyond > PAST_LEAST_WIDTHS * width_px and aside < IN_LINE_WIDTHS * width_px + PIXEL_PX


PAST_LEAST_WIDTHS = 1.5
"""What an extension line runs past a dimension line is longer than this, in line widths; the stub of a barb may not
be."""

PIXEL_PX = 1.0
"""A free end of a thinned line is off by up to this."""


def _is_corner(graph: LineGraph, side: Side, at: dict[int, list[Side]], thin_px: float) -> bool:
    """Whether a line ends at its last side where one other thin line begins, about square to it."""
    here = [other for other in at[graph.place_of(side)] if other != side]
    if len(here) != 1 or graph.strokes.links[here[0] >> 1].width_px >= thin_px:
        return False
    return bool(abs(float(_outward(graph, side) @ _outward(graph, here[0]))) < ACROSS_COSINE)


def _has_figure(stretch: Stretch, figures: "cKDTree[None] | None") -> bool:
    """Whether lettering stands beside the middle of a line."""
    if figures is None:
        return False
    start, end = stretch.ends_px
    long_px = float(np.hypot(*(end - start)))
    way = (end - start) / long_px
    found = np.asarray(figures.data)[
        figures.query_ball_point((start + end) / 2, long_px / 2 + FIGURE_WIDTHS * stretch.width_px)
    ]
    if not len(found):
        return False
    off = found - (start + end) / 2
    along, aside = np.abs(off @ way), np.abs(off[:, 0] * way[1] - off[:, 1] * way[0])
    reach_px = max(FIGURE_SHARE * long_px / 2, 0.0)
    return bool(((along < reach_px) & (aside < FIGURE_WIDTHS * stretch.width_px)).any())


def _is_touched(graph: LineGraph, stretch: Stretch, at: dict[int, list[Side]]) -> bool:
    """Whether nothing larger than a letter touches the middle of a line, and something does: its figure."""
    start, end = stretch.ends_px
    long_px = float(np.hypot(*(end - start)))
    way = (end - start) / long_px
    touching = []
    for side in {side for link in stretch.links for side in (2 * link, 2 * link + 1)}:
        point = points_from(graph.strokes, side)[0]
        if abs(float((point - (start + end) / 2) @ way)) < FIGURE_SHARE * long_px / 2:
            touching += [other >> 1 for other in at[graph.place_of(side)] if other >> 1 not in stretch.links]
    letter_px = TALLEST_WIDTHS * stretch.width_px
    sizes_px = [float(np.ptp(graph.strokes.links[link].points_px, axis=0).max()) for link in touching]
    return len(sizes_px) > 0 and max(sizes_px) < float(letter_px)


def _has_mark(graph: LineGraph, side: Side, at: dict[int, list[Side]], met: set[int]) -> bool:
    """Whether a small stroke besides the two lines ends free beside a line's end: of an arrowhead, a tick or a dot."""
    width_px = graph.strokes.links[side >> 1].width_px
    own = _outward(graph, side)
    for other in at[graph.place_of(side)]:
        slant = abs(float(_outward(graph, other) @ own))
        if other >> 1 != side >> 1 and 0.2 < slant < 0.99 and _is_free(graph, other, at, met, PAST_WIDTHS * width_px):
            return True
    return False


def _beside(graph: LineGraph, stretch: Stretch) -> NDArray[np.int64]:
    """Links that lie all along a stretch: what its figure and its line have become where they touch."""
    start, end = stretch.ends_px
    long_px = float(np.hypot(*(end - start)))
    way = (end - start) / long_px
    near_px = IN_LINE_WIDTHS * stretch.width_px + BOW_SHARE * long_px
    found = []
    along = (link_ends_px(graph.strokes) - start) @ way
    between = graph.live & (along.min(axis=1) >= 0) & (along.max(axis=1) <= long_px)
    for link in np.flatnonzero(between).tolist():
        whole = graph.strokes.links[link].points_px - start
        if np.abs(whole[:, 0] * way[1] - whole[:, 1] * way[0]).max() <= near_px:
            found.append(link)
    return np.array(found, dtype=np.int64)
