"""How dark strokes make each pixel, blurred before it is sampled.

A picture's optics blur ink before its pixels sample it; blurred afterwards, a line 2 px wide would sit up to 0.03 px
beside its place. So the strokes are taken into the picture, the distance to the nearest one is found on a grid
`OVERSAMPLE` times finer, and each cell holds the exact value of a strip with soft edges (the normal distribution's
integral). The rest of the blur follows on that grid, and only then are pixels sampled. Nothing is rounded to whole px.
"""

import math
from collections.abc import Sequence
from typing import TypeAlias

import cv2
import numpy as np
from numpy.typing import NDArray

from sample_scans.camera import Picturing
from sample_scans.curves import densified
from sample_scans.truth import InkStroke, Points

Floats: TypeAlias = NDArray[np.float32]

OVERSAMPLE = 2
LEAST_BLUR_PX = 0.5
_SOFT_CELLS = 0.5  # sigma of a strip's edges: less would alias (0.7 % is left at 0.5), more would fill corners
_SOFT_REACH = 3.5  # sigmas; beyond lies 0.02 % of an edge
_STEP_MM = 2.0  # strokes are cut to this before the lens bends them: over 2 mm a phone's lens bends under 0.001 px
_EDGE_STEP_MM = 25.0  # the paper's edge: over 25 mm a phone's lens bends under 0.02 px
_PIECE_CELLS = 2.0  # length of the pieces laid out on the fine grid, in its cells
_BAND_ROWS = 256  # picture rows rendered at once


def ink_coverage(strokes: Sequence[InkStroke], camera: Picturing, *, blur_px: float) -> Floats:
    """Give the share of ink that each pixel sees, (H, W) float32 from 0 to 1.

    `blur_px` is the sigma of all blurring together, pixels' own included; at least 0.5, below which a picture
    would alias.
    """
    if blur_px < LEAST_BLUR_PX:
        raise ValueError(f"A blur of {blur_px} px would alias; at least {LEAST_BLUR_PX} is needed.")
    pieces = _pieces(strokes, camera)
    covered = np.zeros((camera.height_px, camera.width_px), dtype=np.float32)
    # The strips' soft edges and the mean of OVERSAMPLE cells are part of the whole.
    rest = math.sqrt((blur_px * OVERSAMPLE) ** 2 - _SOFT_CELLS**2 - (OVERSAMPLE**2 - 1) / 12)
    apron = math.ceil(4 * rest / OVERSAMPLE) * OVERSAMPLE
    reach = float(pieces[:, 4:].max(initial=0)) + apron + 2 * _PIECE_CELLS + 3
    low = np.minimum(pieces[:, 1], pieces[:, 3]) - reach
    high = np.maximum(pieces[:, 1], pieces[:, 3]) + reach
    for top in range(0, camera.height_px, _BAND_ROWS):
        rows = min(_BAND_ROWS, camera.height_px - top)
        first, last = top * OVERSAMPLE, (top + rows) * OVERSAMPLE
        here = pieces[(high >= first) & (low <= last)]
        if len(here):
            # An apron all round: ink beyond the band, or beyond the picture, blurs into it too.
            moved = here + np.array([apron, apron - first, apron, apron - first, 0, 0], dtype=np.float32)
            size = (rows * OVERSAMPLE + 2 * apron, camera.width_px * OVERSAMPLE + 2 * apron)
            fine = cv2.GaussianBlur(_fine_coverage(moved, *size), (2 * apron + 1, 2 * apron + 1), rest)
            inner = fine[apron:-apron, apron:-apron].reshape(rows, OVERSAMPLE, camera.width_px, OVERSAMPLE)
            covered[top : top + rows] = inner.mean(axis=(1, 3))
    return covered


