"""The first page: how the pages join, and bars to measure before the rest is printed."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from drawing.build_fraction import speak_fraction
from drawing.drawing import Drawing
from drawing.paths import Point, polyline, sampled
from printing.content import Box
from printing.page_marks import MARK_STROKES_MM, WORDS_MM, Frame, Side, draw_bar, draw_stamp, draw_words, shortened
from printing.page_title import PageTitle
from printing.part_labels import PartShape, label_half_mm, part_labels
from printing.pen import BLACK, BLUE, GREY, PALE, WHITE, Face, Pen, path_operators, text_width_mm
from printing.plan_pages import PagePlan
from printing.tile_picture import TilePicture

_TITLE_MM = 5.0
_STEP_MM = 3.1
_LEADING = 1.42

# The words stand beside the plan on wide paper, below it on tall paper.
_WORDS_SHARE = 0.36
_GAP_MM = 6.0

# Curves on the small plan are drawn this true, on the page.
_SHOWN_MM = 0.05

# Part numbers on the small plan: readable, and dropped where they would cover each other.
_NUMBER_MM = 2.3


# What a joint's mark shows: words, then how far the upper page slid along and away, mm as drawn.
_SAMPLES = (("joined well", 0.0, 0.0), ("gap", 0.0, 1.0), ("lap", 0.0, -1.0), ("slid", 1.0, 0.0))
_SAMPLES_MM = 18.0
# Tall pages have room for them below the words from here on.
_TALL_MM = 170.0


def draw_page_plan(
    pen: Pen,
    page_plan: PagePlan,
    drawing: Drawing,
    picture: TilePicture | None,
    shapes: tuple[PartShape, ...],
    *,
    title: PageTitle,
) -> None:
    """Draw the page plan: the whole drawing under its grid of pages, how to join them, and two check bars."""
    frame = Frame.of(page_plan.setup, page_plan.page_size_mm)
    x0, x1 = frame.span_mm(Side.BOTTOM, frame.band_mm + 2)
    y0, y1 = frame.span_mm(Side.LEFT, frame.band_mm + 2)
    wide = x1 - x0 > y1 - y0
    words_width = (x1 - x0) * _WORDS_SHARE if wide else x1 - x0
    y1 = _draw_title(pen, (x0, x1), y1, page_plan, title)
    steps = _steps(page_plan, frame, title)
    size = _size_that_fits(steps, words_width, (y1 - y0) * (1.0 if wide else 0.42))
    lines = _wrapped(steps, words_width, size)
    height = len(lines) * size * _LEADING
    if wide:
        _draw_lines(pen, lines, (x1 - words_width, y1), size)
        if len(page_plan.tiles) > 1 and y1 - height - y0 > 2 * _SAMPLES_MM:
            _draw_samples(pen, (x1 - words_width, y1 - height - 4), words_width)
        plan_box = x0, y0, x1 - words_width - _GAP_MM, y1
    else:
        if len(page_plan.tiles) > 1 and y1 - y0 > _TALL_MM:
            _draw_samples(pen, (x0, y0 + _SAMPLES_MM - 2), min(x1 - x0, 120.0))
            y0 += _SAMPLES_MM
        _draw_lines(pen, lines, (x0, y0 + height), size)
        plan_box = x0, y0 + height + _GAP_MM, x1, y1
    _draw_small_plan(pen, page_plan, drawing, picture, shapes, plan_box, stamp=title.stamp)
    draw_bar(pen, frame, Side.LEFT, ("check bar",))
    draw_bar(pen, frame, Side.BOTTOM, ("check bar",))
    about = f"page 1 of {page_plan.page_count}"
    draw_words(pen, frame, Side.RIGHT, ((about, Face.PLAIN, WORDS_MM),))


def _draw_title(pen: Pen, x_mm: tuple[float, float], top_mm: float, page_plan: PagePlan, title: PageTitle) -> float:
    """Write the heading and give the y below it."""
    width = x_mm[1] - x_mm[0]
    size = min(_TITLE_MM, width / 24)
    pen.text(
        shortened(title.job_name, width_mm=width * 0.9, size_mm=size),
        (x_mm[0], top_mm - size * 0.5),
        size_mm=size,
        face=Face.BOLD,
    )
    sheets = len(page_plan.tiles)
    about = (
        f"Page plan: {sheets} sheet{'' if sheets == 1 else 's'} of {page_plan.setup.paper.name}, "
        f"{speak_fraction(title.fraction)}, {title.date}"
    )
    small = min(_STEP_MM, width / text_width_mm(about, size_mm=1.0))
    pen.text(about, (x_mm[0], top_mm - size * 1.5), size_mm=small)
    return top_mm - size * 1.5 - small - 3


@dataclass(frozen=True, slots=True)
class _Step:
    """A paragraph; `mark` stands before it, and its lines hang."""

    mark: str
    text: str
    face: Face = Face.PLAIN


def _steps(page_plan: PagePlan, frame: Frame, title: PageTitle) -> list[_Step]:
    across, up = (frame.bar_mm(side)[1] for side in (Side.BOTTOM, Side.LEFT))
    bars = (
        f"both bars must be {across:g} mm long" if across == up else f"the bars must be {across:g} and {up:g} mm long"
    )
    allowed = max(across, up) / 500
    steps = [
        _Step("", "Print this page alone first", Face.BOLD),
        _Step("1", 'Choose "actual size" or 100 %, never "fit", and one-sided.'),
        _Step("2", f"Measure the two check bars with a good rule: {bars}. Off by more than {allowed:.1f} mm: do not "
              "print the rest; look for a scale or fit setting in the print dialogue. Every page has the same bars; "
              "their ticks are mm inward and 1/8 inch outward."),
    ]  # fmt: skip
    if len(page_plan.tiles) > 1:
        steps += [
            _Step("", "Join the pages", Face.BOLD),
            _Step("3", "Begin at the upper left and work to the right, row by row."),
            _Step("4", "Cut each page along its dashed lines (left and top); leave its plain lines (right, bottom)."),
            _Step("5", "Lay the cut edge on the plain line of the page before. Slide it until each tick runs straight "
                  "on, then until the slanting lines do: a gap or a lap breaks them. Tape."),
        ]  # fmt: skip
    if page_plan.cut_parts:
        numbers = ", ".join(map(str, page_plan.cut_parts[:40])) + (", ..." if len(page_plan.cut_parts) > 40 else "")
        steps.append(_Step("", f"On more than one page, to be joined before cutting out: {numbers}."))
    blank = page_plan.grid.rows * page_plan.grid.cols - len(page_plan.tiles)
    if blank:
        steps.append(_Step("", f"Places crossed out on this plan hold nothing; they have no page ({blank})."))
    steps.append(
        _Step("", "Paper grows and shrinks with damp: print, join and cut out on one day, from one pack of paper.")
    )
    steps += [_Step("!", caution) for caution in title.cautions]
    return steps


def _size_that_fits(steps: list[_Step], width_mm: float, height_mm: float) -> float:
    size = _STEP_MM
    while size > 1.2 and len(_wrapped(steps, width_mm, size)) * size * _LEADING > height_mm:
        size *= 0.96
    return size


def _wrapped(steps: list[_Step], width_mm: float, size_mm: float) -> list[tuple[str, str, Face]]:
    """Break paragraphs into lines of (mark, text, face), a blank line before each heading."""
    lines: list[tuple[str, str, Face]] = []
    indent = 2 * size_mm
    for step in steps:
        if lines and step.face is Face.BOLD:
            lines.append(("", "", Face.PLAIN))
        mark, line = step.mark, ""
        room = width_mm - (indent if step.face is Face.PLAIN else 0)
        for word in step.text.split():
            longer = f"{line} {word}".strip()
            if line and text_width_mm(longer, size_mm=size_mm, face=step.face) > room:
                lines.append((mark, line, step.face))
                mark, line = "", word
            else:
                line = longer
        lines.append((mark, line, step.face))
    return lines


def _draw_lines(pen: Pen, lines: list[tuple[str, str, Face]], corner_mm: tuple[float, float], size_mm: float) -> None:
    """Write lines downward from the upper-left corner."""
    for index, (mark, text, face) in enumerate(lines):
        y = corner_mm[1] - (index + 0.5) * size_mm * _LEADING
        if mark:
            pen.text(mark, (corner_mm[0], y), size_mm=size_mm, face=Face.BOLD)
        if text:
            x = corner_mm[0] + (2 * size_mm if face is Face.PLAIN else 0)
            pen.text(text, (x, y), size_mm=size_mm, face=face)


def _operators(curves: Sequence[BaseGeometry], tolerance_mm: float) -> str:
    """Give curves as paths of straight lines with no more points than show."""
    pieces = shapely.get_parts(shapely.simplify(np.array(curves, dtype=object), tolerance_mm))
    return path_operators(polyline(shapely.get_coordinates(piece), closed=False) for piece in pieces)


def _draw_samples(pen: Pen, corner_mm: tuple[float, float], width_mm: float) -> None:
    """Draw what a mark looks like joined well and badly, side by side below a corner."""
    apart = width_mm / len(_SAMPLES)
    for index, (words, slide, gap) in enumerate(_SAMPLES):
        x, y = corner_mm[0] + (index + 0.5) * apart, corner_mm[1] - 7

        def placed(point: Point, x: float = x, y: float = y) -> Point:
            return x + point[0], y + point[1]

        strokes, halves = [], [(-1.0, (0.0, 0.0)), (1.0, (slide, gap))]
        for start, end in MARK_STROKES_MM:
            middle = (start[0] + end[0]) / 2, (start[1] + end[1]) / 2
            for side, (right, up) in halves:
                outer = max(start, end, key=lambda p: side * p[1])
                strokes.append((placed((outer[0] + right, outer[1] + up)), placed((middle[0] + right, middle[1] + up))))
        pen.line_style(0.25, BLACK)
        pen.lines(strokes)
        pen.line_style(0.13, GREY)
        edges = {up: right for _, (right, up) in halves}
        pen.lines([(placed((right - 8, up)), placed((right + 8, up))) for up, right in edges.items()])
        pen.text(words, (x, y - 7.5), size_mm=2.6, align=0.5)


def _draw_small_plan(
    pen: Pen,
    page_plan: PagePlan,
    drawing: Drawing,
    picture: TilePicture | None,
    shapes: tuple[PartShape, ...],
    box_mm: Box,
    *,
    stamp: str | None,
) -> None:
    """Draw the whole drawing small, the pages' cores over it with their labels, and the parts' numbers."""
    grid = page_plan.grid
    left, low, _, _ = page_plan.core_mm(grid.rows - 1, 0)
    _, _, right, top = page_plan.core_mm(0, grid.cols - 1)
    scale = min((box_mm[2] - box_mm[0]) / (right - left), (box_mm[3] - box_mm[1]) / (top - low))
    x = (box_mm[0] + box_mm[2] - scale * (right - left)) / 2 - scale * left
    y = box_mm[3] - scale * top
    pen.keep_within(x + scale * left, y + scale * low, scale * (right - left), scale * (top - low))
    pen.move(x, y, scale=scale)
    shown_mm = _SHOWN_MM / scale
    if picture is not None:
        pen.picture(picture, name="plan")
    else:
        pen.line_style(0.09 / scale, BLACK)
        lines = [sampled(line, tolerance_mm=shown_mm) for line in drawing.lines]
        pen.strokes(_operators([shapely.LineString(line) for line in lines], shown_mm))
    if stamp:
        draw_stamp(pen, (left, low, right, top), stamp)
    pen.line_style(0.15 / scale, BLUE if picture is not None else BLACK)
    pen.strokes(_operators([part.shape.boundary for part in shapes], shown_mm))
    pen.release()
    pen.release()

    def placed(at: tuple[float, float]) -> tuple[float, float]:
        return x + scale * at[0], y + scale * at[1]

    pen.line_style(0.3, GREY)
    blanks, size = [], scale * min(page_plan.core_size_mm)
    for row in range(grid.rows):
        for col in range(grid.cols):
            x0, y0, x1, y1 = page_plan.core_mm(row, col)
            if page_plan.tile_at(row, col) is None:
                blanks += [(placed((x0, y0)), placed((x1, y1))), (placed((x0, y1)), placed((x1, y0)))]
            else:
                pen.box(*placed((x0, y0)), scale * (x1 - x0), scale * (y1 - y0))
    if blanks:
        pen.line_style(0.15, PALE)
        pen.lines(blanks)
    taken: list[Box] = []
    label_mm = min(5.0, max(2.0, size / 5))
    for tile in page_plan.tiles:
        x0, _, _, y1 = page_plan.core_mm(tile.row, tile.col)
        corner = placed((x0, y1))
        width = text_width_mm(tile.label, size_mm=label_mm, face=Face.BOLD) + 1.2
        pen.filled_box(corner[0] + 0.4, corner[1] - 0.4 - label_mm, width, label_mm, WHITE)
        pen.text(tile.label, (corner[0] + 1.0, corner[1] - 0.4 - label_mm / 2), size_mm=label_mm, face=Face.BOLD)
        taken.append((corner[0], corner[1] - 0.4 - label_mm, corner[0] + width + 0.4, corner[1]))
    for label in part_labels(shapes, (left, low, right, top)):
        centre = placed(label.leader_mm or label.at_mm)
        half_width, half_height = label_half_mm(label.number, _NUMBER_MM)
        own = centre[0] - half_width, centre[1] - half_height, centre[0] + half_width, centre[1] + half_height
        if any(own[0] < b[2] and own[2] > b[0] and own[1] < b[3] and own[3] > b[1] for b in taken):
            continue
        taken.append(own)
        pen.filled_box(own[0], own[1], 2 * half_width, 2 * half_height, WHITE)
        pen.text(str(label.number), centre, size_mm=_NUMBER_MM, colour=BLUE, align=0.5)
