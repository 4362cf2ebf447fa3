"""Whether a drawn line has the shape of a break line: straight with a sharp zigzag in it, or waved by a free hand."""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

import cv2
import numpy as np

from digitize.runs import Floats


class Manner(StrEnum):
    """The two kinds of break line of ISO 128-2: the continuous narrow line with zigzags, and the freehand one."""

    ZIGZAG = "zigzag"
    FREEHAND = "freehand"


@dataclass(frozen=True, slots=True)
class Shape:
    """A break line, picture px: (N, 2) points, from one end of its straight way to the other."""

    manner: Manner
    points_px: Floats
    width_px: float

    @property
    def start_px(self) -> Floats:
        """One end."""
        first: Floats = self.points_px[0]
        return first

    @property
    def end_px(self) -> Floats:
        """The other."""
        last: Floats = self.points_px[-1]
        return last

    @property
    def length_px(self) -> float:
        """How far apart both ends are."""
        return float(np.hypot(*(self.end_px - self.start_px)))


BROKEN_WIDTHS = 0.6
"""Bends that stray less from a straight line, in line widths, are the ink's: a zigzag's teeth are some ten widths."""

LEAST_BROKEN_PX = 0.8
"""A line's points wander by so much, however thin it is: the middle of ink is told to a fraction of a px."""

ONE_BEND_WIDTHS = 4.0
"""A tooth rounded by blur or pen turns in two steps this near to each other, in line widths."""

TURN_DEG, SHARP_DEG, BACK_DEG = 35.0, 70.0, 100.0
"""A zigzag leaves and joins its line at more than the first, turns about at its peaks by more than the second (those of
the standard's turn by 120 to 150), and where it has no peaks but only slants back, by more than the third: steps and
tabs turn by a right angle."""

MOST_TURNS = 6
"""A zigzag has two to four; more in a row are waves, hatching or lettering."""

PARALLEL_DEG = 15.0
"""Both straight sides of a zigzag go one way; a side of some widths shows its direction no better."""

LEAST_SIDE_WIDTHS, LEAST_SIDE_SHARE = 3.0, 0.3
"""The straight sides are at least this long, in line widths and as part of the zigzag between them."""

MOST_ZIGZAG_WIDTHS = 60.0
"""A zigzag takes at most this much of its line, in line widths: 15 mm of a thin line of 0.25 mm."""

PEAK_WIDTHS = 1.5
"""A zigzag reaches this far to both sides of its line, in line widths; a notch, a tooth or a step to one."""

ASIDE_WIDTHS = 2.0
"""Its sides are one line to within this, in line widths."""


