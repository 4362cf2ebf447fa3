"""Outlines that are open where ink was lost and the ends do not face each other: closed so that they can be looked at.

Free ends that lie near each other, each the other's nearest, lead from line to line. Where that comes back to its start
around an area, the lines are one outline, open at a few places. If it is open at one place only and its two ends would
meet in a corner there, it is closed by that corner; every other closing is a guess, and said to be one.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TypeAlias

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from digitize.dash_turns import Turn, cornered
from digitize.dashed_lines import sides_at, straight_on
from digitize.facing_ends import FINER, MOST_WIDTHS, Side, towards
from digitize.line_ends import LineEnd, line_ends
from digitize.link_lines import line_tree
from digitize.link_sizes import link_lengths_px
from digitize.strokes import NodeKind, Strokes

Floats: TypeAlias = NDArray[np.float64]

STUB_WIDTHS = 3.0
"""What ends free this near to where it leaves others, in line widths, is a tip's tail: no outline takes it."""

FACING_WIDTHS = 30.0
"""Longest gap, in line widths, between ends that face each other; between others it is `MOST_WIDTHS`."""

FACING_COSINE = np.cos(np.radians(20))
"""Ends that face each other point within this of the way from one to the other."""

AWAY_COST = 1.5
"""An end that points away from another counts as farther from it by this much, in distances."""

SURE_WIDTHS = 8.0
"""Longest way, in line widths, around a corner that is closed for sure: 2 mm of a 0.25 mm line."""

SURE_TURN = np.radians(40.0), np.radians(140.0)
"""Between lines nearly parallel, where they would cross says little of where the corner was."""

LEAST_TURN = np.radians(20.0)
"""Lines that turn by less, or come back so nearly, meet in no corner that can be told."""

BEHIND_WIDTHS = 1.0
"""A corner lies no farther behind an end than this, in line widths: a line's own thickness may reach beyond it."""

OPEN_SHARE = 0.12
"""All gaps of an outline together are shorter than this part of its length: what is open for longer has another end."""

DASHED_SHARE = 0.5
"""... but for those over which two ends face each other, as dashes do: a gap is no longer than half a dash."""

BACK_COSINE, MOST_GOING_BACK = np.cos(np.radians(30)), 1
"""Ends that point the same way to within this are joined in one place of an outline at most: rows of lines side by
side, as in hatching, would else be rings."""

LETTER_SHARE = 0.3
"""No more of an outline than this may have been taken for lettering, as what a gap has left of its end may be."""

LEAST_BREADTH_WIDTHS = 6.0
"""An outline encloses an area at least so broad (area over half its length), in line widths; less is a line drawn
double or a letter."""

LEAST_LENGTH_WIDTHS = 60.0
"""... and is at least so long: a letter or an arrowhead is less."""


def with_outlines_closed(strokes: Strokes, lettering: NDArray[np.bool_]) -> Strokes:
    """Give the strokes with outlines closed that are open where no two ends face each other.

    Parameters
    ----------
    strokes : Strokes
        After all gaps are bridged between ends that face each other.
    lettering : (L,) array of bool
        Links that are lettering: none of an outline but for what a gap has left of it.

    Returns
    -------
    Strokes
        A link that leads to a corner in a single gap says so by its `gaps`; a closing by guess is a link of its own,
        `guessed`.
    """
    pieces = [_Piece(run) for run in open_pieces(strokes)]
    if not pieces:
        return strokes
    closings = _closings(strokes, pieces)
    turns: list[Turn] = []
    guesses: list[_Closing] = []
    for ring in _rings(strokes, pieces, closings):
        if not _is_outline(strokes, ring, lettering):
            continue
        only = ring.closings[0]
        if len(ring.closings) == 1 and only.corner_px is not None and only.is_sure:
            turns.append(Turn((only.one.side, only.other.side), only.corner_px, only.long_px))
        else:
            guesses += ring.closings
    return _drawn(strokes, turns, guesses) if turns or guesses else strokes


@dataclass(frozen=True, slots=True)
class _Piece:
    """A line from one free end to another: the sides by which its links are entered, in order."""

    run: tuple[Side, ...]

    @property
    def ends(self) -> tuple[Side, Side]:
        """Its free ends."""
        return self.run[0], self.run[-1] ^ 1


@dataclass(frozen=True, slots=True)
class _Closing:
    """Two free ends that are each other's nearest; the corner between them, None where a straight line joins them."""

    one: LineEnd
    other: LineEnd
    corner_px: Floats | None
    is_facing: bool
    is_sure: bool
    cost: float

    @property
    def way_px(self) -> Floats:
        """The way from end to end, (2 or 3, 2)."""
        corner = [] if self.corner_px is None else [self.corner_px]
        return np.array([self.one.at_px, *corner, self.other.at_px])

    @property
    def goes_back(self) -> bool:
        """Whether the line comes back beside itself there, as over the lost end of a strip or floor of a notch."""
        return bool(float(self.one.way @ self.other.way) > BACK_COSINE)

    @property
    def long_px(self) -> float:
        """How long that is."""
        return float(np.hypot(*np.diff(self.way_px, axis=0).T).sum())


