"""The picture with what was given drawn on it, and how far each is off drawn large."""

import math
import string
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from calibration.adjustment import Seen, Shown
from calibration.calibration import Given, Observed
from calibration.plane_map import Floats
from report.embedded import EmbeddedPicture, embedded
from report.facts import ReportFacts
from report.plan_figure import LONGEST_PX

# The longest arrow is at most this share of the picture's longer side.
LONGEST_ARROW = 0.1

# A shorter arrow is all head and looks larger than it is; it is left out.
SHORTEST_ARROW = 0.012

# The same of a line's bow, which runs along a line already drawn; and where along it its letter stands.
LONGEST_BOW, LETTER_AT = 0.03, 0.12

# A line that keeps within a quarter of a px is straight; drawn as large as one that bows it would look like a fault.
STRAIGHT_PX = 0.25

# Rings around numbers are 2/75 of the picture's longer side across; nearer than this they would overlap.
NUMBERS_APART = 0.03

# When all residuals are below this no arrow is drawn at all: a fit through one length leaves none.
SHOWN_MM = 0.005


_STYLES = {
    Given.KNOWN: "known",
    Given.SIDE: "side",
    Given.CHECK: "check",
    Given.SCALE: "trusted",
    Given.CARD: "side",
}


@dataclass(frozen=True, slots=True)
class GivenLine:
    """One given length in the picture: a line, its number in the table, and an arrow from its end.

    All in px of the whole picture from its outer upper-left corner, y down. `arrow` is where the
    arrow's tip lies: beyond the end when the length comes out longer, short of it when shorter; None when it
    fits, or is off by too little beside the others.
    """

    number: int
    style: str
    start: tuple[float, float]
    end: tuple[float, float]
    at: tuple[float, float]
    arrow: tuple[float, float] | None


@dataclass(frozen=True, slots=True)
class PlaceArrow:
    """From a given corner to where all the rest puts it, `times` too long; px as in `GivenLine`."""

    start: tuple[float, float]
    end: tuple[float, float]


@dataclass(frozen=True, slots=True)
class BowedLine:
    """A line that was taken for straight: its letter in the table, its chord, and how it lies off a straight line.

    `bow` is a polyline (N, 2) that leaves the chord `bow_times` too far.
    """

    letter: str
    start: tuple[float, float]
    end: tuple[float, float]
    at: tuple[float, float]
    bow: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class ScaleFigure:
    """The picture, what was given on it, and how many times larger than true arrows and bows are."""

    picture: EmbeddedPicture
    lines: tuple[GivenLine, ...]
    times: int
    places: tuple[PlaceArrow, ...] = ()
    bowed: tuple[BowedLine, ...] = ()
    bow_times: int = 1
    most_bow_px: float = 0.0


def scale_figure(facts: ReportFacts) -> ScaleFigure:
    """Draw what was given over the picture as it was read."""
    picture = facts.picture
    observed = facts.calibration.observed
    longest_px = max(picture.width_px, picture.height_px)
    adjustment = facts.calibration.adjustment
    rows = () if adjustment is None else adjustment.observations
    corners = [row for row in rows if row.seen is Seen.CORNER]
    offs_px = [abs(_residual_px(length)) for length in observed if _is_shown(length)]
    offs_px += [row.residual_px for row in corners if row.residual_px is not None]
    times = _times(offs_px, LONGEST_ARROW * longest_px)
    lines: list[GivenLine] = []
    for number, length in enumerate(observed, start=1):
        line = _line(number, length, times, SHORTEST_ARROW * longest_px)
        apart = NUMBERS_APART * longest_px
        free = (at for at in _places(line) if all(math.dist(at, other.at) > apart for other in lines))
        lines.append(replace(line, at=next(free, line.at)))
    straight = [row.shown for row in rows if row.seen is Seen.LINE and row.shown is not None]
    most_bow_px = max((float(np.hypot(*shown.off_px.T).max()) for shown in straight), default=0.0)
    bow_times = _times([max(most_bow_px, STRAIGHT_PX)], LONGEST_BOW * longest_px)
    places = (_place(row.shown, times) for row in corners if row.shown is not None)
    return ScaleFigure(
        embedded(picture.grey, longest_px=LONGEST_PX),
        tuple(lines),
        times,
        tuple(place for place in places if math.dist(place.start, place.end) >= SHORTEST_ARROW * longest_px),
        tuple(_bowed(shown, letter, bow_times) for shown, letter in zip(straight, line_letters(), strict=False)),
        bow_times,
        most_bow_px,
    )