def inside_coverage(outline_mm: Points, camera: Picturing, *, blur_px: float) -> Floats:
    """Give the share of each pixel inside an outline (a sheet of paper) with blurred edges, (H, W) float32."""
    edge = camera.to_picture(densified(outline_mm, step=_EDGE_STEP_MM, closed=True))[:-1]
    filled = np.zeros((camera.height_px, camera.width_px), dtype=np.uint8)
    cv2.fillPoly(filled, [np.round(edge * 16).astype(np.int32)], 255, cv2.LINE_8, 4)
    share = (filled > 0).astype(np.float32)
    # Exact values near the edge, from the signed distance to it.
    a, b = edge, np.roll(edge, -1, axis=0)
    area2 = float((a[:, 0] * b[:, 1] - b[:, 0] * a[:, 1]).sum())
    way = (b - a) / np.hypot(*(b - a).T)[:, None]
    inward = np.column_stack([-way[:, 1], way[:, 0]]) * np.sign(area2)
    run = densified(edge, step=2.0, closed=True)[:-1]
    reach = math.ceil(_SOFT_REACH * blur_px) + 1
    spread = np.arange(-reach, reach + 1)
    cells = (np.round(run)[:, None, :] + np.stack(np.meshgrid(spread, spread), axis=-1).reshape(1, -1, 2)).reshape(
        -1, 2
    )
    inside = ((cells >= 0) & (cells < [camera.width_px, camera.height_px])).all(axis=1)
    x, y = cells[inside].astype(np.int64).T
    near = np.zeros_like(filled)
    near[y, x] = 1
    cells = np.argwhere(near)[:, ::-1].astype(np.float64)
    nearest, along = _nearest_piece(cells, a, b)
    # At a vertex the mean of both sides' normals tells inside from outside.
    normal = inward[nearest]
    before, after = along <= 0, along >= 1
    normal[before] += inward[nearest[before] - 1]
    normal[after] += inward[(nearest[after] + 1) % len(a)]
    off = cells - (a[nearest] + (b - a)[nearest] * along[:, None])
    signed = np.hypot(*off.T) * np.sign((off * normal).sum(axis=1))
    share[near > 0] = _within(signed / blur_px)
    return share


def _pieces(strokes: Sequence[InkStroke], camera: Picturing) -> Floats:
    """Short straight pieces on the fine grid: (x, y) from, (x, y) to, half width at both ends; cells, not px."""
    pieces = []
    for stroke in strokes:
        run = densified(stroke.points_mm, step=_STEP_MM, closed=stroke.closed)
        way = np.diff(run, axis=0)
        way = way / np.hypot(*way.T)[:, None]
        half = stroke.width_mm / 2 * np.column_stack([-way[:, 1], way[:, 0]])
        # Each piece's own width, across its own direction in the picture: perspective squeezes some directions.
        starts, ends = run[:-1], run[1:]
        size = len(starts)
        seen = camera.to_picture(np.concatenate([starts, ends, starts + half, ends + half, starts - half, ends - half]))
        a, b, a_left, b_left, a_right, b_right = (seen[k * size : (k + 1) * size] for k in range(6))
        across = b - a
        across = np.column_stack([-across[:, 1], across[:, 0]]) / np.hypot(*across.T)[:, None]
        half_a = np.abs(((a_left - a_right) * across).sum(axis=1)) / 2
        half_b = np.abs(((b_left - b_right) * across).sum(axis=1)) / 2
        pieces.append(np.column_stack([a, b, half_a, half_b]))
    if not pieces:
        return np.empty((0, 6), dtype=np.float32)
    px = np.concatenate(pieces)
    # Fine cell (0, 0) has its centre a quarter px (at 2) before pixel 0's.
    grid = px * OVERSAMPLE
    grid[:, :4] += (OVERSAMPLE - 1) / 2
    counts = np.maximum(1, np.ceil(np.hypot(*(grid[:, 2:4] - grid[:, :2]).T) / _PIECE_CELLS)).astype(np.int64)
    index = np.repeat(np.arange(len(counts)), counts)
    inside = np.arange(counts.sum()) - np.repeat(np.cumsum(counts) - counts, counts)
    t0, t1 = (inside / counts[index])[:, None], ((inside + 1) / counts[index])[:, None]
    source = grid[index]
    ends_a, ends_b = source[:, [0, 1, 4]], source[:, [2, 3, 5]]
    cut_a, cut_b = ends_a + (ends_b - ends_a) * t0, ends_a + (ends_b - ends_a) * t1
    return np.column_stack([cut_a[:, :2], cut_b[:, :2], cut_a[:, 2], cut_b[:, 2]]).astype(np.float32)


