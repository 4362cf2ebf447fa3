"""Whether a page shows what its paths say, and whether they say all it shows."""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from digitize.own_curve import Floats
from digitize.vector_runs import whole_runs
from pictures.ink import Ink
from pictures.page_paths import PagePath

BESIDE_PX = 2.0
"""Ink this far beyond a line's own width is still its own: blur, and half a pixel on either side."""

SUBPIXEL_BITS = 4
"""Fractions of a px that lines are drawn with where ink is compared: sixteenths."""

LEAST_DARKNESS = 16
"""Darker than this, of 255, is ink: a drawn page has no grain, and the palest grid is twice as dark."""

LOOK_PX = 1
"""Ink is looked for within this many px of a point: a hairline is drawn on the nearest pixel."""


@dataclass(frozen=True, slots=True)
class Cover:
    """What else makes ink on a page: solid areas, as their runs, and boxes of text (N, 4)."""

    areas: Sequence[PagePath]
    text_boxes_px: Floats


def covered_share(ink: Ink, lines: Sequence[PagePath], cover: Cover) -> float:
    """Give the share of a page's ink that its lines account for, text and solid areas left out of the count."""
    rest = _inked(ink)
    _blank(rest, cover)
    inked = int(np.count_nonzero(rest))
    if inked == 0:
        return 1.0
    runs = whole_runs(lines)
    for run, path in enumerate(lines):
        thick = max(1, round(path.width_px + 2 * BESIDE_PX))
        cv2.polylines(rest, [_fixed(runs.points_of(run))], False, 0, thick, cv2.LINE_8, SUBPIXEL_BITS)
    return 1 - int(np.count_nonzero(rest)) / inked


def _fixed(points_px: Floats) -> NDArray[np.int32]:
    return np.round(points_px * (1 << SUBPIXEL_BITS)).astype(np.int32)


def _blank(mask: NDArray[np.uint8], cover: Cover) -> None:
    """Take text and solid areas out of a mask of ink."""
    for x0, y0, x1, y1 in cover.text_boxes_px:
        low = (int(x0 - BESIDE_PX), int(y0 - BESIDE_PX))
        cv2.rectangle(mask, low, (int(x1 + BESIDE_PX) + 1, int(y1 + BESIDE_PX) + 1), 0, -1)
    if not cover.areas:
        return
    runs = whole_runs(cover.areas)
    for run in range(len(runs)):
        ring = _fixed(runs.points_of(run))
        cv2.fillPoly(mask, [ring], 0, cv2.LINE_8, SUBPIXEL_BITS)
        cv2.polylines(mask, [ring], True, 0, round(2 * BESIDE_PX), cv2.LINE_8, SUBPIXEL_BITS)


def shown_ink(ink: Ink) -> NDArray[np.uint8]:
    """Give where a page shows ink, (H, W), with LOOK_PX around it."""
    side = 2 * LOOK_PX + 1
    return np.asarray(cv2.dilate(_inked(ink), np.ones((side, side), np.uint8)), dtype=np.uint8)


def _inked(ink: Ink) -> NDArray[np.uint8]:
    return np.asarray(cv2.threshold(ink.darkness, LEAST_DARKNESS, 255, cv2.THRESH_BINARY)[1], dtype=np.uint8)
