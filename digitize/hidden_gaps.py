"""Gaps in the lines of one ink where the lines of another lie over it, bridged in the skeleton."""

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from digitize.gaps import FACING_COSINE, GAP_PX, free_ends, is_beside, pixels_between
from digitize.runs import parted
from digitize.stroke_graph import Chains
from digitize.thinning import local_widths
from pictures.ink import LEAST_DARKNESS, Ink

Floats = NDArray[np.float64]

BACK_PIXELS = 200
"""How far back from its end a line is looked at, px."""

SEEN_PIXELS, PARABOLA_PX = (80, 40, 20), 0.6
"""By how many of its pixels a line's direction at its end is told: by the most that lie on a parabola to within this,
px, root mean square, as a skeleton's steps do."""

RAGGED_PIXELS, FULL_WIDTH = 4, 0.85
"""So many pixels of an end say nothing, and all before the line has this part of its width: what is still seen of one
that goes under another at a shallow angle narrows to one side."""

MOST_PX = 200.0
"""Longest stretch under another line that is bridged, px: 17 mm of a scan at 300 dpi."""

ASIDE_PX, ASIDE_SHARE = 2.0, 0.06
"""Both ends meet the way between alike to within this, px, and parts of the gap: their directions are told to 3 deg."""

CORNER_SINE = 0.5
"""Sine of the least angle at which two ends' lines meet in a corner: flatter, its place is not told by them."""

FIRST_LOOK = 9
"""Pixels of a way at which it is first seen whether it is hidden: more than may be bare."""

AT_ONCE = 5000
"""So many ways are looked along at once: a million pixels at most."""

DRAWN_PX = 3
"""How wide ink is drawn through, px: a thin line's width."""

TO_LINE_PX = 24.0
"""How far an end may lie from the line that it ends on, px: the other ink's width, taken aslant."""


def with_hidden_bridges(
    chains: Chains, pixels: NDArray[np.int32], mask: NDArray[np.uint8], ink: Ink
) -> tuple[NDArray[np.int32], Ink]:
    """Give the pixels to add to a skeleton so that its lines carry on under those of another ink, and ink there.

    Two ends that point at each other are joined, two whose lines meet in a corner, and an end with the line that it
    points at, where all that lies between is hidden but for GAP_PX.

    Parameters
    ----------
    chains : Chains
        As traced from the skeleton.
    pixels : (N, 2) int32
        The skeleton's pixels.
    mask : (H, W) uint8
        1 where there is ink of the skeleton's colour.
    ink : Ink
        One of several.

    Returns
    -------
    (M, 2) int32, Ink
        Pixels that are not yet in the skeleton, and the ink drawn through there: it only tells that there is a line,
        whose middle is for the lines on both sides to tell.
    """
    none = np.empty((0, 2), np.int32)
    hidden = ink.hidden
    if hidden is None:
        return none, ink
    ends, _, pieces = free_ends(chains, back=BACK_PIXELS)
    if len(ends) == 0:
        return none, ink
    sound = _sound_pieces(pieces, mask)
    ways = np.array([_way(piece) for piece in sound])
    seen = np.array([piece[0] for piece in sound])
    runs: list[NDArray[np.int64]] = []
    corners: list[Floats] = []
    open_ends = set(range(len(ends)))
    pairs = cKDTree(ends).query_pairs(MOST_PX, output_type="ndarray")
    for a, b in _facing(pairs, seen, ways):
        if {a, b} <= open_ends:
            between = _curve(ends[a], ways[a], ends[b], ways[b])
            if _is_hidden(between, mask, hidden):
                open_ends -= {a, b}
                runs.append(between)
    meeting, at = _meeting(pairs, seen, ways, ends)
    bare = _bare(ends[meeting[:, 0]], at, mask, hidden) + _bare(at, ends[meeting[:, 1]], mask, hidden)
    # A bare corner was counted with both of its ways.
    for which in np.flatnonzero(bare <= GAP_PX + 1).tolist():
        (a, b), corner = meeting[which].tolist(), at[which]
        if {a, b} <= open_ends:
            between = np.concatenate([pixels_between(ends[a], corner), pixels_between(corner, ends[b])[1:]])
            if _is_hidden(between, mask, hidden):
                open_ends -= {a, b}
                runs.append(between)
                corners.append(np.array([seen[a], corner, seen[b]]))
    tree = cKDTree(pixels)
    for end in sorted(open_ends):
        target = _ahead(ends[end], ways[end], tree)
        if target is not None and not is_beside(pieces[end], target):
            between = pixels_between(ends[end], target)
            if _is_hidden(between, mask, hidden):
                runs.append(between)
    if not runs:
        return none, ink
    bridge = np.unique(np.concatenate(runs), axis=0)
    new: NDArray[np.int32] = bridge[tree.query(bridge)[0] > 0.5].astype(np.int32)
    return new, _drawn(ink, hidden, runs, corners)


