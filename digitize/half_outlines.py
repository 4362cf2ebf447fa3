"""Halves drawn on their centre line: open outlines whose two ends stop on one line of dashes are closed along it.

What is alike on both sides is drawn as one half, from the centre line to the centre line, and the centre line is drawn
in dashes, or in dashes and dots. These bound the half as a full line would. What lies across the centre line, a whole
part, runs on beyond it on the other side: no line of it stops there.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from digitize.continuation import MERGED_WIDTHS
from digitize.dashed_lines import sides_at, straight_on
from digitize.dashes_in_line import ENDS_WIDTHS, LineOfDashes, lines_of_dashes
from digitize.facing_ends import SEEN_WIDTHS, Side, towards
from digitize.folds import Beyond, is_fold_across, is_one_sided, what_is_beyond
from digitize.link_sizes import link_lengths_px
from digitize.strokes import Link, NodeKind, Strokes

Floats: TypeAlias = NDArray[np.float64]

ALONG_WIDTHS = 3.0
"""Where two lines meet lies no farther than this from the end that thinning left, in line widths."""


def with_halves_closed(strokes: Strokes, lettering: NDArray[np.bool_]) -> Strokes:
    """Give the strokes with the stretches of dashed lines made full on which both ends of an open outline stop.

    Parameters
    ----------
    strokes : Strokes
        Before any gap is bridged.
    lettering : (L,) array of bool
        Links that are lettering: they are no dashes, and nothing of them ends on a line.

    Returns
    -------
    Strokes
        A stretch runs through its dashes and straight over the gaps between them, and has as many `gaps`.
    """
    at = sides_at(strokes)
    dead_ends = _dead_ends(strokes, at)
    edited = _Edited(strokes)
    for centre in lines_of_dashes(strokes, lettering):
        if is_fold_across(strokes, centre):
            continue
        stops = _stops(strokes, centre, lettering, at)
        stretches = _stretches(strokes, stops, set(centre.links), _without_spikes(strokes, dead_ends, stops, at))
        if stretches and not _is_centre_line(strokes, centre, stops, lettering):
            stretches = _clear_of_floors(strokes, centre, stops, stretches)
            stretches = [pair for pair in stretches if Beyond.CORNER not in _beyond(strokes, centre, stops, pair, at)]
        stretches = [pair for pair in stretches if Beyond.EDGE not in _beyond(strokes, centre, stops, pair, at)]
        if stretches:
            edited.close(centre, stops, stretches)
    return edited.strokes()


def _dead_ends(strokes: Strokes, at: dict[int, list[Side]]) -> dict[int, list[int]]:
    """The free ends of each short link that has any."""
    ends = {
        which: [node for node in (link.start, link.end) if len(at[node]) == 1]
        for which, (link, long_px) in enumerate(zip(strokes.links, link_lengths_px(strokes), strict=True))
        if long_px < MERGED_WIDTHS * link.width_px
    }
    return {which: nodes for which, nodes in ends.items() if nodes}


def _without_spikes(
    strokes: Strokes, dead_ends: dict[int, list[int]], stops: Sequence["_Stop"], at: dict[int, list[Side]]
) -> dict[int, list[Side]]:
    """The sides of links at each node but for those of short dead ends, which a line carries on past: thorns, and the
    sharp tips in which both sides of a corner have run together."""
    stopping = {stop.node for stop in stops}
    spikes = {which for which, nodes in dead_ends.items() if not stopping.issuperset(nodes)}
    feet = {node for which in spikes for node in (strokes.links[which].start, strokes.links[which].end)}
    return at | {node: [side for side in at[node] if side >> 1 not in spikes] for node in feet if len(at[node]) > 2}


def _is_centre_line(
    strokes: Strokes, centre: LineOfDashes, stops: Sequence["_Stop"], lettering: NDArray[np.bool_]
) -> bool:
    """Whether a line of dashes runs on past all that stops on it, and all of that is on one side."""
    far_px = [stop.along_px for stop in stops]
    give_px = ENDS_WIDTHS * centre.width_px
    if min(far_px) < centre.reach_px[0] + give_px or max(far_px) > centre.reach_px[1] - give_px:
        return False
    return is_one_sided(strokes, centre, [stop.beside for stop in stops], lettering)


def _beyond(
    strokes: Strokes,
    centre: LineOfDashes,
    stops: Sequence["_Stop"],
    pair: tuple[int, int],
    at: dict[int, list[Side]],
) -> tuple[Beyond, Beyond]:
    """What the line is before the one stop of a pair and after the other."""
    before, after = (
        what_is_beyond(strokes, centre, stops[n].node, way, at) for n, way in zip(pair, (-1, 1), strict=True)
    )
    return before, after


@dataclass(frozen=True, slots=True)
class _Stop:
    """Where a line stops on a centre line: how far along, on which side of it, at a node or by the link's free end."""

    along_px: float
    beside: int
    node: int
    side: Side
    at_px: Floats


