"""Whether a straight way over a drawing crosses break lines, between which a part's middle is left out."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from scipy.spatial import cKDTree

from digitize.break_shapes import Manner, Shape, bends, is_wave, zigzags
from digitize.continuation import LineGraph, Side, length_px, line_graph, points_from
from digitize.link_sizes import link_bounds_px
from digitize.runs import Floats
from digitize.strokes import Strokes

AROUND_WIDTHS = 400.0
"""Break lines that cross a way reach this far from it, in line widths: across a wing panel, 100 mm at 0.25 mm."""

SEED_WIDTHS = 6.0
"""A break line comes this near to the way that crosses it, in line widths."""

BEYOND_WIDTHS = 4.0
"""A way along a part's edge crosses a break line that ends there, give or take this, in line widths."""

CLEAR_WIDTHS = 3.0
"""A mark nearer to a break line than this, in line widths, is on it: what is measured from there is not broken."""

ACROSS_DEG = 35.0
"""A break line stands at more than this to the way: what runs along it cuts nothing off."""

MOST_ENDS = 40
"""Places where a line meets others or turns sharply, around the way, between which a wave is looked for."""

END_DEG = 50.0
"""A part's edge and a wave that ends on it make a corner sharper than this, whether or not the ink told it from a
bend."""

MOST_APART_WIDTHS, LEAST_APART_WIDTHS = 60.0, 2.0
"""Both lines of a break are drawn a few mm apart: 0.5 to 15 mm, in line widths of 0.25 mm."""

ALIKE_DEG, ALIKE_SHARE = 20.0, 0.5
"""They run side by side, and the shorter is at least this part of the longer."""

SHARED_PART = 0.25
"""Stretches of ink that share more than this part are one break line."""

ON_WIDTHS = 2.5
"""A part's edge that ends this near to a break line, in line widths, ends on it."""

EDGE_WIDTHS = 5.0
"""An edge is seen this far from the break line, in line widths, where it has left the ink of that line behind."""

ALONG_DEG = 45.0
"""An edge of the broken part stands square to the break line within this."""


@dataclass(frozen=True, slots=True)
class Break:
    """A break that a way crosses: its manner, and where the way crosses its one or two lines, picture px."""

    manner: Manner
    places_px: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class _Crossed:
    """A break line that the way crosses `at_px` from its start, and how many edges end on it before and beyond it."""

    shape: Shape
    at_px: float
    before: int
    beyond: int


def breaks_crossed(strokes: Strokes, start_px: Floats, end_px: Floats) -> tuple[Break, ...]:
    """Give the breaks that the straight way between two places crosses, in its order.

    A break is two break lines alike and side by side, with a part's edges ending on them from outside and not going
    on between them, or one alone on which two edges end that do not go on beyond.

    Parameters
    ----------
    strokes : Strokes
        Every drawn line of the picture.
    start_px, end_px : (2,) array of float
        Picture px.
    """
    here = _near(strokes, start_px, end_px)
    if not here.links or not (end_px - start_px).any():
        return ()
    way = (end_px - start_px) / np.hypot(*(end_px - start_px))
    crossed = list(_crossed(here, start_px, end_px, way))
    return tuple(_told(manner, at, start_px, way) for manner, at in _breaks(crossed))


def _told(manner: Manner, at_px: tuple[float, ...], start_px: Floats, way: Floats) -> Break:
    places = [start_px + far_px * way for far_px in at_px]
    return Break(manner, tuple((float(x), float(y)) for x, y in places))


def _near(strokes: Strokes, start_px: Floats, end_px: Floats) -> Strokes:
    """The strokes around a way."""
    if not strokes.links:
        return strokes
    reach_px = AROUND_WIDTHS * float(np.median([link.width_px for link in strokes.links]))
    low, high = np.minimum(start_px, end_px) - reach_px, np.maximum(start_px, end_px) + reach_px
    lows_px, highs_px = np.hsplit(link_bounds_px(strokes), 2)
    here = np.flatnonzero((highs_px >= low).all(axis=1) & (lows_px <= high).all(axis=1))
    return Strokes(strokes.nodes_px, strokes.kinds, tuple(strokes.links[number] for number in here))


