"""Runs of dashes: pieces of line by themselves that follow one another over gaps, whichever way they lead."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from digitize.dashed_lines import over_gaps, sides_at
from digitize.facing_ends import Side, facing_pairs, towards
from digitize.link_sizes import link_lengths_px
from digitize.strokes import DASHED_GAPS, Link, Strokes

DASH_BOW = 0.2
"""A dash of a curve bows by less than this, in parts of its length; a C bows by half of it."""


@dataclass(frozen=True, slots=True)
class DashRun:
    """Pieces in their order, each by its links, the gaps between them in px, and the two ends; none of a closed run."""

    pieces: tuple[tuple[int, ...], ...]
    gaps_px: tuple[float, ...]
    ends: tuple[Side, ...]

    @property
    def is_closed(self) -> bool:
        """Whether it comes back to where it began."""
        return not self.ends


def dash_runs(strokes: Strokes, pairs: Sequence[tuple[Side, Side]]) -> list[DashRun]:
    """Give the runs of pieces that ends facing each other make, single pieces too.

    Parameters
    ----------
    strokes : Strokes
        Before any gap is bridged.
    pairs : list of (Side, Side)
        Ends that face each other over a gap.
    """
    over = over_gaps(pairs)
    pieces = _pieces(strokes)
    runs = []
    seen: set[Side] = set()
    for begin in pieces:
        if begin in seen:
            continue
        ahead, last = _led(begin, pieces, over)
        if over.get(last) == begin:
            sides, ends = ahead, tuple[Side, ...]()
        else:
            back, first = _led(pieces[begin][1], pieces, over)
            # Backwards each piece is entered by its other end; the first of them is the one begun with.
            sides = [*(pieces[side][1] for side in reversed(back[1:])), *ahead]
            ends = (first, last)
        seen |= {one for side in sides for one in (side, pieces[side][1])}
        entered = [*sides[1:], *([] if ends else sides[:1])]
        gaps = tuple(_apart_px(strokes, over[side], side) for side in entered)
        runs.append(DashRun(tuple(pieces[side][0] for side in sides), gaps, ends))
    return runs


def bent_dashes(strokes: Strokes) -> set[int]:
    """Give the links of dashed lines that may bend: three gaps or more between dashes that hardly do, or all around.

    Lettering has no such thing; a piece with a corner in it may be a letter, and counts where its line closes alone.
    """
    pairs = facing_pairs(strokes)
    if not pairs:
        return set()
    found: set[int] = set()
    for run in dash_runs(strokes, pairs):
        if run.is_closed and len(run.gaps_px) >= DASHED_GAPS:
            found |= {link for piece in run.pieces for link in piece}
            continue
        streak: list[int] = []
        for piece in [*run.pieces, ()]:
            if len(piece) == 1 and is_dash(strokes.links[piece[0]]):
                streak += piece
                continue
            found |= set(streak) if len(streak) > DASHED_GAPS else set()
            streak = []
    return found


def is_dash(link: Link) -> bool:
    """Tell whether a line hardly bends."""
    points = link.points_px
    chord = points[-1] - points[0]
    aside = (points[:, 0] - points[0, 0]) * chord[1] - (points[:, 1] - points[0, 1]) * chord[0]
    return bool(np.abs(aside).max() < DASH_BOW * float(chord @ chord))


def piece_px(strokes: Strokes, piece: tuple[int, ...]) -> float:
    """Give a piece's length."""
    return float(sum(link_lengths_px(strokes)[link] for link in piece))


def _pieces(strokes: Strokes) -> dict[Side, tuple[tuple[int, ...], Side]]:
    """For each free end of a piece with two of them and no junction: its links from there, and its other end."""
    at = sides_at(strokes)
    found: dict[Side, tuple[tuple[int, ...], Side]] = {}
    for sides in at.values():
        if len(sides) > 1 or sides[0] in found:
            continue
        begin = side = sides[0]
        links = [side >> 1]
        while True:
            link = strokes.links[side >> 1]
            here = [one for one in at[link.start if side & 1 else link.end] if one >> 1 != side >> 1]
            if len(here) != 1 or here[0] >> 1 in links:
                break
            side = here[0]
            links.append(side >> 1)
        if not here:
            found[begin] = tuple(links), side ^ 1
            found[side ^ 1] = tuple(links[::-1]), begin
    return found


def _led(
    begin: Side, pieces: dict[Side, tuple[tuple[int, ...], Side]], over: dict[Side, Side]
) -> tuple[list[Side], Side]:
    """The ends by which pieces are entered from one on, and the last piece's other end."""
    sides = [begin]
    while True:
        far = pieces[sides[-1]][1]
        onward = over.get(far)
        if onward is None or onward not in pieces or onward == begin:
            return sides, far
        sides.append(onward)


def _apart_px(strokes: Strokes, a: Side, b: Side) -> float:
    one, other = (towards(strokes.links[side >> 1], side)[-1] for side in (a, b))
    return float(np.hypot(*(other - one)))
