"""Clefts in the ink: where two lines run side by side so closely that the blur of both darkens the paper between."""

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from pictures.ink import Ink

Pixels = NDArray[np.int64]

REACH_PX = 3
"""How far to either side of a cleft its lines are darkest, px: lines farther apart leave paper in the mask."""

RISE = 0.1
"""How much darker both lines are than the cleft, in parts of its darkness: the grain of ink is half of it."""

RISE_SIGMAS = 2.0
"""... and of the paper's noise, which the blur before has halved."""

FALL = 0.5
"""How much paler both ways along a cleft may be, in parts of that rise: where a line grows pale for a step of its
pixels, it is darker than the paper beside it."""

LEAST_WIDTHS = 16.0
"""A cleft is longer than this, in line widths: lines that cross at 10 deg part for less, and so do an edge and a centre
line that comes near it; noise opens a few px. At 12, narrow loops of handwriting became parts (trials)."""

SOFT_PX = 0.6
"""Blur before deciding, one sigma, px: noise would break the valley's floor into pieces."""

EVERY_PX = 6
"""Clefts are looked for in one row and one column of so many, px: the shortest between lines 2.5 px wide crosses six
of them."""

WIDTHS_EVERY_PX = 16
"""One row and one column of so many, px, tell how wide lines are."""

NARROW_PX = 5
"""Gaps of paper narrower than this, px, are looked at as well: here and there a cleft is open."""


def without_clefts(ink: Ink, mask: NDArray[np.uint8]) -> tuple[Ink, NDArray[np.uint8]]:
    """Give the ink and its mask with the paper in long clefts as paper.

    Thinned as one, lines side by side become one line in the middle between them; measured across, each is drawn to
    the other. A pixel is of a cleft where both sides are darker, in one of four directions, and no ridge runs the
    other way.

    Parameters
    ----------
    ink : Ink
    mask : (H, W) uint8
        1 where there is ink.

    Returns
    -------
    Ink, (H, W) uint8
        The same values where there is no cleft.
    """
    if min(mask.shape) <= 4 * EVERY_PX:
        return ink, mask
    width = mask.shape[1]
    soft = np.asarray(cv2.GaussianBlur(ink.darkness, (3, 3), SOFT_PX), np.uint8)
    at = _near(_crossed(soft, mask, noise=ink.noise), mask)
    floors, valley = _in_valley(soft.ravel(), at, _ways(width), noise=ink.noise)
    floors, at = floors[valley], at[valley]
    long = _is_long(at, width, least_px=LEAST_WIDTHS * _usual_width_px(mask))
    floors, at = floors[long], at[long]
    if not len(at):
        return ink, mask
    left, darkness = mask.copy(), ink.darkness.copy()
    left.ravel()[at] = 0
    darkness.ravel()[at[floors]] = 0
    _close_steps(left, at, soft.ravel())
    return replace(ink, darkness=darkness), left


def _crossed(soft: NDArray[np.uint8], mask: NDArray[np.uint8], *, noise: float) -> Pixels:
    """Where some rows and columns cross valleys: pixels of the whole picture, counted along its rows."""
    width = mask.shape[1]
    flat = soft.ravel()
    found = []
    for rows, columns, across in ((EVERY_PX, 1, 1), (1, EVERY_PX, width)):
        some = np.ascontiguousarray(mask[EVERY_PX:-EVERY_PX:rows, EVERY_PX:-EVERY_PX:columns])
        side = np.ones((1, NARROW_PX) if across == 1 else (NARROW_PX, 1), np.uint8)
        some = np.asarray(cv2.morphologyEx(some, cv2.MORPH_CLOSE, side), np.uint8)
        y, x = np.divmod(np.flatnonzero(some.view(np.bool_)), some.shape[1])
        at = (y * rows + EVERY_PX) * width + x * columns + EVERY_PX
        here = flat[at]
        at = at[(flat[at - across] >= here) & (flat[at + across] >= here)]
        at = at[_rise(flat, at, across) > RISE * flat[at]]
        found.append(at[_in_valley(flat, at, (across, width + 1 - across), noise=noise)[0]])
    return np.concatenate(found)


