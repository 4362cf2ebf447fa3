"""Lines that a person says are straight on the paper: measured along their ink, whatever the lens makes of them."""

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from calibration.observations import DRAUGHTING_MM, StraightLine
from digitize.link_sizes import link_bounds_px
from digitize.strokes import Strokes
from drawing.findings import Finding, Level
from job.job import GivenStraight

Floats: TypeAlias = NDArray[np.float64]

MOST_BOW = 0.03
"""How far a straight line may bow in a picture, as part of its length: a strong phone lens bows one by 1-2 %."""

NEAR_WIDTHS = 1.0
"""Points this near the line sought, in line widths, may be of it: hands slip, and the curve is not found yet."""

ON_WIDTHS = 0.5
"""Points of the line itself lie within this of its curve, in line widths; of a line beside it they do not."""

ENDS_WIDTHS = 3.0
"""The line found must pass the marks this near, in line widths: one that does not is another line."""

MOST_SLANT = np.tan(np.radians(12))
"""Lines that cross are steeper to it than this; a line with the largest bow leaves its chord by 7 degrees."""

CLEAR_WIDTHS = 1.5
"""Ink of other lines pulls the middle aside this near to a node, in line widths."""

STRETCHES = 24
"""Points given a line, each the middle of a stretch: 10-20 are enough for a lens."""

LEAST_STRETCHES = 8
"""Of those, how many must have ink on the line: a third, well spread, tells a bow; a dashed line has half."""

LEAST_SIGMA_PX = 0.05
"""What a point is off however well its line is measured: the ripple of paper, pen and lens."""


def straight_lines(
    straights: tuple[GivenStraight, ...], strokes: Strokes, *, full_per_paper: float
) -> tuple[tuple[StraightLine, ...], tuple[Finding, ...]]:
    """Give what was found in the ink of every line, and a note for each that no drawn line runs along."""
    if not straights:
        return (), ()
    lines: list[StraightLine] = []
    notes: list[Finding] = []
    ink = clear_ink(strokes)
    for number, straight in enumerate(straights, 1):
        label = f"straight line {number}"
        found = points_along(ink, np.array(straight.start.at_px), np.array(straight.end.at_px))
        if found is None:
            notes.append(_no_ink(label, straight))
            continue
        points_px, sigma_px = found
        lines.append(StraightLine(points_px, sigma_px, label, DRAUGHTING_MM * full_per_paper))
    return tuple(lines), tuple(notes)


@dataclass(frozen=True, slots=True, eq=False)
class ClearInk:
    """Points along the middle of drawn lines, each line's own in order, without those that other ink pulls aside; px.

    Of N points: where, how many points (0 or 1) their line has just before and after, its width, one sigma across it,
    and its number. Of every line, with clear points or not: its corners, (L, 2).
    """

    points_px: Floats
    before: NDArray[np.int64]
    after: NDArray[np.int64]
    width_px: Floats
    sigma_px: Floats
    line: NDArray[np.int64]
    lows_px: Floats
    highs_px: Floats

    def of(self, lines: NDArray[np.bool_]) -> "ClearInk":
        """Give the points of some of the lines, told by (L,) marks; the lines keep their numbers."""
        # Few are kept: their numbers take a fifth of the time that marks on all do.
        kept = np.flatnonzero(lines[self.line])
        return replace(
            self,
            points_px=self.points_px[kept],
            before=self.before[kept],
            after=self.after[kept],
            width_px=self.width_px[kept],
            sigma_px=self.sigma_px[kept],
            line=self.line[kept],
        )


