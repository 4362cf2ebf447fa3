"""Whether a rectangle of lines is a plan's border, or a part drawn as a large rectangle."""

import math

import numpy as np
from numpy.typing import NDArray

from calibration.line_runs import Reduced

Points = NDArray[np.float64]

MOST_OUTSIDE = 0.06
"""Most of the straight ink that may lie outside: trim marks and a title do, a part's neighbours are far more."""

MOST_TOUCHING = 8
"""Most long lines that may end on the border from inside: a title block has two to four, a panel its ribs and spars."""

TOUCH_PX = 5.0
"""How near (reduced px) to the border a line's end touches it."""

GOES_ON_PX, GOES_ON_DEG = 12.0, 3.0
"""A line goes on past the border where a piece outside begins this near (reduced px) to its end, in the same line: the
border's own ink and the smoothing before pieces are found break it over some px on either side."""

TOUCHING_LENGTH = 0.03
"""Shortest such line, as part of the picture's diagonal: zone marks and ticks are shorter."""

NEAR_PX = 4.0
"""Pieces this near (reduced px) to the measured border are its own."""

NEAR_ROUGH_PX = 14.0
"""The same before it is measured, when its rough sides may run between a frame's two lines."""


def encloses_a_plan(reduced: Reduced, pieces: NDArray[np.float64], outline: Points, *, near_px: float) -> bool:
    """Whether nearly all straight ink lies inside an outline (N, 2) and few long lines end on it; all in reduced px.

    Pieces within `near_px` of the outline are the border's own. Only straight pieces count: the grain and noise of a
    table are short or none.
    """
    start, end = pieces[:, :2], pieces[:, 2:]
    length = np.hypot(*(end - start).T)
    near = _depth(np.concatenate([start, end]), outline).reshape(2, -1)
    depth = near.min(axis=0)
    outside = float(length[depth < -near_px].sum())
    inside = float(length[depth > near_px].sum())
    # A border encloses something.
    if inside < 0.25 * np.hypot(*np.ptp(outline, axis=0)):
        return False
    if outside > MOST_OUTSIDE * (outside + float(length[depth >= -near_px].sum())):
        return False
    return _touching(pieces, near, TOUCHING_LENGTH * reduced.diagonal_px) <= MOST_TOUCHING


def _depth(points: Points, outline: Points) -> Points:
    """How far inside a closed outline each point lies; negative outside."""
    a, b = outline, np.roll(outline, -1, axis=0)
    along = b - a
    length2 = np.maximum((along**2).sum(axis=1), 1e-12)
    x, y = points[:, 0, None] - a[:, 0], points[:, 1, None] - a[:, 1]
    t = np.clip((x * along[:, 0] + y * along[:, 1]) / length2, 0, 1)
    distance: Points = np.sqrt(((x - t * along[:, 0]) ** 2 + (y - t * along[:, 1]) ** 2).min(axis=1))
    # Even-odd rule along a ray to the right.
    crosses = (y < 0) != (y < along[:, 1])
    rise = np.where(along[:, 1] == 0, 1, along[:, 1])
    inside = (crosses & (x < y / rise * along[:, 0])).sum(axis=1) % 2 == 1
    return np.where(inside, distance, -distance)


def _touching(pieces: NDArray[np.float64], near: Points, least_px: float) -> int:
    """Count places on the border where long lines from inside end; the two edges of a line are one place.

    `near` (2, N) is the depth of each piece's start and end. A line that goes on outside does not end there: folds and
    lines to lay a sheet straight by run through a border, the structure of a part stays inside its edge.
    """
    start, end = pieces[:, :2], pieces[:, 2:]
    length = np.hypot(*(end - start).T)
    touches = (np.abs(near).min(axis=0) < TOUCH_PX) & (near.max(axis=0) > 0.7 * least_px) & (length >= least_px)
    places = np.where((near[0] < near[1])[:, None], start, end)[touches]
    places = places[~_goes_on(places, ((end - start) / np.maximum(length, 1e-9)[:, None])[touches], pieces, near)]
    count = 0
    while len(places):
        count += 1
        places = places[np.hypot(*(places - places[0]).T) > 2 * TOUCH_PX]
    return count


def _goes_on(places: Points, along: Points, pieces: NDArray[np.float64], near: Points) -> NDArray[np.bool_]:
    """Whether a piece outside runs on from each place on the border, along the line that ends there."""
    start, end = pieces[:, :2], pieces[:, 2:]
    outer = np.where((near[0] < near[1])[:, None], start, end)
    inner = np.where((near[0] < near[1])[:, None], end, start)
    out = near.min(axis=0) < -TOUCH_PX
    if not out.any() or not len(places):
        return np.zeros(len(places), np.bool_)
    away = inner[out][None] - places[:, None]
    ways = outer[out] - inner[out]
    length = np.maximum(np.hypot(*ways.T), 1e-9)
    in_line = np.abs(along @ (ways / length[:, None]).T) > math.cos(math.radians(GOES_ON_DEG))
    goes_on: NDArray[np.bool_] = (in_line & (np.hypot(away[..., 0], away[..., 1]) < GOES_ON_PX)).any(axis=1)
    return goes_on
