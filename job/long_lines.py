"""Long lines of the drawing that may be straight on the paper: found in the ink, not yet believed to be straight.

Pieces of strokes are joined along gentle curves over crossings and gaps, each line is then measured along its ink, and
one that runs on beyond its ends without a corner, crossing or end is a piece of a curve and left.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.line_runs import REDUCED_PX, join_runs
from digitize.strokes import Link, Strokes
from job.straight_lines import clear_ink, points_along

Floats: TypeAlias = NDArray[np.float64]

LEAST_PART = 0.1
"""Shortest line of use, as part of the picture's diagonal: what paper bends one by falls with the length squared, and
under a tenth (80 mm of an A1 sheet) it is no more than how well a hand draws."""

LEAST_INK = 0.25
"""Part of a line that has ink before it is measured: dashes and the breaks at crossings leave that much."""

LEAST_POINTS = 12
"""Of the places along a line, how many must have ink: half, as a dashed line has."""

BREAK_PX = 0.8
"""A stroke that leaves its chord by this much, reduced px, is two pieces: under what joining allows."""

LEAST_PIECE_PX = 6.0
"""Pieces shorter than this, reduced px, tell no direction."""

MOST_PIECES = 900
"""Longest pieces joined; a busy plan has some hundred that are long."""

MOST_LINES = 40
"""Longest lines measured: far more than a bend takes."""

AT_NODE_WIDTHS = 4.0
"""A line's end lies this near to a place where something happens to its ink, in line widths; a stroke's thickness and
a corner's rounding lie between."""

AROUND_PX = 20.0
"""Strokes whose frame is this near to a line's may be of it."""

MOST_GAP = 0.2
"""Longest stretch without ink, as part of the line: dashes are shorter, and two lines in one direction lie apart."""

BESIDE_PART = 0.015
"""Lines that run this near beside one taken already, as part of the diagonal, tell the same: double frames."""


@dataclass(frozen=True, slots=True, eq=False)
class LongLine:
    """Places (N, 2) along the middle of a line's ink, in order, px, and one sigma across it."""

    points_px: Floats
    sigma_px: float


def long_lines(strokes: Strokes, *, size_px: tuple[int, int], sides: Sequence[Floats]) -> tuple[LongLine, ...]:
    """Give lines that may be straight, the longest first, each with points along its ink.

    Parameters
    ----------
    strokes : Strokes
        Every drawn line of the picture.
    size_px : (int, int)
        The picture's width and height.
    sides : sequence of (N, 2) array
        The border's sides, which are used already: what runs beside one is left out.
    """
    factor = max(1.0, max(size_px) / REDUCED_PX)
    diagonal_px = float(np.hypot(*size_px))
    pieces = _pieces(strokes, factor)
    if len(pieces) == 0:
        return ()
    least_px = LEAST_INK * LEAST_PART * diagonal_px / factor
    runs = join_runs(pieces, diagonal_px=diagonal_px / factor, least_px=least_px, most=MOST_LINES)
    ink = clear_ink(strokes)
    known = list(sides)
    found: list[LongLine] = []
    for run in sorted(runs, key=lambda run: run.low - run.high):
        start_px, end_px = run.ends() * factor
        if np.hypot(*(end_px - start_px)) < LEAST_PART * diagonal_px:
            continue
        around_px = run.at(np.linspace(run.low, run.high, 9)) * factor
        near = (ink.lows_px <= around_px.max(axis=0) + AROUND_PX) & (ink.highs_px >= around_px.min(axis=0) - AROUND_PX)
        here = near.all(axis=1)
        along = points_along(ink.of(here), start_px, end_px)
        if along is None or len(along[0]) < LEAST_POINTS or _gap_part(along[0]) > MOST_GAP:
            continue
        points_px, sigma_px = along
        if any(is_beside(points_px, other, BESIDE_PART * diagonal_px) for other in known):
            continue
        width = _width_px([strokes.links[n] for n in np.flatnonzero(here)], points_px)
        if not all(_at_node(end, strokes.nodes_px, AT_NODE_WIDTHS * width) for end in (start_px, end_px)):
            continue
        known.append(points_px)
        found.append(LongLine(points_px, sigma_px))
    return tuple(found)


def _pieces(strokes: Strokes, factor: float) -> Floats:
    """Give straight pieces of the strokes, (N, 4) as x1 y1 x2 y2 in reduced px, longest first."""
    found = []
    for link in strokes.links:
        broken = cv2.approxPolyDP((link.points_px / factor).astype(np.float32)[:, None], BREAK_PX, False)[:, 0]
        found.append(np.column_stack([broken[:-1], broken[1:]]))
    if not found:
        return np.empty((0, 4))
    pieces = np.concatenate(found).astype(np.float64)
    length = np.hypot(pieces[:, 2] - pieces[:, 0], pieces[:, 3] - pieces[:, 1])
    order = np.argsort(-length, kind="stable")[:MOST_PIECES]
    return np.asarray(pieces[order[length[order] >= LEAST_PIECE_PX]])


def is_beside(points_px: Floats, other_px: Floats, near_px: float) -> bool:
    """Whether most of a line lies beside another."""
    chord = other_px[-1] - other_px[0]
    length_px = float(np.hypot(*chord))
    along = chord / length_px
    across = np.array([-along[1], along[0]])
    u, v = (other_px - other_px[0]) @ along, (other_px - other_px[0]) @ across
    at = (points_px - other_px[0]) @ along
    inside = (at >= 0) & (at <= length_px)
    off_px = (points_px[inside] - other_px[0]) @ across - np.interp(at[inside], u, v)
    return bool(inside.mean() > 0.5 and (np.abs(off_px) < near_px).all())


def _gap_part(points_px: Floats) -> float:
    """Give the longest step between points, as part of their line."""
    return float(np.hypot(*np.diff(points_px, axis=0).T).max() / np.hypot(*(points_px[-1] - points_px[0])))


def _width_px(links: Sequence[Link], points_px: Floats) -> float:
    """Give the width of the ink nearest the middle of a line."""
    middle = points_px[len(points_px) // 2]
    near = [float(np.abs(link.points_px - middle).sum(axis=1).min()) for link in links]
    return links[int(np.argmin(near))].width_px


def _at_node(end_px: Floats, nodes_px: Floats, reach_px: float) -> bool:
    return bool((np.hypot(*(nodes_px - end_px).T) < reach_px).any())
