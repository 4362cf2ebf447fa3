"""Which outlines are two parts that share a hinge line: a fin and its rudder, a wing and its aileron.

A line from edge to edge parts an outline in two fields. A hinge line does so, and so do the centre line of one part,
the datum through a rib and the line that tells where an opening lies: these leave signs of their own, by which they are
known. What has none of them is two parts where each field has its own name, or where neither has one and a line as wide
as the outline ends where two outlines meet; else it cannot be told, and a person looks at it.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import combinations, pairwise

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from digitize.continuation import LineGraph, Side, length_px, points_from
from digitize.dashed_lines import is_straight
from digitize.link_sizes import link_lengths_px
from digitize.loop import SAME_SHARE, Loop, Role, is_same
from digitize.named_fields import Names, are_in_a_row, has_in_middle
from digitize.nesting import EVEN_WALL, ONE_SHAPE, alike
from digitize.pens import usual_width_px

Floats = NDArray[np.float64]

FULL, OVERLAP = 0.95, 0.02
"""Fields fill their outline to this share, and two lie over one another by less than so much of it."""

MOST_IN_A_ROW = 5
"""Parts that share edges and have no names are drawn in rows of no more; a panel has as many bays."""

WRITTEN_SHARE = 0.5
"""... or of more, where so many are written in, though not all in letters that can be told."""

ONE_PEN = 0.83
"""Lines drawn with one pen differ by this much in their measured widths, at most: 0.25 and 0.35 mm by more."""

LEAST_FIELD = 0.12
"""What one straight line cuts off an outline is no part where it is smaller than this share of the rest."""

FAR_PAST = 0.4
"""A hinge line runs past an outline by less than this share of its length inside; a datum of several parts runs on."""

PAST_WIDTHS, PAST_SHARE = 6.0, 0.03
"""A line that runs past an outline at both ends by more than so many line widths and such a part of its length inside
is drawn across it: a water line, a datum. Where lines that meet overshoot, they do by less."""

OBLIQUE = math.cos(math.radians(25))
"""A picture taken at a slant shows what is opposite across a centre line no more than so far from square to it."""

TIP_RAD = math.radians(45)
"""A datum ends in a rib's tip, which is sharper than this, and has one of its sides on either hand."""

BRACED_RAD = math.radians(115)
"""A brace ends in a corner that opens by less; a fin and its rudder together open by more."""

LEAST_HATCHES = 3
"""A field with so many lines of hatching within it is hatched."""

LOOK = 0.06
"""An outline's sides are looked at so far from where the line ends on it, in parts of the line's length."""

EDGE_LOOK, EDGE_POINTS = 0.15, 60
"""An edge is looked at so far to both sides, in parts of the line's length, at so many places."""

EDGE_WIDTHS, EDGE_SHARE = 0.3, 0.01
"""A straight edge lies within so many line widths, and parts of what is seen of it, of one straight line: a lens bows
it by less, a rudder's back leaves the fin's straight foot by more."""

CORNER_WIDTHS, CORNER_RAD = 0.5, math.radians(30)
"""A corner turns by more, on an outline without what is smaller than so many line widths."""

PULLED_WIDTHS = 1.5
"""Where lines meet, ink moves them by up to as far as this, in line widths, from the place."""

IN_DOUBT = 0.6
"""Confidence of parts, or of the outline around them, where only the line across tells them from one."""

TWO_PARTS = "shares a hinge line or an edge with its neighbour: they may be one part with a line across"
ONE_OR_TWO = "a line runs across from edge to edge: these may be two parts that share a hinge line"
WRITTEN_ROW = "lines as wide run across from edge to edge, most fields written in: these may be parts in a row"
IN_A_ROW = "lines as wide run across from edge to edge: these may be parts in a row that share edges"
ONE_OR_HALVES = "a line parts it in two halves that are alike: these may be two parts that share an edge"


