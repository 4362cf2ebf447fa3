"""Corners of dashed outlines, put where the dashes on both sides say they are.

At a corner a dashed line has a piece with two short arms. They are hardly longer than the line is wide: too short to
show a direction, and thinning rounds them off. The dashes that lead there are straight over many gaps and say it well.
"""

import math
from dataclasses import dataclass, replace
from typing import TypeAlias

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from digitize.dashed_lines import followed, is_straight, over_gaps, sides_at, straight_part
from digitize.facing_ends import MOST_WIDTHS, Side, clear_of_lines, facing_sides, free_sides, towards
from digitize.runs import median_of
from digitize.straight_fit import straight_through
from digitize.strokes import DASHED_GAPS, Link, NodeKind, Strokes

Floats: TypeAlias = NDArray[np.float64]

PIECE_WIDTHS = 20.0
"""A corner's piece is no longer than this in all, in line widths: two halves of a dash of 4 mm in a 0.25 mm line."""

ARM_WIDTHS = 3.0
"""Each arm that is put in its place is at least this long, in line widths, where the gap leaves room."""

LEAST_ARM_WIDTHS = 2.2
"""Arms shorter than this would show no direction to what bridges gaps; dashes nearer than that meet by themselves."""

ASIDE_WIDTHS, ASIDE_PX = 1.2, 1.0
"""A piece lies this near to the two lines that meet in it, in line widths and px more, and comes so near to the corner:
thinning cuts its tip short."""

TURNS = np.cos(np.radians(160)), np.cos(np.radians(20))
"""Two lines turn between 20 and 160 degrees at a corner. Nearer to straight on, the crossing says little."""


def with_dash_corners(strokes: Strokes, lettering: NDArray[np.bool_]) -> Strokes:
    """Give the strokes with the corner pieces of dashed lines put right.

    A small piece by itself that no two ends face, and that lies along the extensions of two dashes from these to where
    they cross, is replaced by two straight arms that meet there.

    Parameters
    ----------
    strokes : Strokes
        Before any gap is bridged.
    lettering : (L,) array of bool
        Links that are lettering: no end of these leads to a corner.
    """
    sides = free_sides(strokes, lettering)
    if len(sides) < 4:
        return strokes
    over = over_gaps(clear_of_lines(strokes, facing_sides(strokes, sides)))
    pieces = [piece for piece in _pieces(strokes) if any(side not in over for side in piece.ends)]
    if not pieces:
        return strokes
    own = {side for piece in pieces for side in piece.ends}
    open_sides = [side for side in sides if side not in over or over[side] in own]
    dashes = _dashes(strokes, open_sides, over)
    if len(dashes) < 2:
        return strokes
    tree = cKDTree([dash.end_px for dash in dashes])
    found: list[tuple[_Piece, _Dash, _Dash, Floats]] = []
    taken: set[int] = set()
    for piece in pieces:
        reach = (MOST_WIDTHS + PIECE_WIDTHS) * piece.width_px
        near = [dashes[n] for n in sorted(tree.query_ball_point(piece.points_px.mean(axis=0), reach))]
        near = [dash for dash in near if dash.side >> 1 not in piece.links and dash.side not in taken]
        near = [dash for dash in near if over.get(dash.side, piece.ends[0]) in piece.ends]
        best = _corner(piece, near)
        if best is not None:
            found.append((piece, *best))
            taken |= {best[0].side, best[1].side}
    return _replaced(strokes, found) if found else strokes


@dataclass(frozen=True, slots=True)
class _Piece:
    """A small piece by itself with two free ends: its links, its free ends, and its points."""

    links: frozenset[int]
    ends: tuple[Side, ...]
    points_px: Floats
    width_px: float


def _pieces(strokes: Strokes) -> list[_Piece]:
    start = np.array([link.start for link in strokes.links])
    end = np.array([link.end for link in strokes.links])
    count = len(strokes.nodes_px)
    _, of_node = connected_components(coo_matrix((np.ones(len(start)), (start, end)), (count, count)), directed=False)
    degree = np.bincount(np.concatenate([start, end]), minlength=count)
    members: dict[int, list[int]] = {}
    for which, piece in enumerate(of_node[start].tolist()):
        members.setdefault(piece, []).append(which)
    found = []
    for links in members.values():
        if len(links) > MOST_LINKS:
            continue
        ends = tuple(2 * n + at for n in links for at, node in enumerate((start[n], end[n])) if degree[node] == 1)
        points = np.concatenate([strokes.links[n].points_px for n in links])
        width_px = median_of([strokes.links[n].width_px for n in links])
        if len(ends) == 2 and np.hypot(*np.ptp(points, axis=0)) < PIECE_WIDTHS * width_px:
            found.append(_Piece(frozenset(links), ends, points, width_px))
    return found


