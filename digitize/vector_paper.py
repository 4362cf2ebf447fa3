"""Squared and ruled paper that a vector page draws under its plan: straight lines evenly spaced over the sheet."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from digitize.own_curve import Floats
from pictures.page_paths import PagePath

ALIKE_RAD = 1e-3
"""Lines of one family run alike within this: over an A4 sheet a third of a millimetre."""

OFF_PITCH = 0.03
"""A line lies on its family's spacing within this part of it: programs round the places they write."""

FIRST_OFF_PITCH = 0.12
"""The same while the spacing is not yet known well: it is fitted again to what lies so near."""

LEAST_LINES = 8
"""Fewer lines than this are drawn ones: a wing's ribs, a hatched face, a ladder of dimensions."""

ON_PITCH = 0.85
"""Part of the lines of one pen and direction that lie on their spacing: of a drawing in the same pen few others do."""

PRESENT = 0.4
"""Part of the places between the first line and the last that have one: every second may be heavier, and so another
pen's."""

LONG_SHARE = 0.3
"""Length of a line, in parts of its family's longest, to be one of it: a drawing interrupts none of them."""

OF_SHEET = 0.5
"""Part of the sheet that a family covers: a lattice that is a part of the plan covers less."""

CROSSING_RAD = np.radians(30)
"""Two families nearer in direction than this are none of squares."""

RULED_LINES, RULED_PALE = 12, 0.5
"""Lines one way only may be a wing's ribs; ruled paper has many, at most this part as dark as the rest."""


@dataclass(frozen=True, slots=True)
class _Family:
    """Evenly spaced lines of one pen: their numbers, direction (0 to pi), spacing and how dark they are (0 to 1)."""

    lines: NDArray[np.int64]
    angle_rad: float
    pitch_px: float
    darkness: float


@dataclass(frozen=True, slots=True)
class PaperLines:
    """A page's paths without those of its paper, how many those were, and how far apart, px, the closest first."""

    paths: list[PagePath]
    count: int
    pitches_px: tuple[float, ...]


def without_paper_lines(paths: Sequence[PagePath], *, sheet_px2: float) -> PaperLines:
    """Leave out the lines of squared or ruled paper.

    Of each pen (width and shade) the straight lines of one direction are a family where nearly all lie at one spacing
    and they cover half the sheet. Families that cross are squared paper; one way only they are ruled paper where they
    are many and pale.

    Parameters
    ----------
    paths : sequence of PagePath
        Each a run of the pen; only whole straight ones can be paper.
    sheet_px2 : float
        Area of the page.
    """
    which = np.array([n for n, path in enumerate(paths) if path.straight.all() and _is_one_line(path)], dtype=np.int64)
    families = _families(paths, which, sheet_px2) if len(which) >= LEAST_LINES else []
    gone: set[int] = set()
    pitches = set()
    for family in families:
        crossed = any(_apart_rad(family.angle_rad, other.angle_rad) > CROSSING_RAD for other in families)
        if crossed or _is_ruled(family, paths):
            gone |= set(family.lines.tolist())
            pitches.add(round(family.pitch_px, 3))
    if len(gone) == len(paths):
        # A lattice and nothing else is what is drawn.
        return PaperLines(list(paths), 0, ())
    kept = [path for number, path in enumerate(paths) if number not in gone]
    return PaperLines(kept, len(gone), tuple(sorted(pitches)))


def _is_one_line(path: PagePath) -> bool:
    """Whether straight pieces go one way."""
    if len(path.straight) == 1:
        return True
    ways = path.controls_px[:, 3] - path.controls_px[:, 0]
    whole = path.controls_px[-1, 3] - path.controls_px[0, 0]
    off = np.abs(ways[:, 0] * whole[1] - ways[:, 1] * whole[0])
    return bool((off <= ALIKE_RAD * (ways @ whole)).all())


def _families(paths: Sequence[PagePath], which: NDArray[np.int64], sheet_px2: float) -> list[_Family]:
    ends = np.array([(paths[n].controls_px[0, 0], paths[n].controls_px[-1, 3]) for n in which.tolist()])
    pens = np.array([(paths[n].width_px, paths[n].shade) for n in which.tolist()])
    way = ends[:, 1] - ends[:, 0]
    angle = np.arctan2(way[:, 1], way[:, 0]) % np.pi
    # A line along the x axis may be read as one of 0 or of all but pi.
    angle = np.where(angle > np.pi - ALIKE_RAD, angle - np.pi, angle)
    bins = np.column_stack([np.round(pens, 3), np.round(angle / ALIKE_RAD)])
    _, of = np.unique(bins, axis=0, return_inverse=True)
    found = []
    for number in np.flatnonzero(np.bincount(of) >= LEAST_LINES).tolist():
        those = np.flatnonzero(of == number)
        family = _family(ends[those], float(np.median(angle[those])), sheet_px2)
        if family is not None:
            mine, pitch_px = family
            found.append(
                _Family(which[those[mine]], float(np.median(angle[those])), pitch_px, 1 - float(pens[those[0], 1]))
            )
    return found


def _family(ends: Floats, angle_rad: float, sheet_px2: float) -> tuple[NDArray[np.int64], float] | None:
    """Which of parallel lines (N, 2, 2) are evenly spaced over the sheet, and their spacing."""
    along, across = np.array([np.cos(angle_rad), np.sin(angle_rad)]), np.array([-np.sin(angle_rad), np.cos(angle_rad)])
    reach = np.sort(ends @ along, axis=1)
    long = reach[:, 1] - reach[:, 0]
    mine = np.flatnonzero(long >= LONG_SHARE * long.max())
    if len(mine) < LEAST_LINES:
        return None
    off = (ends[mine] @ across).mean(axis=1)
    steps = np.diff(np.sort(off))
    steps = steps[steps > OFF_PITCH * np.mean(steps)]
    if len(steps) < LEAST_LINES - 1:
        return None
    # A short step, as heavier lines' places make some twice as long, is fitted anew to all the lines at its multiples.
    pitch = float(np.percentile(steps, 20))
    place = (off - off.min()) / pitch
    for _ in range(3):
        line = np.round(place)
        near = np.abs(place - line) < FIRST_OFF_PITCH
        if np.ptp(line[near]) == 0:
            return None
        pitch, begin = np.polyfit(line[near], off[near], 1).tolist()
        if pitch <= 0:
            return None
        place = (off - begin) / pitch
    on = np.abs(place - np.round(place)) < OFF_PITCH
    lines = np.unique(np.round(place[on]))
    if on.mean() < ON_PITCH or len(lines) < LEAST_LINES or len(lines) < PRESENT * (np.ptp(lines) + 1):
        return None
    area = float(np.ptp(off[on])) * float(np.median(long[mine][on]))
    return (mine[on], pitch) if area >= OF_SHEET * sheet_px2 else None


def _apart_rad(one: float, other: float) -> float:
    turned = abs(one - other) % np.pi
    return float(min(turned, np.pi - turned))


def _is_ruled(family: _Family, paths: Sequence[PagePath]) -> bool:
    if len(family.lines) < RULED_LINES:
        return False
    own = set(family.lines.tolist())
    others = [1 - path.shade for number, path in enumerate(paths) if number not in own]
    return bool(others) and family.darkness <= RULED_PALE * float(np.percentile(others, 75))
