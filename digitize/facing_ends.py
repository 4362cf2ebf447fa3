"""Which free ends of lines point at each other across a gap."""

from functools import lru_cache
from itertools import chain
from typing import TypeAlias

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from digitize.link_lines import line_tree
from digitize.link_sizes import link_lengths_px
from digitize.strokes import Link, Strokes

Floats: TypeAlias = NDArray[np.float64]
Side: TypeAlias = int

MOST_WIDTHS, UNSEEN_PX = 12.0, 0.6
"""Longest gap, in line widths: 3 mm of a 0.25 mm line. Dashes lie nearer to each other. A hairline is measured narrower
than it was drawn by up to this: it is paler than the crossings that show what full ink is."""

LEAST_LINK_WIDTHS = 2.0
"""What is shorter, in line widths, shows no direction: a dot, a thorn."""

SEEN_WIDTHS = 6.0
"""The direction of an end is that of its last so many line widths."""

ASIDE_WIDTHS, ASIDE_SHARE = 0.6, 0.15
"""An end meets the other's line within this many widths, and parts of the gap: on a curve of four gaps' radius; on a
narrower one each meets the other's alike, to within so many widths."""

FACING_COSINE = -np.cos(np.radians(35))
"""The two ends point against each other at least so well."""


MOST_SLOPE = 0.48
"""What points elsewhere at its end than on the whole by more than this slope, 26 deg, turns a corner that thinning has
rounded off, and where it points is for others to say. A dash of a nose turns by twice as much in all."""


def free_sides(
    strokes: Strokes, lettering: NDArray[np.bool_], *, least_widths: float = LEAST_LINK_WIDTHS
) -> list[Side]:
    """Give the free ends of lines long enough, in line widths, to show a direction; lettering has none that counts."""
    nodes = np.array([(link.start, link.end) for link in strokes.links], dtype=np.int64).reshape(-1, 2)
    widths_px = np.array([link.width_px for link in strokes.links])
    shows = ~lettering & (np.array(link_lengths_px(strokes)) >= least_widths * widths_px)
    degree = np.bincount(nodes.ravel(), minlength=len(strokes.nodes_px))
    sides: list[Side] = np.flatnonzero((shows[:, None] & (degree[nodes] == 1)).ravel()).tolist()
    return sides


@lru_cache(maxsize=2)
def facing_pairs(strokes: Strokes) -> tuple[tuple[Side, Side], ...]:
    """Give pairs of free ends of whatever lines, lettering too, that point at each other with nothing between them."""
    sides = free_sides(strokes, np.zeros(len(strokes.links), dtype=np.bool_))
    return tuple(clear_of_lines(strokes, facing_sides(strokes, sides))) if len(sides) > 1 else ()


def facing_sides(strokes: Strokes, sides: list[Side]) -> list[tuple[Side, Side]]:
    """Give pairs of free ends that point at each other, the nearest first, each end once."""
    ends, ways, bent, widths_px = _ends(strokes, sides)
    most_px = MOST_WIDTHS * (widths_px + UNSEEN_PX)
    # Each as far as its own width lets it: a blot of a table's grain may reach across a whole sheet.
    near = cKDTree(ends).query_ball_point(ends, most_px)
    a = np.repeat(np.arange(len(ends)), [len(others) for others in near])
    b = np.fromiter(chain.from_iterable(near), np.int64, len(a))
    a, b = a[a < b], b[a < b]
    gap = ends[b] - ends[a]
    gap_px = np.hypot(gap[:, 0], gap[:, 1])
    width_px = np.minimum(widths_px[a], widths_px[b])
    reached = gap_px <= np.minimum(most_px[a], most_px[b])
    facing = np.zeros(len(a), dtype=np.bool_)
    # A short dash of a narrow curve points elsewhere at its end than its two ends do.
    for way in (ways, bent):
        aside_a = gap[:, 0] * way[a, 1] - gap[:, 1] * way[a, 0]
        aside_b = gap[:, 0] * way[b, 1] - gap[:, 1] * way[b, 0]
        against = (way[a] * way[b]).sum(axis=1) < FACING_COSINE
        against &= ((way[a] * gap).sum(axis=1) > 0) & ((way[b] * gap).sum(axis=1) < 0)
        nearly_straight = np.maximum(np.abs(aside_a), np.abs(aside_b)) <= ASIDE_WIDTHS * width_px + ASIDE_SHARE * gap_px
        # The two tangents of one arc meet its chord alike (Parent and Zucker 1989), however much it bends.
        facing |= against & (nearly_straight | (np.abs(aside_a - aside_b) <= ASIDE_WIDTHS * width_px))
    facing &= reached
    pairs: list[tuple[Side, Side]] = []
    taken: set[int] = set()
    for which in np.flatnonzero(facing)[np.argsort(gap_px[facing])].tolist():
        one, other = int(a[which]), int(b[which])
        if not {one, other} & taken:
            taken |= {one, other}
            pairs.append((sides[one], sides[other]))
    return pairs