def parted_at_hinges(loops: Sequence[Loop], graph: LineGraph, names: Names, hatching: NDArray[np.bool_]) -> list[Loop]:
    """Give the loops with those parted that are two parts on either side of one line, or in doubt where they may be.

    An outline that one line, straight or with corners, parts in two fields stays one part where the line

    - runs through an opening of it, or far past it, or is dashed: a centre line, a datum;
    - runs past it, or is finer, and what lies on both sides is alike: the centre line of one part;
    - runs well past it at both ends, and lettering stands on one side alone: a water line of the part named there;
    - is finer and ends on a straight edge or in a corner at both ends: a dimension line across a part, a brace;
    - ends in a sharp tip between its sides: the datum of a rib;
    - is straight and cuts off only a corner;
    - is bent and runs at an even distance from one side: a cap, a skin;
    - bounds hatching that fills one field alone: what the part is made of there.

    Else it is two parts where lettering stands in the middle of both fields, and where it stands in neither and a line
    as wide as the outline does not end so at both ends.

    Parameters
    ----------
    loops : sequence of Loop
    graph : LineGraph
        With all lines, finer ones too.
    names : callable
        Gives where lettering stands; asked only where it matters.
    hatching : (L,) array of bool
        Links that are hatching.
    """
    done = list(loops)
    fields = [which for which, loop in enumerate(loops) if loop.role is Role.FACE]
    outlines = [which for which, loop in enumerate(loops) if loop.role is Role.PART]
    if len(fields) < 2:
        return done
    links = graph.strokes.links
    middles = [links[which].points_px[len(links[which].points_px) // 2] for which in np.flatnonzero(hatching).tolist()]
    hatched = shapely.STRtree([shapely.Point(middle) for middle in middles])
    tree = shapely.STRtree(shapely.point_on_surface(np.array([loops[which].polygon for which in fields], dtype=object)))
    drawn = shapely.STRtree([loops[which].polygon for which in outlines])
    for which in outlines:
        outline = loops[which]
        inside = [fields[at] for at in sorted(tree.query(outline.polygon, predicate="contains").tolist())]
        numbers = fields_of(outline, [(at, loops[at]) for at in inside]) if len(inside) > 1 else []
        if len(numbers) > MOST_IN_A_ROW and _is_written_row(graph, outline, [loops[at] for at in numbers], names):
            done[which] = replace(outline, confidence=min(outline.confidence, IN_DOUBT), why=WRITTEN_ROW)
        if not 2 <= len(numbers) <= MOST_IN_A_ROW:
            continue
        halves = [loops[at] for at in numbers]
        others = [loops[outlines[at]] for at in drawn.query(outline.polygon, predicate="intersects").tolist()]
        others = [one for one in others if not any(is_same(one, other) for other in (outline, *halves))]
        own = {link for half in halves for link in half.links} - outline.links
        smaller = [half for half in halves if any(is_same(loops[at], half) for at in outlines)]
        filled = [len(hatched.query(half.polygon, predicate="contains")) >= LEAST_HATCHES for half in halves]
        if len(halves) == 2 and any(filled) and not all(filled):
            continue
        if any(own <= other.links for other in others) or any(_is_copy(half, outline) for half in smaller):
            # Outlines of their own: a circle about a place on the edge of this one, a rib drawn in it on its datum.
            continue
        openings = [one for one in others if shapely.contains(outline.polygon, one.polygon)]
        if len(numbers) == 2:
            told = _told_of_two(graph, outline, (halves[0], halves[1]), openings, names)
        else:
            told = _told_of_row(graph, outline, halves, openings)
        if told == TWO_PARTS:
            done[which] = replace(outline, role=Role.FACE, confidence=0.3, why="the outside of parts that share lines")
            for at in numbers:
                # What closes without finer lines may be known already.
                known = [n for n in outlines if is_same(loops[n], loops[at])]
                for one in known or [at]:
                    done[one] = replace(loops[one], role=Role.PART, confidence=IN_DOUBT, why=told)
        elif told:
            done[which] = replace(outline, confidence=min(outline.confidence, IN_DOUBT), why=told)
    return done


def _is_written_row(graph: LineGraph, outline: Loop, fields: Sequence[Loop], names: Names) -> bool:
    """Whether lines as wide as an outline part it into many fields, most with lettering in their middles or a hole."""
    inner = {link for field in fields for link in field.links} - outline.links
    if not are_in_a_row(graph, outline.walk, fields, inner, ONE_PEN * _usual_px(graph, outline.links)):
        return False
    told = [has_in_middle(field, names()[0]) or has_in_middle(field, names()[1]) for field in fields]
    return sum(told) >= WRITTEN_SHARE * len(told)


def _is_copy(loop: Loop, outline: Loop) -> bool:
    return alike(loop.polygon, outline.polygon, least=ONE_SHAPE)


def fields_of(outline: Loop, inside: Sequence[tuple[int, Loop]]) -> list[int]:
    """The numbers of the fields that an outline consists of; none where those inside are not all of it."""
    distinct: list[tuple[int, Loop]] = []
    for number, field in inside:
        is_part_of_it = OVERLAP < field.area_px2 / outline.area_px2 < 1 - OVERLAP
        if not is_part_of_it or any(is_same(field, other) for _, other in distinct):
            continue
        distinct.append((number, field))
    if not FULL * outline.area_px2 < sum(field.area_px2 for _, field in distinct) < (2 - FULL) * outline.area_px2:
        return []
    for (_, one), (_, other) in combinations(distinct, 2):
        if shapely.area(shapely.intersection(one.polygon, other.polygon)) > OVERLAP * outline.area_px2:
            return []
    return [number for number, _ in distinct]


def _told_of_row(graph: LineGraph, outline: Loop, fields: Sequence[Loop], openings: Sequence[Loop]) -> str:
    """Why an outline with several fields may be parts in a row, nothing where it is one."""
    inner = {link for field in fields for link in field.links} - outline.links
    links = graph.strokes.links
    full_px = ONE_PEN * _usual_px(graph, outline.links)
    if any(links[link].bridged or links[link].dashed for link in inner):
        return ""
    drawn = [shapely.LineString(links[link].points_px) for link in inner]
    if any(shapely.intersects(opening.polygon, drawn).any() for opening in openings):
        return ""
    return IN_A_ROW if are_in_a_row(graph, outline.walk, fields, inner, full_px) else ""


def _usual_px(graph: LineGraph, some: Iterable[int]) -> float:
    """The usual width of some lines."""
    chosen = sorted(some)
    lengths_px = np.array(link_lengths_px(graph.strokes))[chosen]
    return usual_width_px(np.array([graph.strokes.links[link].width_px for link in chosen]), lengths_px)


@dataclass(frozen=True, slots=True)
class _Line:
    """A line between two fields: its sides in order, and its points (N, 2), px."""

    walk: tuple[Side, ...]
    points_px: Floats

    @property
    def links(self) -> list[int]:
        return [side >> 1 for side in self.walk]


def _line_between(graph: LineGraph, outline: Loop, halves: tuple[Loop, Loop]) -> _Line | None:
    """The line between the two fields of an outline, as the side shows it that lettering does not touch; None where
    the fields meet in several places."""
    found = []
    for half in halves:
        own = [side >> 1 not in outline.links for side in half.walk]
        begins = [at for at in range(len(own)) if own[at] and not own[at - 1]]
        if len(begins) == 1:
            turned = half.walk[begins[0] :] + half.walk[: begins[0]]
            walk = turned[: sum(own)]
            found.append(_Line(walk, np.concatenate([points_from(graph.strokes, side) for side in walk])))
    return min(found, key=lambda line: len(line.points_px), default=None)


def _told_of_two(
    graph: LineGraph, outline: Loop, halves: tuple[Loop, Loop], openings: Sequence[Loop], names: Names
) -> str:
    """Why an outline with two fields is two parts or may be, nothing where it is one."""
    line = _line_between(graph, outline, halves)
    links = graph.strokes.links
    if line is None or any(links[link].bridged or links[link].dashed for link in line.links):
        return ""
    drawn = shapely.LineString(line.points_px)
    if any(shapely.intersects(opening.polygon, drawn) for opening in openings):
        return ""
    width_px, around_px = _usual_px(graph, line.links), _usual_px(graph, outline.links)
    finer = width_px < ONE_PEN * around_px
    past_px = [_past_px(graph, outline, side) for side in (line.walk[0], line.walk[-1] ^ 1)]
    alike = on_edges = False
    if is_straight(line.points_px, width_px):
        long_px = float(np.hypot(*(line.points_px[-1] - line.points_px[0])))
        lesser, larger = sorted(half.area_px2 for half in halves)
        if max(past_px) > FAR_PAST * long_px or lesser < LEAST_FIELD * larger:
            return ""
        opened_rad = [_opened_rad(outline, ends, long_px) for ends in (line.points_px[::-1], line.points_px)]
        if min(opened_rad) < TIP_RAD:
            return ""
        on_edges = all(
            rad < BRACED_RAD or _is_edge(outline, end, long_px, around_px)
            for rad, end in zip(opened_rad, line.points_px[[0, -1]], strict=True)
        )
        alike = _are_alike(halves, line.points_px)
        if (alike and (finer or min(past_px) > 0)) or (on_edges and finer):
            return ""
    elif _is_even_strip(graph, outline, min(halves, key=lambda half: half.area_px2), line):
        return ""
    names_px, _ = names()
    named = [has_in_middle(half, names_px) for half in halves]
    if all(named):
        return TWO_PARTS
    if min(past_px) > max(PAST_WIDTHS * width_px, PAST_SHARE * length_px(line.points_px)):
        lettered = [bool(shapely.contains_xy(half.polygon, *names_px.T).any()) for half in halves]
        if any(lettered) and not all(lettered):
            return ""
    if alike:
        return ONE_OR_HALVES
    # What carries on one of the outline's own sides may be the side of a step.
    is_step = any(int(graph.mate[side]) >> 1 in outline.links for side in (line.walk[0], line.walk[-1] ^ 1))
    # One name for both tells of one part, or of two of which one is named.
    return ONE_OR_TWO if finer or on_edges or is_step or any(named) else TWO_PARTS


def _is_even_strip(graph: LineGraph, outline: Loop, half: Loop, line: _Line) -> bool:
    """Whether a field is a strip of even width between a bent line and the outline: a cap, a skin, a doubler's edge."""
    sides = [side for side in half.walk if side >> 1 in outline.links]
    if not sides or any(_turn_rad(graph, side, after) > CORNER_RAD for side, after in pairwise(line.walk)):
        return False
    count = len(line.points_px)
    inner = line.points_px[int(STRIP_ENDS * count) : count - int(STRIP_ENDS * count)]
    around = cKDTree(np.concatenate([points_from(graph.strokes, side) for side in sides]))
    walls_px = around.query(inner)[0]
    return bool(walls_px.std() < EVEN_WALL * walls_px.mean())


def _turn_rad(graph: LineGraph, side: Side, after: Side) -> float:
    """By how much a line turns from one of its links to the next."""
    before_px, after_px = points_from(graph.strokes, side), points_from(graph.strokes, after)
    reach = round(TURN_WIDTHS * graph.strokes.links[side >> 1].width_px)
    ways = before_px[-1] - before_px[max(0, len(before_px) - 1 - reach)], after_px[min(reach, len(after_px) - 1)]
    coming, going = ways[0], ways[1] - after_px[0]
    return abs(math.remainder(math.atan2(going[1], going[0]) - math.atan2(coming[1], coming[0]), 2 * math.pi))


TURN_WIDTHS = 4.0
"""Over which length beside a node a line's direction is taken, in line widths."""

STRIP_ENDS = 0.1
"""Part of a strip's length at both its ends where the outline turns towards its line."""


def _past_px(graph: LineGraph, outline: Loop, side: Side) -> float:
    """How far a line carries on beyond its end on an outline."""
    gone_px, seen = 0.0, {side >> 1}
    while (after := int(graph.mate[side])) >= 0 and after >> 1 not in seen and after >> 1 not in outline.links:
        seen.add(after >> 1)
        gone_px += link_lengths_px(graph.strokes)[after >> 1]
        side = after ^ 1
    return gone_px


def _opened_rad(outline: Loop, line_px: Floats, long_px: float) -> float:
    """By how much an outline's two sides open where a line (N, 2) between them ends; infinite where it is not between
    them, or they cannot be told."""
    end = line_px[-1]
    reach = shapely.Point(end).buffer(LOOK * long_px).exterior
    away = shapely.get_coordinates(shapely.intersection(outline.polygon.exterior, reach)) - end
    if len(away) != 2:
        return math.inf
    inward = line_px[0] - end
    turns = np.arctan2(away[:, 1], away[:, 0]) - math.atan2(inward[1], inward[0])
    first, second = ((turns + math.pi) % (2 * math.pi) - math.pi).tolist()
    return abs(first - second) if first * second < 0 else math.inf


def _is_edge(outline: Loop, end: Floats, long_px: float, width_px: float) -> bool:
    """Whether an outline runs straight on both sides of a place on it, as far as is looked or to its next corner."""
    ring = outline.polygon.exterior
    at_px, around_px = shapely.line_locate_point(ring, shapely.Point(end)), shapely.length(ring)
    points = np.asarray(shapely.simplify(ring, CORNER_WIDTHS * width_px).coords)[:-1]
    steps = np.diff(points, axis=0, append=points[:1]), np.diff(points, axis=0, prepend=points[-1:])
    headings = [np.arctan2(step[:, 1], step[:, 0]) for step in steps]
    sharp = np.abs((headings[0] - headings[1] + np.pi) % (2 * np.pi) - np.pi) > CORNER_RAD
    corners_px = shapely.line_locate_point(ring, shapely.points(points[sharp]))
    far_px = EDGE_LOOK * long_px
    off_px = np.asarray((corners_px - at_px + around_px / 2) % around_px - around_px / 2)
    # What lies next to the line's own end is where its ink has pulled the outline aside.
    off_px = off_px[np.abs(off_px) > width_px * PULLED_WIDTHS]
    before_px = min([far_px, *(-off_px[off_px < 0])])
    after_px = min([far_px, *off_px[off_px > 0]])
    where_px = np.linspace(-before_px, after_px, EDGE_POINTS)
    where_px = where_px[np.abs(where_px) > PULLED_WIDTHS * width_px]
    seen = shapely.get_coordinates(shapely.line_interpolate_point(ring, (at_px + where_px) % around_px))
    if len(seen) < EDGE_POINTS / 2:
        return False
    away = seen - seen.mean(axis=0)
    off = np.abs(away @ np.linalg.svd(away, full_matrices=False)[2][1])
    return bool(off.max() < EDGE_WIDTHS * width_px + EDGE_SHARE * (before_px + after_px))


def _are_alike(halves: tuple[Loop, Loop], line_px: Floats) -> bool:
    """Whether two fields are alike across the straight line between them, seen at a slant or not."""
    one, other = halves
    base = line_px[0]
    along = (line_px[-1] - base) / max(float(np.hypot(*(line_px[-1] - base))), 1e-9)
    square = np.array([-along[1], along[0]])
    middles = shapely.get_coordinates(shapely.centroid([one.polygon, other.polygon]))
    across = middles[1] - middles[0]
    if abs(across @ square) < OBLIQUE * np.hypot(*across):
        return False
    across = across / (across @ square)
    ring = shapely.get_coordinates(one.polygon.exterior)
    opposite = shapely.Polygon(ring - 2 * ((ring - base) @ square)[:, None] * across)
    if not shapely.is_valid(opposite):
        return False
    common = shapely.area(shapely.intersection(opposite, other.polygon))
    return bool(common > SAME_SHARE * (shapely.area(opposite) + other.area_px2 - common))
