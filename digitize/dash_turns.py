"""Where a dashed line turns in a gap: two dashes that lie one of its gaps apart, and do not point at each other.

Dashes are set down along a line one after another, whatever it does between them. A gap may hide a corner, or so much
of a nose that the dashes beside it point past each other; that they are of one line shows in the gap, which is as wide
as its others, and in the line, which by it goes on or closes.
"""

from dataclasses import dataclass, replace
from typing import TypeAlias

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from digitize.dash_corners import TURNS
from digitize.dash_runs import DashRun, dash_runs, piece_px
from digitize.dashed_lines import is_straight
from digitize.facing_ends import (
    FINER,
    SEEN_WIDTHS,
    Side,
    clear_of_lines,
    facing_sides,
    free_sides,
    towards,
    ways_at_end,
)
from digitize.link_lines import line_tree
from digitize.straight_fit import Straight, fit_straight
from digitize.strokes import DASHED_GAPS, Link, NodeKind, Strokes

Floats: TypeAlias = NDArray[np.float64]

GAP_SHARE = 1.5
"""The way around a turn is no longer than this, in gaps of its line, and a line width more: dashes by hand are uneven,
and two that are to meet in a corner stop a little before it."""

PASSED_WIDTHS = 1.0
"""A dash may end so far beyond the corner, in line widths: where another begins, its ink is half a width longer."""

ALIKE = 2.5
"""A dash between two corners is as long as the others of its line, to within this: the corners have cut it short."""

RUN_BOW = 0.5
"""Dashes are of one straight side where they keep to it within this, in line widths."""

DASH_STRAIGHT = 0.03
"""A dash of a straight side bows by less than this, in parts of its length."""

CLOSING_GAPS = 6
"""A line of so many gaps whose two ends lie one more apart closes there, whichever way they point: over a tip, whose
point the gap has cut off, or a blunt edge."""

BENT_COSINE = -np.cos(np.radians(75))
"""No nose bends by more than this in one gap."""


@dataclass(frozen=True, slots=True)
class Turn:
    """Two free ends between which a dashed line goes on, and its corner there; None where it bends."""

    sides: tuple[Side, Side]
    corner_px: Floats | None
    long_px: float


def with_dash_turns(strokes: Strokes, lettering: NDArray[np.bool_]) -> Strokes:
    """Give the strokes with the dashes on both sides of a corner in a gap led to it.

    Parameters
    ----------
    strokes : Strokes
        Before any gap is bridged.
    lettering : (L,) array of bool
        Links that are lettering: no end of these leads anywhere.
    """
    sides = free_sides(strokes, lettering)
    if len(sides) < 4:
        return strokes
    turns = dash_turns(strokes, sides, clear_of_lines(strokes, facing_sides(strokes, sides)))
    turns = [turn for turn in turns if turn.corner_px is not None]
    return cornered(strokes, turns) if turns else strokes


def dash_turns(strokes: Strokes, sides: list[Side], pairs: list[tuple[Side, Side]]) -> list[Turn]:
    """Give the turns of dashed lines in gaps that no pair of ends facing each other tells of.

    Parameters
    ----------
    strokes : Strokes
        Before any gap is bridged.
    sides : list of Side
        Free ends that may lead on.
    pairs : list of (Side, Side)
        Those of them that face each other.
    """
    allowed = set(sides)
    runs = [run for run in dash_runs(strokes, pairs) if allowed.intersection(run.ends)]
    ends = [
        _End(which, side, *_line_at(strokes, run, side))
        for which, run in enumerate(runs)
        for side in run.ends
        if side in allowed
    ]
    if not any(run.gaps_px for run in runs):
        return []
    tree = cKDTree([end.at_px for end in ends])
    best: dict[int, tuple[float, int, Turn]] = {}
    for n, end in enumerate(ends):
        gaps_px = runs[end.run].gaps_px
        if not gaps_px:
            continue
        reach_px = GAP_SHARE * float(np.median(gaps_px)) + end.width_px
        for m in tree.query_ball_point(end.at_px, reach_px):
            if m == n:
                continue
            turn = _turn(strokes, runs, end, ends[m])
            for one, other in ((n, m), (m, n)) if turn is not None else ():
                assert turn is not None
                if one not in best or turn.long_px < best[one][0]:
                    best[one] = turn.long_px, other, turn
    mutual = [(n, m, turn) for n, (_, m, turn) in best.items() if n < m and best[m][1] == n]
    clear = _clear(strokes, [turn for _, _, turn in mutual])
    mutual = [one for one, is_clear in zip(mutual, clear, strict=True) if is_clear]
    lines = _Lines(runs)
    for n, m, _ in mutual:
        lines.join(ends[n].run, ends[m].run)
    turns = [turn for n, _, turn in mutual if lines.is_dashed(ends[n].run)]
    closing = _closing(strokes, runs, ends, lines, turns)
    return [*turns, *(turn for turn, is_clear in zip(closing, _clear(strokes, closing), strict=True) if is_clear)]


