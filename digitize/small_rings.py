"""Round holes so small that thinning fills them: rings of ink hardly wider inside than their line is thick.

The paper within such a ring is darkened by the blur of the ink all around, and the mask of faint ink closes it. A blot
of ink by itself that is paler in its middle, and about which the ink lies on one small ellipse, is a ring; it is fitted
to the pixels as all round lines are.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from digitize.crossed_rings import MOST_OVAL, Ring
from digitize.ellipse_fit import Ellipses, fit_ellipses, many
from digitize.round_loops import fitted_lines
from digitize.runs import Floats
from pictures.ink import Ink
from pictures.ridge import profiles

LEAST_RADIUS_PX, MOST_RADIUS_PX = 2.2, 6.0
"""Smaller ones are blots with a dent; larger ones are followed like any line."""

MOST_ACROSS_PX = 2 * MOST_RADIUS_PX * MOST_OVAL + 6
"""How far across the ink of one with a thick line and its blur reaches, px."""

LEAST_HOLE_PX = 0.8
"""A ring has at least so much paper inside, its radius: a blot's dent comes out as less."""

UNEVEN_PX = 2.5
"""The ink reaches beyond a ring alike on all sides, but for so much: a letter's stem is wider."""

DENT = 0.15
"""How much paler a ring's middle is than its line, in parts of that: what a blur of 0.9 px leaves of a hole 2 px
wide."""

DENT_SIGMAS = 4.0
"""... and of the picture's noise."""

EVEN = 0.5
"""A ring's line is nowhere paler than this part of its darkest."""

APART = 0.35
"""Beyond its line the paper is no darker than this part of it."""

AT_ONCE = 1000
"""Blots looked at at a time: halftones have very many."""

DIRECTIONS, STEP_PX = 24, 0.25
"""In so many directions, at such steps, the line is looked for."""

ROUND_PX, ROUND_SIGMAS = 0.12, 2.0
"""How far the ink of a ring leaves its ellipse, rms over stretches, beside noise: letters as small leave it by 0.2."""


def small_rings(ink: Ink, blots: Sequence[NDArray[np.int32]]) -> list[Ring]:
    """Give the rings among pieces of ink that stand alone.

    Parameters
    ----------
    ink : Ink
    blots : sequence of (N, 2) int32
        The outer edges of the ink's pieces, pixels (x, y).

    Returns
    -------
    list of Ring
        None of them is crossed: `clear` is true all around.
    """
    boxes = _boxes(blots)
    rings: list[Ring] = []
    for first in range(0, len(boxes), AT_ONCE):
        rings += _rings(ink, _with_dents(ink, boxes[first : first + AT_ONCE]))
    return rings


def _rings(ink: Ink, boxes: NDArray[np.int64]) -> list[Ring]:
    """The rings among dented blots."""
    about, seen_px, likely = _about(ink.darkness, boxes)
    if not likely.any():
        return []
    ways = np.linspace(0, 2 * np.pi, DIRECTIONS, endpoint=False)
    alone = np.ones(DIRECTIONS, np.bool_)
    rows = np.flatnonzero(likely).tolist()
    seen_px = seen_px[likely]
    fits = fitted_lines(ink, [about.one(row) for row in rows], seen_px, [(ways, alone)] * len(rows), 0.0)
    is_ring = fits.found & _is_small(fits.ellipses) & (fits.ellipses.short_px - fits.width_px / 2 > LEAST_HOLE_PX)
    is_ring &= _is_whole(boxes[likely], fits.ellipses)
    is_ring &= fits.off_px <= np.hypot(ROUND_PX, ROUND_SIGMAS * fits.noise_px)
    return [
        Ring(fits.ellipses.one(which), float(fits.width_px[which]), seen, float(fits.sigma_px[which]), ways, alone)
        for which, seen in enumerate(seen_px.tolist())
        if is_ring[which]
    ]


def _boxes(blots: Sequence[NDArray[np.int32]]) -> NDArray[np.int64]:
    """The first and the last column and row (B, 2, 2) of blots as large as a small ring."""
    # What has more edge pixels is larger: most lines need not be looked at.
    small = [blot for blot in blots if 8 <= len(blot) <= 4 * MOST_ACROSS_PX]
    if not small:
        return np.empty((0, 2, 2), np.int64)
    first = np.cumsum([0, *[len(blot) for blot in small[:-1]]])
    points = np.concatenate(small)
    boxes = np.stack([np.minimum.reduceat(points, first), np.maximum.reduceat(points, first)], axis=1)
    across = np.ptp(boxes, axis=1) + 1
    alike = across.max(axis=1) <= MOST_OVAL * across.min(axis=1) + 1
    fits_in = alike & (across.min(axis=1) > 2 * LEAST_RADIUS_PX) & (across.max(axis=1) <= MOST_ACROSS_PX)
    likely: NDArray[np.int64] = boxes[fits_in].astype(np.int64)
    return likely


