"""Lines of ink thinned to one pixel: the skeleton from which the graph of strokes is traced."""

import cv2
import numpy as np
from numpy.typing import NDArray

BLOT_PX = 60
"""Ink wider than this, px, is no line: at 0.08 mm a px the thickest borders have 25."""

STRIP_ROWS = 256
"""Rows worked on at a time."""

CODED_AT_ONCE = 16_384
"""Pixels whose neighbours are looked up at a time: they and their rows stay in the processor's cache."""

WIDEST_PX = 64
"""How far a run of ink is followed, px: past any line."""


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
    width = mask.shape[1]
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
        met = []
        for shift in around:
            beside = removed + shift
            beside = beside[flat[beside] == 1]
            # Each once: what is marked was met from another side.
            flat[beside] = 3
            met.append(beside)
        active = np.sort(np.concatenate(met))
        flat[active] = 1
    alive = alive[flat[alive] == 1]
    y, x = np.divmod(alive, width)
    return np.column_stack([x, y]).astype(np.int32)


def without_blots(mask: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Give the mask without ink too wide for a line: solid areas, a scanner's dark lid, a table beside the sheet.

    What is wider than some BLOT_PX both ways goes, but for a rim; thinning it would take longer than all lines.
    """
    height, width = mask.shape
    if min(height, width) < BLOT_PX:
        return mask
    cell = BLOT_PX // 5
    # A cell's mean of 0 and 1, rounded: 1 where at least half is ink; of solid ink's neighbours all are.
    small = cv2.resize(mask, (-(-width // cell), -(-height // cell)), interpolation=cv2.INTER_AREA)
    solid = cv2.erode(small, np.ones((5, 5), np.uint8))
    if not solid.any():
        return mask
    grown = cv2.dilate(solid, np.ones((5, 5), np.uint8)) > 0
    left = mask.copy()
    row, column = np.arange(height) * grown.shape[0] // height, np.arange(width) * grown.shape[1] // width
    # Only the rows concerned, a few at a time: whole pictures are too large to have many of.
    for top in range(0, height, STRIP_ROWS):
        strip = grown[row[top : top + STRIP_ROWS]]
        if strip.any():
            left[top : top + STRIP_ROWS][strip[:, column]] = 0
    return left


def local_widths(mask: NDArray[np.uint8], pixels: NDArray[np.int32]) -> NDArray[np.float64]:
    """Give the ink's width at skeleton pixels (N,), px: the shortest of the runs of ink in four directions.

    A diagonal line of the same width has a run longer by up to 8 %. Runs are followed for WIDEST_PX at most.
    """
    height, width = mask.shape
    flat = mask.ravel()
    at = pixels[:, 1].astype(np.int64) * width + pixels[:, 0]
    shortest = np.full(len(at), float(WIDEST_PX))
    for dx, dy, length in ((1, 0, 1.0), (0, 1, 1.0), (1, 1, np.sqrt(2)), (1, -1, np.sqrt(2))):
        run = np.ones(len(at))
        for sign in (1, -1):
            going = np.arange(len(at))
            for step in range(1, WIDEST_PX):
                x = pixels[going, 0] + sign * step * dx
                y = pixels[going, 1] + sign * step * dy
                inside = (x >= 0) & (x < width) & (y >= 0) & (y < height)
                going = going[inside]
                going = going[flat[at[going] + sign * step * (dy * width + dx)] > 0]
                if len(going) == 0:
                    break
                run[going] += 1
        shortest = np.minimum(shortest, run * length)
    return shortest


def ink_edges(mask: NDArray[np.uint8]) -> tuple[list[NDArray[np.int32]], list[NDArray[np.int32]]]:
    """Give the edge pixels (N, 2) of each piece of ink, outer ones, and of each piece of paper shut in by it."""
    found, levels = cv2.findContours(mask, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
    outer: list[NDArray[np.int32]] = []
    inner: list[NDArray[np.int32]] = []
    if len(found):
        for edge, is_inner in zip(found, (levels[0][:, 3] >= 0).tolist(), strict=True):
            (inner if is_inner else outer).append(np.asarray(edge[:, 0], dtype=np.int32))
    return outer, inner


def _codes(flat: NDArray[np.uint8], at: NDArray[np.int64], around: NDArray[np.int64]) -> NDArray[np.uint8]:
    """The eight neighbours of each pixel as bits: north is bit 0, then clockwise."""
    codes = np.empty(len(at), np.uint8)
    for first in range(0, len(at), CODED_AT_ONCE):
        some = at[first : first + CODED_AT_ONCE]
        code = flat.take(some + around[0])
        for bit in range(1, 8):
            code |= flat.take(some + around[bit]) << np.uint8(bit)
        codes[first : first + CODED_AT_ONCE] = code
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