def _near(at: Pixels, mask: NDArray[np.uint8]) -> Pixels:
    """The pixels of ink from some to the next crossed row and column, each once, in ascending order."""
    height, width = mask.shape
    steps = np.arange(-EVERY_PX, EVERY_PX + 1)
    y, x = np.divmod(at, width)
    inner = (np.minimum(x, width - 1 - x) >= 2 * EVERY_PX) & (np.minimum(y, height - 1 - y) >= 2 * EVERY_PX)
    near = np.sort((at[inner, None, None] + width * steps[:, None] + steps).ravel())
    return near[np.diff(near, prepend=-1) > 0]


def _ways(width: int) -> tuple[int, int, int, int]:
    """Steps to the right, down to the right, down, and down to the left: each is square to the one two farther on."""
    return 1, width + 1, width, width - 1


def _in_valley(
    soft: NDArray[np.uint8], at: Pixels, ways: tuple[int, ...], *, noise: float
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Which pixels are the palest of a valley, and which lie in one.

    Each of the ways across is square to the one half their number farther on.
    """
    here = soft[at].astype(np.int16)
    least = np.maximum(RISE_SIGMAS * noise, RISE * here)
    rises = [_rise(soft, at, step) for step in ways]
    falls = [here - np.maximum(*(_beside(soft, at, way, np.minimum) for way in (step, -step))) for step in ways]
    floors, valley = np.zeros(len(at), np.bool_), np.zeros(len(at), np.bool_)
    for which, step in enumerate(ways):
        found = (rises[which] > least) & (falls[which - len(ways) // 2] < FALL * rises[which])
        valley |= found
        floors |= found & (np.minimum(soft[at + step], soft[at - step]) >= here)
    return floors, valley


def _rise(soft: NDArray[np.uint8], at: Pixels, step: int) -> NDArray[np.int16]:
    """How much darker it gets within reach on both sides."""
    one, other = (_beside(soft, at, way, np.maximum) for way in (step, -step))
    return np.minimum(one, other) - soft[at].astype(np.int16)


def _beside(soft: NDArray[np.uint8], at: Pixels, step: int, most: np.ufunc) -> NDArray[np.int16]:
    """The most, or least, of the darkness within reach on one side."""
    found = soft[at + step]
    for away in range(2, REACH_PX + 1):
        found = most(found, soft[at + away * step])
    signed: NDArray[np.int16] = found.astype(np.int16)
    return signed


def _is_long(at: Pixels, width: int, *, least_px: float) -> NDArray[np.bool_]:
    """Which of some pixels, in ascending order, belong to pieces so long."""
    pairs = []
    for step in (1, width - 1, width, width + 1):
        place = np.minimum(np.searchsorted(at, at + step), max(len(at) - 1, 0))
        one = np.flatnonzero(at[place] == at + step)
        pairs.append(np.column_stack([one, place[one]]))
    a, b = np.concatenate(pairs).T
    count, piece = connected_components(
        coo_matrix((np.ones(len(a), np.int8), (a, b)), shape=(len(at), len(at))), directed=False
    )
    size_px = []
    for values in np.divmod(at, width):
        low, high = np.full(count, values.max(initial=0)), np.zeros(count, np.int64)
        np.minimum.at(low, piece, values)
        np.maximum.at(high, piece, values)
        size_px.append(high - low + 1)
    long: NDArray[np.bool_] = np.hypot(*size_px)[piece] >= least_px
    return long


def _usual_width_px(mask: NDArray[np.uint8]) -> float:
    """The mean width of lines, px: twice their area over the length of their edges, as upright and level lines have."""
    rows, columns = mask[::WIDTHS_EVERY_PX], mask[:, ::WIDTHS_EVERY_PX]
    edges = int(np.count_nonzero(rows[:, 1:] != rows[:, :-1])) + int(np.count_nonzero(columns[1:] != columns[:-1]))
    return 2 * int(np.count_nonzero(mask.view(np.bool_))) / max(WIDTHS_EVERY_PX * edges, 1)


def _close_steps(mask: NDArray[np.uint8], at: Pixels, soft: NDArray[np.uint8]) -> None:
    """Take out of a mask the paler pixel beside each diagonal step of clefts: ink would join across it."""
    flat, width = mask.ravel(), mask.shape[1]
    for across in (1, -1):
        for down in (width, -width):
            step = at[(flat[at + across + down] == 0) & (flat[at + across] > 0) & (flat[at + down] > 0)]
            flat[np.where(soft[step + across] < soft[step + down], step + across, step + down)] = 0
