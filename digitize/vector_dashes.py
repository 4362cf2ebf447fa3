"""Dashes drawn one by one, joined into the lines they stand for."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from digitize.own_curve import Floats, leaving
from digitize.vector_cuts import CLOSE_PX
from digitize.vector_runs import whole_runs
from pictures.page_paths import PagePath

LONGEST_DASH_PX = 240.0
"""A dash is at most this long: 20 mm at 300 dpi, the long strokes of a chain line."""

LONGEST_GAP_PX = 60.0
"""The gap between two dashes is at most this long: 5 mm at 300 dpi."""

GAP_OF_DASH = 2.0
"""A gap is at most this many times as long as the longer of its two dashes."""

IN_LINE_RAD = math.radians(8)
"""Dashes point at each other within this: those of a 20 mm circle, 3 mm long with gaps of 2 mm, turn by 7 deg."""

EVEN_GAPS = 2.0
"""The gaps of one line differ by at most this factor from their middle."""

LEAST_DASHES = 3
"""So many in a row are a dashed line; two may be anything."""


@dataclass(frozen=True, slots=True)
class Joined:
    """Paths with dashes joined, and how many dashes were."""

    paths: tuple[PagePath, ...]
    dashes: int


def with_dashes_joined(paths: Sequence[PagePath]) -> Joined:
    """Join rows of dashes into lines.

    A dash is a short open path whose ends touch nothing. Dashes follow each other where each is the other's nearest
    ahead, they point at each other and are equally wide; three or more with like gaps are one line, its gaps
    filled by curves that leave along the dashes.
    """
    few = [n for n, path in enumerate(paths) if _is_short(path)]
    if len(few) < LEAST_DASHES:
        return Joined(tuple(paths), 0)
    runs = whole_runs(paths)
    of = np.repeat(np.arange(len(runs)), np.diff(runs.first))
    tree = shapely.STRtree(np.asarray(shapely.linestrings(runs.points_px, indices=of), dtype=object))
    ends = np.array([[paths[n].controls_px[0, 0], paths[n].controls_px[-1, 3]] for n in few])
    near = tree.query(shapely.points(ends.reshape(-1, 2)), predicate="dwithin", distance=CLOSE_PX)
    # Every end is near its own path.
    touching = np.bincount(near[0], minlength=2 * len(few)).reshape(-1, 2).max(axis=1) > 1
    dashes = [n for n, is_touching in zip(few, touching.tolist(), strict=True) if not is_touching]
    rows = _rows([paths[n] for n in dashes])
    used = {dashes[which] for row in rows for which, _ in row}
    whole = [_line([(paths[dashes[which]], backwards) for which, backwards in row]) for row in rows]
    left = [path for n, path in enumerate(paths) if n not in used]
    return Joined((*left, *whole), len(used))


def _is_short(path: PagePath) -> bool:
    steps = np.diff(path.controls_px, axis=1)
    long = float(np.hypot(steps[..., 0], steps[..., 1]).sum())
    return not path.closed and not path.dashed and 0 < long <= LONGEST_DASH_PX


def _rows(dashes: Sequence[PagePath]) -> list[list[tuple[int, bool]]]:
    """Rows of dashes: their numbers in order, and whether each is run backwards."""
    if len(dashes) < LEAST_DASHES:
        return []
    ends = np.array([end for path in dashes for end in (path.controls_px[0, 0], path.controls_px[-1, 3])])
    outward = np.array(
        [way for path in dashes for way in (-leaving(path.controls_px[0]), -leaving(path.controls_px[-1, ::-1]))]
    )
    long = np.hypot(*(ends[1::2] - ends[::2]).T)
    ahead = _nearest_ahead(dashes, ends, outward, long)
    mates = {end: other for end, other in ahead.items() if ahead.get(other) == end}
    rows: list[list[tuple[int, bool]]] = []
    seen: set[int] = set()
    for first in range(len(dashes)):
        if first in seen:
            continue
        back, ring = _follow(2 * first, mates, first)
        begin = (first, False) if ring or not back else (back[-1] >> 1, not back[-1] & 1)
        row = _row(begin, mates)
        seen |= {which for which, _ in row}
        rows += _even(row, ends)
    return rows


def _nearest_ahead(dashes: Sequence[PagePath], ends: Floats, outward: Floats, long: Floats) -> dict[int, int]:
    """For each end the nearest other that it points at and that points back at it."""
    tree = cKDTree(ends)
    ahead: dict[int, int] = {}
    pairs = tree.query_pairs(LONGEST_GAP_PX, output_type="ndarray")
    if not len(pairs):
        return ahead
    a, b = np.concatenate([pairs, pairs[:, ::-1]]).T
    gap = ends[b] - ends[a]
    far = np.hypot(gap[:, 0], gap[:, 1])
    width = np.array([path.width_px for path in dashes])
    shade = np.array([path.shade for path in dashes])
    cosine = math.cos(IN_LINE_RAD)
    good = (a >> 1 != b >> 1) & (far > CLOSE_PX) & (far <= GAP_OF_DASH * np.maximum(long[a >> 1], long[b >> 1]))
    good &= ((gap * outward[a]).sum(axis=1) > cosine * far) & (-(gap * outward[b]).sum(axis=1) > cosine * far)
    good &= np.isclose(width[a >> 1], width[b >> 1], rtol=0.1) & np.isclose(shade[a >> 1], shade[b >> 1], atol=0.1)
    order = np.lexsort((b[good], far[good]))
    for end, other in zip(a[good][order].tolist(), b[good][order].tolist(), strict=True):
        ahead.setdefault(end, other)
    return ahead


def _follow(end: int, mates: dict[int, int], first: int) -> tuple[list[int], bool]:
    """The far ends of the dashes that follow from an end on, and whether they come back to the first."""
    passed: list[int] = []
    while end in mates:
        end = mates[end] ^ 1
        if end >> 1 == first:
            return passed, True
        passed.append(end)
    return passed, False


def _row(begin: tuple[int, bool], mates: dict[int, int]) -> list[tuple[int, bool]]:
    row = [begin]
    end = 2 * begin[0] + (0 if begin[1] else 1)
    while end in mates:
        other = mates[end]
        if other >> 1 == begin[0]:
            break
        row.append((other >> 1, bool(other & 1)))
        end = other ^ 1
    return row


def _even(row: list[tuple[int, bool]], ends: Floats) -> list[list[tuple[int, bool]]]:
    """A row cut where a gap is unlike the others; what is then too short is left out."""
    starts = np.array([ends[2 * which + backwards] for which, backwards in row])
    stops = np.array([ends[2 * which + (not backwards)] for which, backwards in row])
    gaps = np.hypot(*(starts[1:] - stops[:-1]).T)
    if not len(gaps):
        return []
    middle = float(np.median(gaps))
    cuts = np.flatnonzero((gaps > EVEN_GAPS * middle) | (gaps < middle / EVEN_GAPS)) + 1
    bounds = [0, *cuts.tolist(), len(row)]
    parts = [row[a:b] for a, b in pairwise(bounds)]
    return [part for part in parts if len(part) >= LEAST_DASHES]


def _line(dashes: Sequence[tuple[PagePath, bool]]) -> PagePath:
    """One path through dashes and the gaps between them."""
    controls: list[Floats] = []
    straight: list[NDArray[np.bool_]] = []
    for path, backwards in dashes:
        own = path.controls_px[::-1, ::-1] if backwards else path.controls_px
        lines = path.straight[::-1] if backwards else path.straight
        if controls:
            gap, is_line = _across(controls[-1][-1], own[0])
            controls.append(gap)
            straight.append(is_line)
        controls.append(own)
        straight.append(lines)
    return replace(dashes[0][0], controls_px=np.concatenate(controls), straight=np.concatenate(straight), dashed=True)


STRAIGHT_ON_RAD = math.radians(0.2)
"""Dashes whose ends turn by less lie on a straight line."""


def _across(before: Floats, after: Floats) -> tuple[Floats, NDArray[np.bool_]]:
    start, end = before[3], after[0]
    gap = end - start
    long = float(np.hypot(*gap))
    out, into = -leaving(before[::-1]), leaving(after)
    is_line = min(float(gap @ out), float(gap @ into)) > math.cos(STRAIGHT_ON_RAD) * long
    inner = (start + gap / 3, end - gap / 3) if is_line else (start + out * long / 3, end - into * long / 3)
    return np.array([[start, *inner, end]]), np.array([is_line])
