"""Gaps in drawn lines, bridged where two free ends point at each other: faded ink, a fold, the paper between dashes.

A bridge is never drawn across another line, nor from lettering; and straight lines that end free, centre lines drawn
in dashes, stay as they are: they bound nothing.
"""

from dataclasses import dataclass, replace
from enum import Enum, auto
from itertools import pairwise
from typing import TypeAlias

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from digitize.strokes import Link, NodeKind, Strokes

Floats: TypeAlias = NDArray[np.float64]
Side: TypeAlias = int

MOST_WIDTHS = 12.0
"""Longest gap, in line widths: 3 mm of a 0.25 mm line. Dashes lie nearer to each other."""

LEAST_LINK_WIDTHS = 2.0
"""What is shorter, in line widths, shows no direction: a dot, a thorn."""

SEEN_WIDTHS = 6.0
"""The direction of an end is that of its last so many line widths."""

ASIDE_WIDTHS, ASIDE_SHARE = 0.6, 0.15
"""An end meets the other's line within this many widths, and parts of the gap: on a curve of four gaps' radius."""

FACING_COSINE = -np.cos(np.radians(35))
"""The two ends point against each other at least so well."""


def with_gaps_bridged(strokes: Strokes, lettering: NDArray[np.bool_]) -> Strokes:
    """Give the strokes with lines that face each other across a gap made one.

    Parameters
    ----------
    strokes : Strokes
    lettering : (L,) array of bool
        Links that are lettering: no end of these is joined to anything.

    Returns
    -------
    Strokes
        A joined link runs straight or on a gentle curve over the gap, and is marked as `bridged`.
    """
    sides = _free_sides(strokes, lettering)
    if len(sides) < 2:
        return strokes
    pairs = _facing(strokes, sides)
    pairs = _bounding(strokes, _clear_of_lines(strokes, pairs))
    return _joined(strokes, pairs) if pairs else strokes


def dashed_links(strokes: Strokes) -> NDArray[np.bool_]:
    """Tell which links are of straight dashed lines: three gaps or more in one line, each with ends that face it.

    Lettering has no such thing, and no letter is drawn across such a line.
    """
    marked = np.zeros(len(strokes.links), dtype=np.bool_)
    sides = _free_sides(strokes, marked)
    if len(sides) < 2 * DASHED_GAPS:
        return marked
    pairs = _clear_of_lines(strokes, _facing(strokes, sides))
    over, at = _over(pairs), _sides_at(strokes)
    for a, b in pairs:
        if marked[[a >> 1, b >> 1]].all():
            continue
        ways = [_followed(strokes, side, over, at) for side in (a, b)]
        whole = np.concatenate([ways[0].points_px[::-1], ways[1].points_px])
        if sum(way.gaps for way in ways) + 1 >= DASHED_GAPS and _is_straight(whole, strokes.links[a >> 1].width_px):
            marked[[*ways[0].links, *ways[1].links]] = True
    return marked


DASHED_GAPS = 3
"""Fewer gaps in a line may be lost ink, or two bars of letters side by side."""


def _over(pairs: list[tuple[Side, Side]]) -> dict[Side, Side]:
    return {one: other for a, b in pairs for one, other in ((a, b), (b, a))}


def _sides_at(strokes: Strokes) -> dict[int, list[Side]]:
    at: dict[int, list[Side]] = {}
    for which, link in enumerate(strokes.links):
        at.setdefault(link.start, []).append(2 * which)
        at.setdefault(link.end, []).append(2 * which + 1)
    return at


def _free_sides(strokes: Strokes, lettering: NDArray[np.bool_]) -> list[Side]:
    degree = np.bincount(
        np.array([node for link in strokes.links for node in (link.start, link.end)], dtype=np.int64),
        minlength=len(strokes.nodes_px),
    )
    sides = []
    for which, link in enumerate(strokes.links):
        if lettering[which] or _length(link.points_px) < LEAST_LINK_WIDTHS * link.width_px:
            continue
        sides += [2 * which + end for end, node in enumerate((link.start, link.end)) if degree[node] == 1]
    return sides


def _facing(strokes: Strokes, sides: list[Side]) -> list[tuple[Side, Side]]:
    """Pairs of free ends that point at each other, the nearest first, each end once."""
    ends, ways, widths_px = _ends(strokes, sides)
    most = MOST_WIDTHS * widths_px
    near = cKDTree(ends).query_pairs(float(most.max()), output_type="ndarray")
    if not len(near):
        return []
    a, b = near.T
    gap = ends[b] - ends[a]
    gap_px = np.hypot(gap[:, 0], gap[:, 1])
    width_px = np.minimum(widths_px[a], widths_px[b])
    aside_a = np.abs(gap[:, 0] * ways[a, 1] - gap[:, 1] * ways[a, 0])
    aside_b = np.abs(gap[:, 0] * ways[b, 1] - gap[:, 1] * ways[b, 0])
    facing = (gap_px <= MOST_WIDTHS * width_px) & ((ways[a] * ways[b]).sum(axis=1) < FACING_COSINE)
    facing &= ((ways[a] * gap).sum(axis=1) > 0) & ((ways[b] * gap).sum(axis=1) < 0)
    facing &= np.maximum(aside_a, aside_b) <= ASIDE_WIDTHS * width_px + ASIDE_SHARE * gap_px
    pairs: list[tuple[Side, Side]] = []
    taken: set[int] = set()
    for which in np.flatnonzero(facing)[np.argsort(gap_px[facing])].tolist():
        one, other = int(a[which]), int(b[which])
        if not {one, other} & taken:
            taken |= {one, other}
            pairs.append((sides[one], sides[other]))
    return pairs


