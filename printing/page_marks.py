"""What every page carries beside the plan: joints with their marks, check bars, words, the stamp.

All of it lies inside the printable area. Bars and words lie in the band around the core, where whatever
they cover of the plan also shows on the neighbouring page.
"""

import math
from dataclasses import dataclass
from enum import Enum, auto

from drawing.paths import Point
from drawing.units import MM_PER_INCH
from printing.content import Box
from printing.pen import BLACK, RED, WHITE, Face, Pen, text_width_mm
from printing.setup import BAND_MM, PageSetup

# A mark: a tick across the joint, which shows slide, between two 45 degree lines of opposite slope that
# cross the joint 6 mm apart, which show gap and lap.
TICK_REACH_MM = 4.3
SLOPE_REACH_MM = 2.5
SLOPE_FROM_TICK_MM = 3.0
_MARK_REACH_MM = SLOPE_FROM_TICK_MM + SLOPE_REACH_MM
MARK_STROKES_MM = (
    ((0.0, -TICK_REACH_MM), (0.0, TICK_REACH_MM)),
    ((-_MARK_REACH_MM, SLOPE_REACH_MM), (SLOPE_REACH_MM - SLOPE_FROM_TICK_MM, -SLOPE_REACH_MM)),
    ((_MARK_REACH_MM, SLOPE_REACH_MM), (SLOPE_FROM_TICK_MM - SLOPE_REACH_MM, -SLOPE_REACH_MM)),
)
"""A mark's three strokes as (along, across) the joint; the middle of each lies on it."""
# From the core's corner, so that the marks of two sides keep clear of each other; on A4 two marks are then
# 167 mm apart or more and leave room for a bar of 150 mm between.
MARK_FROM_CORNER_MM = 10.5
# On sheets larger than A3 a third mark and more, no farther apart than this.
MARKS_APART_MM = 450.0

LONGEST_BAR_MM = 150.0
_BAR_STEP_MM = 10.0
_BAR_CLEAR_MM = 2.0
# A bar's middle line lies this far inside the printable edge; the longest tick reaches this far from it.
_BAR_LINE_MM = 2.4
_BAR_REACH_MM = 1.8
_BAR_TICK_MM = {10: 1.8, 5: 1.3, 1: 0.8}
_BAR_EIGHTHS_MM = {8: 1.8, 4: 1.3, 1: 0.8}
# The words may take this share out of a bar's middle.
_BAR_WORDS_SHARE = 0.55

LINE_MM = 0.18
_HALO_MM = 0.9
WORDS_MM = 2.3
# Less and letters touch the plan's lines; more hides more of the plan than reading needs.
_WORDS_CLEAR_MM = 0.8
LABEL_MM = 4.2


class Side(Enum):
    """A page's sides."""

    LEFT = auto()
    RIGHT = auto()
    TOP = auto()
    BOTTOM = auto()

    @property
    def upright(self) -> bool:
        """Whether the side runs up the page."""
        return self in (Side.LEFT, Side.RIGHT)

    @property
    def is_cut(self) -> bool:
        """Whether a joint on this side is cut: each page lies over the ones to its left and above."""
        return self in (Side.LEFT, Side.TOP)


