"""Gaps in drawn lines, bridged where two free ends point at each other: faded ink, a fold, the paper between dashes.

A bridge is never drawn across another line, nor from lettering; and straight lines that end free, centre lines drawn
in dashes, stay as they are: they bound nothing.
"""

from dataclasses import replace
from itertools import pairwise
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from digitize.dash_turns import dash_turns
from digitize.dashed_lines import PLACES, Stop, Way, followed, is_straight, over_gaps, sides_at
from digitize.facing_ends import MOST_WIDTHS, Side, clear_of_lines, facing_sides, free_sides, towards
from digitize.link_sizes import link_lengths_px
from digitize.strokes import Link, NodeKind, Strokes

Floats: TypeAlias = NDArray[np.float64]


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
        A joined link runs straight or on a gentle curve over the gap, and says how many `gaps` it has.
    """
    sides = free_sides(strokes, lettering)
    if len(sides) < 2:
        return strokes
    pairs = facing_sides(strokes, sides)
    pairs = clear_of_lines(strokes, pairs)
    pairs = _bounding(strokes, [*pairs, *(turn.sides for turn in dash_turns(strokes, sides, pairs))])
    return joined(strokes, pairs) if pairs else strokes


FEW_GAPS = 2
"""A line that ends on others at both ends has lost ink when it has so few gaps; one with more is a dashed one. Of gaps
longer than `MOST_WIDTHS` of its measured width one is few, and a straight line over one must end on others at both ends
or come back around its corners, whatever it turns into: the dots of a chain line may be too pale to be seen."""


def _bounding(strokes: Strokes, pairs: list[tuple[Side, Side]]) -> list[tuple[Side, Side]]:
    """The pairs on lines that may bound something: those that come back, turn, or end on others at both ends."""
    over, at = over_gaps(pairs), sides_at(strokes)
    kept = []
    for a, b in pairs:
        one, other = (followed(strokes, side, over, at) for side in (a, b))
        if one.gaps + other.gaps + 1 > FEW_GAPS:
            usual_px = float(np.median(_inks_px(strokes, one, other)))
            one, other = (_up_to_full_line(strokes, way, at, usual_px) for way in (one, other))
        stops = {one.stop, other.stop}
        whole = np.concatenate([one.points_px[::-1], other.points_px])
        # In black and white a dash is measured a px wide or two, as it happens to lie: the line's own width is theirs.
        width_px = float(np.mean([strokes.links[link].width_px for link in (*one.links, *other.links)]))
        long = _gap_px(strokes, a, b) > MOST_WIDTHS * width_px
        if (
            Stop.CLOSED in stops
            or (Stop.CORNER in stops and not long)
            or not is_straight(whole, strokes.links[a >> 1].width_px)
            or (
                Stop.FREE not in stops
                and one.gaps + other.gaps + 1 <= (1 if long else FEW_GAPS)
                and not _has_dot(strokes, one, other, a, b)
            )
            or _comes_back(strokes, a, b, over, at)
        ):
            kept.append((a, b))
    return kept


FULL_DASHES = 3.0
"""What runs on without a gap for so many of a line's dashes is a full line that they end on; corner pieces have two."""

DOT_SHARE, DOT_GAPS = 0.5, 3.0
"""A chain line's dot is shorter than this part of the dashes beside it, and than so many of its gaps."""


def _inks_px(strokes: Strokes, one: Way, other: Way) -> list[float]:
    """How long the ink is before, between and after the gaps of a line followed both ways from one of them."""
    lengths_px = link_lengths_px(strokes)
    inks_px = [0.0] * (one.gaps + other.gaps + 2)
    for way, first, step in ((one, one.gaps, -1), (other, one.gaps + 1, 1)):
        for gaps, link in zip(way.gaps_before, way.links, strict=True):
            inks_px[first + step * gaps] += lengths_px[link]
    return inks_px


def _up_to_full_line(strokes: Strokes, way: Way, at: dict[int, list[Side]], usual_px: float) -> Way:
    """A way of dashes up to where they end on a full line that runs straight on: a fold does, on its outline's edge."""
    last = way.gaps_before.index(way.gaps)
    if last + 1 == len(way.links):
        return way
    lengths_px = link_lengths_px(strokes)
    long_px = sum(lengths_px[link] for link in way.links[last + 1 :])
    link = way.links[-1]
    node = _shared_node(strokes, way.links[-2], link)
    seen = {*way.links}
    while long_px <= FULL_DASHES * usual_px:
        node = strokes.links[link].start + strokes.links[link].end - node
        here = [side >> 1 for side in at[node] if side >> 1 not in seen]
        if len(at[node]) != 2 or not here:
            return way
        link = here[0]
        seen.add(link)
        long_px += lengths_px[link]
    return Way(Stop.JUNCTION, way.gaps_before[: last + 1], way.links[: last + 1], way.points_px[: PLACES * (last + 1)])


def _shared_node(strokes: Strokes, before: int, link: int) -> int:
    """The node of a link by which it is come to from the one before."""
    one, other = strokes.links[before], strokes.links[link]
    return other.start if other.start in (one.start, one.end) else other.end


def _has_dot(strokes: Strokes, one: Way, other: Way, a: Side, b: Side) -> bool:
    """Whether a line of two gaps has a chain line's dot between them."""
    inks_px = _inks_px(strokes, one, other)
    if len(inks_px) != DOT_INKS:
        return False
    dash_px = min(inks_px[0], inks_px[2])
    return inks_px[1] < min(DOT_SHARE * dash_px, DOT_GAPS * _gap_px(strokes, a, b))


DOT_INKS = 3
"""A dash, a dot and a dash."""


def _comes_back(strokes: Strokes, a: Side, b: Side, over: dict[Side, Side], at: dict[int, list[Side]]) -> bool:
    """Whether a line leads from one end at a gap around its corners, with no other met, to the other end."""
    side = a
    seen: set[int] = set()
    while side >> 1 not in seen:
        seen.add(side >> 1)
        far = side ^ 1
        if far == b:
            return True
        link = strokes.links[far >> 1]
        here = [other for other in at[link.end if far & 1 else link.start] if other != far]
        if far in over:
            side = over[far]
        elif len(here) == 1:
            side = here[0]
        else:
            return False
    return False


def _gap_px(strokes: Strokes, a: Side, b: Side) -> float:
    one, other = (towards(strokes.links[side >> 1], side)[-1] for side in (a, b))
    return float(np.hypot(*(other - one)))


def joined(strokes: Strokes, pairs: list[tuple[Side, Side]]) -> Strokes:
    """Give the strokes with runs of links from bridge to bridge, over pairs of free ends, as single links."""
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
        gaps=sum(link.gaps for link in members) + len(members) - (not closed),
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