def _stops(
    strokes: Strokes, centre: LineOfDashes, lettering: NDArray[np.bool_], at: dict[int, list[Side]]
) -> list[_Stop]:
    """The places where lines of one side stop on a centre line, and those where others cross it, by how far along."""
    own = set(centre.links)
    near_px = ENDS_WIDTHS * centre.width_px
    nodes = np.array(sorted(at), dtype=np.int64)
    off = np.abs(centre.line.off(strokes.nodes_px[nodes]))
    along = centre.along_px(strokes.nodes_px[nodes])
    is_near = (off <= near_px) & (along > centre.reach_px[0] - near_px) & (along < centre.reach_px[1] + near_px)
    found = []
    for node, place in zip(nodes[is_near].tolist(), along[is_near].tolist(), strict=True):
        others = [side for side in at[node] if side >> 1 not in own and not lettering[side >> 1]]
        # What leaves along the line is its own: a dash that figures at its end have run into.
        others = [side for side in others if _beside(strokes, centre, side)]
        besides = {_beside(strokes, centre, side) for side in others}
        if not others:
            continue
        beside = besides.pop() if len(besides) == 1 else 0
        if len(at[node]) == 1:
            met = _met(strokes.links[others[0] >> 1], others[0], centre) if beside else None
            if met is not None:
                found.append(_Stop(float(centre.along_px(met[None])[0]), beside, node, others[0], met))
        elif any(side >> 1 in own for side in at[node]):
            found.append(_Stop(place, beside, node, others[0], strokes.nodes_px[node]))
    return _without_jogs(strokes, centre, sorted(found, key=lambda one: one.along_px), at)


def _without_jogs(strokes: Strokes, centre: LineOfDashes, stops: list[_Stop], at: dict[int, list[Side]]) -> list[_Stop]:
    """The stops, but for those where a line runs along the centre line and leaves it on the other side: it crosses."""
    full = {frozenset((strokes.links[link].start, strokes.links[link].end)) for link in centre.links}
    crossing = {
        stop.node
        for one, other in pairwise(stops)
        for stop in (one, other)
        if one.beside == -other.beside and frozenset((one.node, other.node)) in full
        # Where the dash runs on beyond both, figures at its one end may have run into it.
        if min(len(at[one.node]), len(at[other.node])) == 2
    }
    return [replace(stop, beside=0) if stop.node in crossing else stop for stop in stops]


def _beside(strokes: Strokes, centre: LineOfDashes, side: Side) -> int:
    """On which side of a centre line a line lies that leaves it: 1 or -1, 0 where it hardly does."""
    link = strokes.links[side >> 1]
    points = towards(link, side)[::-1]
    off = centre.line.off(points[: max(3, round(SEEN_WIDTHS * link.width_px))])
    far = float(off[np.argmax(np.abs(off))])
    return int(np.sign(far)) if abs(far) > ENDS_WIDTHS * centre.width_px else 0


def _met(link: Link, side: Side, centre: LineOfDashes) -> Floats | None:
    """Where a line that ends free would meet a centre line."""
    points = towards(link, side)
    apart = np.flatnonzero(np.abs(centre.line.off(points)) > ENDS_WIDTHS * link.width_px)
    if not len(apart):
        return None
    body = points[: apart[-1] + 1]
    before = body[max(0, len(body) - 1 - round(SEEN_WIDTHS * link.width_px))]
    way = body[-1] - before
    off = centre.line.off(np.array([before, body[-1]]))
    if abs(off[1]) >= abs(off[0]):
        return None
    at: Floats = centre.line.foot(body[-1] + way * off[1] / (off[0] - off[1]))
    return at if np.hypot(*(at - points[-1])) < ALONG_WIDTHS * link.width_px else centre.line.foot(points[-1])


def _stretches(
    strokes: Strokes, stops: Sequence[_Stop], own: set[int], at: dict[int, list[Side]]
) -> list[tuple[int, int]]:
    """Which pairs of stops are the two ends of one line that carries straight on wherever others meet it."""
    of_node = {stop.node: which for which, stop in enumerate(stops)}
    found = []
    for which, stop in enumerate(stops):
        if not stop.beside:
            continue
        side: Side | None = stop.side
        seen: set[int] = set()
        while side is not None and side >> 1 not in seen | own:
            seen.add(side >> 1)
            link = strokes.links[side >> 1]
            node = link.start if side & 1 else link.end
            other = of_node.get(node)
            if other is not None:
                if other > which and stops[other].beside == stop.beside:
                    found.append((which, other))
                break
            side = straight_on(strokes, side ^ 1, at)
    return found


