"""The page plan: how the printed pages cover the drawing."""

from dataclasses import dataclass
from fractions import Fraction

from report.facts import ReportFacts
from report.plan_figure import FIGURE_MM, Shape, lines_in, shapes_in


@dataclass(frozen=True, slots=True)
class PageBox:
    """A page's own piece, its edges the joints; `page` is None where there is nothing to print and no page."""

    label: str
    page: int | None
    x: float
    y: float
    width: float
    height: float


@dataclass(frozen=True, slots=True)
class PagesFigure:
    """A figure `width` by `height`, y down."""

    width: float
    height: float
    boxes: tuple[PageBox, ...]
    shapes: tuple[Shape, ...]
    lines: tuple[str, ...]
    label_size: float


def pages_figure(facts: ReportFacts) -> PagesFigure:
    """Lay the grid of pages over the build drawing, in the figure's units."""
    pages = facts.pages
    rows, cols = pages.grid.rows, pages.grid.cols
    x0, y0, _, _ = pages.core_mm(rows - 1, 0)
    _, _, x1, y1 = pages.core_mm(0, cols - 1)
    size = FIGURE_MM / max(x1 - x0, y1 - y0)
    boxes = []
    for row in range(rows):
        for col in range(cols):
            left, low, right, high = pages.core_mm(row, col)
            tile = pages.tile_at(row, col)
            boxes.append(
                PageBox(
                    "" if tile is None else tile.label,
                    None if tile is None else tile.page,
                    (left - x0) * size,
                    (y1 - high) * size,
                    (right - left) * size,
                    (high - low) * size,
                )
            )
    box = (x0 * size, y0 * size, x1 * size, y1 * size)
    drawing = facts.build.scaled(Fraction(size))
    shapes, lines = shapes_in(drawing, box), lines_in(drawing, box)
    smallest = min(boxes[0].width, boxes[0].height)
    return PagesFigure(box[2] - box[0], box[3] - box[1], tuple(boxes), shapes, lines, min(6.0, smallest / 4))
