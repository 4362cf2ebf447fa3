"""Lines of ink thinned to one pixel: the skeleton from which the graph of strokes is traced."""

import numpy as np
from numpy.typing import NDArray


def thin(mask: NDArray[np.uint8]) -> NDArray[np.int32]:
    """Give the skeleton's pixels.

    Guo and Hall, "Parallel thinning with two-subiteration algorithms", CACM 32 (1989), algorithm A1: every
    piece keeps its connections and its holes. Works on the list of ink pixels, one or two in a hundred of a plan, and
    after the first round only on those next to what went.

    Parameters
    ----------
    mask : (H, W) uint8
        1 where there is ink. The outermost rows and columns count as paper.

    Returns
    -------
    (N, 2) int32
        Skeleton pixels (x, y), row by row.
    """
    height, width = mask.shape
    ink = mask.astype(np.uint8, copy=True)
    ink[[0, -1], :] = 0
    ink[:, [0, -1]] = 0
    flat = ink.ravel()
    around = np.array([-width, -width + 1, 1, width + 1, width, width - 1, -1, -width - 1], dtype=np.int64)
    alive = np.flatnonzero(flat.view(np.bool_))
    active = alive
    while len(active):
        gone = []
        for table in (_FIRST, _SECOND):
            codes = _codes(flat, active, around)
            leave = table[codes]
            out = active[leave]
            flat[out] = 0
            gone.append(out)
            active = active[~leave]
        removed = np.concatenate(gone)
        beside = (removed[:, None] + around).ravel()
        active = np.unique(beside[flat[beside] == 1])
    alive = alive[flat[alive] == 1]
    y, x = np.divmod(alive, width)
    return np.column_stack([x, y]).astype(np.int32)


def _codes(flat: NDArray[np.uint8], at: NDArray[np.int64], around: NDArray[np.int64]) -> NDArray[np.uint8]:
    """The eight neighbours of each pixel as bits: north is bit 0, then clockwise."""
    codes = np.zeros(len(at), np.uint8)
    for bit, shift in enumerate(around):
        codes |= flat[at + shift] << np.uint8(bit)
    return codes


def _tables() -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Which neighbourhoods let a pixel go, in the odd and in the even subiteration."""
    code = np.arange(256)
    north, north_east, east, south_east, south, south_west, west, north_west = (
        (code >> bit & 1).astype(np.bool_) for bit in range(8)
    )
    # C(p): distinct ink components among the neighbours, N(p): a count that spares line ends.
    components = (
        (~north & (north_east | east)).astype(int)
        + (~east & (south_east | south))
        + (~south & (south_west | west))
        + (~west & (north_west | north))
    )
    pairs_a = (north_west | north).astype(int) + (north_east | east) + (south_east | south) + (south_west | west)
    pairs_b = (north | north_east).astype(int) + (east | south_east) + (south | south_west) + (west | north_west)
    neighbours = np.minimum(pairs_a, pairs_b)
    may_go = (components == 1) & (neighbours >= 2) & (neighbours <= 3)
    return may_go & ~((north | north_east | ~south_east) & east), may_go & ~((south | south_west | ~north_west) & west)


_FIRST, _SECOND = _tables()