@dataclass(frozen=True, slots=True)
class _Ring:
    """Lines and closings that come back to their start: links in order, with their points, and the closings."""

    links: tuple[int, ...]
    points_px: Floats
    closings: tuple[_Closing, ...]


def open_pieces(strokes: Strokes) -> list[tuple[Side, ...]]:
    """Give the lines from one free end to another, around corners and straight on where others meet them.

    Each is told by the sides by which its links are entered, in order.
    """
    at = _without_stubs(strokes)
    found, done = [], set[Side]()
    for here in at.values():
        if len(here) > 1 or here[0] in done:
            continue
        run, seen = [here[0]], {here[0] >> 1}
        while True:
            far = run[-1] ^ 1
            link = strokes.links[far >> 1]
            others = at[link.end if far & 1 else link.start]
            if len(others) == 1:
                found.append(tuple(run))
                done |= {run[0], far}
                break
            onward = straight_on(strokes, far, at)
            if onward is None or onward >> 1 in seen:
                break
            run.append(onward)
            seen.add(onward >> 1)
    return found


def _without_stubs(strokes: Strokes) -> dict[int, list[Side]]:
    """The sides at each node, but those of tails that end free hardly beyond others."""
    at, lengths_px = sides_at(strokes), link_lengths_px(strokes)
    stubs = set()
    for here in at.values():
        link = strokes.links[here[0] >> 1]
        far = at[link.start if here[0] & 1 else link.end]
        if len(here) == 1 and len(far) > 2 and lengths_px[here[0] >> 1] < STUB_WIDTHS * link.width_px:
            stubs.add(here[0] >> 1)
    kept = {node: [side for side in here if side >> 1 not in stubs] for node, here in at.items()}
    return {node: here for node, here in kept.items() if here}


def _closings(strokes: Strokes, pieces: list[_Piece]) -> list[_Closing]:
    """How free ends are joined, each to the one that is nearest to it where it points, and no line between."""
    ends = line_ends(strokes, [side for piece in pieces for side in piece.ends])
    places = np.array([end.at_px for end in ends])
    reach_px = FACING_WIDTHS * max(end.width_px for end in ends)
    best: dict[int, tuple[float, int]] = {}
    made: dict[tuple[int, int], _Closing] = {}
    for n, m in sorted(map(tuple, cKDTree(places).query_pairs(reach_px, output_type="ndarray").tolist())):
        closing = _closing(ends[n], ends[m])
        if closing is None:
            continue
        made[n, m] = closing
        for one, other in ((n, m), (m, n)):
            best[one] = min(best.get(one, (np.inf, -1)), (closing.cost, other))
    mutual = [made[n, m] for n, m in made if best[n][1] == m and best[m][1] == n]
    return [closing for closing in mutual if _is_clear(strokes, closing)]


def _closing(one: LineEnd, other: LineEnd) -> _Closing | None:
    gap = other.at_px - one.at_px
    far_px = float(np.hypot(*gap))
    width_px = min(one.width_px, other.width_px)
    if not 0 < far_px <= FACING_WIDTHS * width_px:
        return None
    cosines = float(one.way @ gap) / far_px, -float(other.way @ gap) / far_px
    facing = min(cosines) > FACING_COSINE
    if not facing and far_px > MOST_WIDTHS * width_px:
        return None
    cost = far_px * (1 + AWAY_COST * (1 - sum(cosines) / 2))
    corner, is_sure = (None, False) if facing else _corner(one, other)
    return _Closing(one, other, corner, facing, is_sure, cost)


def _corner(one: LineEnd, other: LineEnd) -> tuple[Floats | None, bool]:
    """Where two ends would meet in a corner, and whether that is sure; None where they would not."""
    width_px = max(one.width_px, other.width_px)
    turn = abs(float(np.arccos(np.clip(-(one.way @ other.way), -1, 1))))
    if not LEAST_TURN < turn < np.pi - LEAST_TURN:
        return None, False
    far = np.linalg.solve(np.column_stack([one.way, -other.way]), other.at_px - one.at_px)
    along_px = float(np.abs(far).sum())
    if far.min() < -BEHIND_WIDTHS * width_px or along_px > MOST_WIDTHS * width_px:
        return None, False
    shown = not (one.is_short or other.is_short) and SURE_TURN[0] < turn < SURE_TURN[1]
    return one.at_px + far[0] * one.way, shown and along_px <= SURE_WIDTHS * width_px