def _with_dents(ink: Ink, boxes: NDArray[np.int64]) -> NDArray[np.int64]:
    """The boxes whose ink is paler in the middle, where the palest of a few pixels tells."""
    height, width = ink.darkness.shape
    reach = int(MOST_ACROSS_PX) // 2 + 4
    inside = (boxes.min(axis=(1, 2)) >= reach) & (boxes[:, 1, 0] < width - reach) & (boxes[:, 1, 1] < height - reach)
    boxes = boxes[inside]
    middle = boxes.sum(axis=1) // 2
    around = np.arange(-reach, reach + 1)
    y, x = middle[:, 1, None, None] + around[:, None], middle[:, 0, None, None] + around
    dark = ink.darkness[y, x].astype(np.float64)
    own = (x >= boxes[:, 0, 0, None, None]) & (x <= boxes[:, 1, 0, None, None])
    own = own & (y >= boxes[:, 0, 1, None, None]) & (y <= boxes[:, 1, 1, None, None])
    darkest = np.where(own, dark, 0.0).max(axis=(1, 2))
    palest = dark[:, reach - 1 : reach + 3, reach - 1 : reach + 3].min(axis=(1, 2))
    dented: NDArray[np.int64] = boxes[darkest - palest > np.maximum(DENT * darkest, DENT_SIGMAS * ink.noise)]
    return dented


def _about(darkness: NDArray[np.uint8], boxes: NDArray[np.int64]) -> tuple[Ellipses, Floats, NDArray[np.bool_]]:
    """About where the darkest ink lies around the middle of each box, how wide it is, and whether it is a ring's."""
    if not len(boxes):
        return many([]), np.empty(0), np.empty(0, np.bool_)
    centre = boxes.mean(axis=1)
    ways = np.linspace(0, 2 * np.pi, DIRECTIONS, endpoint=False)
    out_px = np.arange(0, MOST_ACROSS_PX / 2 + 3, STEP_PX)
    away = np.column_stack([np.cos(ways), np.sin(ways)])[:, None] * out_px[:, None]
    at = (centre[:, None, None] + away).astype(np.float32).reshape(-1, len(out_px), 2)
    dark = profiles(darkness, at[..., 0], at[..., 1]).reshape(len(boxes), DIRECTIONS, len(out_px))
    across_px = (np.ptp(boxes, axis=1) + 1).max(axis=1)
    dark_own = np.where(out_px <= (across_px / 2 + 1)[:, None, None], dark, -1.0)
    peak = dark_own.argmax(axis=2)
    height = np.take_along_axis(dark, peak[..., None], axis=2)[..., 0].astype(np.float64)
    points = centre[:, None] + np.take_along_axis(away[None], peak[..., None, None], axis=2)[:, :, 0]
    usual = np.median(height, axis=1)
    outside = out_px >= (across_px / 2 + 2)[:, None, None]
    beyond = np.where(outside, dark, 255.0).min(axis=2).max(axis=1)
    first = DIRECTIONS * np.arange(len(boxes))
    about, found = fit_ellipses(points.reshape(-1, 2), np.ones(points.shape[0] * DIRECTIONS), first)
    likely = found & _is_small(about) & (height.min(axis=1) > EVEN * usual) & (beyond < APART * usual)
    # Where ink ends outside, at half its darkness, shows its width without the paper within.
    past = (dark < 0.5 * height[..., None]) & (np.arange(len(out_px)) > peak[..., None])
    half_px = STEP_PX * np.median(past.argmax(axis=2) - peak, axis=1)
    return about, np.maximum(2 * half_px, 1.0), likely


def _is_whole(boxes: NDArray[np.int64], ellipses: Ellipses) -> NDArray[np.bool_]:
    """Which ellipses run all around their blots, and not around a letter's bowl beside its stem."""
    c, s = np.cos(ellipses.turn_rad), np.sin(ellipses.turn_rad)
    long_px, short_px = ellipses.long_px, ellipses.short_px
    reach_px = np.column_stack([np.hypot(long_px * c, short_px * s), np.hypot(long_px * s, short_px * c)])
    beyond = np.hstack([ellipses.centre_px - reach_px - boxes[:, 0], boxes[:, 1] - ellipses.centre_px - reach_px])
    whole: NDArray[np.bool_] = np.ptp(beyond, axis=1) < UNEVEN_PX
    return whole


def _is_small(ellipses: Ellipses) -> NDArray[np.bool_]:
    small: NDArray[np.bool_] = (
        (ellipses.short_px > LEAST_RADIUS_PX)
        & (ellipses.long_px < MOST_RADIUS_PX)
        & (ellipses.long_px < MOST_OVAL * ellipses.short_px)
    )
    return small