def bends(points_px: Floats, width_px: float) -> tuple[list[int], Floats]:
    """Which points of a line are the corners of the polygon it amounts to, and its turn at each, degrees."""
    broken = cv2.approxPolyDP(
        points_px.astype(np.float32)[:, None], max(BROKEN_WIDTHS * width_px, LEAST_BROKEN_PX), False
    )[:, 0]
    at = [0]
    for corner in broken[1:]:
        far = np.abs(points_px[at[-1] + 1 :] - corner).sum(axis=1)
        if len(far):
            at.append(at[-1] + 1 + int(far.argmin()))
    if at[-1] != len(points_px) - 1:  # the last of a closed line is left out, being its first
        at.append(len(points_px) - 1)
    # Straight on is no bend, and a tooth's blunt tip is one.
    for _ in range(len(at)):
        turns = _turns_deg(points_px[at])
        slight = [n for n in range(1, len(at) - 1) if abs(turns[n]) < PARALLEL_DEG]
        blunt = [
            n
            for n in range(1, len(at) - 2)
            if turns[n] * turns[n + 1] > 0
            and np.hypot(*(points_px[at[n + 1]] - points_px[at[n]])) < ONE_BEND_WIDTHS * width_px
        ]
        if slight:
            del at[min(slight, key=lambda n: abs(turns[n]))]
        elif blunt:
            at[blunt[0] : blunt[0] + 2] = [(at[blunt[0]] + at[blunt[0] + 1]) // 2]
        else:
            break
    return at, _turns_deg(points_px[at])


def zigzags(points_px: Floats, at: list[int], turns: Floats, width_px: float) -> Iterator[Shape]:
    """Give every stretch of a line that is straight, sharply zigzags and goes on straight in its first direction.

    `at` and `turns` are the line's own `bends`.
    """
    for first in range(1, len(at) - 2):
        for last in range(first + 1, min(first + MOST_TURNS, len(at) - 1)):
            if np.abs(turns[first : last + 1]).min() < TURN_DEG:
                break
            if (turns[first:last] * turns[first + 1 : last + 1] >= 0).any():
                break
            if _is_zigzag(points_px[at], turns, first, last, width_px):
                yield Shape(Manner.ZIGZAG, points_px[at[first - 1] : at[last + 1] + 1], width_px)


def _turns_deg(corners_px: Floats) -> Floats:
    ways = np.diff(corners_px, axis=0)
    heading = np.degrees(np.arctan2(ways[:, 1], ways[:, 0]))
    inner = (np.diff(heading) + 180) % 360 - 180
    return np.concatenate([[0.0], inner, [0.0]]) if len(inner) else np.zeros(len(corners_px))


def _is_zigzag(corners_px: Floats, turns: Floats, first: int, last: int, width_px: float) -> bool:
    """Whether the corners from one to another are a zigzag between two sides that are straight and go one way."""
    before, after = corners_px[first] - corners_px[first - 1], corners_px[last + 1] - corners_px[last]
    across = corners_px[last] - corners_px[first]
    spread_px = float(np.hypot(*across))
    sides_px = [float(np.hypot(*side)) for side in (before, after)]
    if min(sides_px) < max(LEAST_SIDE_WIDTHS * width_px, LEAST_SIDE_SHARE * spread_px):
        return False
    size_px = float(np.hypot(*np.ptp(corners_px[first : last + 1], axis=0)))
    if size_px > MOST_ZIGZAG_WIDTHS * width_px:
        return False
    before, after = before / sides_px[0], after / sides_px[1]
    if before @ after < np.cos(np.radians(PARALLEL_DEG)):
        return False
    bends = np.abs(turns[first : last + 1])
    if len(bends) == 2:
        return bool(bends.min() > BACK_DEG)
    chord = corners_px[last + 1] - corners_px[first - 1]
    off_px = _off_px(corners_px[first : last + 1], corners_px[first - 1], chord)
    if max(abs(off_px[0]), abs(off_px[-1])) > ASIDE_WIDTHS * width_px:
        return False
    reach_px = PEAK_WIDTHS * width_px
    return bool(off_px.max() > reach_px and off_px.min() < -reach_px and (bends > SHARP_DEG).sum() >= 2)


def _off_px(points_px: Floats, origin_px: Floats, way: Floats) -> Floats:
    """How far points lie to one side of a line."""
    away = points_px - origin_px
    off: Floats = (way[0] * away[:, 1] - way[1] * away[:, 0]) / np.hypot(*way)
    return off


LEAST_WAVES = 4
"""A wave swings to alternate sides at least so often: a bowed line thrice about the line nearest it, and so does a
notched one."""

LEAST_WAVE_WIDTHS = 12.0
"""A wave shorter than this, in line widths, is lettering's."""

SWING_WIDTHS = 0.6
"""It swings at least this far to each side, in line widths: a ruled line's ripple is a tenth."""

EVEN = 0.35
"""The least of the swings that count is at least this part of the largest: an edge's corner swings far
once."""

MOST_SWING = 0.3
"""From side to side it swings by at most this part of its length."""

MOST_WAY = 1.9
"""Its way is at most this many times its length."""

MOST_LEAN_DEG, LEAN_WIDTHS = 68.0, 3.0
"""Nowhere over so many line widths does a wave lean more to its chord: the sides of notches stand square to it."""

STEP_WIDTHS = 0.5


def is_wave(points_px: Floats, width_px: float) -> bool:
    """Whether a line goes one way on the whole, and swings alternately to both sides of its chord."""
    chord = points_px[-1] - points_px[0]
    length_px = float(np.hypot(*chord))
    if length_px < LEAST_WAVE_WIDTHS * width_px:
        return False
    far_px = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points_px, axis=0).T))])
    if far_px[-1] > MOST_WAY * length_px:
        return False
    even = np.linspace(0, far_px[-1], int(far_px[-1] / (STEP_WIDTHS * width_px)) + 2)
    places = np.column_stack([np.interp(even, far_px, points_px[:, axis]) for axis in (0, 1)])
    along, off_px = (places - points_px[0]) @ chord / length_px, _off_px(places, points_px[0], chord)
    off_px = off_px - np.polyval(np.polyfit(along, off_px, 1), along)
    steps = int(LEAN_WIDTHS / STEP_WIDTHS)
    lean = np.diff(along[::steps]) / np.hypot(*np.diff(places[::steps], axis=0).T)
    if np.ptp(off_px) > MOST_SWING * length_px or lean.min() < np.cos(np.radians(MOST_LEAN_DEG)):
        return False
    swings_px = sorted(_swings_px(off_px, SWING_WIDTHS * width_px))
    return len(swings_px) >= LEAST_WAVES and swings_px[-LEAST_WAVES] >= EVEN * swings_px[-1]


def _swings_px(off_px: Floats, least_px: float) -> list[float]:
    """How far a line swings out, to alternate sides in turn, where by at least so much."""
    out = off_px[np.abs(off_px) >= least_px]
    turns = np.flatnonzero(np.diff(np.sign(out))) + 1
    return [float(np.abs(swing).max()) for swing in np.split(out, turns) if len(swing)]
