"""Which lines are hatching: many straight lines side by side, as far from each other as their neighbours are.

Hatching fills an outline and bounds nothing. Its lines end on what they fill; and where they cross, or the blur of a
coarse picture joins their ends, walks would go from one to the next.
"""

import math

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from digitize.continuation import LineGraph
from digitize.dashed_lines import is_straight
from digitize.faces import closed_strokes, faces
from digitize.link_sizes import link_ends_px, link_lengths_px

Floats = NDArray[np.float64]

LEAST_LINES = 5
"""So many lines side by side are hatching: the stringers or the edges of a strip with its slots are fewer."""

MOST_APART_WIDTHS = 16.0
"""Lines of hatching lie no farther apart, in line widths: 5 mm by a pen of 0.3 mm; ribs over a wing lie farther."""

EVEN = 1.35
"""Hatching's steps differ by less: a third is drawn by eye, or is what ink that has run together moves a line by."""

PARALLEL_RAD = np.deg2rad(5)
"""Lines of hatching run alike to within this: a short one's ends are pulled aside by what they meet."""

TURN = np.sin(np.deg2rad(12))
"""The links of one line turn by less, as a sine: a short one's ends are pulled aside by twice as much."""

FOLLOWED = 4
"""A line is followed over so many links to see it bend: an opening's arcs between lines of hatching bend little
each."""

BESIDE_SHARE = 0.4
"""Two lines lie side by side over this share of the shorter, at least: in a corner each is shorter than the last."""

LEAST_WIDTHS = 3.0
"""A shorter line, in line widths, shows no direction."""

NAMED_SHARE = 0.25
"""Where lettering stands in more of the spaces between lines than this, these are strips, each with its name."""