def line_letters() -> str:
    """Give the letters of the lines taken for straight, in the order of the table."""
    return string.ascii_uppercase + string.ascii_lowercase


def style_of(length: Observed) -> str:
    """Give how a length is drawn: `known`, `side`, `check`, `trusted`, or `left-out` for what disagreed too much."""
    if not length.used and length.kind is not Given.CHECK:
        return "left-out"
    return _STYLES[length.kind]


def _times(offs_px: list[float], longest_px: float) -> int:
    """How many times too large offsets are drawn so that none is longer than that: 1, 2 or 5 times a power of ten."""
    largest_px = max(offs_px, default=0.0)
    if largest_px == 0:
        return 1
    most = longest_px / largest_px
    if most < 2:
        return 1
    power = int(10 ** math.floor(math.log10(most)))
    return max(step for step in (1, 2, 5) if step * power <= most) * power


def _line(number: int, length: Observed, times: int, shortest_px: float) -> GivenLine:
    # A pixel's centre is a whole number in the picture frame, its outer corner half a pixel before.
    start = (length.start_px[0] + 0.5, length.start_px[1] + 0.5)
    end = (length.end_px[0] + 0.5, length.end_px[1] + 0.5)
    middle = ((start[0] + end[0]) / 2, (start[1] + end[1]) / 2)
    arrow = None
    if _is_shown(length) and abs(_residual_px(length)) * times >= shortest_px:
        far = math.dist(start, end)
        share = _residual_px(length) * times / far
        arrow = (end[0] + (end[0] - start[0]) * share, end[1] + (end[1] - start[1]) * share)
    return GivenLine(number, style_of(length), start, end, middle, arrow)


def _place(shown: Shown, times: int) -> PlaceArrow:
    (x, y), (dx, dy) = shown.points_px[0] + 0.5, -times * shown.off_px[0]
    return PlaceArrow((float(x), float(y)), (float(x + dx), float(y + dy)))


def _bowed(shown: Shown, letter: str, times: int) -> BowedLine:
    """The straight line is drawn where its points lie less what they are off it."""
    on = shown.points_px - shown.off_px + 0.5
    start, end = on[0], on[-1]
    t = (on - start) @ (end - start) / float((end - start) @ (end - start))
    bow = start + t[:, None] * (end - start) + times * shown.off_px
    # Beside the middle, where a length given along the same line has its number.
    at = start + LETTER_AT * (end - start)
    return BowedLine(letter, _pair(start), _pair(end), _pair(at), tuple(_pair(place) for place in bow))


def _pair(place: Floats) -> tuple[float, float]:
    return float(place[0]), float(place[1])


def _places(line: GivenLine) -> Iterator[tuple[float, float]]:
    """Where on a line its number may stand, the middle first."""
    (x0, y0), (x1, y1) = line.start, line.end
    for along in (0.5, 0.38, 0.62, 0.26, 0.74):
        yield x0 + along * (x1 - x0), y0 + along * (y1 - y0)


def _is_shown(length: Observed) -> bool:
    return (
        math.isfinite(length.residual_mm)
        and abs(length.residual_mm) >= SHOWN_MM
        and length.fitted_mm > 0
        and length.start_px != length.end_px
    )


def _residual_px(length: Observed) -> float:
    """The residual in px along its own line, where mm and px are in proportion near enough for an arrow."""
    return length.residual_mm / length.fitted_mm * math.dist(length.start_px, length.end_px)
