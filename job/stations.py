"""Where along a rib its ordinates are taken, and how the outline runs there."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum, auto
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from drawing.lengths import parse_length
from drawing.written_numbers import NUMBER, parse_number
from job.errors import JobError

Floats: TypeAlias = NDArray[np.float64]

USUAL_PERCENT = (0, 1.25, 2.5, 5, 7.5, 10, 15, 20, 25, 30, 40, 50, 60, 70, 80, 90, 95, 100)
"""The stations at which sections have been published since NACA Report 460: close where the nose turns."""

MOST_STATIONS = 1000
"""More is a slip of the unit: nobody lays off a rib by a thousand ordinates."""

WIDEST_NOTCH = 0.15
"""Of the base line: spars and strips take less of a rib; what is wider is the rib's own shape."""

LEAST_NOTCH_DEPTH = 0.006
"""Of the base line: a hollow this shallow is a wave of the drawn line, or the undercamber across a notch's width."""

GRID = 3000
"""Places along the base line at which notches are sought: a 3 mm notch of a 300 mm rib spans thirty."""

FOOT_PART = 0.05
"""Of a notch's depth: where the hollow has come up to this, its wall has ended."""


class Side(Enum):
    """A side of the base line."""

    UPPER = auto()
    LOWER = auto()


@dataclass(frozen=True, slots=True)
class Stations:
    """Where ordinates are taken: at parts of the base line from its leading end, or every so many mm of it."""

    parts: tuple[float, ...] = tuple(percent / 100 for percent in USUAL_PERCENT)
    step_mm: float | None = None

    def along_mm(self, base_mm: float) -> tuple[tuple[float, float | None], ...]:
        """Give each station's place along a base line, mm, and as a part where it was told as one.

        Raises
        ------
        JobError
            When a step does not fit the base line.
        """
        if self.step_mm is None:
            return tuple((part * base_mm, part) for part in self.parts)
        count = math.floor(base_mm / self.step_mm + 1e-9)
        if not 1 <= count <= MOST_STATIONS:
            raise JobError(
                f"A step of {self.step_mm:g} mm makes {count} steps along a base line of {base_mm:.1f} mm; 1 to "
                f"{MOST_STATIONS} are needed: give another step, or a count such as 20."
            )
        stations: list[tuple[float, float | None]] = [(n * self.step_mm, None) for n in range(count + 1)]
        # The trailing end closes the rib, wherever the last step falls.
        return (*stations, (base_mm, 1.0)) if base_mm - stations[-1][0] > 1e-6 * base_mm else tuple(stations)


@dataclass(frozen=True, slots=True)
class Crossing:
    """The outermost place of an outline at a station: y over the base line and the rise of the edge there, per mm."""

    y_mm: float
    slope: float


@dataclass(frozen=True, slots=True)
class Notch:
    """A notch in one side: from where to where along the base line, mm, and the heights of its two shoulders, mm."""

    side: Side
    start_mm: float
    end_mm: float
    start_y_mm: float
    end_y_mm: float

    @property
    def slope(self) -> float:
        """The rise of the straight line from shoulder to shoulder, per mm."""
        return (self.end_y_mm - self.start_y_mm) / (self.end_mm - self.start_mm)

    def bridged_mm(self, at_mm: float) -> float:
        """Give the height of that line at a place along the base line."""
        return self.start_y_mm + self.slope * (at_mm - self.start_mm)


def parse_stations(text: str, *, option: str) -> Stations:
    """Read `20` (equal steps), `5 mm` (a step at full size) or `0 10 25 50 100 %` (of the base line).

    Raises
    ------
    ScantlingError
        In one sentence.
    """
    words = text.replace("%", " % ").replace(",", " ").replace(";", " ").split()
    if "%" in words:
        return Stations(_percents([word for word in words if word != "%"], text, option))
    if text.strip().isdecimal() and text.strip().isascii():
        count = int(text) if len(text.strip()) < 8 else MOST_STATIONS + 1
        if not 1 <= count <= MOST_STATIONS:
            raise JobError(f"{option} asks for {text.strip()} steps; 1 to {MOST_STATIONS} can be had: write 20, say.")
        return Stations(tuple(n / count for n in range(count + 1)))
    length = parse_length(text)
    if length.give_mm is not None:
        raise JobError(f"The step {text.strip()!r} has a give or take; it is taken as it stands: leave that out.")
    return Stations((), length.mm)


def _percents(words: list[str], text: str, option: str) -> tuple[float, ...]:
    import re

    parts = []
    for word in words:
        if not re.fullmatch(NUMBER, word):
            raise JobError(
                f"{option} has {word!r} among its percents; numbers from 0 to 100 are needed: write 0 10 25 50 100 %."
            )
        parts.append(float(parse_number(word)) / 100)
    if not parts or len(parts) > MOST_STATIONS or not all(0 <= part <= 1 for part in parts):
        raise JobError(
            f"{option} has the stations {text.strip()!r}; one or more percents from 0 to 100 are needed: write "
            "0 10 25 50 100 %."
        )
    return tuple(sorted(set(parts)))


