"""Which closed walks in the strokes are outlines of parts, which are their holes, and which are neither."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
import shapely
from numpy.typing import NDArray

from digitize.continuation import LineGraph, length_px, line_graph
from digitize.core2 import blocks
from digitize.faces import Walk, area_px2, closed_strokes, faces, reversed_walk, walk_points
from digitize.lettering import TALLEST_WIDTHS
from digitize.measures import links_beside, without_dimension_lines
from digitize.meetings import Meeting, is_between_measures, meetings, steps
from digitize.nesting import nest
from digitize.not_parts import furniture_links, hull_corners, is_arrowhead, is_quad, is_round
from digitize.seams import seam_links, seams_in_doubt
from digitize.shared_lines import ring_bend_rad, sharing_strokes
from digitize.strokes import Strokes


class Role(StrEnum):
    """What a closed walk is taken for."""

    PART = "part"
    HOLE = "hole"
    FACE = "face"
    """A field between the inner lines of a part, or between parts: kept so that a person can take it."""
    MARK = "mark"
    """An arrowhead, a balloon, a box around lettering, or too small to be a part."""


@dataclass(frozen=True, slots=True)
class Loop:
    """A closed walk and what it is taken for.

    `walk` runs clockwise as seen (positive area with y down); `points_px` (N, 2) are its points and
    `polygon` nearly the same with fewer. `parent` is the number of the loop a hole lies in. `why` says
    in a few words what the role rests on.
    """

    walk: Walk
    points_px: NDArray[np.float64]
    polygon: shapely.Polygon
    role: Role
    confidence: float
    why: str
    parent: int | None = None

    @property
    def area_px2(self) -> float:
        """Area inside, px²; holes not taken off."""
        return area_px2(self.points_px)

    @property
    def links(self) -> frozenset[int]:
        """Numbers of the links it runs along."""
        return frozenset(side >> 1 for side in self.walk)


@dataclass(frozen=True, slots=True)
class Loops:
    """Every loop worth knowing, the graph they were found in, and the links that are sheet furniture and measures."""

    loops: tuple[Loop, ...]
    graph: LineGraph
    furniture: NDArray[np.bool_]
    measures: NDArray[np.bool_]


def find_loops(strokes: Strokes, *, lettering: NDArray[np.bool_], border_px: NDArray[np.float64] | None) -> Loops:
    """Find the outlines of parts and their holes.

    The rule. In every block (two lines of a block lie on one closed walk):

    1. A line that comes back to its own start, carrying straight on wherever others meet it and turning
       only where it is alone, is an outline. Lines across it, and its neighbours, do not matter.
    2. What such outlines leave over, or the whole block where there is none, is one more outline: its outer
       boundary. It may turn from a line that ends onto one that runs on (a shared edge), but not
       from one line that runs on to another: that is a field between crossing lines.
    3. A line inside that joins two places where the boundary turns inward parts it in two.

    The other fields of the block are kept as FACE. `nest` then tells holes from parts.

    Parameters
    ----------
    strokes : Strokes
    lettering : (L,) array of bool
        Links that are lettering.
    border_px : (4, 2) array or None
        The drawn border's corners, if found.
    """
    none_yet = np.zeros(len(strokes.links), dtype=bool)
    if not strokes.links:
        return Loops((), line_graph(strokes, none_yet), none_yet, none_yet)
    graph = line_graph(strokes, lettering)
    figures = blocks(graph)
    furniture = furniture_links(graph, figures, border_px=border_px)
    if furniture.any():
        graph = line_graph(strokes, lettering | furniture)
        figures = blocks(graph)
    graph, figures, measures = without_dimension_lines(graph, figures, lettering)
    width_px = float(np.median([link.width_px for link in strokes.links]))
    extensions = links_beside(graph, measures)
    loops = [loop for block in figures for loop in _block_loops(graph, block, width_px, extensions)]
    loops = _without_marks(loops, graph, strokes, lettering, width_px)
    nested = tuple(_said_if_bridged(loop, strokes) for loop in _nested(loops, graph, width_px))
    return Loops(nested, graph, furniture, measures)


BRIDGED = 0.75
"""Confidence of an outline whose line has bridged gaps, at most: it is told of, and is a part all the same."""


def _said_if_bridged(loop: Loop, strokes: Strokes) -> Loop:
    if loop.role is not Role.PART or not any(strokes.links[link].bridged for link in loop.links):
        return loop
    why = "its line has gaps, bridged where two ends point at each other"
    return replace(
        loop, confidence=min(loop.confidence, BRIDGED), why=f"{loop.why}; {why}" if loop.confidence < 0.8 else why
    )


def _loop(graph: LineGraph, walk: Walk, role: Role, confidence: float, why: str) -> Loop:
    points = walk_points(graph, walk)
    if area_px2(points) < 0:
        walk = reversed_walk(walk)
        points = walk_points(graph, walk)
    width_px = graph.strokes.links[walk[0] >> 1].width_px
    return Loop(walk, points, _polygon(points, COARSE_WIDTHS * width_px), role, confidence, why)


COARSE_WIDTHS = 0.15
"""What the polygons that loops are compared by may leave out, in line widths: a twentieth of the points, no area."""


def _polygon(points: NDArray[np.float64], slack_px: float) -> shapely.Polygon:
    if len(points) < 3:
        return shapely.Polygon()
    ring = shapely.simplify(shapely.LineString(np.vstack([points, points[:1]])), slack_px, preserve_topology=False)
    polygon = shapely.Polygon(ring.coords if len(ring.coords) > 3 else points)
    if shapely.is_valid(polygon):
        return polygon
    # Noise lets the two sides of a sharp tip cross: the large remainder is meant.
    pieces = [piece for piece in shapely.get_parts(shapely.make_valid(polygon)) if isinstance(piece, shapely.Polygon)]
    return max(pieces, key=shapely.area, default=shapely.Polygon())


THIN_WIDTHS = 1.5
"""A loop whose area over half its perimeter is less, in line widths, is a gap inside one line."""


def _crosses_itself(loop: Loop) -> bool:
    """Tell whether a loop is a figure of eight rather than the outline of one area."""
    return bool(shapely.area(loop.polygon) < 0.95 * loop.area_px2)


def _is_thin(loop: Loop, width_px: float) -> bool:
    around = shapely.length(loop.polygon)
    return bool(around == 0 or 2 * shapely.area(loop.polygon) / around < THIN_WIDTHS * width_px)


def _block_loops(graph: LineGraph, block: list[int], width_px: float, extensions: set[int]) -> list[Loop]:
    """The loops of one block: outlines, and the fields of what holds lines inside."""
    whole = faces(graph, block)
    if not whole.outer:
        return []
    if len(whole.inner) == 1:
        loop = _loop(graph, whole.outer, Role.PART, 1.0, "a line closed on itself")
        return [] if _is_thin(loop, width_px) else [loop]
    strokes_closed = closed_strokes(graph, block)
    taken = [
        _loop(graph, walk, Role.PART, CLOSED_ON_ITSELF, "a line closed on itself, met by others")
        for walk in strokes_closed
    ]
    taken = [loop for loop in taken if not _crosses_itself(loop) and not _is_thin(loop, width_px)]
    fields = [_loop(graph, walk, Role.FACE, 0.3, "a field between lines") for walk in whole.inner]
    inside = shapely.point_on_surface(np.array([field.polygon for field in fields], dtype=object))
    covered = np.zeros(len(fields), dtype=bool)
    for loop in taken:
        covered |= shapely.contains(loop.polygon, inside)
    walls = {link for loop in taken for link in loop.links}
    left = [field for field, is_in in zip(fields, covered, strict=True) if not is_in]
    shared = [
        _sharing(_loop(graph, walk, Role.PART, SHARING, "shares a line with its neighbour"), width_px)
        for walk in sharing_strokes(graph, block, walls)
    ]
    shared = [loop for loop in shared if not _crosses_itself(loop) and not _is_thin(loop, width_px)]
    for group in _groups(left, walls):
        outlines = _group_loops(graph, group, walls, extensions)
        taken += [
            loop
            for loop in outlines
            if walls.isdisjoint(loop.links) or not any(_is_rest(loop, one, graph) for one in shared)
        ]
    taken += [loop for loop in shared if not any(_is_same(loop, one) for one in taken)]
    known = {loop.links for loop in taken}
    rest = [field for field in fields if field.links not in known and not _is_thin(field, width_px)]
    return [loop for loop in taken if not _is_thin(loop, width_px)] + rest


SAME_SHARE = 0.9
"""Two loops are one outline, traced twice, from this share of their joint area."""


def _is_same(one: Loop, other: Loop) -> bool:
    common = shapely.area(shapely.intersection(one.polygon, other.polygon))
    return bool(common > SAME_SHARE * (one.area_px2 + other.area_px2 - common))


def _is_rest(loop: Loop, outline: Loop, graph: LineGraph) -> bool:
    """Whether a loop is what is left of an outline beside others that lie in it."""
    if _is_same(loop, outline):
        return False
    lengths = {link: length_px(graph.strokes.links[link].points_px) for link in loop.links}
    return sum(lengths[link] for link in loop.links & outline.links) > 0.5 * sum(lengths.values())


def _sharing(loop: Loop, width_px: float) -> Loop:
    """An outline that shares a line with another; in doubt where it bends about, as one made of two lines does."""
    if ring_bend_rad(loop.points_px, width_px) <= MOST_BEND_RAD:
        return loop
    return replace(loop, confidence=0.5, why="lines that run together, and it bends too much for one outline of them")


def _groups(fields: Sequence[Loop], walls: set[int]) -> list[list[Loop]]:
    """Fields joined across any line that is not a wall."""
    root = list(range(len(fields)))

    def find(which: int) -> int:
        while root[which] != which:
            root[which] = root[root[which]]
            which = root[which]
        return which

    owner: dict[int, int] = {}
    for which, field in enumerate(fields):
        for link in field.links - walls:
            if link in owner:
                root[find(owner[link])] = find(which)
            owner[link] = which
    groups: dict[int, list[Loop]] = {}
    for which, field in enumerate(fields):
        groups.setdefault(find(which), []).append(field)
    return list(groups.values())


def _group_loops(graph: LineGraph, group: list[Loop], walls: set[int], extensions: set[int]) -> list[Loop]:
    """Outlines of a group of fields: its outer boundary, parted at seams, measures left out."""
    group = _without_measures(graph, group, extensions)
    outer = _outline_of(graph, group)
    inner = {link for field in group for link in field.links} - {side >> 1 for side in outer}
    seams = seam_links(graph, outer, inner)
    parts = _groups(group, walls | seams) if seams else [group]
    if len(parts) > 1:
        return [
            _loop(graph, walk, Role.PART, 0.7, "shares an edge with its neighbour")
            for walk in (_outline_of(graph, part) for part in parts)
            if Meeting.BOTH_RUN_ON not in meetings(graph, walk)
        ]
    if seams_in_doubt(graph, outer, inner):
        why = "a line carries on one of its sides from an inward corner across it: these may be two parts that share it"
        return [_loop(graph, outer, Role.PART, 0.6, why)]
    passed = meetings(graph, outer)
    both, one = passed.count(Meeting.BOTH_RUN_ON), passed.count(Meeting.ONE_RUNS_ON)
    is_alone = walls.isdisjoint(side >> 1 for side in outer)
    if is_alone and both <= len(passed) - both:
        return [_loop(graph, outer, Role.PART, 0.7 if both + one else 0.9, "the outside of lines that meet")]
    if not is_alone and both == 0:
        return [_loop(graph, outer, Role.PART, 0.7, "shares an edge with its neighbour")]
    return []


def _outline_of(graph: LineGraph, group: list[Loop]) -> Walk:
    """Outer boundary of fields: the lines that only one of them has."""
    if len(group) == 1:
        return group[0].walk
    counts: dict[int, int] = {}
    for field in group:
        for link in field.links:
            counts[link] = counts.get(link, 0) + 1
    return faces(graph, [link for link, count in counts.items() if count == 1]).outer


def _without_measures(graph: LineGraph, group: list[Loop], extensions: set[int]) -> list[Loop]:
    """The fields of a group without those between a part, its extension lines and a line that was not told for a
    dimension line.

    Such a field has no corner of its own, and at two or more of its corners on the outside a line runs on
    as a free tail.
    """
    if len(group) < 2:
        return group
    members = {link for field in group for link in field.links} | extensions
    return [field for field in group if not is_between_measures(graph, field.walk, members)] or group


SMALL_WIDTHS = 12.0
"""A loop on its own no longer than this, in line widths, is a letter, an arrowhead or a mark: no part."""

SPECK_WIDTHS = 4.0
"""A loop inside a part no longer than this, in line widths, is a blot between lines: no hole."""


CLOSED_ON_ITSELF = 0.95
"""Confidence of a line that is closed on itself, whatever meets it: a letter's outside is rarely one."""

