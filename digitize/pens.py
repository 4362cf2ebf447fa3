"""Which lines of a figure were drawn with the finer pen, and the outlines that close without these.

Drawings tell outlines from what is drawn about them by two pens: datums, chain lines, dimensions and hatching are half
as wide as outlines (ISO 128). Where a fine line runs into an outline at a shallow angle, along the floor of its notch
or through its corner, a walk may leave the outline for it; without the fine lines there is nothing to leave it for.
"""

from dataclasses import replace

import numpy as np
import shapely
from numpy.typing import NDArray

from digitize.continuation import THIN_LINE, LineGraph
from digitize.faces import faces
from digitize.link_sizes import link_lengths_px
from digitize.loop import CLOSED_ON_ITSELF, Loop, Role, is_same

Floats = NDArray[np.float64]

OUTLINE_SHARE = 0.6
"""Outlines make up this share of the lines of most figures, by length: a rib's goes round it, its datum crosses it
once."""

OVER_SHARE = 0.1
"""A loop lies over an outline with more than this share of its area: what lies beside it shares only ink, and what is
so many times larger is no field of it."""


HOLDS_SHARE = 0.98
"""A loop holds an outline with all of its area but what its own way along merged ink takes off."""


def finer_lines(graph: LineGraph, figures: list[list[int]]) -> NDArray[np.bool_]:
    """Tell which links of each figure are thinner than its outlines by as much as two pens differ.

    Each figure is judged by its own widths, since a photo shows the near side of the sheet larger and a sheet may have
    figures of several pens: by the usual width of its lines or of its outer boundary, the wider of the two, as hatching
    is longer than what it fills.

    Parameters
    ----------
    graph : LineGraph
    figures : list of list of int
        The graph's blocks.

    Returns
    -------
    (L,) array of bool
    """
    widths_px = np.array([link.width_px for link in graph.strokes.links])
    lengths_px = np.array(link_lengths_px(graph.strokes))
    finer = np.zeros(len(widths_px), dtype=np.bool_)
    for figure in figures:
        links = np.array(figure, dtype=np.int64)
        if widths_px[links].min() >= THIN_LINE * widths_px[links].max():
            continue
        outer = np.array([side >> 1 for side in faces(graph, figure).outer], dtype=np.int64)
        usual_px = max(usual_width_px(widths_px[some], lengths_px[some]) for some in (links, outer) if len(some))
        finer[links[widths_px[links] < THIN_LINE * usual_px]] = True
    return finer


def usual_width_px(widths_px: Floats, lengths_px: Floats) -> float:
    """Give the width that OUTLINE_SHARE of the length of some lines is no wider than."""
    order = np.argsort(widths_px)
    along = np.cumsum(lengths_px[order])
    at = int(np.searchsorted(along, OUTLINE_SHARE * along[-1]))
    return float(widths_px[order][min(at, len(order) - 1)])


def with_full_lines(loops: list[Loop], full: list[Loop], finer: NDArray[np.bool_], *, letters_px: Floats) -> list[Loop]:
    """Give the loops with the outlines that close without finer lines.

    Such an outline stands for a less certain one that is the same. A less certain loop over it, that runs along it and
    along finer lines, is a field that these cut off it. But where finer lines add to it what no figure stands in, they
    may bound the part as well: then the larger loop stays, and the outline within is left out.

    Parameters
    ----------
    loops, full : list of Loop
        Found among all lines, and among those that are not finer.
    finer : (L,) array of bool
    letters_px : (M, 2) array
        Where lettering stands.
    """
    fine = set(np.flatnonzero(finer).tolist())
    letters = np.asarray(shapely.points(letters_px), dtype=object)
    done = list(loops)
    parts = [which for which, loop in enumerate(loops) if loop.role is Role.PART]
    tree = shapely.STRtree([loops[which].polygon for which in parts])
    for loop in full:
        if loop.role is not Role.PART or loop.confidence < CLOSED_ON_ITSELF:
            continue
        near = [parts[at] for at in tree.query(loop.polygon, predicate="intersects").tolist()]
        if any(is_same(loop, done[which]) and done[which].confidence >= loop.confidence for which in near):
            continue
        along = [which for which in near if done[which].links & fine and done[which].links & loop.links]
        if any(_adds_to(done[which], loop, letters) for which in along):
            continue
        for which in near:
            other = done[which]
            if other.confidence < loop.confidence and (
                is_same(loop, other) or (which in along and _common_px2(loop, other) > OVER_SHARE * other.area_px2)
            ):
                done[which] = replace(other, role=Role.FACE, confidence=0.3, why="a field that a finer line cuts off")
        done.append(loop)
    return done


def _adds_to(other: Loop, loop: Loop, letters: NDArray[np.object_]) -> bool:
    """Whether a loop holds an outline and more, and no lettering stands in what is more."""
    if other.role is not Role.PART or is_same(loop, other) or _common_px2(loop, other) < HOLDS_SHARE * loop.area_px2:
        return False
    more = shapely.difference(other.polygon, loop.polygon)
    return not bool(shapely.contains(more, letters).any())


def _common_px2(one: Loop, other: Loop) -> float:
    return float(shapely.area(shapely.intersection(one.polygon, other.polygon)))