@dataclass(frozen=True, slots=True)
class _End:
    """A free end of a run: the line it lies on, from within outward, and whether its dash bends."""

    run: int
    side: Side
    at_px: Floats
    line: Straight
    width_px: float
    bent: bool


def _line_at(strokes: Strokes, run: DashRun, side: Side) -> tuple[Floats, Straight, float, bool]:
    """An end's place and line, told by the side's dashes where these are straight; its width; whether it bends."""
    link = strokes.links[side >> 1]
    points = towards(link, side)
    seen = points[-max(3, round(SEEN_WIDTHS * link.width_px)) :]
    pieces = run.pieces if side in (2 * run.pieces[-1][-1], 2 * run.pieces[-1][-1] + 1) else run.pieces[::-1]
    straight = points
    for piece in pieces[-2::-1]:
        if len(piece) > 1:
            break
        more = np.concatenate([_outward(strokes.links[piece[0]], points[-1]), straight])
        if not is_straight(more, RUN_BOW * link.width_px):
            break
        straight = more
    chord = points[-1] - points[0]
    aside = (points[:, 0] - points[0, 0]) * chord[1] - (points[:, 1] - points[0, 1]) * chord[0]
    bent = bool(np.abs(aside).max() > DASH_STRAIGHT * float(chord @ chord)) and len(straight) == len(points)
    used = seen if bent or not is_straight(straight, RUN_BOW * link.width_px) else straight
    line = fit_straight(used, np.ones(len(used)))
    if bent:
        away = seen[::-1] - seen.mean(axis=0)
        line = Straight(points[-1], ways_at_end(away[None], line.along[None])[0])
    return points[-1], line, link.width_px, bent


def _outward(link: Link, towards_px: Floats) -> Floats:
    points = link.points_px
    near = np.hypot(*(points[[0, -1]] - towards_px).T)
    return points if near[1] < near[0] else points[::-1]


def _turn(strokes: Strokes, runs: list[DashRun], one: _End, other: _End) -> Turn | None:
    """The turn between two ends of dashed lines, if they lie a gap apart and lead around it."""
    a, b = runs[one.run], runs[other.run]
    gaps_px = a.gaps_px if one.run == other.run else (*a.gaps_px, *b.gaps_px)
    if one.run == other.run and len(gaps_px) < DASHED_GAPS:
        return None
    width_px = max(one.width_px, other.width_px)
    most_px = GAP_SHARE * float(np.median(gaps_px)) + width_px
    for run, beside in ((a, b), (b, a)):
        if not run.gaps_px and not _is_alike(strokes, run, beside):
            return None
    gap = other.at_px - one.at_px
    far_px = float(np.hypot(*gap))
    cosine = float(one.line.along @ other.line.along)
    if not (one.bent or other.bent) and TURNS[0] < -cosine < TURNS[1]:
        axes = np.column_stack([one.line.along, -other.line.along])
        ahead = np.linalg.solve(axes, other.line.foot(other.at_px) - one.line.foot(one.at_px))
        if ahead.min() < -PASSED_WIDTHS * width_px or np.abs(ahead).sum() > most_px:
            return None
        corner = one.line.foot(one.at_px) + ahead[0] * one.line.along
        return Turn((one.side, other.side), corner, float(np.abs(ahead).sum()))
    if far_px > most_px:
        return None
    if cosine > BENT_COSINE:
        return None
    if one.line.along @ gap <= 0 or other.line.along @ gap >= 0:
        return None
    return Turn((one.side, other.side), None, far_px)


def _is_alike(strokes: Strokes, run: DashRun, beside: DashRun) -> bool:
    """Whether a single dash may be one of a line's."""
    long_px = piece_px(strokes, run.pieces[0])
    usual_px = float(np.median([piece_px(strokes, piece) for piece in beside.pieces]))
    return usual_px / ALIKE < long_px < ALIKE * usual_px