def _ahead(end: Floats, way: Floats, tree: cKDTree) -> Floats | None:
    """The nearest pixel that an end points at."""
    near: Floats = tree.data[tree.query_ball_point(end, TO_LINE_PX)]
    away = near - end
    far = np.hypot(away[:, 0], away[:, 1])
    ahead = (far > 1.5) & (away @ way > FACING_COSINE * far)
    return near[ahead][np.argmin(far[ahead])] if ahead.any() else None


def _drawn(ink: Ink, hidden: NDArray[np.uint8], runs: list[NDArray[np.int64]], corners: list[Floats]) -> Ink:
    """The ink with lines drawn along runs of pixels; corners are seen from now on, between their sides carried on."""
    darkness, hidden = ink.darkness.copy(), hidden.copy()
    for run in runs:
        x, y = run.T
        dark = max(int(ink.darkness[y, x].max()), LEAST_DARKNESS)
        cv2.polylines(darkness, [run.astype(np.int32)], False, dark, DRAWN_PX)
    for corner in corners:
        sides = [np.round(corner * 16).astype(np.int32)]
        x, y = np.round(corner[[0, -1]]).astype(np.int64).T
        cv2.polylines(hidden, sides, False, 0, 3 * DRAWN_PX, cv2.LINE_8, 4)
        cv2.polylines(
            darkness, sides, False, max(int(ink.darkness[y, x].max()), LEAST_DARKNESS), DRAWN_PX, cv2.LINE_AA, 4
        )
    return replace(ink, darkness=darkness, hidden=hidden)


def _sound_pieces(pieces: list[Floats], mask: NDArray[np.uint8]) -> list[Floats]:
    """Lines from their ends back (M, 2), from where they have their full width on."""
    size = [len(piece) for piece in pieces]
    widths = parted(local_widths(mask, np.concatenate(pieces).astype(np.int32)), np.append(0, np.cumsum(size)))
    sound = []
    for piece, width in zip(pieces, widths, strict=True):
        full = np.flatnonzero(width >= FULL_WIDTH * np.median(width))
        begin = max(int(full[0]), RAGGED_PIXELS)
        sound.append(piece[begin:] if begin < len(piece) - RAGGED_PIXELS else piece)
    return sound


def _way(piece: Floats) -> Floats:
    """Which way a line points at its end, by its pixels (M, 2) from there back, its bend carried on."""
    for count in SEEN_PIXELS:
        if len(piece) < count:
            continue
        powers = np.vander(np.arange(float(count)), 3)
        fit, rest, _, _ = np.linalg.lstsq(powers, piece[:count], rcond=None)
        if rest.sum() < count * PARABOLA_PX**2:
            return _unit(-fit[1])
    return _unit(piece[0] - piece[: SEEN_PIXELS[-1]][-1])


def _unit(way: Floats) -> Floats:
    unit: Floats = way / max(float(np.hypot(*way)), 1e-9)
    return unit


def _facing(pairs: NDArray[np.int64], ends: Floats, ways: Floats) -> list[list[int]]:
    """The pairs (P, 2) of ends that point at each other straight or along one arc, the nearest first."""
    a, b = pairs[:, 0], pairs[:, 1]
    gap = ends[b] - ends[a]
    far = np.maximum(np.hypot(gap[:, 0], gap[:, 1]), 1e-9)
    aside = [gap[:, 0] * way[:, 1] - gap[:, 1] * way[:, 0] for way in (ways[a], ways[b])]
    # The two tangents of one arc meet its chord alike (Parent and Zucker 1989).
    facing = np.abs(aside[0] - aside[1]) < ASIDE_PX + ASIDE_SHARE * far
    facing &= ((ways[a] * gap).sum(axis=1) > FACING_COSINE * far) & ((ways[b] * gap).sum(axis=1) < -FACING_COSINE * far)
    chosen = np.flatnonzero(facing)[np.argsort(far[facing])]
    return [[int(a[which]), int(b[which])] for which in chosen]


