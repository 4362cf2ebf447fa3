"""Lines in several inks looked at ink by ink: what is drawn in one is no hole, field or letter of another."""

from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from digitize.continuation import LineGraph
from digitize.facing_ends import free_sides, towards
from digitize.lettering import lettering_links
from digitize.link_sizes import link_lengths_px
from digitize.loops import Loops
from digitize.strokes import PlanStrokes, Strokes

LONG_WIDTHS = 6.0
"""A line is long, and its end tells what it was drawn to, from so many widths on."""

REACH_PX = 2.0
"""How far two lines' ink may be apart that was drawn to touch, px: blur, and what neither colour claims."""

DRAWN_TO = 0.6
"""An ink of whose ends more than this part lie on the lines of another draws on the same figures: spars and ribs inside
an outline end on it, every one. Of patterns printed over others up to two in five end there, by chance and where the
other ink hides them."""


def drawn_to(layers: Sequence[Strokes]) -> tuple[int, int] | None:
    """Give an ink whose lines end on those of another, and that one, counted from 1; None where there is none."""
    found: list[tuple[float, int, int]] = []
    for which, ends in enumerate(_ends_on_others(layers)):
        if len(ends.sides) < 2:
            continue
        for other, on_it in enumerate(ends.on):
            found.append((float(on_it.mean()), which + 1, other + 1))
    share, one, other = max(found, default=(0.0, 0, 0))
    return (one, other) if share > DRAWN_TO else None


def open_under_others(layers: Sequence[Strokes]) -> list[NDArray[np.bool_]]:
    """Tell of each ink which links (L,) hang together with a line that ends where another ink lies.

    It may go on there unseen, as the side of an outline that shows less of itself.
    """
    told = []
    for layer, ends in zip(layers, _ends_on_others(layers), strict=True):
        nodes = np.array([(link.start, link.end) for link in layer.links], dtype=np.int64).reshape(-1, 2)
        size = len(layer.nodes_px)
        _, piece = connected_components(coo_matrix((np.ones(len(nodes)), nodes.T), shape=(size, size)), directed=False)
        is_open = np.zeros(size, dtype=np.bool_)
        hidden = ends.sides[ends.on.any(axis=0)] >> 1
        is_open[piece[nodes[hidden, 0]]] = True
        told.append(is_open[piece[nodes[:, 0]]])
    return told


class _Ends(NamedTuple):
    """The free ends (E,) of an ink's long lines, and which of them lie on lines of each ink, (inks, E)."""

    sides: NDArray[np.int64]
    on: NDArray[np.bool_]


def _ends_on_others(layers: Sequence[Strokes]) -> list[_Ends]:
    letters = [lettering_links(layer) for layer in layers]
    trees = [_tree(layer, of_it) for layer, of_it in zip(layers, letters, strict=True)]
    found = []
    for which, (layer, of_it) in enumerate(zip(layers, letters, strict=True)):
        lengths_px = link_lengths_px(layer)
        sides = [
            side
            for side in free_sides(layer, of_it)
            if lengths_px[side >> 1] > LONG_WIDTHS * layer.links[side >> 1].width_px
        ]
        ends = np.array([towards(layer.links[side >> 1], side)[-1] for side in sides]).reshape(-1, 2)
        own_px = np.array([layer.links[side >> 1].width_px for side in sides])
        on = np.zeros((len(layers), len(sides)), dtype=np.bool_)
        for other, (tree, width_px) in enumerate(trees):
            if other != which and len(width_px) and len(sides):
                far, at = tree.query(ends)
                on[other] = far < width_px[at] / 2 + own_px + REACH_PX
        found.append(_Ends(np.array(sides, dtype=np.int64), on))
    return found


def _tree(layer: Strokes, letters: NDArray[np.bool_]) -> tuple[cKDTree, NDArray[np.float64]]:
    lines = [link for link, is_letter in zip(layer.links, letters.tolist(), strict=True) if not is_letter]
    points = np.concatenate([np.empty((0, 2)), *(link.points_px for link in lines)])
    widths_px = np.repeat([link.width_px for link in lines], [len(link.points_px) for link in lines])
    return cKDTree(points), widths_px


def together(layers: Sequence[Strokes]) -> Strokes:
    """Give the strokes of several inks as one, each link with the number of its ink, from 1.

    Lines of two inks have no node in common: where they cross, each runs on.
    """
    begin = _begins([len(layer.nodes_px) for layer in layers])
    links = [
        replace(link, start=link.start + first, end=link.end + first, tint=tint)
        for tint, (layer, first) in enumerate(zip(layers, begin, strict=True), start=1)
        for link in layer.links
    ]
    nodes_px = np.concatenate([layer.nodes_px for layer in layers])
    return Strokes(nodes_px, np.concatenate([layer.kinds for layer in layers]), tuple(links))


