"""The paper's edge in a photo: offered, and used to leave out what lies beside the paper; never a scale."""

import math
from collections.abc import Iterator
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from pictures.picture import Picture

Points = NDArray[np.float64]

REDUCED_PX = 800
"""Longest side at which the paper is looked for."""

LINES_CLOSED_PX = 9
"""Dark lines up to this wide (reduced px) are painted over first: the paper is one light area."""

LEAST_PART = 0.2
"""Least part of the picture that a plan's paper fills; smaller light areas are something else on the table."""

MOST_PART = 0.97
"""A light area above this fills the picture: no edge to be seen."""

LEAST_STEP = 25
"""Least difference in grey between paper and table: less is a shadow's or a fold's."""

SHARP_PX = 5
"""Distance (reduced px) across which the paper's edge makes its whole step; a shadow's edge is softer."""

TOUCHING_PX = 3
"""An outline this near the picture's edge (reduced px) is that edge; a scanner's lid shows twice as wide."""

SHARP_PART = 0.85
"""Part of the outline that must be sharp or the picture's own edge..."""

SHARP_STRETCH = 0.4
"""... and of each of its STRETCHES: a hand or a clip hides part of one, a shadow's edge is soft all along."""

STRETCHES = 24

EDGE_GRADIENT = 90
"""Canny's upper level on the reduced picture, grey: a paper's edge of LEAST_STEP, not the grain of most tables."""

FILLED = 0.93
"""Least part of its hull that a sheet fills: rounded and curled edges leave out little."""

SHORT_PART = 0.02
"""Sides of the polygon shorter than this part of the picture's diagonal are a corner's wear, not a side."""

CLOSED_PART = 0.6
"""Width of the dark lines painted over when a side is placed, as part of how far it is looked for."""

INSET_PART = 0.0008
"""How far inside the edge the polygon is drawn, as part of the picture's diagonal: the edge itself is outside."""

LEAST_INSET_PX = 2.0
"""The least of that: the edge's own blur on a small picture."""

SIMPLE_PART = 0.0008
"""How far the polygon may cut the outline, as part of the picture's diagonal."""


def find_sheet(picture: Picture) -> Points | None:
    """Find the outline of light paper lying on a darker table.

    A few px inside the paper's edge: for leaving out what is beside it. Trimmed paper is only true to 2-3 mm
    (ISO 216), so that no scale rests on it.

    Parameters
    ----------
    picture : Picture
        The whole picture, grey.

    Returns
    -------
    (K, 2) float or None
        Corners in picture px, clockwise as seen, the one nearest the picture's upper-left first; K is 4 for a flat
        sheet wholly in the picture. None when the paper fills the picture or its edge is not clearly to be seen.
    """
    height, width = picture.grey.shape
    factor = max(1.0, max(height, width) / REDUCED_PX)
    size = (max(1, round(width / factor)), max(1, round(height / factor)))
    if min(size) < 8 * LINES_CLOSED_PX:
        return None
    small = cv2.resize(picture.grey, size, interpolation=cv2.INTER_AREA)
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (LINES_CLOSED_PX, LINES_CLOSED_PX))
    # Continued beyond the picture, so that a narrow strip of table along its edge is not painted over as a line.
    closed = cv2.morphologyEx(small, cv2.MORPH_CLOSE, kernel, borderType=cv2.BORDER_REPLICATE)
    clear = np.asarray(cv2.medianBlur(closed, 5), dtype=np.uint8)
    outlines = (_sheet_outline(clear, area) for area in _light_areas(clear))
    outline = next((found for found in outlines if found is not None), None)
    if outline is None:
        return None
    scale = np.array([width / size[0], height / size[1]])
    corners = _simple(outline, math.hypot(*size))
    corners = (corners + 0.5) * scale - 0.5
    corners = _without_short_sides(corners, SHORT_PART * math.hypot(width, height))
    return _inset(
        _refined(picture.grey, corners, 6 * factor), max(LEAST_INSET_PX, INSET_PART * math.hypot(width, height))
    )


