"""Small circles that lines cross: their short arcs are put back on the circle that all of them share."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from digitize.circle_fit import Circle, fit_circle
from digitize.strokes import Link, NodeKind, Strokes

Floats = NDArray[np.float64]

MOST_ARCS = 6
"""Three lines through a circle cut it into six arcs."""

MOST_RADIUS_WIDTHS = 14.0
"""Larger circles have arcs long enough to be measured one by one."""

LEAST_RADIUS_WIDTHS = 1.2
"""The ink of smaller ones has no inside left."""

ON_WIDTHS = 0.2
"""Half of the points measured on a circle lie within this of it, in line widths; on a polygon of arcs they do not..."""

NEAR_WIDTHS = 0.7
"""... and nine tenths within this: beside a crossing the other line's ink draws them off."""


@dataclass(frozen=True, slots=True)
class _Arc:
    link: int
    start: int
    end: int


def with_crossed_rings(strokes: Strokes, measured_px: Sequence[Floats]) -> Strokes:
    """Give the strokes with the arcs of each small crossed circle, and the nodes on it, moved onto the circle.

    Parameters
    ----------
    strokes : Strokes
    measured_px : sequence of (M, 2) float
        For each link the points measured in the ink along it, without what was drawn out to its nodes.
    """
    links = list(strokes.links)
    nodes = strokes.nodes_px.copy()
    done: set[int] = set()
    circles: dict[int, Circle] = {}
    for ring in _rings(strokes):
        if done & {arc.link for arc in ring}:
            continue
        width_px = float(np.median([links[arc.link].width_px for arc in ring]))
        points = np.concatenate([measured_px[arc.link] for arc in ring])
        circle = _shared_circle(points, width_px)
        if circle is None or not _goes_round(ring, measured_px, circle):
            continue
        done |= {arc.link for arc in ring}
        circles |= {arc.start: circle for arc in ring}
        for arc in ring:
            nodes[arc.start] = _onto(circle, nodes[[arc.start]])[0]
        for arc in ring:
            link = links[arc.link]
            links[arc.link] = replace(link, points_px=_along(circle, link, nodes, measured_px[arc.link]))
    if not done:
        return strokes
    ended = [link if which in done else _ended_both(link, nodes, circles) for which, link in enumerate(links)]
    return Strokes(nodes, strokes.kinds, tuple(ended))


def _rings(strokes: Strokes) -> list[list[_Arc]]:
    """Closed walks of two to six short links between junctions, the shortest first, each once."""
    short: dict[int, list[_Arc]] = {}
    for which, link in enumerate(strokes.links):
        if link.start == link.end or NodeKind.JUNCTION not in strokes.kinds[[link.start, link.end]]:
            continue
        if len(link.points_px) > 2 * np.pi * MOST_RADIUS_WIDTHS * link.width_px:
            continue
        short.setdefault(link.start, []).append(_Arc(which, link.start, link.end))
        short.setdefault(link.end, []).append(_Arc(which, link.end, link.start))
    found: dict[frozenset[int], list[_Arc]] = {}
    for first in sorted(short):
        walks = [[arc] for arc in short[first] if arc.end > first]
        for _ in range(MOST_ARCS - 1):
            longer: list[list[_Arc]] = []
            for walk in walks:
                passed = {arc.start for arc in walk}
                for arc in short.get(walk[-1].end, []):
                    if arc.link in {one.link for one in walk}:
                        continue
                    if arc.end == first:
                        found.setdefault(frozenset(one.link for one in [*walk, arc]), [*walk, arc])
                    elif arc.end > first and arc.end not in passed and len(longer) < MOST_WALKS:
                        longer.append([*walk, arc])
            walks = longer
    return sorted(found.values(), key=len)


MOST_WALKS = 400
"""Walks followed from one node: squared paper has no end of them, and no circles."""


def _shared_circle(points_px: Floats, width_px: float) -> Circle | None:
    weights = np.ones(len(points_px))
    for _ in range(3):
        circle = fit_circle(points_px, weights)
        if circle is None or not LEAST_RADIUS_WIDTHS * width_px < circle.radius_mm < MOST_RADIUS_WIDTHS * width_px:
            return None
        off = np.abs(circle.off_mm(points_px))
        weights = (off <= max(float(np.percentile(off, 70)), 0.05)).astype(float)
    if np.median(off) > ON_WIDTHS * width_px or np.percentile(off, 90) > NEAR_WIDTHS * width_px:
        return None
    return circle


def _goes_round(ring: list[_Arc], measured_px: Sequence[Floats], circle: Circle) -> bool:
    """Whether the arcs, one after the other, go once around: a sector's two radii lie on no circle, nor does a lens."""
    angles = np.concatenate([_angles(circle, measured_px[arc.link]) for arc in ring])
    gaps = np.diff(np.sort(angles), append=np.sort(angles)[:1] + 2 * np.pi)
    return bool(gaps.max() < WIDEST_GAP_RAD)


WIDEST_GAP_RAD = np.radians(75)
"""Nothing is measured near a crossing; on the smallest circles that is a good part of a quarter."""


def _angles(circle: Circle, points_px: Floats) -> Floats:
    away = points_px - circle.centre_mm
    angles: Floats = np.arctan2(away[:, 1], away[:, 0])
    return angles


def _onto(circle: Circle, points_px: Floats) -> Floats:
    away = points_px - circle.centre_mm
    far = np.hypot(away[:, 0], away[:, 1])[:, None]
    moved: Floats = circle.centre_mm + away / np.where(far > 0, far, 1) * circle.radius_mm
    return moved


def _along(circle: Circle, link: Link, nodes: Floats, measured_px: Floats) -> Floats:
    """Points about 1 px apart on the circle between a link's nodes, the way its measured points lie."""
    start, end = _angles(circle, nodes[[link.start, link.end]])
    middle = _angles(circle, measured_px[[len(measured_px) // 2]])[0]
    sweep = (end - start) % (2 * np.pi)
    if (middle - start) % (2 * np.pi) > sweep:
        sweep -= 2 * np.pi
    count = max(2, int(abs(sweep) * circle.radius_mm) + 1)
    turned = start + sweep * np.linspace(0, 1, count)
    points: Floats = circle.centre_mm + circle.radius_mm * np.column_stack([np.cos(turned), np.sin(turned)])
    points[0], points[-1] = nodes[link.start], nodes[link.end]
    return points


def _ended_both(link: Link, nodes: Floats, circles: dict[int, Circle]) -> Link:
    return _turned(_ended(_turned(_ended(link, nodes, circles)), nodes, circles))


def _turned(link: Link) -> Link:
    return replace(link, start=link.end, end=link.start, points_px=link.points_px[::-1])


def _ended(link: Link, nodes: Floats, circles: dict[int, Circle]) -> Link:
    """The link with its last point on its node, without what ran past the circle that the node was moved onto."""
    circle = circles.get(link.end)
    if circle is None:
        return link
    off = circle.off_mm(link.points_px)
    # The link's own side of the circle is where its middle lies.
    wrong = np.sign(off) != np.sign(off[len(off) // 2])
    kept = len(off) - int(np.argmin(wrong[::-1])) if not wrong.all() else 1
    points = np.vstack([link.points_px[: max(1, min(kept, len(off) - 1))], nodes[link.end]])
    return replace(link, points_px=points)
