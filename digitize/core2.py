"""Which lines can bound something: the graph without its free tails, in pieces joined by more than one place."""

import numpy as np
from numpy.typing import NDArray

from digitize.continuation import LineGraph


def blocks(graph: LineGraph) -> list[list[int]]:
    """Give the links of every block that holds a closed walk.

    A block is a largest set of links in which any two lie on one closed walk that visits no place
    twice: free tails, and lines that only join two closed figures, are in none. The search is
    Hopcroft and Tarjan's (1973), with a stack of its own in place of recursion.

    Returns
    -------
    list of list of int
        Link numbers; each block's in no particular order. A link closed on itself is a block.
    """
    found: list[list[int]] = []
    around: dict[int, list[tuple[int, int]]] = {}
    for link in _two_core(graph):
        a, b = graph.place_of(2 * link), graph.place_of(2 * link + 1)
        if a == b:
            found.append([link])
            continue
        around.setdefault(a, []).append((link, b))
        around.setdefault(b, []).append((link, a))
    order: dict[int, int] = {}
    low: dict[int, int] = {}
    for root in around:
        if root not in order:
            found += _blocks_from(root, around, order, low)
    return found


def _blocks_from(
    root: int, around: dict[int, list[tuple[int, int]]], order: dict[int, int], low: dict[int, int]
) -> list[list[int]]:
    found: list[list[int]] = []
    held: list[int] = []
    order[root] = low[root] = len(order)
    path = [(root, -1, iter(around[root]))]
    while path:
        place, came_by, rest = path[-1]
        for link, other in rest:
            if link == came_by:
                continue
            if other not in order:
                held.append(link)
                order[other] = low[other] = len(order)
                path.append((other, link, iter(around[other])))
                break
            if order[other] < order[place]:
                held.append(link)
                low[place] = min(low[place], order[other])
        else:
            path.pop()
            if path:
                before = path[-1][0]
                low[before] = min(low[before], low[place])
                if low[place] >= order[before]:
                    at = len(held) - 1 - held[::-1].index(came_by)
                    if len(held) - at > 1:
                        found.append(held[at:])
                    del held[at:]
    return found


def _two_core(graph: LineGraph) -> list[int]:
    """Links left when those with a free end are taken away again and again."""
    live: NDArray[np.int64] = np.flatnonzero(graph.live)
    at: dict[int, set[int]] = {}
    for link in live.tolist():
        for side in (0, 1):
            at.setdefault(graph.place_of(2 * link + side), set()).add(link)
    closed = {link for link in live.tolist() if graph.place_of(2 * link) == graph.place_of(2 * link + 1)}
    ends = [place for place, links in at.items() if len(links) == 1 and not links & closed]
    gone: set[int] = set()
    while ends:
        place = ends.pop()
        for link in list(at[place]):
            gone.add(link)
            for side in (0, 1):
                other = graph.place_of(2 * link + side)
                at[other].discard(link)
                if len(at[other]) == 1 and not at[other] & closed:
                    ends.append(other)
    return [link for link in live.tolist() if link not in gone]