def _meeting(pairs: NDArray[np.int64], seen: Floats, ways: Floats, ends: Floats) -> tuple[NDArray[np.int64], Floats]:
    """The pairs (P, 2) of ends whose lines meet in a corner ahead of both, and these corners, the nearest first.

    Lines are `seen` in full up to places behind their `ends`.
    """
    a, b = pairs[:, 0], pairs[:, 1]
    gap = seen[b] - seen[a]
    sine = ways[a, 0] * ways[b, 1] - ways[a, 1] * ways[b, 0]
    turning = np.abs(sine) > CORNER_SINE
    a, b, gap, sine = a[turning], b[turning], gap[turning], sine[turning]
    from_a = (gap[:, 0] * ways[b, 1] - gap[:, 1] * ways[b, 0]) / sine
    from_b = (gap[:, 0] * ways[a, 1] - gap[:, 1] * ways[a, 0]) / sine
    corners = seen[a] + from_a[:, None] * ways[a]
    away = np.array([np.hypot(*(corners - ends[those]).T) for those in (a, b)]).max(axis=0, initial=0)
    ahead = (np.minimum(from_a, from_b) > 0) & (away < MOST_PX)
    chosen = np.flatnonzero(ahead)[np.argsort(away[ahead])]
    return np.column_stack([a, b])[chosen], corners[chosen]


def _curve(start: Floats, way: Floats, end: Floats, back: Floats) -> NDArray[np.int64]:
    """Pixels, 8-connected, on the arc from one end to another, by Hermite's cubic along both."""
    far = float(np.hypot(*(end - start)))
    t = np.linspace(0, 1, 2 * int(far) + 2)[:, None]
    points = (
        (1 + 2 * t) * (1 - t) ** 2 * start
        + t**2 * (3 - 2 * t) * end
        + far * (t * (1 - t) ** 2 * way + t**2 * (1 - t) * back)
    )
    steps = np.round(points).astype(np.int64)
    fresh = np.append(True, np.abs(np.diff(steps, axis=0)).max(axis=1) > 0)
    pixels: NDArray[np.int64] = steps[fresh]
    return pixels


def _bare(starts: Floats, ends: Floats, mask: NDArray[np.uint8], hidden: NDArray[np.uint8]) -> NDArray[np.int64]:
    """How many pixels of the straight way from each start (N, 2) to its end show paper or lie outside.

    As `pixels_between` gives them, of thousands of ways at once. Most ways are over much paper: of those in
    which a first look at FIRST_LOOK pixels sees too many, only these are counted.
    """
    steps = np.abs(ends - starts).max(axis=1, initial=0).astype(np.int64)
    bare = np.zeros(len(starts), np.int64)
    looked = np.flatnonzero(steps >= FIRST_LOOK)
    ranks = np.arange(FIRST_LOOK) * steps[looked, None] // (FIRST_LOOK - 1)
    bare[looked] = _paper_at(starts[looked], ends[looked], ranks / steps[looked, None], mask, hidden).sum(axis=1)
    left = np.flatnonzero(bare <= GAP_PX + 1)
    for some in parted(left, np.append(np.arange(0, len(left), AT_ONCE), len(left))):
        ranks = np.arange(steps[some].max() + 1)[None, :]
        part = np.minimum(ranks / np.maximum(steps[some], 1)[:, None], 1)
        paper = _paper_at(starts[some], ends[some], part, mask, hidden)
        bare[some] = (paper & (ranks <= steps[some, None])).sum(axis=1)
    return bare


def _paper_at(
    starts: Floats, ends: Floats, part: Floats, mask: NDArray[np.uint8], hidden: NDArray[np.uint8]
) -> NDArray[np.bool_]:
    """Whether the pixels at parts (N, M) of the ways from starts (N, 2) to ends show paper or lie outside."""
    x, y = (
        np.round(begin[:, None] + part * (end - begin)[:, None]).astype(np.int64)
        for begin, end in zip(starts.T, ends.T, strict=True)
    )
    outside = (x < 0) | (y < 0) | (x >= mask.shape[1]) | (y >= mask.shape[0])
    x[outside] = y[outside] = 0
    seen: NDArray[np.bool_] = outside | ((mask[y, x] == 0) & (hidden[y, x] == 0))
    return seen


def _is_hidden(between: NDArray[np.int64], mask: NDArray[np.uint8], hidden: NDArray[np.uint8]) -> bool:
    x, y = between.T
    if x.min() < 0 or y.min() < 0 or x.max() >= mask.shape[1] or y.max() >= mask.shape[0]:
        return False
    bare = int(np.count_nonzero((mask[y, x] == 0) & (hidden[y, x] == 0)))
    return bare <= GAP_PX and bool(hidden[y, x].any())
