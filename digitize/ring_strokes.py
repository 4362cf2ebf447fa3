"""Crossed circles as strokes: taken out of the skeleton, their lines drawn through, and put back as rings."""

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from digitize.crossed_rings import Ring
from digitize.link_lines import line_tree
from digitize.strokes import Link, NodeKind, Strokes


def without_rings(pixels: NDArray[np.int32], rings: Sequence[Ring]) -> NDArray[np.int32]:
    """Give the skeleton without the rings, the lines that cross one drawn straight through it.

    Parameters
    ----------
    pixels : (N, 2) int32
    rings : sequence of Ring
    """
    if not rings:
        return pixels
    order = np.argsort(pixels[:, 1], kind="stable")
    rows = pixels[order, 1]
    gone = np.zeros(len(pixels), dtype=np.bool_)
    bridges: list[NDArray[np.int32]] = []
    for ring in rings:
        band = min(0.5 * ring.seen_px + 1.5, 0.5 * ring.ellipse.short_px)
        x, y = ring.ellipse.centre_px
        reach = ring.ellipse.long_px + band + 3
        near = order[slice(*np.searchsorted(rows, [y - reach, y + reach]))]
        near = near[np.abs(pixels[near, 0] - x) < reach]
        off = ring.ellipse.off_px(pixels[near].astype(np.float64))
        gone[near[np.abs(off) <= band]] = True
        inner = pixels[near[(off < -band) & (off >= -band - STUB_PX)]]
        outer = pixels[near[(off > band) & (off <= band + STUB_PX)]]
        bridges += _through(inner, outer, 2 * band)
    kept = pixels[~gone]
    if bridges:
        x, y = np.concatenate([kept, *bridges]).T.astype(np.int64)
        left, stride = x.min(), np.ptp(x) + 1
        places = np.sort(y * stride + x - left)
        y, x = np.divmod(places[np.diff(places, prepend=-1) > 0], stride)
        kept = np.column_stack([x + left, y]).astype(np.int32)
    return np.ascontiguousarray(kept)


STUB_PX = 1.5
"""How near to a ring's ink a line's end is looked for."""

MOST_SLANT = 1.6
"""How much longer than a ring's ink is wide the way of a line through it may be."""


def _through(inner: NDArray[np.int32], outer: NDArray[np.int32], across_px: float) -> list[NDArray[np.int32]]:
    """Skeleton pixels from each line's end inside a ring to its end outside."""
    starts, ends = _middles(inner), _middles(outer)
    apart = sorted(
        (float(np.hypot(*(end - start))), a, b) for a, start in enumerate(starts) for b, end in enumerate(ends)
    )
    bridges: list[NDArray[np.int32]] = []
    used: set[tuple[str, int]] = set()
    for far, a, b in apart:
        if far > MOST_SLANT * (across_px + 2 * STUB_PX) or {("in", a), ("out", b)} & used:
            continue
        used |= {("in", a), ("out", b)}
        steps = int(np.abs(ends[b] - starts[a]).max())
        part = (np.arange(steps + 1) / max(steps, 1))[:, None]
        bridges.append(np.round(starts[a] + (ends[b] - starts[a]) * part).astype(np.int32))
    return bridges


def _middles(pixels: NDArray[np.int32]) -> list[NDArray[np.int32]]:
    """One pixel of each piece of touching pixels."""
    left = [tuple(pixel) for pixel in pixels.tolist()]
    middles = []
    while left:
        piece = [left.pop()]
        for x, y in piece:
            touching = [other for other in left if abs(other[0] - x) < 2 and abs(other[1] - y) < 2]
            piece += touching
            left = [other for other in left if other not in touching]
        middles.append(np.array(piece[0], dtype=np.int32))
    return middles


def crossed_links(strokes: Strokes) -> NDArray[np.bool_]:
    """Tell which links are rings that others cross without a node, and which cross them."""
    marked = np.zeros(len(strokes.links), dtype=np.bool_)
    rings = [
        which
        for which, link in enumerate(strokes.links)
        if link.start == link.end and strokes.kinds[link.start] == NodeKind.LOOP
    ]
    if not rings:
        return marked
    tree = line_tree(strokes)
    for ring in rings:
        link = strokes.links[ring]
        others = tree.query(shapely.LineString(link.points_px), "dwithin", 0.5 * link.width_px + 0.5)
        others = others[others != ring]
        marked[others] = True
        marked[ring] |= len(others) > 0
    return marked


def with_rings(strokes: Strokes, rings: Sequence[Ring]) -> Strokes:
    """Give the strokes with each ring as a link of its own, closed at a node that no other line has."""
    if not rings:
        return strokes
    nodes, links = [strokes.nodes_px], list(strokes.links)
    for number, ring in enumerate(rings, start=len(strokes.nodes_px)):
        points = ring.ellipse.around(0.0)
        nodes.append(points[:1])
        links.append(Link(number, number, points, max(ring.sigma_px, LEAST_SIGMA_PX), ring.width_px))
    kinds = np.concatenate([strokes.kinds, np.full(len(rings), NodeKind.LOOP, np.uint8)])
    return Strokes(np.concatenate(nodes), kinds, tuple(links))


LEAST_SIGMA_PX = 0.03
"""What a point errs however many were averaged, one sigma, px (measured on drawn lines)."""