@dataclass(frozen=True, slots=True)
class Frame:
    """A page's areas, mm from its lower-left corner."""

    page_mm: tuple[float, float]
    margin_mm: float
    band_mm: float

    @staticmethod
    def of(setup: PageSetup, page_mm: tuple[float, float]) -> "Frame":
        """Give the frame of a page of a setup."""
        return Frame(page_mm, setup.margin_mm, setup.band_mm)

    @property
    def core_mm(self) -> Box:
        """The core's box on the page."""
        inset = self.margin_mm + self.band_mm
        return inset, inset, self.page_mm[0] - inset, self.page_mm[1] - inset

    def edge_mm(self, side: Side, inward_mm: float) -> float:
        """Give the x (left, right) or y (top, bottom) at `inward_mm` from the printable area's edge."""
        inward = self.margin_mm + inward_mm
        match side:
            case Side.LEFT | Side.BOTTOM:
                return inward
            case Side.RIGHT:
                return self.page_mm[0] - inward
            case Side.TOP:
                return self.page_mm[1] - inward

    def span_mm(self, side: Side, inward_mm: float) -> tuple[float, float]:
        """Give where the side begins and ends along its own direction, `inward_mm` inside the printable area."""
        inward = self.margin_mm + inward_mm
        return inward, self.page_mm[1 if side.upright else 0] - inward

    def at(self, side: Side, along_mm: float, across_mm: float) -> Point:
        """Give the point at `along_mm` (x or y on the page) and `across_mm` right of or above the side's joint."""
        joint = self.edge_mm(side, self.band_mm)
        return (joint + across_mm, along_mm) if side.upright else (along_mm, joint + across_mm)

    def marks_mm(self, side: Side) -> list[float]:
        """Give where along a side its marks lie: the same on both pages of a joint."""
        low, high = self.span_mm(side, self.band_mm + MARK_FROM_CORNER_MM)
        count = max(2, math.ceil((high - low) / MARKS_APART_MM) + 1)
        return [low + (high - low) * index / (count - 1) for index in range(count)]

    def free_mm(self, side: Side) -> tuple[float, float]:
        """Give the longest room along a side's band between two marks, the first of equals."""
        marks = self.marks_mm(side)
        return marks[0] + _MARK_REACH_MM, marks[1] - _MARK_REACH_MM

    def bar_mm(self, side: Side) -> tuple[float, float]:
        """Give where a side's check bar starts and its length: 150 mm, or the tens of mm that fit."""
        low, high = self.free_mm(side)
        length = min(LONGEST_BAR_MM, (high - low - 2 * _BAR_CLEAR_MM) // _BAR_STEP_MM * _BAR_STEP_MM)
        return (low + high - length) / 2, length


def draw_joint(pen: Pen, frame: Frame, side: Side) -> None:
    """Draw a joint with its marks: dashed where the page is cut, plain where the next page's cut edge will lie."""
    low, high = frame.span_mm(side, 0.0)
    line = (frame.at(side, low, 0), frame.at(side, high, 0))
    pen.line_style(3 * LINE_MM, WHITE)
    pen.lines([line])
    pen.line_style(LINE_MM, BLACK, dash_mm=(4.0, 1.5) if side.is_cut else ())
    pen.lines([line])
    drawn = [
        (frame.at(side, at + start[0], start[1]), frame.at(side, at + end[0], end[1]))
        for at in frame.marks_mm(side)
        for start, end in MARK_STROKES_MM
    ]
    pen.line_style(_HALO_MM, WHITE)
    pen.lines(drawn)
    pen.line_style(LINE_MM, BLACK)
    pen.lines(drawn)


def draw_bar(pen: Pen, frame: Frame, side: Side, words: tuple[str, ...]) -> None:
    """Draw a check bar along the bottom or left side, ticks every mm inward and every 1/8 inch outward.

    Its length is written into its middle, followed by as many of `words` as have room.
    """
    start, length = frame.bar_mm(side)
    middle = frame.edge_mm(side, _BAR_LINE_MM)

    def at(along: float, across: float) -> Point:
        return (middle + across, start + along) if side.upright else (start + along, middle + across)

    def white(from_mm: float, to_mm: float) -> None:
        reach = _BAR_REACH_MM + 0.3
        corner, size = at(from_mm, -reach), (to_mm - from_mm, 2 * reach)
        pen.filled_box(*corner, *(size[::-1] if side.upright else size), WHITE)

    white(-0.6, length + 0.6)
    pen.line_style(LINE_MM, BLACK)
    pen.lines([(at(0, 0), at(length, 0))])
    pen.lines([(at(end, -_BAR_REACH_MM), at(end, _BAR_REACH_MM)) for end in (0.0, length)])
    said = f"{length:g} mm"
    for more in words:
        longer = f"{said} · {more}"
        if text_width_mm(longer, size_mm=WORDS_MM) <= _BAR_WORDS_SHARE * length:
            said = longer
    gap = text_width_mm(said, size_mm=WORDS_MM) + 3
    ticks = [(float(mm), _tick(mm, _BAR_TICK_MM)) for mm in range(1, round(length))]
    eighth = MM_PER_INCH / 8
    ticks += [(n * eighth, -_tick(n, _BAR_EIGHTHS_MM)) for n in range(1, math.ceil(length / eighth))]
    # No tick may come close to the words, nor an inch tick to the bar's end, which it would thicken.
    kept = [(along, reach) for along, reach in ticks if abs(along - length / 2) > gap / 2 and length - along > 0.5]
    pen.line_style(0.13, BLACK)
    pen.lines([(at(along, 0), at(along, reach)) for along, reach in kept])
    white((length - gap) / 2 + 0.3, (length + gap) / 2 - 0.3)
    pen.text(said, at(length / 2, 0), size_mm=WORDS_MM, turn_deg=90 if side.upright else 0, align=0.5)


def _tick(count: int, reaches: dict[int, float]) -> float:
    return next(reach for every, reach in reaches.items() if count % every == 0)


def draw_words(pen: Pen, frame: Frame, side: Side, words: tuple[tuple[str, Face, float], ...]) -> None:
    """Write words one after another along the band of the top or right side, each (text, face, size in mm).

    They start at the first mark and shrink together where the room is short.
    """
    low, high = frame.free_mm(side)
    room = high - low - 2 * _BAR_CLEAR_MM
    gap = 4.0
    needed = sum(text_width_mm(text, size_mm=size, face=face) + gap for text, face, size in words) - gap
    shrink = min(1.0, room / needed) if needed > 0 else 1.0
    middle = frame.edge_mm(side, BAND_MM / 2)
    along = low + _BAR_CLEAR_MM
    if words:
        # White all round, or a drawn line that ends at a letter reads as part of it.
        length = shrink * needed + 2 * _WORDS_CLEAR_MM
        height = min(shrink * max(size for _, _, size in words) + 2 * _WORDS_CLEAR_MM, BAND_MM - _HALO_MM)
        corner, box = (along - _WORDS_CLEAR_MM, middle - height / 2), (length, height)
        pen.filled_box(*(corner[::-1] if side.upright else corner), *(box[::-1] if side.upright else box), WHITE)
    for text, face, size in words:
        at = (middle, along) if side.upright else (along, middle)
        pen.text(text, at, size_mm=shrink * size, face=face, turn_deg=90 if side.upright else 0)
        along += shrink * (text_width_mm(text, size_mm=size, face=face) + gap)


def shortened(text: str, *, width_mm: float, size_mm: float) -> str:
    """Give text that is no longer than `width_mm`, its end replaced by three points where it was."""
    if text_width_mm(text, size_mm=size_mm) <= width_mm:
        return text
    while text and text_width_mm(text + "...", size_mm=size_mm) > width_mm:
        text = text[:-1]
    return text.rstrip() + "..."


def draw_stamp(pen: Pen, box_mm: Box, stamp: str) -> None:
    """Write a stamp large across a box from corner to corner, in hollow letters that leave the plan readable."""
    x0, y0, x1, y1 = box_mm
    width, height = x1 - x0, y1 - y0
    turn = math.atan2(height, width)
    # Length and height of the words, as one shape, inside the turned rectangle.
    ratio = text_width_mm(stamp, size_mm=1.0, face=Face.BOLD)
    size = min(
        width / (ratio * math.cos(turn) + math.sin(turn)),
        height / (ratio * math.sin(turn) + math.cos(turn)),
    )
    middle = (x0 + x1) / 2, (y0 + y1) / 2
    pen.hollow_text(stamp, middle, size_mm=size, width_mm=size / 40, colour=RED, turn_deg=math.degrees(turn))