def _ends(strokes: Strokes, sides: list[Side]) -> tuple[Floats, Floats, Floats, Floats]:
    """Where free ends lie, the unit directions in which they point on the whole and at the very end, and their lines'
    widths."""
    links = [strokes.links[side >> 1] for side in sides]
    seen = [
        towards(link, side)[::-1][: max(3, int(SEEN_WIDTHS * link.width_px))]
        for link, side in zip(links, sides, strict=True)
    ]
    ways, bent = np.empty((len(sides), 2)), np.empty((len(sides), 2))
    alike: dict[int, list[int]] = {}
    for which, points in enumerate(seen):
        alike.setdefault(len(points), []).append(which)
    # Ends with as many points go together: one call takes longer to begin than for twenty ends.
    for those in alike.values():
        together = np.array([seen[which] for which in those])
        away = together - together.mean(axis=1, keepdims=True)
        axes = np.linalg.svd(away, full_matrices=False)[2][:, 0]
        outward = (axes * (together[:, 0] - together[:, -1])).sum(axis=1) > 0
        ways[those] = np.where(outward[:, None], axes, -axes)
        bent[those] = ways_at_end(away, ways[those])
        cornered = (ways[those] * bent[those]).sum(axis=1) < np.cos(np.arctan(MOST_SLOPE))
        bent[those] = np.where(cornered[:, None], ways[those], bent[those])
    return np.array([points[0] for points in seen]), ways, bent, np.array([link.width_px for link in links])


def ways_at_end(away: Floats, ways: Floats) -> Floats:
    """The unit directions (K, 2) of lines (K, M, 2), told from their middles, at the first of their points.

    By the parabola through them, on whose ends alone the direction of the whole is off.
    """
    along = np.einsum("kmi,ki->km", away, ways)
    aside = away[:, :, 1] * ways[:, None, 0] - away[:, :, 0] * ways[:, None, 1]
    square = along**2 - (along**2).mean(axis=1, keepdims=True)
    # Off a line fitted by its moments, aside is free of what is linear in along; square is freed of it here.
    square -= along * ((square * along).sum(axis=1) / np.maximum((along**2).sum(axis=1), 1e-9))[:, None]
    bow = (square * aside).sum(axis=1) / np.maximum((square**2).sum(axis=1), 1e-9)
    slope = (2 * bow * along[:, 0])[:, None]
    bent: Floats = (ways + slope * np.column_stack([-ways[:, 1], ways[:, 0]])) / np.hypot(1.0, slope)
    return bent


def towards(link: Link, side: Side) -> Floats:
    """Give a link's points, run towards the given side."""
    return link.points_px if side & 1 else link.points_px[::-1]


FINER = 0.5
"""A line this fine beside the two that face each other is of another pen, a half as wide (ISO 128): a centre line, or
what is left of squared paper. It does not end what it crosses."""


def clear_of_lines(strokes: Strokes, pairs: list[tuple[Side, Side]]) -> list[tuple[Side, Side]]:
    """Give the pairs between which there is nothing drawn but lines of a finer pen."""
    if not pairs:
        return []
    gaps = [shapely.LineString([towards(strokes.links[side >> 1], side)[-1] for side in pair]) for pair in pairs]
    bridge, line = line_tree(strokes).query(gaps, predicate="intersects")
    widths_px = [link.width_px for link in strokes.links]
    crossed = set()
    for at, which in zip(bridge.tolist(), line.tolist(), strict=True):
        own = {side >> 1 for side in pairs[at]}
        if which not in own and widths_px[which] > FINER * min(widths_px[link] for link in own):
            crossed.add(at)
    return [pair for at, pair in enumerate(pairs) if at not in crossed]