def _clear(strokes: Strokes, turns: list[Turn]) -> list[bool]:
    """For each turn whether nothing else is drawn near its way but lines of a finer pen."""
    if not turns:
        return []
    ways = []
    for turn in turns:
        a, b = (towards(strokes.links[side >> 1], side)[-1] for side in turn.sides)
        ways.append(shapely.LineString([a, b] if turn.corner_px is None else [a, turn.corner_px, b]))
    widths_px = np.array([link.width_px for link in strokes.links])
    own = [min(widths_px[side >> 1] for side in turn.sides) for turn in turns]
    at, which = line_tree(strokes).query(ways, predicate="dwithin", distance=own)
    clear = [True] * len(turns)
    for n, link in zip(at.tolist(), which.tolist(), strict=True):
        if link not in {side >> 1 for side in turns[n].sides} and widths_px[link] > FINER * own[n]:
            clear[n] = False
    return clear


class _Lines:
    """Which runs are of one line, by the turns that join them."""

    def __init__(self, runs: list[DashRun]) -> None:
        self._runs = runs
        self._root = list(range(len(runs)))
        self._turns = [0] * len(runs)

    def join(self, one: int, other: int) -> None:
        """Make two runs, or both ends of one, one line."""
        a, b = self.of(one), self.of(other)
        self._root[a] = b
        self._turns[b] += 1 + (self._turns[a] if a != b else 0)

    def of(self, run: int) -> int:
        """The run by which a line is known."""
        while self._root[run] != run:
            run = self._root[run]
        return run

    def members(self, run: int) -> list[int]:
        """The runs of a line."""
        return [one for one in range(len(self._runs)) if self.of(one) == self.of(run)]

    def is_dashed(self, run: int) -> bool:
        """Whether a line is known for a dashed one: by its gaps, or because it closes by its turns."""
        members = self.members(run)
        gaps, turns = sum(len(self._runs[one].gaps_px) for one in members), self._turns[self.of(run)]
        return gaps >= DASHED_GAPS or (turns >= len(members) and gaps + turns > DASHED_GAPS)


def _closing(strokes: Strokes, runs: list[DashRun], ends: list[_End], lines: _Lines, turns: list[Turn]) -> list[Turn]:
    """The last gap of lines that are all but closed, over a tip or a blunt edge."""
    turned = {side for turn in turns for side in turn.sides}
    left: dict[int, list[_End]] = {}
    for end in ends:
        if end.side not in turned:
            left.setdefault(lines.of(end.run), []).append(end)
    found = []
    for line, both in left.items():
        gaps_px = [gap for run in lines.members(line) for gap in runs[run].gaps_px] if len(both) == 2 else []
        if len(gaps_px) >= CLOSING_GAPS:
            far_px = float(np.hypot(*(both[1].at_px - both[0].at_px)))
            if far_px < GAP_SHARE * float(np.median(gaps_px)) + both[0].width_px:
                found.append(Turn((both[0].side, both[1].side), None, far_px))
    return found


def cornered(strokes: Strokes, turns: list[Turn]) -> Strokes:
    """Give the strokes with the two ends of each turn, which has a corner, led there."""
    links = list(strokes.links)
    nodes, kinds = [*strokes.nodes_px], strokes.kinds.tolist()
    for turn in turns:
        corner = len(nodes)
        assert turn.corner_px is not None
        nodes.append(turn.corner_px)
        kinds.append(NodeKind.CORNER)
        for side in turn.sides:
            link = links[side >> 1]
            points = _led_to(towards(link, side), turn.corner_px)
            if side & 1:
                links[side >> 1] = replace(link, end=corner, points_px=points)
            else:
                links[side >> 1] = replace(link, start=corner, points_px=points[::-1])
    used = np.unique(np.array([node for link in links for node in (link.start, link.end)], dtype=np.int64))
    number = {int(node): at for at, node in enumerate(used)}
    links = [replace(link, start=number[link.start], end=number[link.end]) for link in links]
    return Strokes(np.array(nodes)[used], np.array(kinds, dtype=np.uint8)[used], tuple(links))


END_POINTS = 12
"""Points of a line, about 1 px apart, that show which way it ends."""


def _led_to(points: Floats, corner: Floats) -> Floats:
    """Points of a line carried on, or cut short, to end at a corner."""
    # Which way it ends, not which way it leads on the whole: an arc may come around.
    way = points[-1] - points[max(0, len(points) - 1 - END_POINTS)]
    behind = np.flatnonzero((points - corner) @ way < 0)
    kept = points[: behind[-1] + 1] if len(behind) else points[:1]
    count = max(int(np.ceil(np.hypot(*(corner - kept[-1])))), 1)
    part = (np.arange(1, count + 1) / count)[:, None]
    led: Floats = np.concatenate([kept, kept[-1] + part * (corner - kept[-1])])
    led[-1] = corner
    return led
