"""Openings in halves of parts: which field on the centre line that closes a half is cut out of it.

Half a former is drawn on its centre line, and half of the opening in its middle on the same line, which runs through
both. A smaller part, or another section of the body, is drawn in a half upon its centre line in the same way: these
have the shape of the half around them, and each its own name.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from digitize.continuation import LineGraph, points_from
from digitize.dashed_lines import is_straight
from digitize.faces import Walk, reversed_walk
from digitize.hinge_lines import fields_of
from digitize.loop import Loop, Role, is_same, is_thin
from digitize.named_fields import Names
from digitize.nesting import EVEN_WALL, alike, has_tip

Floats = NDArray[np.float64]

SURE, IN_DOUBT = 0.7, 0.6
"""Confidence of a half with its opening taken out, and where that may be a smaller part drawn in it."""

STEP_SHARE = 0.45
"""Sections of one body drawn in one another go down in steps: each has at least this share of the next one's area, the
square of two thirds. The name of the inner may stand outside its line, beside the opening that it is not."""

LEAST_WIDTHS = 12.0
"""A field on the centre line no longer than this, in line widths, is a mark, or a letter that touches the line."""

RIM_SHARE, RIM_WIDTHS = 0.04, 4.0
"""A half goes on along its centre line past an opening by at least this share of its length there, and by so many line
widths. Sections of one body come together at its keel or its top."""

CLEAR_WIDTHS = 2.0
"""Lettering lies in a field by at least this, in line widths: dots of a centre line lie on its edge."""

OPENING = "half a part on its centre line, from which a closed field on that line is taken out as an opening"
MAYBE = f"{OPENING}; that may be a part of its own"


def with_half_openings(loops: Sequence[Loop], graph: LineGraph, names: Names) -> list[Loop]:
    """Give the loops with the openings taken out of halves that reach the centre line.

    An outline is a half where a straight stretch of it is part of a line that runs on past it at both its ends, or that
    has gaps. Of such an outline the fields that one line closes with the inside of that stretch are openings where

    - they, and one field around them all, are the whole outline;
    - nothing is written in them, and none has a sharp tip, as ribs on a datum have;
    - the half's name stands in the field around them, or they have not its shape, nor keep an even distance from its
      edge, as a smaller part or a planking line does.

    The half is in doubt without a name, and where an opening so like it is nearly as large.

    Parameters
    ----------
    loops : sequence of Loop
    graph : LineGraph
        With all lines, finer ones too.
    names : callable
        Gives where lettering stands; asked only where it matters.
    """
    done = list(loops)
    outlines = [which for which, loop in enumerate(loops) if loop.role is Role.PART]
    fields = [which for which, loop in enumerate(loops) if loop.role in (Role.FACE, Role.PART)]
    tree = shapely.STRtree([shapely.point_on_surface(loops[which].polygon) for which in fields])
    for which in outlines:
        outline = loops[which]
        inside = [fields[at] for at in sorted(tree.query(outline.polygon, predicate="contains").tolist())]
        inside = [at for at in inside if at != which and not loops[at].links.isdisjoint(outline.links)]
        numbers = fields_of(outline, [(at, loops[at]) for at in inside]) if len(inside) > 1 else []
        half = _half(graph, outline, {at: loops[at] for at in numbers})
        if half is None:
            continue
        named = _is_named(half, names()[0])
        unlike = all(_is_unlike(outline, opening, half.width_px) for opening in half.openings)
        if named is None or not (named or unlike):
            continue
        small = all(opening.loop.area_px2 < STEP_SHARE * outline.area_px2 for opening in half.openings)
        confidence, why = (SURE, OPENING) if named and (unlike or small) else (IN_DOUBT, MAYBE)
        done[which] = replace(outline, role=Role.FACE, confidence=0.3, why="the outside of a half with its opening")
        for at in outlines:
            if any(is_same(loops[at], opening.loop) for opening in half.openings):
                done[at] = replace(loops[at], role=Role.FACE, confidence=0.3, why="an opening in a half")
        rest = loops[half.rest]
        done[half.rest] = replace(rest, role=Role.PART, confidence=min(confidence, outline.confidence), why=why)
    return done


@dataclass(frozen=True, slots=True)
class _Opening:
    """A field on a centre line, and the line (N, 2) that closes it, from and to the centre line, px."""

    loop: Loop
    line_px: Floats


@dataclass(frozen=True, slots=True)
class _Half:
    """The number of the field that is left of a half, its polygon, its openings, and the width of its lines."""

    rest: int
    polygon: shapely.Polygon
    openings: tuple[_Opening, ...]
    width_px: float


def _half(graph: LineGraph, outline: Loop, fields: Mapping[int, Loop]) -> _Half | None:
    """What an outline with some fields is as a half with openings, None where it is none."""
    if len(fields) < 2:
        return None
    rest = max(fields, key=lambda at: len(fields[at].links & outline.links))
    width_px = float(np.median([graph.strokes.links[link].width_px for link in outline.links]))
    openings = []
    for at, field in fields.items():
        if at == rest:
            continue
        line = _one_run(field.walk, field.links - outline.links)
        edge = _one_run(field.walk, field.links & outline.links)
        if not line or not edge or not field.links - outline.links <= fields[rest].links:
            return None
        if not _is_within_centre_line(graph, outline, edge, width_px):
            return None
        size_px = float(np.ptp(field.points_px, axis=0).max())
        if is_thin(field, width_px) or size_px < LEAST_WIDTHS * width_px or has_tip(field.polygon, width_px):
            return None
        openings.append(_Opening(field, _points(graph, line)))
    return _Half(rest, fields[rest].polygon, tuple(openings), width_px)


def _one_run(walk: Walk, links: frozenset[int]) -> Walk:
    """The sides of a closed walk that some of its links make in one run, nothing where they make several, or all."""
    own = [side >> 1 in links for side in walk]
    begins = [at for at in range(len(own)) if own[at] and not own[at - 1]]
    if len(begins) != 1:
        return ()
    return (walk[begins[0] :] + walk[: begins[0]])[: sum(own)]


def _is_within_centre_line(graph: LineGraph, outline: Loop, edge: Walk, width_px: float) -> bool:
    """Whether some sides of an outline lie well inside a straight stretch of it that shows that it is a centre line."""
    walk = outline.walk if edge[0] in outline.walk else reversed_walk(outline.walk)
    first = walk.index(edge[0])
    ahead = walk[first:] + walk[:first]
    if ahead[: len(edge)] != edge or not is_straight(_points(graph, edge), width_px):
        return False
    low, high = 0, len(edge)
    while high - low < len(walk) and is_straight(_points(graph, _turned(ahead, low, high + 1)), width_px):
        high += 1
    while high - low < len(walk) and is_straight(_points(graph, _turned(ahead, low - 1, high)), width_px):
        low -= 1
    run = _turned(ahead, low, high)
    run_px, edge_px = _points(graph, run), _points(graph, edge)
    rims_px = np.hypot(*(run_px[[0, -1]] - edge_px[[0, -1]]).T)
    if rims_px.min() < max(RIM_SHARE * float(np.hypot(*(run_px[-1] - run_px[0]))), RIM_WIDTHS * width_px):
        return False
    if any(graph.strokes.links[side >> 1].bridged for side in run):
        return True
    mates = int(graph.mate[run[0]]), int(graph.mate[run[-1] ^ 1])
    return all(mate >= 0 and mate >> 1 not in outline.links for mate in mates)


def _turned(walk: Walk, low: int, high: int) -> Walk:
    """The sides of a closed walk from one number to another, which may lie before its first."""
    return tuple(walk[at % len(walk)] for at in range(low, high))


def _points(graph: LineGraph, sides: Walk) -> Floats:
    return np.concatenate([points_from(graph.strokes, side) for side in sides])


def _is_named(half: _Half, names_px: Floats) -> bool | None:
    """Whether lettering stands in what is left of a half; None where it stands in an opening."""
    letters = shapely.points(names_px)
    clear_px = CLEAR_WIDTHS * half.width_px
    if any(shapely.contains(shapely.buffer(one.loop.polygon, -clear_px), letters).any() for one in half.openings):
        return None
    return bool(shapely.contains(shapely.buffer(half.polygon, -clear_px), letters).any())


def _is_unlike(outline: Loop, opening: _Opening, width_px: float) -> bool:
    """Whether a field has not the shape of the half that it lies in, nor keeps an even distance from its edge."""
    if alike(opening.loop.polygon, outline.polygon):
        return False
    start, end = opening.line_px[[0, -1]]
    across = (end - start)[::-1] * [-1, 1] / np.hypot(*(end - start))
    off_px = np.abs((outline.points_px - start) @ across)
    others = outline.points_px[off_px > width_px]
    walls_px = cKDTree(others).query(opening.line_px)[0]
    return bool(walls_px.std() >= EVEN_WALL * walls_px.mean())
