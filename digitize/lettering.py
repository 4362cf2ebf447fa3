"""Which strokes are lettering: rows of like-sized small pieces, whatever their angle and place."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from statistics import median

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree
from scipy.spatial.distance import cdist

from digitize.dash_runs import bent_dashes
from digitize.dashed_lines import dashed_links, is_straight
from digitize.ring_strokes import crossed_links
from digitize.strokes import Link, NodeKind, Strokes

Floats = NDArray[np.float64]

TALLEST_WIDTHS = 26.0
"""Height of a letter in line widths, at most. Lettering has 10 or 14 (ISO 3098, from memory); a thin title 25."""

LONGEST_WIDTHS = 160.0
"""Letters that touch make one piece up to this long, still no higher than a letter and full of nodes."""

TOUCHING_LINKS = 7
"""Links of a piece of touching letters, at least: two letters have that many."""

GAP_HEIGHTS = 0.9
"""Clear distance of two letters of a row in heights of the taller one: letters stand at 0.2, words at 0.6 to 0.8."""

ALIKE = 2.2
"""Letters of one row differ in size by up to this: small letters are 0.6 to 0.7 of a capital; some are narrow."""

RING = 0.85
"""A closed piece at least this high for its length is as round as a hole; a drawn O is narrower (0.6 to 0.8)."""

LETTERS_A_RING = 2
"""A row has at least this many open letters for each ring: holes about a hub bring their centre marks along."""

STRAIGHT = 0.03
"""Bow of a straight piece, in parts of its length."""

SQUARE_COSINE = np.sin(np.radians(12))
"""Arms of a reference cross stand within this of square."""

POINTS_A_PIECE = 48
"""Points that stand for a piece where distances are taken."""


@dataclass(frozen=True, slots=True)
class Piece:
    """A connected piece of the strokes: its links, its extent along and across itself in px, and what it is made of."""

    links: NDArray[np.int64]
    points_px: Floats
    long_px: float
    high_px: float
    way: Floats
    width_px: float
    straight: bool
    plain: bool
    ring: bool
    cross: bool
    members: tuple[Link, ...]
    ends: int
    most_at_a_node: int


@lru_cache(maxsize=2)
def lettering_links(strokes: Strokes) -> NDArray[np.bool_]:
    """Tell which links belong to lettering.

    Lettering is two or more small pieces of like size close to each other, not all of them plain closed
    shapes or straight strokes (holes in a row, dashes, ticks) nor mostly rings (holes about a centre), or a
    longer piece of letters that touch. Crosses with square arms are reference marks and never lettering, nor is
    a ring that lines cross, or what crosses it, nor a dashed line and what it crosses.

    Parameters
    ----------
    strokes : Strokes
        As found; sizes are judged in measured line widths.

    Returns
    -------
    (len(links),) bool
        Not to be written to: whoever asks again about the same strokes is given the same array.
    """
    marked = _marked(strokes)
    marked.flags.writeable = False
    return marked


def names_and_others_px(strokes: Strokes) -> tuple[Floats, Floats]:
    """Give the middles (N, 2) of letters and lone figures, and those of what may be one of them or not: lone closed
    lines (holes, an O), and straight strokes of a letter's size that are no dashes (a 1, an I).
    """
    marked = lettering_links(strokes)
    letters = [strokes.links[link].points_px.mean(axis=0) for link in np.flatnonzero(marked).tolist()]
    dashed = dashed_links(strokes)
    others = []
    for piece in _pieces(strokes):
        if marked[piece.links].any() or piece.cross:
            continue
        middle = (piece.points_px.max(axis=0) + piece.points_px.min(axis=0)) / 2
        if piece.straight:
            if _letter_sized(piece) and not dashed[piece.links].any():
                others.append(middle)
        elif len(piece.members) == 1 and piece.members[0].start == piece.members[0].end:
            others.append(middle)
        elif _letter_sized(piece):
            letters.append(middle)
    return np.array(letters).reshape(-1, 2), np.array(others).reshape(-1, 2)


def small_pieces(strokes: Strokes) -> list[Piece]:
    """Give the connected pieces of ink that are no larger than a letter."""
    return [piece for piece in _pieces(strokes) if _letter_sized(piece)]


def _marked(strokes: Strokes) -> NDArray[np.bool_]:
    marked = np.zeros(len(strokes.links), np.bool_)
    if not strokes.links:
        return marked
    crossed = crossed_links(strokes)
    crossed |= dashed_links(strokes)
    crossed[list(bent_dashes(strokes))] = True
    pieces = [piece for piece in _pieces(strokes) if not piece.cross and not crossed[piece.links].any()]
    small = [piece for piece in pieces if _letter_sized(piece) and not _is_crossed_figure(piece)]
    for row in map(_without_openings, _rows(small)):
        letters = sum(not piece.straight and not piece.plain for piece in row)
        rings = sum(piece.ring for piece in row)
        if letters and letters >= LETTERS_A_RING * rings and not _dashes(row):
            for piece in row:
                marked[piece.links] = True
    for piece in pieces:
        if _touching_letters(piece) or _lone_letters(piece):
            marked[piece.links] = True
    for piece in _in_balloons(pieces):
        marked[piece.links] = True
    return marked


def _without_openings(row: list[Piece]) -> list[Piece]:
    """A row without the closed lines that no O of its lettering is: of another pen, or larger than its letters."""
    letters = [piece for piece in row if not piece.straight and not piece.plain]
    if not letters:
        return row
    pen_px = float(median(piece.width_px for piece in letters))
    tall_px = max(piece.long_px for piece in letters)
    return [
        piece
        for piece in row
        if not piece.plain or (piece.width_px < TWO_PENS * pen_px and piece.long_px < LARGEST_O * tall_px)
    ]


LARGEST_O = 1.35
"""An O is hardly longer than the longest letter beside it."""


def _in_balloons(pieces: list[Piece]) -> list[Piece]:
    """Single letters and figures in the middle of a circle that they do not touch: a dash or a cross is neither."""
    rings = [piece for piece in pieces if piece.plain and piece.high_px > BALLOON * piece.long_px]
    figures = [piece for piece in pieces if not piece.straight and not piece.plain and _letter_sized(piece)]
    if not rings or not figures:
        return []
    middles = cKDTree([(figure.points_px.max(axis=0) + figure.points_px.min(axis=0)) / 2 for figure in figures])
    found = []
    for ring in rings:
        middle = (ring.points_px.max(axis=0) + ring.points_px.min(axis=0)) / 2
        for which in middles.query_ball_point(middle, OFF_MIDDLE * ring.high_px):
            figure = figures[which]
            away = np.hypot(*(figure.points_px - middle).T).max()
            if LEAST_FIGURE * ring.high_px < figure.long_px and 2 * away < MOST_FIGURE * ring.long_px:
                found.append(figure)
    return found


BALLOON = 0.65
"""A balloon is at least this high for its length, in a photo at a slant."""

OFF_MIDDLE = 0.15
"""A single figure stands this near its balloon's middle, in parts of the balloon's height..."""

LEAST_FIGURE, MOST_FIGURE = 0.25, 0.8
"""... and is this large beside it."""


@lru_cache(maxsize=2)
def _pieces(strokes: Strokes) -> list[Piece]:
    """Connected pieces of the strokes, measured; of the same strokes once."""
    start = np.array([link.start for link in strokes.links])
    end = np.array([link.end for link in strokes.links])
    count = len(strokes.nodes_px)
    _, of_node = connected_components(
        coo_matrix((np.ones(len(start)), (start, end)), shape=(count, count)), directed=False
    )
    of_link = of_node[start]
    order = np.argsort(of_link, kind="stable")
    begin = np.concatenate([[0], np.flatnonzero(np.diff(of_link[order])) + 1])
    counts = np.array([len(strokes.links[which].points_px) for which in order.tolist()])
    points = np.concatenate([strokes.links[which].points_px for which in order.tolist()])
    first = np.concatenate([[0], np.cumsum(counts)])[begin]
    ways, long, high = _extents(points, first)
    return [
        _piece(strokes, links, one, ways[which], long[which], high[which])
        for which, (links, one) in enumerate(zip(np.split(order, begin[1:]), np.split(points, first[1:]), strict=True))
    ]


def _extents(points: Floats, first: NDArray[np.int64]) -> tuple[Floats, list[float], list[float]]:
    """The long axis (P, 2) of each run of points that begins at `first`, and its extent along and across that."""
    size = np.diff(first, append=len(points))
    away = points - np.repeat(np.add.reduceat(points, first) / size[:, None], size, axis=0)
    x, y = away.T
    spread = np.add.reduceat(np.column_stack([x * x, x * y, x * y, y * y]), first).reshape(-1, 2, 2)
    spread[size <= 2] = np.eye(2)
    _, axes = np.linalg.eigh(spread)
    placed = np.einsum("ni,nij->nj", away, np.repeat(axes, size, axis=0))
    high, long = (np.maximum.reduceat(placed, first) - np.minimum.reduceat(placed, first)).T.tolist()
    return axes[:, :, 1], long, high


def _piece(strokes: Strokes, links: NDArray[np.int64], points: Floats, way: Floats, long: float, high: float) -> Piece:
    """Tell what one piece is made of."""
    members = [strokes.links[link] for link in links.tolist()]
    width = float(median(link.width_px for link in members))
    at_nodes = Counter(node for link in members for node in (link.start, link.end))
    kinds = [NodeKind(kind) for kind in strokes.kinds[sorted(at_nodes)].tolist()]
    alone = len(members) == 1 and members[0].start != members[0].end
    plain = NodeKind.END not in kinds and NodeKind.JUNCTION not in kinds
    return Piece(
        links=links,
        points_px=points[:: max(1, len(points) // POINTS_A_PIECE)],
        long_px=long,
        high_px=high,
        way=way,
        width_px=width,
        straight=alone and high < max(STRAIGHT * long, 0.3 * width),
        plain=plain,
        ring=plain and high > RING * long,
        cross=_is_cross(strokes, links, kinds),
        members=tuple(members),
        ends=kinds.count(NodeKind.END),
        most_at_a_node=max(at_nodes.values()),
    )


def _is_one_pen(members: Sequence[Link]) -> bool:
    """Whether one pen may have drawn a piece: the wide lines that make up a fifth of it are hardly wider than the thin.

    A hatched face has an outline twice as wide as its hatching or more (ISO 128); lettering is written with one pen.
    """
    widths_px = np.array([link.width_px for link in members])
    order = np.argsort(widths_px)
    lengths_px = np.array([len(members[which].points_px) for which in order], dtype=np.float64)
    share = np.cumsum(lengths_px) / lengths_px.sum()
    thin_px, wide_px = widths_px[order][np.searchsorted(share, [PEN_SHARE, 1 - PEN_SHARE])]
    return bool(wide_px < TWO_PENS * thin_px)


PEN_SHARE = 0.2
"""A pen has drawn at least this share of a piece; what is less may be ink that has run together."""

TWO_PENS = 1.8
"""Lines of two pens differ by this much: by twice in ISO 128. In pictures of lettering whose letters touch, the widths
of its strokes differ by up to 1.25."""


def _is_cross(strokes: Strokes, links: NDArray[np.int64], kinds: Sequence[NodeKind]) -> bool:
    """Four arms about one crossing, two and two in line and square to each other."""
    if len(links) != 4 or kinds.count(NodeKind.JUNCTION) != 1 or kinds.count(NodeKind.END) != 4:
        return False
    ways = []
    for number in links:
        link = strokes.links[number]
        outward = link.points_px[-1] - link.points_px[0]
        if strokes.kinds[link.start] != NodeKind.JUNCTION:
            outward = -outward
        ways.append(outward / max(float(np.hypot(*outward)), 1e-9))
    cosines = np.sort((np.array(ways) @ np.array(ways).T)[np.triu_indices(4, 1)])
    opposite, square = cosines[:2], cosines[2:]
    return bool((opposite < -np.cos(np.radians(12))).all() and (np.abs(square) < SQUARE_COSINE).all())


def _letter_sized(piece: Piece) -> bool:
    return 1.5 * piece.width_px < piece.long_px < TALLEST_WIDTHS * piece.width_px


def _touching_letters(piece: Piece) -> bool:
    """Long, no higher than a letter, of many short strokes."""
    wide = piece.width_px
    return (
        len(piece.links) >= TOUCHING_LINKS
        and piece.high_px < TALLEST_WIDTHS * wide
        and TALLEST_WIDTHS * wide / 2 < piece.long_px < LONGEST_WIDTHS * wide
        and piece.long_px < 1.1 * len(piece.links) * piece.high_px
        and piece.long_px > 1.3 * piece.high_px
        and not piece.plain
        and piece.long_px / len(piece.links) < 0.6 * TALLEST_WIDTHS * wide / 2
        and max(len(link.points_px) for link in piece.members) < LONGEST_STROKE * piece.high_px
        and _is_one_pen(piece.members)
        and not _is_figure(piece)
    )


def _is_crossed_figure(piece: Piece) -> bool:
    """Whether a piece is a box or the like with lines that run through its edge: no stroke of a letter does."""
    return piece.most_at_a_node > 3 and _is_figure(piece)


def _is_figure(piece: Piece) -> bool:
    """Whether a piece is a closed figure of a few straight sides, and what else there is runs across it.

    Letters that touch, even a D and an O, are bent or leave their hull unfilled.
    """
    fields = shapely.get_parts(shapely.polygonize([shapely.LineString(link.points_px) for link in piece.members]))
    whole = shapely.union_all(fields)
    if not 0 < len(fields) <= FIGURE_FIELDS or not isinstance(whole, shapely.Polygon):
        return False
    plain = shapely.simplify(shapely.Polygon(whole.exterior), piece.width_px)
    filled = shapely.area(plain) > FIGURE_FILLS * shapely.area(shapely.convex_hull(plain))
    ink = shapely.LineString(piece.points_px)
    is_most = shapely.area(plain) > FIGURE_IS * shapely.area(shapely.convex_hull(ink))
    return bool(filled and is_most and len(shapely.get_coordinates(plain)) - 1 <= FIGURE_SIDES)


FIGURE_FILLS, FIGURE_SIDES = 0.95, 6
"""Such a figure fills this part of its hull, and has so many sides at most, told to a line width."""

FIGURE_IS = 0.4
"""... and this part of what its lines reach over with it: the eye of an R or a 4 is less."""

FIGURE_FIELDS = 4
"""Centre lines both ways make so many fields of it; a scale bar and a table have more."""


LONGEST_STROKE = 4.0
"""No stroke of letters is longer than this, in heights of what they make; the back of a thickly drawn rib is."""


def _lone_letters(piece: Piece) -> bool:
    """Small, with a closed part that strokes branch from, and none that crosses another: a letter, or two that touch.

    Lines through a small opening cross its edge. An 8 and a B have two closed parts, some of it bent, and are higher
    than wide.
    """
    if piece.most_at_a_node != 3 or piece.high_px >= TALLEST_WIDTHS / 2 * piece.width_px:
        return False
    closed = len(piece.links) - len({node for link in piece.members for node in (link.start, link.end)}) + 1
    if piece.ends == 0:
        bent = any(not is_straight(link.points_px, link.width_px) for link in piece.members)
        return closed == 2 and bent and piece.high_px < EIGHT * piece.long_px
    return closed >= 1 and piece.long_px < 3 * piece.high_px


EIGHT = 0.8
"""An 8 is at most this wide for its height; a ring with a line across is as wide as high."""


def _rows(pieces: list[Piece]) -> list[list[Piece]]:
    """Groups of pieces of like size, each near another of its group."""
    if len(pieces) < 2:
        return []
    middles = np.array([piece.points_px.mean(axis=0) for piece in pieces])
    sizes = np.array([piece.long_px for piece in pieces])
    pairs = cKDTree(middles).query_pairs((1 + GAP_HEIGHTS) * float(sizes.max()), output_type="ndarray")
    if len(pairs) == 0:
        return []
    a, b = pairs.T
    larger = np.maximum(sizes[a], sizes[b])
    near = np.hypot(*(middles[a] - middles[b]).T) < (sizes[a] + sizes[b]) / 2 + GAP_HEIGHTS * larger
    near &= larger < ALIKE * np.minimum(sizes[a], sizes[b])
    a, b, larger = a[near], b[near], larger[near]
    beside = np.array(
        [
            cdist(pieces[one].points_px, pieces[other].points_px).min() < GAP_HEIGHTS * size
            for one, other, size in zip(a, b, larger, strict=True)
        ],
        dtype=np.bool_,
    )
    a, b = a[beside], b[beside]
    count = len(pieces)
    _, group = connected_components(coo_matrix((np.ones(len(a)), (a, b)), shape=(count, count)), directed=False)
    members: dict[int, list[Piece]] = {}
    for piece, number in zip(pieces, group, strict=True):
        members.setdefault(int(number), []).append(piece)
    return [row for row in members.values() if len(row) > 1]


def _dashes(row: list[Piece]) -> bool:
    """Whether most of a group are straight strokes lying along the line they make: a dashed or chain line."""
    straight = [piece for piece in row if piece.straight]
    if len(straight) < 0.7 * len(row) or len(row) < 3:
        return False
    middles = np.array([piece.points_px.mean(axis=0) for piece in row])
    _, spread, axes = np.linalg.svd(middles - middles.mean(axis=0), full_matrices=False)
    return bool(np.median([abs(piece.way @ axes[0]) for piece in straight]) > 0.95 and spread[1] < 0.1 * spread[0])