def _ends(strokes: Strokes, sides: list[Side]) -> tuple[Floats, Floats, Floats]:
    """Where free ends lie, the unit directions in which they point, and their lines' widths."""
    ends, ways, widths = [], [], []
    for side in sides:
        link = strokes.links[side >> 1]
        points = _towards(link, side)[::-1]
        seen = points[: max(3, int(SEEN_WIDTHS * link.width_px))]
        _, _, axes = np.linalg.svd(seen - seen.mean(axis=0), full_matrices=False)
        way = axes[0] if axes[0] @ (seen[0] - seen[-1]) > 0 else -axes[0]
        ends.append(points[0])
        ways.append(way)
        widths.append(link.width_px)
    return np.array(ends), np.array(ways), np.array(widths)


def _towards(link: Link, side: Side) -> Floats:
    """A link's points, run towards the given side."""
    return link.points_px if side & 1 else link.points_px[::-1]


def _clear_of_lines(strokes: Strokes, pairs: list[tuple[Side, Side]]) -> list[tuple[Side, Side]]:
    """The pairs between which there is nothing drawn."""
    if not pairs:
        return []
    lines = [shapely.LineString(link.points_px) for link in strokes.links]
    tree = shapely.STRtree(lines)
    gaps = [shapely.LineString([_towards(strokes.links[side >> 1], side)[-1] for side in pair]) for pair in pairs]
    bridge, line = tree.query(gaps, predicate="intersects")
    crossed = {
        at for at, which in zip(bridge.tolist(), line.tolist(), strict=True) if which not in {s >> 1 for s in pairs[at]}
    }
    return [pair for at, pair in enumerate(pairs) if at not in crossed]


class _Stop(Enum):
    """What a line comes to, followed straight on through crossings and over gaps."""

    FREE = auto()
    CORNER = auto()
    JUNCTION = auto()
    CLOSED = auto()


OPPOSITE_COSINE = -np.cos(np.radians(12))
"""Where others cross it a line carries straight on to within this."""

STRAIGHT_WIDTHS, STRAIGHT_SHARE = 1.0, 0.005
"""A ruled line leaves its chord by no more than this, in line widths and parts of its length (a lens bends it)."""

FEW_GAPS = 2
"""A line that ends on others at both ends has lost ink when it has so few gaps; one with more is a dashed one."""


def _bounding(strokes: Strokes, pairs: list[tuple[Side, Side]]) -> list[tuple[Side, Side]]:
    """The pairs on lines that may bound something: those that come back, turn, or end on others at both ends."""
    over, at = _over(pairs), _sides_at(strokes)
    kept = []
    for a, b in pairs:
        one, other = (_followed(strokes, side, over, at) for side in (a, b))
        stops = {one.stop, other.stop}
        whole = np.concatenate([one.points_px[::-1], other.points_px])
        if (
            stops & {_Stop.CLOSED, _Stop.CORNER}
            or not _is_straight(whole, strokes.links[a >> 1].width_px)
            or (_Stop.FREE not in stops and one.gaps + other.gaps + 1 <= FEW_GAPS)
        ):
            kept.append((a, b))
    return kept


@dataclass(frozen=True, slots=True)
class _Way:
    """Where a line leads: what it comes to, over how many gaps, by which links, and places along it."""

    stop: _Stop
    gaps: int
    links: tuple[int, ...]
    points_px: Floats


