"""A skeleton's pixels as a graph: nodes where lines meet or end, chains of pixels between them."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from digitize.runs import parted


@dataclass(frozen=True, slots=True)
class Chains:
    """Pixel chains between nodes, as flat arrays.

    Chain c runs from node `start[c]` to node `end[c]` over `points_px[first[c]:first[c + 1]]`,
    both nodes included. `nodes_px` is (N, 2). `piece` (N,) numbers the connected piece each node belongs to.
    A closed chain has one node as start and end.
    """

    nodes_px: NDArray[np.float64]
    piece: NDArray[np.int64]
    start: NDArray[np.int64]
    end: NDArray[np.int64]
    points_px: NDArray[np.float64]
    first: NDArray[np.int64]

    def split(self) -> list[NDArray[np.float64]]:
        """The points of each chain, (M, 2)."""
        return parted(self.points_px, self.first) if len(self.start) else []


def trace_chains(pixels: NDArray[np.int32]) -> Chains:
    """Trace the graph of a skeleton.

    Neighbours are linked by m-adjacency: a diagonal only where no pixel beside both makes the same way in two
    steps, so a staircase is one line and no corner pixel a junction. All chains are traced at once: each directed
    link knows its predecessor, and doubling those pointers finds every link's chain and its place in it.

    Parameters
    ----------
    pixels : (N, 2) int32
        Skeleton pixels (x, y), each once, in any order.

    Returns
    -------
    Chains
        Single pixels without any neighbour are left out.
    """
    if len(pixels) == 0:
        return _nothing()
    stride = int(pixels[:, 0].max()) + 3
    keys = np.sort((pixels[:, 1].astype(np.int64) + 1) * stride + pixels[:, 0] + 1)
    a, b = _links(keys, stride)
    count = len(keys)
    if len(a) == 0:
        return _nothing()
    degree = np.bincount(a, minlength=count) + np.bincount(b, minlength=count)
    _, piece = connected_components(
        coo_matrix((np.ones(len(a), np.int8), (a, b)), shape=(count, count)), directed=False
    )
    is_node = (degree != 2) & (degree > 0)
    # A ring has no node: its first pixel becomes one.
    pieces_with_node = np.zeros(piece.max() + 1, np.bool_)
    pieces_with_node[piece[is_node]] = True
    ring = np.flatnonzero(~pieces_with_node[piece] & (degree > 0))
    _, lowest = np.unique(piece[ring], return_index=True)
    is_node[ring[lowest]] = True

    tail, head = np.concatenate([a, b]), np.concatenate([b, a])
    half = len(a)
    index = np.arange(2 * half)
    reverse = np.where(index < half, index + half, index - half)
    before = _predecessor(tail, is_node, reverse, count)
    root, rank = _ranked(before)
    # Each chain was found from both its ends; the one whose first link has the lower number stays.
    last = np.ones(2 * half, np.bool_)
    last[before[before != index]] = False
    ends = index[last]
    other = np.full(2 * half, -1)
    other[root[ends]] = reverse[ends]
    keep = root <= other[root]
    kept = index[keep]
    kept = kept[np.lexsort((rank[kept], root[kept]))]
    begins = np.flatnonzero(before[kept] == kept)
    lengths = np.diff(np.append(begins, len(kept)))
    first = np.concatenate([[0], np.cumsum(lengths + 1)])
    pixel = np.empty(first[-1], np.int64)
    is_first = np.zeros(first[-1], np.bool_)
    is_first[first[:-1]] = True
    pixel[~is_first] = head[kept]
    pixel[is_first] = tail[kept[begins]]
    y, x = np.divmod(keys, stride)
    where = np.column_stack([x - 1, y - 1]).astype(np.float64)
    nodes = np.flatnonzero(is_node)
    number = np.full(count, -1)
    number[nodes] = np.arange(len(nodes))
    return Chains(
        nodes_px=where[nodes],
        piece=piece[nodes].astype(np.int64),
        start=number[pixel[first[:-1]]],
        end=number[pixel[first[1:] - 1]],
        points_px=where[pixel],
        first=first,
    )


def _nothing() -> Chains:
    none = np.empty(0, np.int64)
    return Chains(np.empty((0, 2)), none, none, none, np.empty((0, 2)), np.zeros(1, np.int64))


def _links(keys: NDArray[np.int64], stride: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Pairs of linked pixels, as places in the sorted `keys`."""

    def present(wanted: NDArray[np.int64]) -> tuple[NDArray[np.bool_], NDArray[np.int64]]:
        at = np.minimum(np.searchsorted(keys, wanted), len(keys) - 1)
        return keys[at] == wanted, at

    south, at_south = present(keys + stride)
    beside = keys[1:] == keys[:-1] + 1
    east, west = np.append(beside, False), np.insert(beside, 0, False)
    south_east, at_south_east = present(keys + stride + 1)
    south_west, at_south_west = present(keys + stride - 1)
    south_east &= ~east & ~south
    south_west &= ~west & ~south
    here = np.arange(len(keys))
    a = np.concatenate([here[east], here[south], here[south_east], here[south_west]])
    b = np.concatenate([here[east] + 1, at_south[south], at_south_east[south_east], at_south_west[south_west]])
    return a, b


def _predecessor(
    tail: NDArray[np.int64], is_node: NDArray[np.bool_], reverse: NDArray[np.int64], count: int
) -> NDArray[np.int64]:
    """The directed link that leads into each one; a link that leaves a node is its own."""
    before = np.arange(len(tail))
    inner = np.flatnonzero(~is_node[tail])
    # A pixel within a chain is the tail of exactly two links: each is led into by the other one's reverse.
    pairs = inner[np.argsort(tail[inner], kind="stable")].reshape(-1, 2)
    before[pairs[:, 0]] = reverse[pairs[:, 1]]
    before[pairs[:, 1]] = reverse[pairs[:, 0]]
    return before


def _ranked(before: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """The first link of each link's chain, and how many links lie before it: pointers doubled until all are at rest."""
    root = before.copy()
    rank = (before != np.arange(len(before))).astype(np.int64)
    while True:
        further = root[root]
        if np.array_equal(further, root):
            return root, rank
        rank += rank[root]
        root = further
