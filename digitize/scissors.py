"""The way along ink that is no stroke: faint, broken or rubbed lines, from point to point within a small window."""

import math
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from digitize.smoothing import smoothed
from drawing.paths import Point
from pictures.ink import LEAST_DARKNESS, Ink, find_ink
from pictures.picture import Picture
from pictures.ridge import line_centres

Floats = NDArray[np.float64]

WINDOW_PX = 500
"""Largest side of the window: the search's map takes time that grows faster than its area."""

AROUND_PX, AROUND_PART = 40, 0.3
"""How far the window reaches beyond both points: a line bows out between them, by up to this part of their distance. A
half circle bows by half; between its ends it takes one click more."""

PAPER_AROUND_PX = 100
"""Paper around the window that its brightness is told from: lines fill less of a wider view."""

HALF_WIDTH_PX = 6.0
"""How far across the found way the line's middle is looked for: beyond most lines' width, short of a neighbour."""

CENTRINGS = 3
"""Rounds of moving the way to the line's middle and smoothing it; it settles in two."""

FIRM_SIGMAS = 4.0
"""Ink on the way stands out of the paper's noise by this much."""

INKED_PART = 0.6
"""Part of the way that must be on ink: dashes cover more, and between two letters there is less."""

SIGMA_PX = 0.25
"""One-sigma error across the line of a point found so, measured on rendered samples."""


@dataclass(frozen=True, slots=True)
class FaintWay:
    """Points (N, 2), picture px, about one px apart along faint ink, and the ink's width there."""

    points_px: Floats
    width_px: float


def is_within_window(start_px: Point, end_px: Point) -> bool:
    """Tell whether two points lie near enough to each other to be searched between."""
    far_px = max(abs(start_px[0] - end_px[0]), abs(start_px[1] - end_px[1]))
    return 1 <= far_px <= WINDOW_PX - 2 * AROUND_PX


def faint_way(picture: Picture, start_px: Point, end_px: Point) -> FaintWay | None:
    """Give the way of most ink between two points, moved to the ink's middle, or None where there is no ink.

    The cheapest path over pixels whose cost is their paleness (intelligent scissors, Mortensen and Barrett 1995, with
    darkness in the place of edges: along edges it would run on a line's side).
    """
    if not is_within_window(start_px, end_px):
        return None
    ink, origin = _ink_around(picture, start_px, end_px)
    ends = np.array([start_px, end_px]) - origin
    way = _cheapest(ink, ends)
    if way is None or len(way) < 3:
        return None
    points, width_px = _centred(ink, way, ends)
    return None if points is None else FaintWay(points + origin, width_px)


def _ink_around(picture: Picture, start_px: Point, end_px: Point) -> tuple[Ink, Floats]:
    """Ink of the window around two points, and the window's first pixel."""
    both = np.array([start_px, end_px])
    limit = np.array([picture.width_px, picture.height_px])
    extent = np.ptp(both, axis=0).max()
    around_px = int(np.clip(AROUND_PART * extent, AROUND_PX, max(AROUND_PX, (WINDOW_PX - extent) // 2)))
    around = around_px + PAPER_AROUND_PX
    low = np.clip(np.floor(both.min(axis=0)) - around, 0, limit - 1).astype(int)
    high = np.clip(np.ceil(both.max(axis=0)) + around + 1, 1, limit).astype(int)
    crop = np.ascontiguousarray(picture.grey[low[1] : high[1], low[0] : high[0]])
    ink = find_ink(replace(picture, grey=crop))
    inner_low = np.maximum(np.floor(both.min(axis=0)).astype(int) - around_px, low)
    inner_high = np.minimum(np.ceil(both.max(axis=0)).astype(int) + around_px + 1, high)
    rows, columns = (slice(inner_low[k] - low[k], inner_high[k] - low[k]) for k in (1, 0))
    return replace(ink, darkness=np.ascontiguousarray(ink.darkness[rows, columns])), inner_low.astype(np.float64)


def _cheapest(ink: Ink, ends: Floats) -> Floats | None:
    """The cheapest path between two points of a window, (N, 2) pixels."""
    soft = cv2.GaussianBlur(ink.darkness, (0, 0), 1.0)
    # Beyond what the darkest reach, all ink is equally good: the way is not to seek out crossings.
    full = max(float(np.percentile(soft, 99)), float(_floor(ink)))
    paleness = np.maximum(1 - soft.astype(np.float32) / full, 0)
    size = np.array(ink.darkness.shape[::-1])
    first, last = (tuple(int(v) for v in np.clip(np.rint(end), 0, size - 1)) for end in ends)
    tool = cv2.segmentation.IntelligentScissorsMB()
    tool.setWeights(0.5, 0.0, 0.5)
    pale = (soft < _floor(ink)).astype(np.uint8)
    tool.applyImageFeatures(pale, np.zeros((*paleness.shape, 2), np.float32), paleness)
    tool.buildMap(first)
    way = tool.getContour(last)
    return None if way is None or not len(way) else np.asarray(way, dtype=np.float64).reshape(-1, 2)


def _floor(ink: Ink) -> float:
    return max(LEAST_DARKNESS, FIRM_SIGMAS * ink.noise)


def _centred(ink: Ink, way: Floats, ends: Floats) -> tuple[Floats | None, float]:
    """The way moved to the middle of its ink and smoothed; None where too little of it is ink."""
    points = np.vstack([ends[:1], way[1:-1], ends[1:]])
    width_px = 0.0
    for _ in range(CENTRINGS):
        smooth = smoothed(_evenly(points), sigma_mm=0.5, closed=False)
        along = smooth.points_mm
        normals = np.column_stack([-smooth.directions[:, 1], smooth.directions[:, 0]])
        found = line_centres(ink.darkness, along, normals, half_width_px=HALF_WIDTH_PX)
        inked = found.good & (found.contrast >= _floor(ink))
        if inked.mean() < INKED_PART:
            return None, 0.0
        # Between dashes the way keeps to the line that they lie on.
        offset = np.interp(np.arange(len(along)), np.flatnonzero(inked), found.offset_px[inked])
        points = along + offset[:, None] * normals
        width_px = float(np.median(found.width_px[inked]))
    return _evenly(points), width_px


def _evenly(points: Floats) -> Floats:
    far = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    count = max(3, math.ceil(float(far[-1])) + 1)
    at = np.linspace(0, far[-1], count)
    return np.column_stack([np.interp(at, far, points[:, axis]) for axis in (0, 1)])