def clear_ink(strokes: Strokes) -> ClearInk:
    """Give the points of all lines that are clear of their lines' ends."""
    links = strokes.links
    lows_px, highs_px = np.hsplit(link_bounds_px(strokes), 2)
    widths, sigmas = (np.array(values) for values in ([k.width_px for k in links], [k.sigma_px for k in links]))
    points = np.concatenate([np.empty((0, 2)), *(link.points_px for link in links)])
    line = np.repeat(np.arange(len(links)), [len(link.points_px) for link in links])
    first, last = _first_and_last(line)
    far = np.concatenate([np.zeros(min(1, len(points))), np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    clear_px = CLEAR_WIDTHS * widths[line]
    kept = (far - far[first] >= clear_px) & (far[last] - far >= clear_px)
    points, line = points[kept], line[kept]
    kept = np.bincount(line, minlength=len(links))[line] > 1
    points, line = points[kept], line[kept]
    first, last = _first_and_last(line)
    at = np.arange(len(line))
    before, after = np.minimum(at - first, 1), np.minimum(last - at, 1)
    return ClearInk(points, before, after, widths[line], sigmas[line], line, lows_px, highs_px)


def _first_and_last(line: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Where the first and the last point of each point's own line stand."""
    return np.searchsorted(line, line, side="left"), np.searchsorted(line, line, side="right") - 1


def points_along(ink: ClearInk, start_px: Floats, end_px: Floats) -> tuple[Floats, float] | None:
    """Give points of the drawn line that runs from one place to another, in order, and one sigma across it.

    The line may bow, be broken, and be crossed; where two lie side by side it is the one nearer both ends.

    Returns
    -------
    (N, 2) array of float and float, or None
        Picture px. None where no drawn line runs there.
    """
    chord = end_px - start_px
    length_px = float(np.hypot(*chord))
    along = chord / length_px
    across = np.array([-along[1], along[0]])
    low_px, high_px = np.minimum(start_px, end_px), np.maximum(start_px, end_px)
    near = (ink.highs_px >= low_px - MOST_BOW * length_px) & (ink.lows_px <= high_px + MOST_BOW * length_px)
    some = np.flatnonzero(np.all(near, axis=1)[ink.line])
    away = ink.points_px[some] - start_px
    place = np.column_stack([away @ along, away @ across])
    at, before, after = np.arange(len(some)), ink.before[some], ink.after[some]
    steps = (place[at + after] - place[at - before]) / (before + after)[:, None]
    gentle = np.abs(steps[:, 1]) <= MOST_SLANT * np.abs(steps[:, 0])
    place, width_px, sigma_px = place[gentle], ink.width_px[some[gentle]], ink.sigma_px[some[gentle]]
    inside = (place[:, 0] >= 0) & (place[:, 0] <= length_px) & (np.abs(place[:, 1]) <= MOST_BOW * length_px + width_px)
    t, off_px, width_px, sigma_px = place[inside, 0] / length_px, place[inside, 1], width_px[inside], sigma_px[inside]
    if len(t) < LEAST_STRETCHES:
        return None
    on = _on_one_curve(t, off_px, width_px, length_px)
    stretch = np.minimum((t * STRETCHES).astype(int), STRETCHES - 1)
    held = np.unique(stretch[on])
    if len(held) < LEAST_STRETCHES:
        return None
    order = np.flatnonzero(on)[np.argsort(stretch[on], kind="stable")]
    cuts = [*np.searchsorted(stretch[order], held).tolist(), len(order)]
    t, off_px = t[order], off_px[order]
    middle = np.array([[t[a:b].mean(), off_px[a:b].mean()] for a, b in pairwise(cuts)])
    points_px = start_px + middle[:, :1] * chord + middle[:, 1:] * across
    return points_px, max(float(np.median(sigma_px[on])), LEAST_SIGMA_PX)


def _on_one_curve(t: Floats, off_px: Floats, width_px: Floats, length_px: float) -> NDArray[np.bool_]:
    """Which points lie on one gentle curve between the marks: the bow that most points share, then their own cubic."""
    width = float(np.median(width_px))
    shape = 4 * t * (1 - t)
    step_px = max(NEAR_WIDTHS * width / 2, 0.25)
    bows = np.arange(-MOST_BOW * length_px, MOST_BOW * length_px + step_px, step_px)
    counts = _points_near(bows, shape, off_px, NEAR_WIDTHS * width_px)
    # Among bows with nearly as many points the middle one, which has the line in the middle of what it takes.
    best = np.flatnonzero(counts >= 0.95 * counts.max())
    on: NDArray[np.bool_] = np.abs(off_px - bows[best[len(best) // 2]] * shape) <= NEAR_WIDTHS * width_px
    for _ in range(4):
        if len(np.unique(t[on])) < LEAST_STRETCHES:
            return np.zeros(len(t), dtype=bool)
        curve = np.polynomial.polynomial.polyfit(t[on], off_px[on], 3)
        if np.abs(np.polynomial.polynomial.polyval(np.array([0, 1]), curve)).max() > ENDS_WIDTHS * width:
            return np.zeros(len(t), dtype=bool)
        before, on = on, np.abs(off_px - np.polynomial.polynomial.polyval(t, curve)) <= ON_WIDTHS * width_px
        if (on == before).all():
            break
    return on


def _points_near(bows: Floats, shape: Floats, off_px: Floats, near_px: Floats) -> NDArray[np.int64]:
    """How many points lie near each bow's curve: each point is so for the bows from one to another, in their order."""
    bent = shape > 0
    first = np.searchsorted(bows, (off_px - near_px)[bent] / shape[bent], side="left")
    last = np.searchsorted(bows, (off_px + near_px)[bent] / shape[bent], side="right")
    changes = np.bincount(first, minlength=len(bows) + 1) - np.bincount(last, minlength=len(bows) + 1)
    return np.cumsum(changes)[:-1] + np.count_nonzero(np.abs(off_px[~bent]) <= near_px[~bent])


def _no_ink(label: str, straight: GivenStraight) -> Finding:
    (x0, y0), (x1, y1) = straight.start.at_px, straight.end.at_px
    return Finding(
        "straight-without-ink",
        Level.NOTE,
        label,
        f"No drawn line runs from {x0:.0f},{y0:.0f} to {x1:.0f},{y1:.0f}, so nothing was taken from it; "
        "put both marks on one drawn line.",
    )