def _followed(strokes: Strokes, side: Side, over: dict[Side, Side], at: dict[int, list[Side]]) -> _Way:
    """Follow a line back from its free end, straight on through crossings and over gaps."""
    gaps = 0
    points: list[Floats] = []
    seen: list[int] = []
    while True:
        link = strokes.links[side >> 1]
        way = _towards(link, side)[::-1]
        seen.append(side >> 1)
        points.append(way[[0, len(way) // 2, -1]])
        stop, onward = _onward(strokes, side ^ 1, over, at)
        if onward is not None and onward >> 1 in seen:
            stop, onward = _Stop.CLOSED, None
        if onward is None:
            return _Way(stop, gaps, tuple(seen), np.concatenate(points))
        gaps += side ^ 1 in over
        side = onward


def _onward(
    strokes: Strokes, far: Side, over: dict[Side, Side], at: dict[int, list[Side]]
) -> tuple[_Stop, Side | None]:
    """The side by which a line goes on beyond its end, or what it ends at."""
    if far in over:
        return _Stop.JUNCTION, over[far]
    link = strokes.links[far >> 1]
    here = [side for side in at[link.end if far & 1 else link.start] if side >> 1 != far >> 1]
    if len(here) < 2:
        return (_Stop.CORNER if here else _Stop.FREE), None
    own = _leaving(link, far)
    cosines = [float(own @ _leaving(strokes.links[side >> 1], side)) for side in here]
    best = int(np.argmin(cosines))
    return _Stop.JUNCTION, here[best] if cosines[best] < OPPOSITE_COSINE else None


def _leaving(link: Link, side: Side) -> Floats:
    """The direction in which a link leaves its node."""
    points = _towards(link, side)[::-1]
    way = points[min(len(points) - 1, max(2, int(SEEN_WIDTHS * link.width_px)))] - points[0]
    unit: Floats = way / max(float(np.hypot(*way)), 1e-9)
    return unit


def _is_straight(points: Floats, width_px: float) -> bool:
    away = points - points.mean(axis=0)
    _, _, axes = np.linalg.svd(away, full_matrices=False)
    along, aside = away @ axes[0], np.abs(away @ axes[1])
    return bool(aside.max() < STRAIGHT_WIDTHS * width_px + STRAIGHT_SHARE * float(np.ptp(along)))


def _joined(strokes: Strokes, pairs: list[tuple[Side, Side]]) -> Strokes:
    """Runs of links from bridge to bridge as single links."""
    over = {one: other for a, b in pairs for one, other in ((a, b), (b, a))}
    done: set[int] = set()
    links: list[Link] = []
    kinds = strokes.kinds.copy()
    for which in range(len(strokes.links)):
        if which in done:
            continue
        run = _run(which, over)
        done |= {side >> 1 for side in run}
        if len(run) == 1 and run[0] ^ 1 not in over:
            links.append(strokes.links[which])
            continue
        link = _as_one(strokes, run, closed=over.get(run[-1] ^ 1) == run[0])
        if link.start == link.end:
            kinds[link.start] = NodeKind.LOOP
        links.append(link)
    used = np.unique(np.array([node for link in links for node in (link.start, link.end)], dtype=np.int64))
    number = {int(node): at for at, node in enumerate(used)}
    links = [replace(link, start=number[link.start], end=number[link.end]) for link in links]
    return Strokes(strokes.nodes_px[used], kinds[used], tuple(links))


def _run(which: int, over: dict[Side, Side]) -> list[Side]:
    """The sides by which links are entered along a run over bridges; a closed one begins anywhere."""
    side = 2 * which
    seen = {which}
    while side in over and over[side] >> 1 not in seen:
        side = over[side] ^ 1
        seen.add(side >> 1)
    run = [side]
    seen = {side >> 1}
    while side ^ 1 in over and over[side ^ 1] >> 1 not in seen:
        side = over[side ^ 1]
        seen.add(side >> 1)
        run.append(side)
    return run


def _as_one(strokes: Strokes, run: list[Side], *, closed: bool) -> Link:
    members = [strokes.links[side >> 1] for side in run]
    points = [link.points_px[::-1] if side & 1 else link.points_px for side, link in zip(run, members, strict=True)]
    pieces = [points[0]]
    for before, after in pairwise(points):
        pieces += [_bridge(before, after), after]
    first = members[0].end if run[0] & 1 else members[0].start
    last = members[-1].start if run[-1] & 1 else members[-1].end
    if closed:
        pieces += [_bridge(points[-1], points[0]), points[0][:1]]
        last = first
    lengths = [len(one) for one in points]
    return replace(
        members[int(np.argmax(lengths))],
        start=first,
        end=last,
        points_px=np.concatenate(pieces),
        sigma_px=max(link.sigma_px for link in members),
        width_px=float(np.average([link.width_px for link in members], weights=lengths)),
        bridged=True,
    )


def _bridge(before: Floats, after: Floats) -> Floats:
    """Points about 1 px apart from one line's end to another's beginning, by Hermite's cubic along both lines."""
    a, b = before[-1], after[0]
    gap_px = float(np.hypot(*(b - a)))
    count = int(np.ceil(gap_px))
    if count < 2:
        return np.empty((0, 2))
    back = max(2, int(gap_px))
    speeds = [a - before[max(0, len(before) - 1 - back)], after[min(len(after) - 1, back)] - b]
    speeds = [gap_px * speed / max(float(np.hypot(*speed)), 1e-9) for speed in speeds]
    t = (np.arange(1, count) / count)[:, None]
    points: Floats = (
        (1 + 2 * t) * (1 - t) ** 2 * a
        + t**2 * (3 - 2 * t) * b
        + t * (1 - t) ** 2 * speeds[0]
        - t**2 * (1 - t) * speeds[1]
    )
    return points


def _length(points: Floats) -> float:
    return float(np.hypot(*np.diff(points, axis=0).T).sum())
