"""The inks of a coloured picture, told apart by what each takes of the paper's light.

A sheet may carry several sets of patterns, each in its own colour, over one another: in grey their lines are one
tangle, in its own ink each set is a plan like any other.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from pictures.ink import Ink, paper_of_cells, reduced_cells

Floats = NDArray[np.float32]

MIXED = 255
"""Where two inks lie over each other, and neither can be told."""

STRIP_ROWS = 128
"""Rows of which colours are taken at a time."""

SAMPLED_ROWS, SMALL_PX = 32, 2_000_000
"""Whether there is more than one ink is told from so many rows of every strip: most plans have one. A small picture is
looked at whole."""

APRON_ROWS = 2
"""Rows beside a strip that blur into it."""

BLUR_PX = 1.0
"""Blur of colours before they are told, one sigma, px: JPEG keeps them at half the resolution, and a lens puts red a
little beside blue."""

BINS = 160
"""The chart of colours: what of the light an ink takes is red, and what is blue, in so many steps from none to all."""

CHART_BLUR_BINS = 1.2
"""Blur of the chart, one sigma: narrower than black and green are apart, by seven bins, and wide enough for noise."""

HELD_BINS = 4
"""An ink's pixels lie so near to its place on the chart, each way."""

VALLEY = 0.5
"""Two inks have a valley between them on the chart, lower than this part of the lesser one."""

LEAST_AMOUNT = 0.5
"""What a pixel takes of the light of all three channels together, of 3, to count on the chart: less shows no colour."""

LEAST_INK = 0.01
"""Part of the ink that is of one colour, at least: less is a stain or a speck."""

FAR = 0.09
"""How far on the chart a pixel may lie from every ink and still be one of these: half of what red, blue and green are
apart. Two colours over each other lie farther."""

LONG_WIDTHS, LONG_SHARE = 6.0, 0.3
"""Lines are longer than this many line widths, and hold at least so much of an ink; where two colours cross each other,
a third shows in dots."""

DOT_WIDTHS = 3.0
"""A dot where two lines cross is no longer than this, in line widths, and lies between both their inks."""

SPECK_WIDTHS = 1.5
"""A speck of no more than this, in line widths, shows no colour that can be trusted: noise and dust are of any."""

MOST_INK = 0.15
"""Where more of a picture than this is dark, it shows more than a drawing."""

MOST_INKS = 6

MAJORITY_PX = 1.5
"""Reach of the vote by which neighbours settle a pixel's ink, one sigma, px: edges show less colour than the middle of
a line, and seams of another."""

FLANK_PX = 12
"""How far beside an ink's pixels the darkness is its own, px: a line's blur and what is looked at beside it."""


@dataclass(frozen=True, slots=True)
class Tints:
    """Which ink each pixel has, (H, W) uint8: 0 none, 1 to `count`, or MIXED. The first ink has most."""

    number: NDArray[np.uint8]
    count: int

    def with_one_for(self, which: int, other: int) -> "Tints":
        """Give the same with two inks taken for one."""
        table = np.arange(256, dtype=np.uint8)
        first, last = sorted((which, other))
        table[last] = first
        table[last + 1 : self.count + 1] -= 1
        return Tints(np.asarray(cv2.LUT(self.number, table), np.uint8), self.count - 1)


class _Colours(NamedTuple):
    """Where ink lies in a strip, what of what it takes is red and blue (N, 2), and how much it takes in all."""

    rows: NDArray[np.int64]
    columns: NDArray[np.int64]
    share: Floats
    amount: Floats