SHARING = 0.6
"""Confidence of an outline that shares its line with another over some of its length: the ink does not tell which way
it goes there, nor always where its tip lies, so a person looks at it."""

MOST_BEND_RAD = 3 * math.pi
"""Half again what a line bends that closes on itself bending one way; a crescent between two lines bends twice it."""

LETTER_SIZES = 1.2
"""A loop that other lines meet, no larger than this many letters, is made of strokes of lettering."""


def _without_marks(
    loops: list[Loop], graph: LineGraph, strokes: Strokes, lettering: NDArray[np.bool_], width_px: float
) -> list[Loop]:
    """The same loops, those that are arrowheads, balloons or boxes around lettering told apart."""
    letters = [link.points_px for link, is_letter in zip(strokes.links, lettering, strict=True) if is_letter]
    letter_px = float(np.median([np.ptp(points, axis=0).max() for points in letters])) if letters else 0.0
    tree = shapely.STRtree([shapely.Point(points.mean(axis=0)) for points in letters])
    marked = []
    for loop in loops:
        if loop.role is Role.PART:
            size_px = float(np.ptp(loop.points_px, axis=0).max())
            meets = any((graph.mate[side ^ 1] != after) for side, after in steps(loop.walk)) or any(
                not np.isnan(graph.leaving_rad[side]) for side in loop.walk
            )
            if meets and is_arrowhead(loop.points_px, width_px=width_px):
                loop = replace(loop, role=Role.MARK, confidence=0.1, why="an arrowhead")
            elif meets and size_px < LETTER_SIZES * letter_px:
                loop = replace(loop, role=Role.MARK, confidence=0.1, why="as small as lettering, and lines meet on it")
            elif size_px < SPECK_WIDTHS * width_px:
                loop = replace(loop, role=Role.MARK, confidence=0.05, why="a speck")
            elif letters:
                within = tree.query(loop.polygon, predicate="contains")
                if len(within) and _is_around_lettering(
                    loop, [letters[i] for i in within], size_px, width_px, letter_px
                ):
                    loop = replace(loop, role=Role.MARK, confidence=0.2, why="drawn around lettering")
            if loop.role is Role.PART and loop.confidence < CLOSED_ON_ITSELF and size_px < TALLEST_WIDTHS * width_px:
                loop = replace(
                    loop, confidence=min(loop.confidence, 0.5), why="lines that meet, no larger than a letter"
                )
        marked.append(loop)
    return marked