def by_ink(plan: PlanStrokes) -> list[PlanStrokes]:
    """Give the strokes of each ink apart; a line without one, traced by hand, goes with what it touches."""
    tints = _tints(plan.strokes)
    if len(set(tints)) < 2:
        return [plan]
    layers = []
    for tint in sorted(set(tints)):
        own = [which for which, other in enumerate(tints) if other == tint]
        links = [plan.strokes.links[which] for which in own]
        used = np.unique(np.array([(link.start, link.end) for link in links], dtype=np.int64))
        number = np.zeros(len(plan.strokes.nodes_px), dtype=np.int64)
        number[used] = np.arange(len(used))
        renamed = tuple(replace(link, start=int(number[link.start]), end=int(number[link.end])) for link in links)
        strokes = Strokes(plan.strokes.nodes_px[used], plan.strokes.kinds[used], renamed)
        layers.append(PlanStrokes(strokes, plan.nodes_mm[used], tuple(plan.links_mm[which] for which in own)))
    return layers


def _tints(strokes: Strokes) -> list[int]:
    """Every link's ink; those without one take that of a line at one of their nodes, or else the first."""
    tints = [link.tint for link in strokes.links]
    known = {node: link.tint for link in strokes.links if link.tint for node in (link.start, link.end)}
    waiting = [which for which, tint in enumerate(tints) if tint == 0]
    while waiting and known:
        left = []
        for which in waiting:
            link = strokes.links[which]
            tints[which] = known.get(link.start, 0) or known.get(link.end, 0)
            if tints[which]:
                known.setdefault(link.start, tints[which])
                known.setdefault(link.end, tints[which])
            else:
                left.append(which)
        if len(left) == len(waiting):
            known = {strokes.links[left[0]].start: min(known.values())}
        waiting = left
    return tints


def plans_together(plans: Sequence[PlanStrokes]) -> PlanStrokes:
    """Give the strokes of several inks, apart until now, as one."""
    if len(plans) == 1:
        return plans[0]
    begin = _begins([len(plan.nodes_mm) for plan in plans])
    links = tuple(
        replace(link, start=link.start + first, end=link.end + first)
        for plan, first in zip(plans, begin, strict=True)
        for link in plan.strokes.links
    )
    strokes = Strokes(
        np.concatenate([plan.strokes.nodes_px for plan in plans]),
        np.concatenate([plan.strokes.kinds for plan in plans]),
        links,
    )
    lines_mm = tuple(line for plan in plans for line in plan.links_mm)
    return PlanStrokes(strokes, np.concatenate([plan.nodes_mm for plan in plans]), lines_mm)


def loops_together(found: Sequence[Loops], strokes: Strokes) -> Loops:
    """Give the loops of several inks as one, in the strokes that `plans_together` gave."""
    if len(found) == 1:
        return found[0]
    graphs = [one.graph for one in found]
    node_begin = _begins([len(graph.places) for graph in graphs])
    link_begin = _begins([len(graph.live) for graph in graphs])
    loop_begin = _begins([len(one.loops) for one in found])
    loops = tuple(
        replace(
            loop,
            walk=tuple(side + 2 * first for side in loop.walk),
            parent=None if loop.parent is None else loop.parent + begin,
        )
        for one, first, begin in zip(found, link_begin, loop_begin, strict=True)
        for loop in one.loops
    )
    graph = LineGraph(
        strokes,
        np.concatenate([graph.places + first for graph, first in zip(graphs, node_begin, strict=True)]),
        np.concatenate([graph.centres_px for graph in graphs]),
        np.concatenate([graph.live for graph in graphs]),
        np.concatenate([_moved(graph.mate, 2 * first) for graph, first in zip(graphs, link_begin, strict=True)]),
        np.concatenate([graph.leaving_rad for graph in graphs]),
    )
    return Loops(
        loops,
        graph,
        np.concatenate([one.furniture for one in found]),
        np.concatenate([one.measures for one in found]),
    )


def _moved(mate: NDArray[np.int64], by: int) -> NDArray[np.int64]:
    return np.where(mate < 0, mate, mate + by)


def _begins(sizes: Sequence[int]) -> list[int]:
    return [0, *np.cumsum(sizes).tolist()[:-1]]