def tell_tints(rgb: NDArray[np.uint8], mask: NDArray[np.uint8]) -> Tints | None:
    """Tell the inks of a picture apart, if it has more than one.

    What an ink takes of the paper's light in the three channels lies on one line through the origin however much of
    a pixel it covers, as light adds (linear light, IEC 61966-2-1): its direction is the ink's. A chart of all
    directions shows a peak for every ink.

    Parameters
    ----------
    rgb : (H, W, 3) uint8
        Dark lines on light paper.
    mask : (H, W) uint8
        1 where there is ink.

    Returns
    -------
    Tints or None
        None where all ink is of one colour.
    """
    if cv2.countNonZero(mask) > MOST_INK * mask.size:
        return None
    paper = np.stack(
        [_TO_LINEAR[paper_of_cells(cells[..., of])] for cells in [reduced_cells(rgb)] for of in range(3)], axis=2
    )
    tops = range(0, len(mask), STRIP_ROWS)
    if mask.size > SMALL_PX and len(_peaks([_colours(rgb, mask, paper, top, SAMPLED_ROWS) for top in tops])) < 2:
        return None
    everywhere = [_colours(rgb, mask, paper, top, STRIP_ROWS) for top in tops]
    peaks = _peaks(everywhere)
    if len(peaks) < 2:
        return None
    number = np.zeros(mask.shape, np.uint8)
    for rows, columns, share, _ in everywhere:
        away = np.hypot(*(share[:, None, :] - peaks).transpose(2, 0, 1))
        number[rows, columns] = np.where(away.min(axis=1) < FAR, away.argmin(axis=1) + 1, MIXED)
    return _lines_alone(_by_majority(number, len(peaks)), len(peaks))


def inks_of(ink: Ink, tints: Tints) -> Iterator[Ink]:
    """Give the darkness of each ink alone, the first with all that is no other's; what the others hide is told."""
    owner = tints.number
    for step in range(FLANK_PX):
        shape = cv2.MORPH_RECT if step % 2 else cv2.MORPH_CROSS
        grown = cv2.dilate(owner, cv2.getStructuringElement(shape, (3, 3)))
        # What is owned stays so: ownership grows only over bare paper.
        cv2.copyTo(owner, owner, grown)
        owner = np.asarray(grown, np.uint8)
    beside = cv2.getStructuringElement(cv2.MORPH_RECT, (3, 3))
    for which in range(1, tints.count + 1):
        own = _only(owner, which, 0) if which == 1 else _only(owner, which)
        others = cv2.bitwise_not(_only(tints.number, which, 0))
        yield replace(
            ink,
            darkness=np.asarray(cv2.bitwise_and(ink.darkness, own), np.uint8),
            hidden=np.asarray(cv2.dilate(others, beside), np.uint8),
        )


_LEVELS = np.arange(256) / 255
_TO_LINEAR = np.where(_LEVELS <= 0.04045, _LEVELS / 12.92, ((_LEVELS + 0.055) / 1.055) ** 2.4).astype(np.float32)
_TO_BITS = np.round(_TO_LINEAR * 65535).astype(np.uint16)


def _colours(rgb: NDArray[np.uint8], mask: NDArray[np.uint8], paper: Floats, top: int, count: int) -> _Colours:
    """The colours of the ink in so many rows from the top one on."""
    height, width = mask.shape
    first, last = max(0, top - APRON_ROWS), min(height, top + count + APRON_ROWS)
    rows, columns = np.divmod(np.flatnonzero(mask[top : top + count]), width)
    light = cv2.GaussianBlur(cv2.LUT(rgb[first:last], _TO_BITS), (5, 5), BLUR_PX)
    down, across = len(paper) / height, paper.shape[1] / width
    ground = paper[((rows + top) * down).astype(np.int64), (columns * across).astype(np.int64)]
    taken = np.clip(1 - light[rows + top - first, columns] / (65535 * np.maximum(ground, 1e-3)), 0, 1)
    amount = taken.sum(axis=1)
    share = (taken[:, ::2] / np.maximum(amount, 1e-3)[:, None]).astype(np.float32)
    return _Colours(rows + top, columns, share, amount)


def _only(number: NDArray[np.uint8], *which: int) -> NDArray[np.uint8]:
    """255 where pixels have one of some numbers, else 0."""
    table = np.zeros(256, np.uint8)
    table[list(which)] = 255
    return np.asarray(cv2.LUT(number, table), np.uint8)


def _peaks(colours: Sequence[_Colours]) -> Floats:
    """The inks on a chart of colours, (K, 2), the one with most first."""
    share = np.concatenate([one.share[one.amount > LEAST_AMOUNT] for one in colours])
    bins = np.minimum((share * BINS).astype(np.int64), BINS - 1)
    chart = np.bincount(bins @ [BINS, 1], minlength=BINS * BINS).reshape(BINS, BINS).astype(np.float32)
    smooth = np.asarray(cv2.GaussianBlur(chart, (0, 0), CHART_BLUR_BINS), np.float32)
    side = 2 * HELD_BINS + 1
    held = cv2.boxFilter(chart, -1, (side, side), normalize=False)
    highest = smooth == cv2.dilate(smooth, np.ones((3, 3), np.uint8))
    places = np.argwhere(highest & (held > LEAST_INK * chart.sum()))
    kept: list[NDArray[np.int64]] = []
    for place in places[np.argsort(-smooth[places[:, 0], places[:, 1]])]:
        if all(_valley(smooth, place, other) < VALLEY * smooth[tuple(place)] for other in kept):
            kept.append(place)
    kept.sort(key=lambda place: -float(held[tuple(place)]))
    inks: Floats = ((np.array(kept[:MOST_INKS]).reshape(-1, 2) + 0.5) / BINS).astype(np.float32)
    return inks