def _fine_coverage(pieces: Floats, rows: int, columns: int) -> Floats:
    """Coverage of each fine cell by the stroke whose edge it lies deepest within (or nearest to)."""
    a, way = pieces[:, :2], pieces[:, 2:4] - pieces[:, :2]
    length2 = np.maximum((way**2).sum(axis=1), 1e-12)
    middle = np.round(a + way / 2).astype(np.int64)
    soft = _SOFT_CELLS * _SOFT_REACH
    reach = math.ceil(float(pieces[:, 4:].max()) + _PIECE_CELLS / 2 + soft + 0.5)
    field = np.full(rows * columns, np.inf, dtype=np.float32)
    shares = np.zeros(rows * columns, dtype=np.float32)
    near: list[tuple[NDArray[np.int64], Floats, Floats]] = []
    for dy in range(-reach, reach + 1):
        for dx in range(-reach, reach + 1):
            x, y = middle[:, 0] + dx, middle[:, 1] + dy
            rel_x, rel_y = (x - a[:, 0]).astype(np.float32), (y - a[:, 1]).astype(np.float32)
            t = np.clip((rel_x * way[:, 0] + rel_y * way[:, 1]) / length2, 0, 1)
            distance = np.hypot(rel_x - t * way[:, 0], rel_y - t * way[:, 1])
            half = pieces[:, 4] + t * (pieces[:, 5] - pieces[:, 4])
            keep = (distance < half + soft) & (x >= 0) & (x < columns) & (y >= 0) & (y < rows)
            cells = (y * columns + x)[keep]
            depth = (distance - half)[keep]
            np.minimum.at(field, cells, depth)
            # A strip's two edges: the one that lies beyond, less the paper behind the other.
            share = _within(-depth / _SOFT_CELLS) - _within((-depth - 2 * half[keep]) / _SOFT_CELLS)
            near.append((cells, depth, share))
    for cells, depth, share in near:
        deepest = depth <= field[cells]
        shares[cells[deepest]] = share[deepest]
    return shares.reshape(rows, columns)


_SIGMAS = np.linspace(-4, 4, 4001)
_SHARES = np.array([0.5 * (1 + math.erf(sigmas / math.sqrt(2))) for sigmas in _SIGMAS])


def _within(sigmas: NDArray[np.floating]) -> Floats:
    """The normal distribution's integral: how much a soft edge `sigmas` away leaves on this side."""
    share: Floats = np.interp(sigmas, _SIGMAS, _SHARES).astype(np.float32)
    return share


def _nearest_piece(points: Points, a: Points, b: Points) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """The index of the segment nearest to each point, and how far along it (0 to 1); some thousand points at a time."""
    nearest = np.empty(len(points), dtype=np.int64)
    along = np.empty(len(points))
    way = b - a
    length2 = (way**2).sum(axis=1)
    for start in range(0, len(points), 2000):
        rel = points[start : start + 2000, None, :] - a
        t = np.clip((rel * way).sum(axis=2) / length2, 0, 1)
        best = ((rel - t[..., None] * way) ** 2).sum(axis=2).argmin(axis=1)
        nearest[start : start + 2000] = best
        along[start : start + 2000] = t[np.arange(len(best)), best]
    return nearest, along