def crossings(ring_mm: Floats, at_mm: float) -> dict[Side, Crossing] | None:
    """Give the highest and the lowest place of a closed outline (N, 2) at x = `at_mm`, None where it is not there."""
    start, end = ring_mm, np.roll(ring_mm, -1, axis=0)
    low, high = np.minimum(start[:, 0], end[:, 0]), np.maximum(start[:, 0], end[:, 0])
    meets = np.flatnonzero((low <= at_mm) & (at_mm <= high))
    if not len(meets):
        return None
    a, b = start[meets], end[meets]
    run = b[:, 0] - a[:, 0]
    upright = run == 0
    share = np.where(upright, 0.0, (at_mm - a[:, 0]) / np.where(upright, 1.0, run))
    y = a[:, 1] + share * (b[:, 1] - a[:, 1])
    slope = np.where(upright, np.inf, (b[:, 1] - a[:, 1]) / np.where(upright, 1.0, run))
    # An upright edge has two ends at the station; both are places of the outline.
    y = np.concatenate([y, b[upright, 1]])
    slope = np.concatenate([slope, np.full(int(upright.sum()), np.inf)])
    top, bottom = _outermost(y, slope), _outermost(-y, -slope)
    return {Side.UPPER: top, Side.LOWER: Crossing(-bottom.y_mm, -bottom.slope)}


def _outermost(y: Floats, slope: Floats) -> Crossing:
    """The highest; where two edges meet at it, the flatter one tells the rise."""
    highest = y >= y.max() - 1e-9 * (1 + abs(float(y.max())))
    flattest = np.flatnonzero(highest)[int(np.abs(slope[highest]).argmin())]
    return Crossing(float(y.max()), float(slope[flattest]))


def notches(ring_mm: Floats, base_mm: float) -> tuple[Notch, ...]:
    """Give the notches of an outline whose base line runs from x = 0 to `base_mm`, in order, upper ones first.

    A notch is a hollow in a side that a flat bar `WIDEST_NOTCH` wide would bridge (a closing, as in mathematical
    morphology: Serra 1982); a hollow of the section itself is longer, or shallower than `LEAST_NOTCH_DEPTH`.
    """
    x = np.linspace(0, base_mm, GRID + 1)
    x = x[(x >= ring_mm[:, 0].min()) & (x <= ring_mm[:, 0].max())]
    upper, lower = _envelopes(ring_mm, x)
    found = [*_hollows(x, upper, base_mm, Side.UPPER)]
    found += [
        Notch(Side.LOWER, notch.start_mm, notch.end_mm, -notch.start_y_mm, -notch.end_y_mm)
        for notch in _hollows(x, -lower, base_mm, Side.LOWER)
    ]
    return tuple(found)


def _envelopes(ring_mm: Floats, x: Floats) -> tuple[Floats, Floats]:
    """Give the highest and lowest place of the outline at each x, (M,) each; edge by edge over the places it spans."""
    upper, lower = np.full(len(x), -np.inf), np.full(len(x), np.inf)
    for a, b in zip(ring_mm, np.roll(ring_mm, -1, axis=0), strict=True):
        (x0, y0), (x1, y1) = (a, b) if a[0] <= b[0] else (b, a)
        first, last = np.searchsorted(x, x0, side="left"), np.searchsorted(x, x1, side="right")
        if first >= last:
            continue
        y = np.full(last - first, max(y0, y1)) if x1 == x0 else y0 + (y1 - y0) * (x[first:last] - x0) / (x1 - x0)
        upper[first:last] = np.maximum(upper[first:last], y)
        lower[first:last] = np.minimum(lower[first:last], np.minimum(y, y0) if x1 == x0 else y)
    return upper, lower


def _hollows(x: Floats, height: Floats, base_mm: float, side: Side) -> Sequence[Notch]:
    from scipy.ndimage import grey_closing, label

    width = round(WIDEST_NOTCH * GRID) | 1
    if len(x) <= width:
        return ()
    hollow = grey_closing(height, size=width, mode="nearest") - height
    # Beyond the ends there is nothing to stand on: what the closing fills there is the nose's or the tail's own slope.
    found: list[Notch] = []
    runs, count = label(hollow > LEAST_NOTCH_DEPTH * base_mm)
    for run in range(1, count + 1):
        inside = np.flatnonzero(runs == run)
        foot = FOOT_PART * float(hollow[inside].max())
        first, last = int(inside[0]), int(inside[-1])
        while first > 0 and hollow[first] > foot:
            first -= 1
        while last < len(x) - 1 and hollow[last] > foot:
            last += 1
        if first > 0 and last < len(x) - 1 and (not found or x[first] >= found[-1].end_mm):
            found.append(Notch(side, float(x[first]), float(x[last]), float(height[first]), float(height[last])))
    return found