def _valley(smooth: Floats, one: NDArray[np.int64], other: NDArray[np.int64]) -> float:
    """The lowest place of the chart on the straight way from one to another."""
    part = np.linspace(0, 1, 2 * BINS)[:, None]
    row, column = np.round(one + part * (other - one)).astype(np.int64).T
    return float(smooth[row, column].min())


def _by_majority(number: NDArray[np.uint8], count: int) -> NDArray[np.uint8]:
    """Each pixel's ink as its neighbours have it."""
    kinds = [*range(1, count + 1), MIXED]
    for_each = [cv2.GaussianBlur(_only(number, kind), (7, 7), MAJORITY_PX) for kind in kinds]
    at = np.flatnonzero(number)
    votes = np.stack([blurred.ravel()[at] for blurred in for_each])
    settled = np.zeros_like(number)
    settled.ravel()[at] = np.array(kinds, np.uint8)[votes.argmax(axis=0)]
    return settled


class _Pieces(NamedTuple):
    """The connected pieces of an ink's pixels: where these are, each one's piece, and the area and reach of pieces.

    Reach is the longer side of a piece's box, in line widths.
    """

    at: NDArray[np.int64]
    piece: NDArray[np.int64]
    area: NDArray[np.int64]
    reach: NDArray[np.float64]


def _pieces(number: NDArray[np.uint8], which: int) -> _Pieces:
    own = _only(number, which)
    _, labels, told, _ = cv2.connectedComponentsWithStats(own, connectivity=8)
    at = np.flatnonzero(own)
    box = np.maximum(told[1:, cv2.CC_STAT_WIDTH], told[1:, cv2.CC_STAT_HEIGHT])
    piece = (labels.ravel()[at] - 1).astype(np.int64)
    return _Pieces(at, piece, told[1:, cv2.CC_STAT_AREA].astype(np.int64), box / _width_px(own))


def _lines_alone(number: NDArray[np.uint8], count: int) -> Tints | None:
    """The inks that draw lines. Dots that lie between two of them are mixed; what is left of others is the first's."""
    pieces = {which: _pieces(number, which) for which in (*range(1, count + 1), MIXED)}
    inks = [
        which
        for which in range(1, count + 1)
        if pieces[which].area[pieces[which].reach > LONG_WIDTHS].sum() >= LONG_SHARE * pieces[which].area.sum()
    ]
    if len(inks) < 2:
        return None
    table = np.ones(256, np.uint8)
    table[0] = 0
    table[inks] = np.arange(1, len(inks) + 1)
    told = np.asarray(cv2.LUT(number, table), np.uint8)
    near = np.ones((5, 5), np.uint8)
    around = {which: cv2.dilate(_only(number, which), near).ravel() for which in inks}
    for which, own in pieces.items():
        beside = np.zeros(len(own.area), np.int64)
        for other in inks:
            if other != which:
                beside += np.bincount(own.piece, around[other][own.at], minlength=len(own.area)) > 0
        told.ravel()[own.at[((beside == 0) & (own.reach < SPECK_WIDTHS))[own.piece]]] = 1
        told.ravel()[own.at[((beside >= 2) & (own.reach < DOT_WIDTHS))[own.piece]]] = MIXED
    return Tints(told, len(inks))


def _width_px(own: NDArray[np.uint8]) -> float:
    """The usual width of an ink's lines, px: twice its area over the length of its edge."""
    edge = int(np.count_nonzero(own[:, 1:] != own[:, :-1]) + np.count_nonzero(own[1:] != own[:-1]))
    # A line at a slant has 4/pi as many edges between pixels as its length (Crofton's formula, over all ways alike).
    return 2 * float(np.count_nonzero(own)) / max(edge * np.pi / 4, 1.0)
