"""What shines through from the back of the paper: a drawing far fainter than the plan's own, and nothing between."""

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from pictures.ink import FIRM_SIGMAS, HALO_SIDE_PX, LEAST_DARKNESS, SMOOTH_PX, STRIP_ROWS, Ink, Polygon

FULL_QUANTILE = 0.9
"""Of the lines' darkness: the plan's own, though what shines through has more lines."""

THROUGH = 0.2, 0.35
"""Where the darkness of the plan's own lines parts from what shines through, in parts of the former: paper lets a
quarter of it through at most. Pencil is a third as dark as ink or more."""

CLEAR = 1.2, 1.5
"""So many times below and above that parting no line lies: plans drawn in many tones have lines there."""

MOST_BETWEEN = 0.05
"""Share of what lies there all the same: where the two run into each other."""

LEAST_SHARE = 0.1
"""Less than this share of the lines is no drawing but smudges."""


def shown_through(ink: Ink, *, within: Polygon | None) -> float | None:
    """Give the darkness under which lines shine through from the back of the paper; None where none do.

    Parameters
    ----------
    ink : Ink
    within : (K, 2) float or None
        Polygon in picture px to look in: the sheet of paper.
    """
    if ink.bilevel:
        return None
    counts = _line_tones(ink, within)
    total = counts.sum()
    if total == 0:
        return None
    full = float(np.searchsorted(np.cumsum(counts), FULL_QUANTILE * total))
    levels = np.arange(round(THROUGH[0] * full), round(THROUGH[1] * full) + 1)
    between = [counts[int(level / CLEAR[0]) : int(level * CLEAR[1]) + 1].sum() / total for level in levels]
    which = int(np.argmin(between))
    if between[which] > MOST_BETWEEN or counts[: levels[which]].sum() < LEAST_SHARE * total:
        return None
    return float(levels[which])


def without_shown_through(ink: Ink, level: float) -> Ink:
    """Give the ink without what is fainter than a level, but for the blur beside what is darker."""
    darkness = ink.darkness.copy()
    near = np.ones((HALO_SIDE_PX, HALO_SIDE_PX), np.uint8)
    for top in range(0, len(darkness), STRIP_ROWS):
        first = max(0, top - HALO_SIDE_PX)
        some = ink.darkness[first : top + STRIP_ROWS + HALO_SIDE_PX]
        dark = cv2.dilate(cv2.GaussianBlur(some, (5, 5), SMOOTH_PX), near)[top - first :][:STRIP_ROWS]
        darkness[top : top + STRIP_ROWS][dark < level] = 0
    return replace(ink, darkness=darkness)


def _line_tones(ink: Ink, within: Polygon | None) -> NDArray[np.int64]:
    """How many places that are the darkest near by have each darkness (256,): the middles of lines."""
    counts = np.zeros(256, np.int64)
    near = np.ones((HALO_SIDE_PX, HALO_SIDE_PX), np.uint8)
    least = max(LEAST_DARKNESS, FIRM_SIGMAS * ink.noise)
    for top in range(0, len(ink.darkness), STRIP_ROWS):
        smooth = cv2.GaussianBlur(ink.darkness[top : top + STRIP_ROWS], (5, 5), SMOOTH_PX)
        is_peak = (smooth == cv2.dilate(smooth, near)) & (smooth > least)
        if within is not None:
            inside = np.zeros_like(smooth)
            cv2.fillPoly(inside, [np.round(np.asarray(within) - [0, top]).astype(np.int32)], 1)
            is_peak &= inside > 0
        counts += np.bincount(smooth[is_peak], minlength=256)
    return counts