def _light_areas(clear: NDArray[np.uint8]) -> Iterator[NDArray[np.uint8]]:
    """Give masks (255 or 0) of what may be the paper: first by its sharp edge, then by its brightness."""
    # Shadows have soft edges, so what sharp edges enclose is the whole paper, lit or not.
    edges = cv2.Canny(clear, 0.4 * EDGE_GRADIENT, EDGE_GRADIENT)
    edges = cv2.dilate(edges, np.ones((3, 3), np.uint8))
    open_ground = cv2.bitwise_not(edges)
    _, labels, stats, _ = cv2.connectedComponentsWithStats(open_ground, connectivity=4)
    for label in np.argsort(-stats[1:, cv2.CC_STAT_AREA])[:3] + 1:
        # Back over the half of the widened edge.
        ground = np.where(labels == label, 255, 0).astype(np.uint8)
        yield np.asarray(cv2.dilate(ground, np.ones((5, 5), np.uint8)), dtype=np.uint8)
    otsu, _ = cv2.threshold(clear, 0, 255, cv2.THRESH_BINARY + cv2.THRESH_OTSU)
    for level in (otsu, 0.8 * otsu, 0.65 * otsu):
        yield np.asarray(cv2.threshold(clear, level, 255, cv2.THRESH_BINARY)[1], dtype=np.uint8)