def _crossed(strokes: Strokes, start_px: Floats, end_px: Floats, way: Floats) -> Iterator[_Crossed]:
    """Break lines that a way crosses, by their shape; of stretches that share ink the one on which most edges end."""
    graph = line_graph(strokes, np.zeros(len(strokes.links), np.bool_))
    far_px = float(np.hypot(*(end_px - start_px)))
    done: set[int] = set()
    for seed, link in enumerate(strokes.links):
        if seed in done or not graph.live[seed]:
            continue
        if _far_px(link.points_px, start_px, end_px).min() > SEED_WIDTHS * link.width_px:
            continue
        walk = _begun_far(graph, _walk(graph, seed, AROUND_WIDTHS * link.width_px), start_px, end_px)
        done |= {side >> 1 for side in walk}
        found = []
        for shape in _along(strokes, walk, start_px, end_px, way):
            at_px = _crossing_px(shape, start_px, way, far_px)
            if at_px is not None:
                found.append(_Crossed(shape, at_px, *_edges(strokes, shape, way)))
        # A zigzag also swings about its chord.
        found.sort(
            key=lambda one: (one.shape.manner is Manner.FREEHAND, -abs(one.before - one.beyond), -one.shape.length_px)
        )
        taken: list[_Crossed] = []
        for one in found:
            if not any(_share_ink(one.shape, other.shape) for other in taken):
                taken.append(one)
        yield from taken


def _along(strokes: Strokes, walk: list[Side], start_px: Floats, end_px: Floats, way: Floats) -> Iterator[Shape]:
    """Every stretch of one line that has the shape of a break line, the same ink more than once; of the freehand ones
    those that the way crosses."""
    pieces = [points_from(strokes, side) for side in walk]
    points_px = np.concatenate(pieces)
    # Its edges, which may be of one line with it, are drawn with a wider pen.
    widths_px = np.repeat([strokes.links[side >> 1].width_px for side in walk], [len(piece) for piece in pieces])
    at, turns = bends(points_px, float(widths_px.min()))
    yield from zigzags(points_px, at, turns, float(widths_px.min()))
    sharp = [place for place, turn in zip(at, turns, strict=True) if abs(turn) > END_DEG]
    ends = np.unique([0, *(np.cumsum([len(piece) for piece in pieces]) - 1), *sharp])
    away_px = _far_px(points_px[ends], start_px, end_px)
    ends = np.sort(ends[np.argsort(away_px, kind="stable")[:MOST_ENDS]])
    far_px = float(np.hypot(*(end_px - start_px)))
    for first, last in combinations(ends.tolist(), 2):
        if last - first < 2:
            continue
        width_px = float(np.median(widths_px[first : last + 1]))
        shape = Shape(Manner.FREEHAND, points_px[first : last + 1], width_px)
        # Few lie across the way, which is sooner told than how they swing.
        if _crossing_px(shape, start_px, way, far_px) is not None and is_wave(shape.points_px, width_px):
            yield shape


def _walk(graph: LineGraph, seed: int, most_px: float) -> list[Side]:
    """Sides from which the links of one line are run through in turn, as far as it carries on both ways."""
    walk: list[Side] = [2 * seed]
    seen = {seed}
    for ahead in (True, False):
        gone_px = 0.0
        while gone_px < most_px:
            mate = int(graph.mate[walk[-1] ^ 1 if ahead else walk[0]])
            if mate < 0 or mate >> 1 in seen:
                break
            seen.add(mate >> 1)
            walk.insert(len(walk) if ahead else 0, mate if ahead else mate ^ 1)
            gone_px += length_px(graph.strokes.links[mate >> 1].points_px)
    return walk


def _begun_far(graph: LineGraph, walk: list[Side], start_px: Floats, end_px: Floats) -> list[Side]:
    """A walk; one that closes begins where it is farthest from a way, so that no break line there is cut in two."""
    if int(graph.mate[walk[-1] ^ 1]) != walk[0]:
        return walk
    begins = np.array([points_from(graph.strokes, side)[0] for side in walk])
    far = int(_far_px(begins, start_px, end_px).argmax())
    return walk[far:] + walk[:far]


def _share_ink(one: Shape, other: Shape) -> bool:
    near = cKDTree(other.points_px).query(one.points_px)[0] < one.width_px
    return bool(near.mean() > SHARED_PART)


def _far_px(points_px: Floats, start_px: Floats, end_px: Floats) -> Floats:
    """How far points lie from a straight piece."""
    chord = end_px - start_px
    along = np.clip((points_px - start_px) @ chord / max(float(chord @ chord), 1e-9), 0, 1)
    far: Floats = np.hypot(*(points_px - start_px - along[:, None] * chord).T)
    return far


