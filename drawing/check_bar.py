"""A bar of known length beside a drawing: measured on what came out, it tells whether the size is right."""

from dataclasses import dataclass

from drawing.path_measures import Bounds
from drawing.paths import Line, Path, Point

BAR_MM = 100.0
"""Long enough that a rule tells half a percent, short enough for the smallest cutter's bed."""

BELOW_MM = 8.0
"""How far below the drawing the bar lies: clear of every part, near enough to come along."""

TICK_MM = 4.0
LETTER_MM = 4.0
LABEL = "100 mm: measure this"


@dataclass(frozen=True, slots=True)
class CheckBar:
    """The bar's lines, where its words begin (lower left, `LETTER_MM` high), and all that is written with it."""

    lines: tuple[Path, ...]
    words_at_mm: Point
    bounds_mm: Bounds


def check_bar(bounds_mm: Bounds) -> CheckBar:
    """Give a bar of `BAR_MM` with a tick at either end, below what lies in the bounds, from its left end on."""
    x_min, y_min, x_max, y_max = bounds_mm
    y = y_min - BELOW_MM
    ends = x_min, x_min + BAR_MM
    lines = [_line((ends[0], y), (ends[1], y))]
    lines += [_line((x, y - TICK_MM / 2), (x, y + TICK_MM / 2)) for x in ends]
    low = y - TICK_MM / 2 - LETTER_MM - 1
    return CheckBar(tuple(lines), (x_min + 1, low), (x_min, low - 1, max(x_max, ends[1]), y_max))


def _line(start: Point, end: Point) -> Path:
    return Path(start, (Line(end),), False)
