"""Straight lines of dashes: which links lie in one line with gaps in it, whatever else their ends meet."""

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from digitize.dashed_lines import is_straight, sides_at
from digitize.link_sizes import link_ends_px, link_lengths_px
from digitize.straight_fit import Straight, fit_straight
from digitize.strokes import Strokes

Floats: TypeAlias = NDArray[np.float64]

SEED_WIDTHS = 6.0
"""A dash at least so long, in line widths, shows where its line runs on."""

ON_WIDTHS, ON_SHARE = 1.0, 0.005
"""A dash lies on the line within this, in line widths and parts of how far the line has been followed."""

ENDS_WIDTHS = 1.5
"""A line that stops at the centre line ends within this of it, in line widths: its pen's half width and the ink's own
that has run together there, where thinning turns the end along it."""


@dataclass(frozen=True, slots=True)
class LineOfDashes:
    """A straight line of dashes: its links, its width, where it lies, and from where to where along it."""

    links: tuple[int, ...]
    width_px: float
    line: Straight
    reach_px: tuple[float, float]

    def along_px(self, points: Floats) -> Floats:
        """Give how far along it points (N, 2) lie."""
        return _along(self.line, points)


def lines_of_dashes(strokes: Strokes, lettering: NDArray[np.bool_]) -> list[LineOfDashes]:
    """Give the straight lines with gaps in them, each gap shorter than the longest dash and a dash that ends free.

    Parameters
    ----------
    strokes : Strokes
        Before any gap is bridged.
    lettering : (L,) array of bool
        Links that are lettering: they are no dashes.
    """
    free = np.array([node for node, sides in sides_at(strokes).items() if len(sides) == 1], dtype=np.int64)
    if len(free) < 2:
        return []
    lengths = np.array(link_lengths_px(strokes))
    widths = np.array([link.width_px for link in strokes.links])
    usable = ~lettering & np.array([link.start != link.end for link in strokes.links])
    straight = [n for n in np.flatnonzero(usable).tolist() if is_straight(strokes.links[n].points_px, widths[n])]
    of = np.array(straight, dtype=np.int64)
    ends = link_ends_px(strokes)[of]
    nodes = np.array([(strokes.links[n].start, strokes.links[n].end) for n in straight], dtype=np.int64).reshape(-1, 2)
    is_free = np.atleast_1d(np.isin(nodes, free).any(axis=1))
    left = np.ones(len(of), dtype=np.bool_)
    found = []
    for seed in np.argsort(-lengths[of], kind="stable").tolist():
        if not (left[seed] and is_free[seed]) or lengths[of[seed]] < SEED_WIDTHS * widths[of[seed]]:
            continue
        members = _in_line(ends, seed, float(widths[of[seed]]))
        left[members] = False
        line = _fitted(ends[members])
        along = np.sort(_along(line, ends[members].reshape(-1, 2)).reshape(-1, 2), axis=1)
        order = np.argsort(along[:, 0])
        along = along[order]
        if (along[1:, 0] - np.maximum.accumulate(along[:-1, 1])).max(initial=0.0) > widths[of[seed]]:
            links = tuple(of[members[order]].tolist())
            found.append(LineOfDashes(links, float(widths[of[seed]]), line, (along[0, 0], float(along[:, 1].max()))))
    return found


def _in_line(ends: Floats, seed: int, width_px: float) -> NDArray[np.int64]:
    """Which of straight links (K, 2, 2), by their ends, are dashes of the line that one of them shows."""
    members = np.array([seed])
    while True:
        line = _fitted(ends[members])
        along = np.sort(_along(line, ends.reshape(-1, 2)).reshape(-1, 2), axis=1)
        reach = float(along[members, 1].max() - along[members, 0].min())
        off = np.abs(line.off(ends.reshape(-1, 2))).reshape(-1, 2).max(axis=1)
        # Where a lens bows it by more than what ends on it may miss it by, it cannot tell what ends on it.
        on = np.flatnonzero(off <= min(ON_WIDTHS * width_px + ON_SHARE * reach, ENDS_WIDTHS * width_px))
        on = on[np.argsort(along[on, 0])]
        # More ink than paper: a gap, its dots included, is shorter than the dashes are.
        most_px = float((along[members, 1] - along[members, 0]).max())
        before = np.maximum.accumulate(along[on, 1])
        parted = np.concatenate([[0], np.cumsum(along[on[1:], 0] - before[:-1] > most_px)])
        more = np.union1d(members, on[parted == parted[np.flatnonzero(on == seed)[0]]]) if seed in on else members
        if len(more) == len(members):
            return members
        members = more


def _fitted(ends: Floats) -> Straight:
    points = ends.reshape(-1, 2)
    return fit_straight(points, np.ones(len(points)))


def _along(line: Straight, points: Floats) -> Floats:
    far: Floats = (points - line.foot(np.zeros(2))) @ line.along
    return far