def _sheet_outline(clear: NDArray[np.uint8], area_mask: NDArray[np.uint8]) -> NDArray[np.int32] | None:
    """Give the outline (N, 2) of the largest area of a mask, if it is a sheet."""
    height, width = clear.shape
    # Glare spots and whatever touches the paper by a thin bridge are cut off.
    light = cv2.morphologyEx(area_mask, cv2.MORPH_OPEN, np.ones((7, 7), np.uint8))
    contours, _ = cv2.findContours(light, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    if not contours:
        return None
    contour = max(contours, key=cv2.contourArea)
    area = cv2.contourArea(contour)
    if not LEAST_PART * height * width < area < MOST_PART * height * width:
        return None
    if area < FILLED * cv2.contourArea(cv2.convexHull(contour)):
        return None
    return np.asarray(contour[:, 0], dtype=np.int32) if _is_sharp(clear, contour[:, 0].astype(np.float64)) else None


def _is_sharp(clear: NDArray[np.uint8], outline: Points) -> bool:
    """Whether nearly all of an outline is a steep step from light inside to dark outside."""
    height, width = clear.shape
    count = len(outline)
    ahead, behind = np.roll(outline, -6, axis=0), np.roll(outline, 6, axis=0)
    along = ahead - behind
    normal = np.column_stack([along[:, 1], -along[:, 0]]) / np.maximum(np.hypot(*along.T), 1e-9)[:, None]
    # Outwards, whichever way round the outline runs.
    x, y = outline.T
    normal *= np.sign(x @ np.roll(y, -1) - y @ np.roll(x, -1))
    edge = (outline <= TOUCHING_PX).any(axis=1)
    edge |= (outline >= np.array([width, height]) - 1 - TOUCHING_PX).any(axis=1)
    if edge.sum() > 0.6 * count:
        return False

    def grey(distance: float) -> NDArray[np.float64]:
        at = np.round(outline + distance * normal).astype(int)
        return np.asarray(clear[np.clip(at[:, 1], 0, height - 1), np.clip(at[:, 0], 0, width - 1)], dtype=np.float64)

    step = grey(-SHARP_PX) - grey(SHARP_PX)
    whole = grey(-2 * SHARP_PX) - grey(2 * SHARP_PX)
    sharp = ((step > LEAST_STEP) & (step > 0.7 * whole)) | edge
    # Every stretch, not only the whole: a shadow that cuts a corner off is a small part of the outline.
    stretches = np.array_split(sharp, STRETCHES)
    return bool(sharp.mean() > SHARP_PART and min(part.mean() for part in stretches) > SHARP_STRETCH)


def _simple(outline: NDArray[np.int32], diagonal: float) -> Points:
    """Give the outline's hull with few corners, clockwise as seen, upper-left first."""
    hull = cv2.convexHull(outline)
    corners = cv2.approxPolyDP(hull, SIMPLE_PART * diagonal, True)[:, 0].astype(np.float64)
    x, y = corners.T
    if x @ np.roll(y, -1) - y @ np.roll(x, -1) < 0:
        corners = corners[::-1]
    return np.roll(corners, -int(np.argmin(corners.sum(axis=1))), axis=0)


def _without_short_sides(corners: Points, least_px: float) -> Points:
    """Let the neighbours of short sides (rounded or worn corners, steps of the outline) meet in one corner."""
    while len(corners) > 4:
        side = np.roll(corners, -1, axis=0) - corners
        length = np.hypot(side[:, 0], side[:, 1])
        shortest = int(length.argmin())
        if length[shortest] >= least_px:
            break
        corners = np.roll(corners, 1 - shortest, axis=0)
        met = _crossing(corners[0], corners[1], corners[2], corners[3])
        middle = (corners[1] + corners[2]) / 2
        near = met is not None and math.hypot(*(met - middle)) < 2 * least_px
        corners = np.vstack([corners[:1], met if near and met is not None else middle, corners[3:]])
    return np.roll(corners, -int(np.argmin(corners.sum(axis=1))), axis=0)


def _crossing(a: Points, b: Points, c: Points, d: Points) -> Points | None:
    """Give where the line through a and b crosses that through c and d, unless they are nearly parallel."""
    u, v = b - a, d - c
    cross = u[0] * v[1] - u[1] * v[0]
    if abs(cross) < 0.02 * math.hypot(*u) * math.hypot(*v):
        return None
    return np.asarray(a + ((c - a)[0] * v[1] - (c - a)[1] * v[0]) / cross * u)


def _refined(grey: NDArray[np.uint8], corners: Points, reach: float) -> Points:
    """Move each side to the steepest fall of brightness across it, px; sides along the picture's own edge stay."""
    height, width = grey.shape
    lines = []
    for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        along = b - a
        length = math.hypot(*along)
        normal = np.array([along[1], -along[0]]) / length
        t = np.linspace(0.04, 0.96, int(np.clip(length / (2 * reach), 5, 80)))
        offsets = np.arange(-reach, reach + 1)
        at = a + t[:, None, None] * along + offsets[None, :, None] * normal
        inside = ((at > 1) & (at < np.array([width, height]) - 2)).all(axis=(1, 2))
        if inside.sum() < 5:
            lines.append((a, b))
            continue
        x, y = (at[inside] + 0.5).astype(np.intp).transpose(2, 0, 1)
        # A drawn line near the edge is painted over, as in the reduced picture.
        window = np.ones((1, int(reach * CLOSED_PART) | 1), np.uint8)
        profile = cv2.morphologyEx(grey[y, x], cv2.MORPH_CLOSE, window).astype(np.float64)
        wide = max(2, int(reach / 6))
        sums = np.cumsum(profile, axis=1)
        # Mean of `wide` px inside less the same outside: the step, not a line near it.
        fall = 2 * sums[:, wide:-wide] - sums[:, : -2 * wide] - sums[:, 2 * wide :]
        best = offsets[wide + 1 : wide + 1 + fall.shape[1]][fall.argmax(axis=1)]
        fitted = _straight(t[inside], best)
        lines.append((a + fitted[0] * normal, b + fitted[1] * normal))
    moved = []
    for n, corner in enumerate(corners):
        (a, b), (c, d) = lines[n - 1], lines[n]
        point = _crossing(a, b, c, d)
        near = point is not None and math.hypot(*(point - corner)) < 3 * reach
        moved.append(point if near and point is not None else (b + c) / 2)
    return np.asarray(np.clip(moved, -0.5, [width - 0.5, height - 0.5]))


def _straight(t: Points, offset: Points) -> tuple[float, float]:
    """Fit a line to offsets, robustly, and move it inside of nearly all; give it at t = 0 and t = 1."""
    weight = np.ones(len(t))
    fit: NDArray[np.floating[Any]] = np.zeros(2)
    for _ in range(8):
        fit = np.polynomial.polynomial.polyfit(t, offset, 1, w=weight)
        off = np.abs(offset - fit[0] - fit[1] * t)
        weight = 1 / (1 + (off / max(1.0, 2 * float(np.median(off)))) ** 2)
    # A lens or a curl bows the edge: the straight side goes along its innermost stretches.
    past = fit[0] + fit[1] * t - offset
    inner = float(np.percentile(past[np.abs(past) <= 4 * max(1.0, float(np.median(np.abs(past))))], 95))
    return float(fit[0] - inner), float(fit[0] + fit[1] - inner)


def _inset(corners: Points, distance: float) -> Points:
    """Give the polygon with its corners moved `distance` inwards along their bisectors."""
    before, after = np.roll(corners, 1, axis=0) - corners, np.roll(corners, -1, axis=0) - corners
    before /= np.maximum(np.hypot(before[:, :1], before[:, 1:]), 1e-9)
    after /= np.maximum(np.hypot(after[:, :1], after[:, 1:]), 1e-9)
    normal = np.column_stack([-after[:, 1] + before[:, 1], after[:, 0] - before[:, 0]])
    normal /= np.maximum(np.hypot(normal[:, :1], normal[:, 1:]), 1e-9)
    sine = np.abs(after[:, 0] * normal[:, 1] - after[:, 1] * normal[:, 0])
    return np.asarray(corners + normal * (distance / np.maximum(sine, 0.3))[:, None])
