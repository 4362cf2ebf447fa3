"""Whether a picture has lost stretches of its lines: they are hardly a pixel wide, and many stop and go on farther on.

A scan in black and white keeps a pixel or drops it. Where a line hardly darkens the pixels it runs through, whole
stretches of it go, several times longer than any gap that may be bridged, and what is left closes around other fields
than the parts: an outline found in such a picture is not to be relied on.
"""

from collections.abc import Sequence
from dataclasses import replace
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from digitize.dashed_lines import dashed_links
from digitize.facing_ends import free_sides, towards
from digitize.link_sizes import link_lengths_px
from digitize.loop import Loop, Role
from digitize.strokes import Strokes
from drawing.findings import Finding, Level

Floats: TypeAlias = NDArray[np.float64]

HARDLY_SEEN_PX = 1.5
"""Usual line width below which a threshold breaks lines, px. A 0.25 mm line scanned at 150 dpi is measured 1.1 wide in
black and white, one of 0.35 mm or at 200 dpi 1.6 to 2.0: of these, hardly any is lost but for dimension lines."""

LONG_WIDTHS = 30.0
"""Lines at least this long, in line widths, end on others nearly always; the ends of dashes and letters say nothing."""

OPEN_ENDS = 0.35
"""Free ends for each long line above which lines have been lost: 0.45 to 0.7 where they have, 0.03 to 0.3 where not."""

BROKEN_LINES = 8
"""Lines stop and go on at so many places: fewer may have been drawn so, around figures for one."""

PIECE_WIDTHS, FARTHEST_WIDTHS = 15.0, 100.0
"""Pieces of a broken line are no shorter than this, and no farther apart, in line widths."""

STRAIGHT_ON_COSINE = -np.cos(np.radians(6))
"""They point at each other within this."""

ASIDE_WIDTHS, ASIDE_SHARE = 1.0, 0.02
"""Each end lies on the other's line within so many widths and this part of the gap."""

DOUBTED = 0.5
"""Confidence of an outline found between lines some of which are lost, at most: it is shown as unsure."""


def lines_lost(strokes: Strokes, lettering: NDArray[np.bool_]) -> int:
    """Count the places at which lines stop and go on where stretches of them were lost; 0 where they were drawn so.

    Parameters
    ----------
    strokes : Strokes
    lettering : (L,) array of bool
        Links that are lettering: their ends say nothing, no more than those of dashes.
    """
    lengths_px = np.array(link_lengths_px(strokes))
    width_px = _usual_width_px(strokes, lengths_px) if strokes.links else HARDLY_SEEN_PX
    if width_px >= HARDLY_SEEN_PX:
        return 0
    long = int(np.count_nonzero(lengths_px[~lettering] > LONG_WIDTHS * width_px))
    sides = free_sides(strokes, lettering | dashed_links(strokes))
    open_ends = sum(lengths_px[side >> 1] > LONG_WIDTHS * width_px for side in sides)
    if open_ends < max(OPEN_ENDS * long, BROKEN_LINES):
        return 0
    sides = [side for side in sides if lengths_px[side >> 1] > PIECE_WIDTHS * width_px]
    pieces = [towards(strokes.links[side >> 1], side)[-int(PIECE_WIDTHS * width_px) :] for side in sides]
    broken = _broken(np.array([piece[[0, -1]] for piece in pieces]).reshape(-1, 2, 2), width_px)
    return broken if broken >= BROKEN_LINES else 0


def _usual_width_px(strokes: Strokes, lengths_px: Floats) -> float:
    """The width in which half of all that is drawn is, or finer: crumbs of squared paper are many, and short."""
    widths_px = np.array([link.width_px for link in strokes.links])
    order = np.argsort(widths_px)
    drawn_px = np.cumsum(lengths_px[order])
    return float(widths_px[order[np.searchsorted(drawn_px, drawn_px[-1] / 2)]])


def _broken(pieces: Floats, width_px: float) -> int:
    """How many pairs of last pieces (N, 2, 2), each towards its end, lie on one line and point at each other."""
    ends, ways = pieces[:, 1], pieces[:, 1] - pieces[:, 0]
    ways = ways / np.hypot(ways[:, 0], ways[:, 1])[:, None]
    near = cKDTree(ends).query_pairs(FARTHEST_WIDTHS * width_px, output_type="ndarray")
    a, b = near.T
    gap = ends[b] - ends[a]
    gap_px = np.hypot(gap[:, 0], gap[:, 1])
    aside = [np.abs(gap[:, 0] * ways[one, 1] - gap[:, 1] * ways[one, 0]) for one in (a, b)]
    facing = (ways[a] * ways[b]).sum(axis=1) < STRAIGHT_ON_COSINE
    facing &= ((ways[a] * gap).sum(axis=1) > 0) & ((ways[b] * gap).sum(axis=1) < 0)
    facing &= np.maximum(*aside) <= ASIDE_WIDTHS * width_px + ASIDE_SHARE * gap_px
    taken: set[int] = set()
    for which in np.flatnonzero(facing)[np.argsort(gap_px[facing])].tolist():
        pair = {int(a[which]), int(b[which])}
        if not pair & taken:
            taken |= pair
    return len(taken) // 2


def doubted(loops: Sequence[Loop]) -> tuple[Loop, ...]:
    """Give the loops of a picture that has lost lines, its parts in doubt."""
    why = "lines of this picture are lost in places, so it may be made of what is left of others"
    return tuple(
        replace(loop, confidence=min(loop.confidence, DOUBTED), why=why) if loop.role is Role.PART else loop
        for loop in loops
    )


def told_of_lost_lines(broken: int) -> Finding:
    """Say that lines were lost and what to do."""
    return Finding(
        "lines-lost",
        Level.NOTE,
        "the picture",
        f"Lines stop and go on farther along at {broken} places and are hardly a pixel wide, so stretches of them "
        "were lost, as a scan in black and white loses them: parts are missing or put together wrongly; scan the plan "
        "in grey at 300 dpi.",
    )