def _clear_of_floors(
    strokes: Strokes, centre: LineOfDashes, stops: Sequence[_Stop], stretches: list[tuple[int, int]]
) -> list[tuple[int, int]]:
    """The pairs of stops but for those at the floor of a notch that lies on the line: a whole part's, lying across.

    Both its sides stop on the line, the ink between them is full, and no line leads from one to the other, nor around
    one of them, as around an opening.
    """
    full = {frozenset((strokes.links[link].start, strokes.links[link].end)) for link in centre.links}
    floors = {
        stop
        for which, (one, other) in enumerate(pairwise(stops))
        if one.beside == other.beside != 0
        and frozenset((one.node, other.node)) in full
        and (which, which + 1) not in stretches
        and not any(low < which < high or low < which + 1 < high for low, high in stretches)
        for stop in (which, which + 1)
    }
    return [(one, other) for one, other in stretches if not {one, other} & floors]


class _Edited:
    """Strokes that are being changed: what is gone, and what is new."""

    def __init__(self, strokes: Strokes) -> None:
        self._before = strokes
        self._links = list(strokes.links)
        self._nodes = [*strokes.nodes_px]
        self._kinds = strokes.kinds.tolist()
        self._gone: set[int] = set()

    def close(self, centre: LineOfDashes, stops: Sequence[_Stop], stretches: Sequence[tuple[int, int]]) -> None:
        """Make the dashes between stops full."""
        for which, (one, other) in enumerate(pairwise(stops)):
            if not any(low <= which < high for low, high in stretches):
                continue
            give_px = ENDS_WIDTHS * centre.width_px
            between, clear = [], True
            for number in centre.links:
                reach = np.sort(centre.along_px(self._before.links[number].points_px[[0, -1]]))
                if reach[0] > one.along_px - give_px and reach[1] < other.along_px + give_px:
                    between.append(number)
                elif reach[0] < other.along_px - give_px and reach[1] > one.along_px + give_px:
                    clear = False
            if not clear or not between:
                continue
            # All its dashes are drawn with one pen; how wide a short one is shows less well.
            if self._is_full(between, one, other):
                self._links[between[0]] = replace(self._links[between[0]], width_px=centre.width_px)
                continue
            ends = [self._reached(stop, centre) for stop in (one, other)]
            pieces = [self._nodes[ends[0]][None]]
            for number in between:
                points = self._before.links[number].points_px
                far = centre.along_px(points)
                points = points if far[0] < far[-1] else points[::-1]
                far = np.sort(far)
                points = points[(far > one.along_px + give_px) & (far < other.along_px - give_px)]
                if len(points):
                    pieces += [_straight(pieces[-1][-1], points[0]), points]
            last = self._nodes[ends[1]]
            pieces += [_straight(pieces[-1][-1], last), last[None]]
            like = self._before.links[max(between, key=lambda number: len(self._before.links[number].points_px))]
            self._gone |= set(between)
            self._links.append(
                replace(
                    like,
                    start=ends[0],
                    end=ends[1],
                    points_px=np.concatenate(pieces),
                    width_px=centre.width_px,
                    gaps=len(between) + 1,
                )
            )

    def _is_full(self, links: Sequence[int], one: _Stop, other: _Stop) -> bool:
        """Whether a single line leads from one stop to the other as it is, without a gap to close."""
        ends = [self._before.links[link] for link in links]
        return len(ends) == 1 and {ends[0].start, ends[0].end} == {one.node, other.node}

    def _reached(self, stop: _Stop, centre: LineOfDashes) -> int:
        """The node of a stop; a line that ends free is led to the centre line."""
        link = self._links[stop.side >> 1]
        if np.array_equal(self._nodes[stop.node], stop.at_px):
            return stop.node
        points = towards(link, stop.side)
        apart = np.flatnonzero(np.abs(centre.line.off(points)) > ENDS_WIDTHS * link.width_px)
        points = points[: apart[-1] + 1]
        points = np.concatenate([points, _straight(points[-1], stop.at_px), stop.at_px[None]])
        self._links[stop.side >> 1] = replace(link, points_px=points if stop.side & 1 else points[::-1])
        self._nodes[stop.node], self._kinds[stop.node] = stop.at_px, NodeKind.CORNER
        return stop.node

    def strokes(self) -> Strokes:
        """What it has become."""
        if not self._gone:
            return self._before
        links = [link for which, link in enumerate(self._links) if which not in self._gone]
        used = np.unique(np.array([node for link in links for node in (link.start, link.end)], dtype=np.int64))
        number = {int(node): at for at, node in enumerate(used)}
        links = [replace(link, start=number[link.start], end=number[link.end]) for link in links]
        return Strokes(np.array(self._nodes)[used], np.array(self._kinds, dtype=np.uint8)[used], tuple(links))


def _straight(a: Floats, b: Floats) -> Floats:
    """Points about 1 px apart between two places, both left out."""
    count = int(np.ceil(np.hypot(*(b - a))))
    between: Floats = a + (np.arange(1, count) / max(count, 1))[:, None] * (b - a)
    return between
