"""Short links that fold back on themselves: straight between their nodes, or none where these are at one place.

Where lines run into each other at a sharp angle, thinning parts their shared ink at places that depend on noise. When
the nodes are then put where the lines' own extensions meet, two of them may come to lie side by side, while the link
between still runs along the ink and back. It turns about on the spot, so nothing would be led through it.
"""

from collections.abc import Sequence
from dataclasses import replace
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from digitize.link_sizes import link_lengths_px
from digitize.strokes import Link, PlanStrokes, Strokes

Floats: TypeAlias = NDArray[np.float64]

TOGETHER_WIDTHS = 1.2
"""Nodes nearer to each other than this many line widths are one crossing: as for those that thinning splits."""

FOLDED, FOLD_COSINE = 1.5, np.cos(np.radians(120))
"""A link that runs out and back is so many times longer than its ends are apart, and turns by 120 degrees on the spot:
a drawn corner would be a node."""

MOST_WIDTHS = 12.0
"""What is longer, in line widths, is drawn: two lines that cross at 5 degrees share their ink over this."""


def without_folded_links(plan: PlanStrokes, lettering: NDArray[np.bool_]) -> tuple[PlanStrokes, NDArray[np.bool_]]:
    """Give strokes, and which are lettering, unfolded: junctions side by side are one, links between others straight.

    The strokes of a picture keep them: a junction with a folded link is no landmark to measure from, and shows it.
    """
    strokes = plan.strokes
    lengths_px = np.array(link_lengths_px(strokes))
    short = np.flatnonzero(lengths_px <= MOST_WIDTHS * np.array([link.width_px for link in strokes.links]))
    folded = [which for which in short.tolist() if _is_folded(strokes, which, float(lengths_px[which]))]
    if not folded:
        return plan, lettering
    degree = np.bincount(
        np.array([node for link in strokes.links for node in (link.start, link.end)], dtype=np.int64),
        minlength=len(strokes.nodes_px),
    )
    links, links_mm = list(strokes.links), list(plan.links_mm)
    into = np.arange(len(strokes.nodes_px))
    gone = set()
    for which in folded:
        link = links[which]
        apart_px = _apart_px(link)
        if apart_px < TOGETHER_WIDTHS * link.width_px and min(degree[[link.start, link.end]]) >= LEAST_LINES:
            into[into == into[link.end]] = into[link.start]
            gone.add(which)
        else:
            count = max(2, int(np.ceil(apart_px)) + 1)
            links[which] = replace(link, points_px=_straight(link.points_px, count))
            links_mm[which] = _straight(links_mm[which], count)
    if not gone:
        return PlanStrokes(replace(strokes, links=tuple(links)), plan.nodes_mm, tuple(links_mm)), lettering
    gone.update(_between_joined(links, lengths_px, into))
    kept = [which for which in range(len(links)) if which not in gone]
    ends = into[[(links[which].start, links[which].end) for which in kept]]
    used, which_node = np.unique(ends, return_inverse=True)
    number = which_node.reshape(-1, 2).tolist()
    moved = [
        replace(links[which], start=start, end=end, points_px=_between(links[which].points_px, strokes.nodes_px[nodes]))
        for which, nodes, (start, end) in zip(kept, ends, number, strict=True)
    ]
    moved_mm = [_between(links_mm[which], plan.nodes_mm[nodes]) for which, nodes in zip(kept, ends, strict=True)]
    mended = Strokes(strokes.nodes_px[used], strokes.kinds[used], tuple(moved))
    return PlanStrokes(mended, plan.nodes_mm[used], tuple(moved_mm)), lettering[kept]


def _between_joined(links: Sequence[Link], lengths_px: NDArray[np.float64], into: NDArray[np.int64]) -> list[int]:
    """Other links that lead straight from one node to another at the same place now: they would have no length."""
    return [
        which
        for which, link in enumerate(links)
        if link.start != link.end
        and into[link.start] == into[link.end]
        and lengths_px[which] < FOLDED * _apart_px(link)
    ]


LEAST_LINES = 3
"""Fewer meet at a corner or an end, which stays where it is."""


def _is_folded(strokes: Strokes, which: int, long_px: float) -> bool:
    link = strokes.links[which]
    if link.start == link.end or long_px < FOLDED * _apart_px(link):
        return False
    steps = np.diff(link.points_px, axis=0)
    steps = steps[np.hypot(steps[:, 0], steps[:, 1]) > LEAST_STEP_PX]
    lengths_px = np.hypot(steps[:, 0], steps[:, 1])
    return bool(((steps[1:] * steps[:-1]).sum(axis=1) < FOLD_COSINE * lengths_px[1:] * lengths_px[:-1]).any())


LEAST_STEP_PX = 0.1
"""Points nearer than this have no direction from one to the next."""


def _apart_px(link: Link) -> float:
    return float(np.hypot(*(link.points_px[-1] - link.points_px[0])))


def _straight(points: Floats, count: int) -> Floats:
    straight: Floats = points[0] + np.linspace(0, 1, count)[:, None] * (points[-1] - points[0])
    return straight


def _between(points: Floats, ends: Floats) -> Floats:
    """Points with their first and last where the nodes are that these have become."""
    if (points[[0, -1]] == ends).all():
        return points
    return np.concatenate([ends[:1], points[1:-1], ends[1:]])