def _crossing_px(shape: Shape, start_px: Floats, way: Floats, far_px: float) -> float | None:
    """How far along a way it crosses a break line; None where it does not, or runs along it."""
    chord = shape.end_px - shape.start_px
    if shape.length_px == 0:
        return None
    chord = chord / shape.length_px
    slant = float(way[0] * chord[1] - way[1] * chord[0])
    if abs(slant) < np.sin(np.radians(ACROSS_DEG)):
        return None
    away = shape.start_px - start_px
    along_px = float(away[0] * chord[1] - away[1] * chord[0]) / slant
    at_px = float(away[0] * way[1] - away[1] * way[0]) / slant
    beyond_px, clear_px = BEYOND_WIDTHS * shape.width_px, CLEAR_WIDTHS * shape.width_px
    inside = -beyond_px <= at_px <= shape.length_px + beyond_px
    return along_px if inside and clear_px <= along_px <= far_px - clear_px else None


def _edges(strokes: Strokes, shape: Shape, way: Floats) -> tuple[int, int]:
    """How many lines leave a break line squarely, before and beyond it as a way goes; what crosses it counts twice."""
    width_px, chord = shape.width_px, (shape.end_px - shape.start_px) / shape.length_px
    low, high = shape.points_px.min(axis=0) - 4 * width_px, shape.points_px.max(axis=0) + 4 * width_px
    tree = cKDTree(shape.points_px)
    normal = np.array([-chord[1], chord[0]]) * (1 if chord[0] * way[1] - chord[1] * way[0] > 0 else -1)
    places: tuple[list[float], list[float]] = ([], [])
    for link in strokes.links:
        if (link.points_px.max(axis=0) < low).any() or (link.points_px.min(axis=0) > high).any():
            continue
        on = tree.query(link.points_px)[0] <= ON_WIDTHS * width_px
        for points_px, near in ((link.points_px, on), (link.points_px[::-1], on[::-1])):
            for last in np.flatnonzero(near[:-1] & ~near[1:]).tolist():
                ahead_px, still = points_px[last:], near[last:]
                out = np.flatnonzero(np.hypot(*(ahead_px - ahead_px[0]).T) >= EDGE_WIDTHS * width_px)
                if len(out) == 0 or still[1 : out[0] + 1].any():
                    continue
                run = ahead_px[out[0]] - ahead_px[0]
                slope = float(run @ normal) / float(np.hypot(*run))
                if abs(slope) > np.cos(np.radians(ALONG_DEG)):
                    places[slope > 0].append(float((ahead_px[0] - shape.start_px) @ chord))
    before, beyond = (_apart(each, CLEAR_WIDTHS * width_px) for each in places)
    return before, beyond


def _apart(places: list[float], least_px: float) -> int:
    """How many places there are, those close together counted once."""
    places = sorted(places)
    return sum(1 for n, place in enumerate(places) if n == 0 or place - places[n - 1] >= least_px)


def _breaks(crossed: list[_Crossed]) -> list[tuple[Manner, tuple[float, ...]]]:
    """Pairs of lines that are a break, and single ones that are, by where the way crosses them."""
    crossed = sorted(crossed, key=lambda one: one.at_px)
    found: list[tuple[Manner, tuple[float, ...]]] = []
    used: set[int] = set()
    for first, second in combinations(range(len(crossed)), 2):
        if first in used or second in used:
            continue
        if _is_pair(crossed[first], crossed[second]):
            used |= {first, second}
            found.append((crossed[first].shape.manner, (crossed[first].at_px, crossed[second].at_px)))
    for number, one in enumerate(crossed):
        if number not in used and max(one.before, one.beyond) >= 2 and min(one.before, one.beyond) == 0:
            found.append((one.shape.manner, (one.at_px,)))
    return sorted(found, key=lambda one: one[1])


def _is_pair(one: _Crossed, other: _Crossed) -> bool:
    """Whether two lines are alike and side by side, and edges end on them from outside that do not go on between."""
    width_px = max(one.shape.width_px, other.shape.width_px)
    apart_px = other.at_px - one.at_px
    if one.shape.manner is not other.shape.manner:
        return False
    if not LEAST_APART_WIDTHS * width_px <= apart_px <= MOST_APART_WIDTHS * width_px:
        return False
    lengths_px = sorted((one.shape.length_px, other.shape.length_px))
    chords = [shape.end_px - shape.start_px for shape in (one.shape, other.shape)]
    cosine = abs(float(chords[0] @ chords[1])) / (lengths_px[0] * lengths_px[1])
    if lengths_px[0] < ALIKE_SHARE * lengths_px[1] or cosine < np.cos(np.radians(ALIKE_DEG)):
        return False
    return one.before + other.beyond >= 3 and one.beyond < one.before and other.before < other.beyond