def hatching_links(graph: LineGraph, figures: list[list[int]], lettering: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Tell which links of each figure are hatching, its outer boundary never.

    Parameters
    ----------
    graph : LineGraph
    figures : list of list of int
        The graph's blocks.
    lettering : (L,) array of bool

    Returns
    -------
    (L,) array of bool
    """
    hatching = np.zeros(len(graph.strokes.links), dtype=np.bool_)
    letters_px = [graph.strokes.links[link].points_px.mean(axis=0) for link in np.flatnonzero(lettering).tolist()]
    for figure in figures:
        if len(figure) > LEAST_LINES:
            hatching[_of_figure(graph, figure, np.array(letters_px).reshape(-1, 2))] = True
    return hatching


def _of_figure(graph: LineGraph, figure: list[int], letters_px: Floats) -> list[int]:
    inner = _inner_links(graph, figure)
    lines = _straight_lines(graph, inner)
    if len(lines) < LEAST_LINES:
        return []
    links_px = link_ends_px(graph.strokes)
    ends = np.array([_far_ends(links_px[line].reshape(-1, 2)) for line in lines])
    width_px = float(np.median([graph.strokes.links[link].width_px for line in lines for link in line]))
    middles, ways = ends.mean(axis=1), ends[:, 1] - ends[:, 0]
    lengths = np.hypot(*ways.T)
    ways = ways / lengths[:, None]
    # How far each line lies to the side of each other, and over how much of the shorter they lie side by side.
    off = middles[None] - middles[:, None]
    aside = off[..., 1] * ways[:, None, 0] - off[..., 0] * ways[:, None, 1]
    along = np.abs((off * ways[:, None]).sum(axis=2))
    beside = (lengths[:, None] + lengths[None]) / 2 - along
    turn = np.abs(ways[:, None, 0] * ways[None, :, 1] - ways[:, None, 1] * ways[None, :, 0])
    near = (turn < np.sin(PARALLEL_RAD)) & (beside > BESIDE_SHARE * np.minimum(lengths[:, None], lengths[None]))
    near &= (np.abs(aside) < MOST_APART_WIDTHS * width_px) & (np.abs(aside) > width_px)
    steps = [np.where(near & (sign * aside > 0), np.abs(aside), np.inf) for sign in (-1, 1)]
    pairs = []
    for step in steps:
        nearest = step.argmin(axis=1)
        pairs += [(one, int(other), step[one, other]) for one, other in enumerate(nearest) if step[one, other] < np.inf]
    rows = [
        row
        for row in _rows(pairs, len(lines))
        if len(row) >= LEAST_LINES and not _are_named(middles[row], ways[row], lengths[row], width_px, letters_px)
    ]
    usual = [_usual_steps(pairs, len(lines))[row] for row in rows]
    # What lies beside other lines' ends has no neighbours of its own, or is too short to have them.
    return [
        link
        for link in inner
        if any(
            _continues(links_px[link], middles[row], ways[row], float(np.median(step)), width_px)
            for row, step in zip(rows, usual, strict=True)
        )
    ]


def _inner_links(graph: LineGraph, figure: list[int]) -> list[int]:
    """The straight links inside a figure, of no line that closes on itself, nor of one that turns."""
    closed = {side >> 1 for walk in (faces(graph, figure).outer, *closed_strokes(graph, figure)) for side in walk}
    links = graph.strokes.links
    counts = {place: len(sides) for place, sides in graph.sides_at(figure).items()}

    def turns(side: int) -> bool:
        """Whether a line turns at a link's end, at a corner or little by little beyond it."""
        own, corner = side >> 1, counts[graph.place_of(side)] == 2
        for _ in range(FOLLOWED):
            after = int(graph.mate[side])
            if after < 0 or _turn(graph, side >> 1, after >> 1) > TURN:
                return corner and after >= 0
            if _turn(graph, own, after >> 1) > TURN:
                return True
            side, corner = after ^ 1, False
        return False

    return [
        link
        for link in figure
        if link not in closed
        and links[link].start != links[link].end
        and is_straight(links[link].points_px, links[link].width_px)
        and not turns(2 * link)
        and not turns(2 * link + 1)
    ]


def _straight_lines(graph: LineGraph, inner: list[int]) -> list[list[int]]:
    """The straight lines that links make, each as its links."""
    links, lengths_px = graph.strokes.links, link_lengths_px(graph.strokes)
    inner = [link for link in inner if lengths_px[link] > LEAST_WIDTHS * links[link].width_px]
    number = {link: which for which, link in enumerate(inner)}
    joined = [
        (which, number[mate])
        for link, which in number.items()
        for side in (2 * link, 2 * link + 1)
        if (mate := int(graph.mate[side]) >> 1) in number and _turn(graph, link, mate) < TURN
    ]
    a, b = np.array(joined, dtype=np.int64).reshape(-1, 2).T
    _, line_of = connected_components(coo_matrix((np.ones(len(a)), (a, b)), shape=(len(inner), len(inner))))
    lines: dict[int, list[int]] = {}
    for link, which in number.items():
        lines.setdefault(int(line_of[which]), []).append(link)
    return list(lines.values())


def _turn(graph: LineGraph, one: int, other: int) -> float:
    """The sine of the angle between two links."""
    (a, b), (c, d) = link_ends_px(graph.strokes)[[one, other]]
    (x, y), (u, v) = b - a, d - c
    return float(abs(x * v - y * u) / max(math.hypot(x, y) * math.hypot(u, v), 1e-9))


def _continues(ends: Floats, middles: Floats, ways: Floats, step_px: float, width_px: float) -> bool:
    """Whether a link runs as a row of lines does, in line with one of them or one step beside the last."""
    way = (ends[1] - ends[0]) / max(float(np.hypot(*(ends[1] - ends[0]))), 1e-9)
    if np.median(np.abs(way[0] * ways[:, 1] - way[1] * ways[:, 0])) > TURN:
        return False
    off = ends.mean(axis=0) - middles
    aside_px = float(np.abs(off[:, 1] * ways[:, 0] - off[:, 0] * ways[:, 1]).min())
    return aside_px < width_px or step_px / EVEN < aside_px < EVEN * step_px


def _far_ends(points: Floats) -> Floats:
    """The two farthest apart of points about a line."""
    away = points - points.mean(axis=0)
    _, _, axes = np.linalg.svd(away, full_matrices=False)
    order = np.argsort(away @ axes[0])
    return points[order[[0, -1]]]


def _rows(pairs: list[tuple[int, int, float]], count: int) -> list[NDArray[np.int64]]:
    """Lines joined to their neighbours, where the step to one is like the step to the next."""
    usual = _usual_steps(pairs, count)
    alike = [(one, other) for one, other, step in pairs if step < EVEN * max(usual[one], usual[other])]
    alike = [
        (one, other) for one, other in alike if max(usual[one], usual[other]) < EVEN * min(usual[one], usual[other])
    ]
    a, b = np.array(alike, dtype=np.int64).reshape(-1, 2).T
    _, row_of = connected_components(coo_matrix((np.ones(len(a)), (a, b)), shape=(count, count)), directed=False)
    return [np.flatnonzero(row_of == row) for row in range(row_of.max() + 1)] if count else []


def _usual_steps(pairs: list[tuple[int, int, float]], count: int) -> Floats:
    """How far each line lies from the nearest beside it, infinite where there is none."""
    usual = np.full(count, np.inf)
    for one, other, step in pairs:
        usual[one], usual[other] = min(usual[one], step), min(usual[other], step)
    return usual


def _are_named(middles: Floats, ways: Floats, lengths: Floats, width_px: float, letters_px: Floats) -> bool:
    """Whether lettering stands in many of the spaces between lines."""
    way = ways * np.sign(ways @ ways[0])[:, None]
    along = way.mean(axis=0) / np.hypot(*way.mean(axis=0))
    across = np.array([-along[1], along[0]])
    at = np.sort(middles @ across)
    reach = (middles @ along - lengths / 2).min(), (middles @ along + lengths / 2).max()
    inside = (letters_px @ along > reach[0]) & (letters_px @ along < reach[1])
    spaces = np.searchsorted(at, letters_px[inside] @ across)
    named = set(spaces[(spaces > 0) & (spaces < len(at))].tolist())
    return len(named) > NAMED_SHARE * (len(at) - 1)