def _is_clear(strokes: Strokes, closing: _Closing) -> bool:
    """Whether nothing is drawn across a closing but lines of a finer pen."""
    own = {closing.one.side >> 1, closing.other.side >> 1}
    finer_px = FINER * min(closing.one.width_px, closing.other.width_px)
    crossed = line_tree(strokes).query(shapely.LineString(closing.way_px), predicate="intersects")
    return all(link in own or strokes.links[link].width_px <= finer_px for link in crossed.tolist())


def _rings(strokes: Strokes, pieces: list[_Piece], closings: list[_Closing]) -> Iterator[_Ring]:
    """Where closings lead from line to line and back to the first."""
    over = {}
    for closing in closings:
        over[closing.one.side], over[closing.other.side] = (closing, closing.other.side), (closing, closing.one.side)
    of_end = {end: which for which, piece in enumerate(pieces) for end in piece.ends}
    done: set[int] = set()
    for first, piece in enumerate(pieces):
        side, which = piece.ends[0], first
        links: list[int] = []
        points: list[Floats] = []
        taken: list[_Closing] = []
        while which not in done:
            done.add(which)
            run = pieces[which].run
            run = run if run[0] == side else tuple(one ^ 1 for one in reversed(run))
            links += [one >> 1 for one in run]
            points += [towards(strokes.links[one >> 1], one ^ 1) for one in run]
            if run[-1] ^ 1 not in over:
                break
            closing, side = over[run[-1] ^ 1]
            taken.append(closing)
            if closing.corner_px is not None:
                points.append(closing.corner_px[None])
            which = of_end[side]
            if which == first and side == piece.ends[0]:
                yield _Ring(tuple(links), np.concatenate(points), tuple(taken))
                break


def _is_outline(strokes: Strokes, ring: _Ring, lettering: NDArray[np.bool_]) -> bool:
    """Whether a ring runs around an area as a part's outline does, and most of it is drawn."""
    lengths_px = link_lengths_px(strokes)
    drawn_px = sum(lengths_px[link] for link in ring.links)
    width_px = float(np.median([strokes.links[link].width_px for link in ring.links]))
    if drawn_px < LEAST_LENGTH_WIDTHS * width_px or len(set(ring.links)) < len(ring.links):
        return False
    if sum(closing.goes_back for closing in ring.closings) > MOST_GOING_BACK:
        return False
    faced_px, open_px = (
        sum(one.long_px for one in ring.closings if one.is_facing is facing) for facing in (True, False)
    )
    if open_px > OPEN_SHARE * drawn_px or faced_px > DASHED_SHARE * drawn_px:
        return False
    if sum(lengths_px[link] for link in ring.links if lettering[link]) > LETTER_SHARE * drawn_px:
        return False
    if len(ring.closings) > 1 and _spans_all(strokes, ring):
        return False
    polygon = shapely.simplify(shapely.Polygon(ring.points_px), width_px / 4)
    area_px2 = max((shapely.area(part) for part in shapely.get_parts(shapely.make_valid(polygon))), default=0.0)
    return bool(area_px2 > LEAST_BREADTH_WIDTHS * width_px * drawn_px / 2)


def _spans_all(strokes: Strokes, ring: _Ring) -> bool:
    """Whether a ring runs around all there is, as the sheet's edge does and its border."""
    everything_px = np.ptp(strokes.nodes_px, axis=0)
    return bool((np.ptp(ring.points_px, axis=0) > BORDER_SHARE * everything_px).all())


BORDER_SHARE = 0.95
"""The paper's edge or a border reaches over this part of all that is seen, both ways; lines to it may reach beyond."""


def _drawn(strokes: Strokes, turns: list[Turn], guesses: list[_Closing]) -> Strokes:
    links, nodes, kinds = list(strokes.links), [*strokes.nodes_px], strokes.kinds.copy()
    for guess in guesses:
        ends = []
        for end in (guess.one, guess.other):
            link = links[end.side >> 1]
            ends.append(link.end if end.side & 1 else link.start)
            kinds[ends[-1]] = NodeKind.CORNER
        way = guess.way_px
        way[[0, -1]] = np.array(nodes)[ends]
        like = links[guess.one.side >> 1]
        links.append(replace(like, start=ends[0], end=ends[1], points_px=_stepped(way), gaps=1, own=None, guessed=True))
    for turn in turns:
        link = links[turn.sides[0] >> 1]
        links[turn.sides[0] >> 1] = replace(link, gaps=link.gaps + 1)
    strokes = Strokes(np.array(nodes), kinds, tuple(links))
    return cornered(strokes, turns) if turns else strokes


def _stepped(way: Floats) -> Floats:
    """The points about 1 px apart along a way, its own among them."""
    runs = []
    for a, b in pairwise(way):
        count = max(int(np.ceil(np.hypot(*(b - a)))), 1)
        runs.append(a + (b - a) * (np.arange(count) / count)[:, None])
    return np.concatenate([*runs, way[-1:]])