RUN_WIDTHS, RUN_BOW = 24.0, 0.5
"""A line as long as two dashes and more, in line widths, straight to within this part of one, shows as well where it
leads as dashes do."""

MOST_LINKS = 3
"""A piece with one corner has two links; thinning may leave one more."""


@dataclass(frozen=True, slots=True)
class _Dash:
    """A free end of a straight line of dashes: where it is, which way it points, how wide the line is."""

    side: Side
    end_px: Floats
    way: Floats
    width_px: float
    sigma_px: float


def _dashes(strokes: Strokes, sides: list[Side], over: dict[Side, Side]) -> list[_Dash]:
    """Those of some free ends at which a straight line of dashes begins, or one so long that it may be some."""
    at = sides_at(strokes)
    found = []
    for side in sides:
        link = strokes.links[side >> 1]
        led = straight_part(followed(strokes, side, over, at), link.width_px)
        line = led.points_px
        if led.gaps < DASHED_GAPS:
            # In a coarse picture most gaps are closed, or all but those beside a corner.
            long_px = RUN_WIDTHS * link.width_px
            own = towards(link, side)[-round(long_px) :]
            if len(own) >= long_px - 1:
                line = own
            else:
                # Its last dash may bend around the next corner: as much of it counts as keeps to the line.
                line = straight_part(led, RUN_BOW * link.width_px).points_px
                if np.hypot(*(line[-1] - line[0])) < long_px:
                    continue
            if not is_straight(line, RUN_BOW * link.width_px):
                continue
        end = towards(link, side)[-1]
        straight = straight_through(line)
        way = straight.along if straight.along @ (end - straight.at) > 0 else -straight.along
        # The end itself scatters by some tenths of a px; the line is where most of its points lie.
        end = straight.foot(end)
        found.append(_Dash(side, end, way, link.width_px, link.sigma_px))
    return found


def _corner(piece: _Piece, dashes: list[_Dash]) -> tuple[_Dash, _Dash, Floats] | None:
    """The two dashes whose extensions run along a piece to where they cross, and that place; None without."""
    best: tuple[float, tuple[_Dash, _Dash, Floats]] | None = None
    for n, one in enumerate(dashes):
        for other in dashes[n + 1 :]:
            if not TURNS[0] < -float(one.way @ other.way) < TURNS[1]:
                continue
            far = np.linalg.solve(np.column_stack([one.way, -other.way]), other.end_px - one.end_px)
            most_px = (MOST_WIDTHS + PIECE_WIDTHS / 2) * piece.width_px
            if not (LEAST_ARM_WIDTHS * piece.width_px < far.min() and far.max() < most_px):
                continue
            at = one.end_px + far[0] * one.way
            path = shapely.LineString([one.end_px, at, other.end_px])
            aside = float(shapely.distance(path, shapely.points(piece.points_px)).max())
            to_corner = float(np.hypot(*(piece.points_px - at).T).min())
            most_px = ASIDE_WIDTHS * piece.width_px + ASIDE_PX
            # Ink fills a corner for half a width over the sine of half of it: thinning cuts a sharp one the shorter.
            sharper = max(1.0, 1 / math.sqrt(1 - float(one.way @ other.way)))
            if aside < most_px and to_corner < sharper * most_px and (best is None or aside < best[0]):
                best = aside, (one, other, at)
    return None if best is None else best[1]


def _replaced(strokes: Strokes, found: list[tuple[_Piece, _Dash, _Dash, Floats]]) -> Strokes:
    gone = {link for piece, *_ in found for link in piece.links}
    links = [link for which, link in enumerate(strokes.links) if which not in gone]
    nodes, kinds = [*strokes.nodes_px], strokes.kinds.tolist()
    for piece, one, other, at in found:
        corner = len(nodes)
        nodes.append(at)
        kinds.append(NodeKind.CORNER)
        for dash in (one, other):
            far = float(np.hypot(*(at - dash.end_px)))
            drawn = float(((piece.points_px - at) @ -dash.way).max())
            arm = min(max(drawn, ARM_WIDTHS * piece.width_px), 0.9 * far)
            count = max(int(np.ceil(arm)), 3)
            points = at - dash.way * np.linspace(arm, 0, count + 1)[:, None]
            links.append(Link(len(nodes), corner, points, dash.sigma_px, piece.width_px))
            nodes.append(points[0])
            kinds.append(NodeKind.END)
    used = np.unique(np.array([node for link in links for node in (link.start, link.end)], dtype=np.int64))
    number = {int(node): at for at, node in enumerate(used)}
    links = [replace(link, start=number[link.start], end=number[link.end]) for link in links]
    return Strokes(np.array(nodes)[used], np.array(kinds, dtype=np.uint8)[used], tuple(links))