BALLOON_LETTERS = 10.0
"""A balloon around a part's number is at most this many letter strokes across."""


def _is_around_lettering(
    loop: Loop, letters: list[NDArray[np.float64]], size_px: float, width_px: float, letter_px: float
) -> bool:
    """A circle about the size of what is written in it, or a box that lettering fills."""
    spread_px = np.ptp(np.concatenate(letters), axis=0)
    if is_round(loop.polygon, width_px=width_px):
        return bool(size_px < BALLOON_LETTERS * letter_px and spread_px.max() > 0.35 * size_px)
    if not is_quad(loop.points_px, width_px=width_px):
        return False
    box_px = np.ptp(hull_corners(loop.points_px, width_px=width_px), axis=0)
    return bool((spread_px > 0.4 * box_px).all() and spread_px.max() > 0.6 * box_px.max())


def _nested(loops: list[Loop], graph: LineGraph, width_px: float) -> tuple[Loop, ...]:
    """Tell holes from parts and drop loops too small to be parts."""
    candidates = [i for i, loop in enumerate(loops) if loop.role is Role.PART]
    nested = nest([loops[i].polygon for i in candidates], [loops[i].walk for i in candidates], graph, width_px=width_px)
    done = list(loops)
    for which, found in zip(candidates, nested, strict=True):
        loop = loops[which]
        size_px = float(np.ptp(loop.points_px, axis=0).max())
        if found.is_hole and found.parent is not None:
            done[which] = replace(
                loop, role=Role.HOLE, confidence=found.confidence, why=found.why, parent=candidates[found.parent]
            )
        elif size_px < SMALL_WIDTHS * width_px:
            done[which] = replace(loop, role=Role.MARK, confidence=0.1, why="too small to be a part")
        elif found.parent is not None:
            done[which] = replace(loop, confidence=min(loop.confidence, found.confidence), why=found.why)
    return tuple(done)
