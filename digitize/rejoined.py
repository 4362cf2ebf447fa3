"""A stroke graph made tidy after links were taken out: what was a junction may now be a plain point of one line."""

import math
from dataclasses import replace
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from digitize.strokes import Link, NodeKind, Strokes

Floats: TypeAlias = NDArray[np.float64]

STRAIGHT_ON_RAD = math.radians(15)
"""Two links that turn by less where they meet are one line: at a junction, ink pulls directions by up to some ten
degrees; a corner drawn as one turns by more."""

BLOT_WIDTHS = 1.0
"""So near a junction, in line widths, the ink of the other lines pulls the middle aside."""

LOOK_WIDTHS = 5.0
"""Directions are taken up to this far from the node, in line widths: farther, and a small arc would count as a corner;
nearer, and the blot of ink at a junction would."""

BENDS_FROM = 6
"""Points from which a bend is told as well as a direction."""


def rejoined(strokes: Strokes, *, before: Strokes) -> Strokes:
    """Give the strokes with nodes of today's kinds: links that go straight on through a node that lost some are one.

    Parameters
    ----------
    strokes : Strokes
        What is left of `before`, whose nodes come first and in their order.
    before : Strokes

    Returns
    -------
    Strokes
        Without nodes that no link is left at.
    """
    count = len(strokes.nodes_px)
    degree = _degrees(strokes.links, count)
    lost = degree < np.pad(_degrees(before.links, len(before.nodes_px)), (0, count - len(before.nodes_px)))
    kinds, nodes_px = strokes.kinds.copy(), strokes.nodes_px.copy()
    kinds[lost & (degree == 1)] = NodeKind.END
    kinds[lost & (degree == 2)] = NodeKind.CORNER
    links = list(strokes.links)
    for node in np.flatnonzero(lost & (degree == 2)).tolist():
        first, second = (link for link in links for end in (link.start, link.end) if end == node)
        into = first if first.end == node else _turned(first)
        out = second if second.start == node else _turned(second)
        if _turn_rad(into, out) > STRAIGHT_ON_RAD:
            continue
        links = [link for link in links if link is not first and link is not second]
        if first is second:
            kinds[node] = NodeKind.LOOP
            points = _closed(first.points_px, first.width_px)
            nodes_px[node] = points[0]
            links.append(replace(first, points_px=points, own=None))
        else:
            links.append(_joined(into, out))
    return _renumbered(nodes_px, kinds, links)


def _degrees(links: tuple[Link, ...], count: int) -> NDArray[np.int_]:
    ends = np.array([node for link in links for node in (link.start, link.end)], dtype=int)
    return np.bincount(ends, minlength=count)


def _turned(link: Link) -> Link:
    return replace(link, start=link.end, end=link.start, points_px=link.points_px[::-1], own=None)


def _joined(into: Link, out: Link) -> Link:
    long = np.array([len(into.points_px), len(out.points_px)])
    width_px = float(np.average([into.width_px, out.width_px], weights=long))
    before, after = _across_blot(into.points_px, out.points_px, width_px)
    points = np.vstack([before, after[1:]])
    return Link(
        into.start,
        out.end,
        points,
        max(into.sigma_px, out.sigma_px),
        width_px,
        gaps=into.gaps + out.gaps,
        solid_px2=max(into.solid_px2, out.solid_px2),
        tint=into.tint,
        guessed=into.guessed or out.guessed,
    )


def _closed(points_px: Floats, width_px: float) -> Floats:
    """A closed line's points with its seam where a junction was."""
    half = len(points_px) // 2
    before, after = _across_blot(points_px[half:], points_px[: half + 1], width_px)
    return np.vstack([after, before[1:]])


def _across_blot(before_px: Floats, after_px: Floats, width_px: float) -> tuple[Floats, Floats]:
    """Two lines, one ending where the other begins, with their points near there on one curve through both.

    Where the ink of a third line met them the points found lean towards it.
    """
    far_px = np.concatenate([-_far(before_px[::-1])[::-1], _far(after_px)[1:]])
    points = np.vstack([before_px, after_px[1:]])
    blot = np.abs(far_px) < BLOT_WIDTHS * width_px
    seen = ~blot & (np.abs(far_px) <= LOOK_WIDTHS * width_px)
    if min((seen & (far_px < 0)).sum(), (seen & (far_px > 0)).sum()) >= BENDS_FROM:
        curve = np.polynomial.polynomial.polyfit(far_px[seen], points[seen], 3)
        points[blot] = np.polynomial.polynomial.polyval(far_px[blot], curve).T
    return points[: len(before_px)], points[len(before_px) - 1 :]


def _turn_rad(into: Link, out: Link) -> float:
    """How far a line turns that comes in by one link and goes on by another."""
    x0, y0 = -_leaving(into.points_px[::-1], into.width_px)
    x1, y1 = _leaving(out.points_px, out.width_px)
    return abs(math.atan2(x0 * y1 - y0 * x1, x0 * x1 + y0 * y1))


def _leaving(points_px: Floats, width_px: float) -> Floats:
    """The direction a line leaves its first point in, its bend allowed for."""
    far_px = _far(points_px)
    seen = (far_px >= BLOT_WIDTHS * width_px) & (far_px <= LOOK_WIDTHS * width_px)
    if seen.sum() < 2:
        # A link no longer than the blot has only its ends.
        return np.asarray(points_px[-1] - points_px[0])
    degree = 2 if seen.sum() >= BENDS_FROM else 1
    return np.asarray(np.polynomial.polynomial.polyfit(far_px[seen], points_px[seen], degree)[1])


def _far(points_px: Floats) -> Floats:
    """How far along a line each of its points lies, px."""
    return np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points_px, axis=0).T))])


def _renumbered(nodes_px: Floats, kinds: NDArray[np.uint8], links: list[Link]) -> Strokes:
    used = np.unique(np.array([node for link in links for node in (link.start, link.end)], dtype=int))
    number = {int(node): n for n, node in enumerate(used)}
    renamed = (replace(link, start=number[link.start], end=number[link.end], own=None) for link in links)
    return Strokes(nodes_px[used], kinds[used], tuple(renamed))
