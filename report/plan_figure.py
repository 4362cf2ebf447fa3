"""The plan with its outlines numbered over it."""

from dataclasses import dataclass
from fractions import Fraction

from drawing.drawing import Drawing, Kind
from drawing.svg import path_data
from printing.ink_under import ink_under
from printing.part_labels import PartLabel, part_labels, part_shapes
from printing.shown_flat import ShownFlat
from report.embedded import EmbeddedPicture, embedded
from report.facts import ReportFacts

# Figures are laid out as if on paper this wide or high, so that numbers have a size that suits the page.
FIGURE_MM = 230.0

# A screen's width and a half: drawn lines still show, and the page stays below a few megabytes.
LONGEST_PX = 1600


@dataclass(frozen=True, slots=True)
class Shape:
    """An outline in the figure: its number, SVG path data, and what kind it is."""

    number: int
    data: str
    kind: Kind


@dataclass(frozen=True, slots=True)
class Number:
    """A part's number centred at `x`, `y`; a line leads to `leader` where the number stands beside its part."""

    number: int
    x: float
    y: float
    size: float
    leader: tuple[float, float] | None


@dataclass(frozen=True, slots=True)
class PlanFigure:
    """A figure `width` by `height`, y down; `picture` fills it, or there is none."""

    width: float
    height: float
    picture: EmbeddedPicture | None
    shapes: tuple[Shape, ...]
    lines: tuple[str, ...]
    numbers: tuple[Number, ...]


def plan_figure(facts: ReportFacts, shown: ShownFlat) -> PlanFigure:
    """Lay the build drawing over the flat picture, both in the figure's units."""
    flat = shown.flat
    fraction = float(facts.fraction)
    rows, columns = flat.pixels.shape[:2]
    mm = flat.mm_per_px * fraction
    size = FIGURE_MM / (max(rows, columns) * mm)
    x, y = (corner * fraction * size for corner in flat.origin_mm)
    box = (x, y, x + columns * mm * size, y + rows * mm * size)
    drawing = facts.build.scaled(Fraction(size))
    under = ink_under(shown, fraction=facts.fraction * Fraction(size))
    numbers = tuple(_number(label, box) for label in part_labels(part_shapes(drawing), box, ink=under))
    picture = embedded(flat.pixels, longest_px=LONGEST_PX)
    return PlanFigure(
        box[2] - box[0], box[3] - box[1], picture, shapes_in(drawing, box), lines_in(drawing, box), numbers
    )


def shapes_in(drawing: Drawing, box: tuple[float, float, float, float]) -> tuple[Shape, ...]:
    """Give the outlines of a drawing in figure units, y down from the box's upper-left corner."""
    return tuple(
        Shape(
            outline.number,
            "".join(path_data(loop, box) for loop in (outline.boundary, *outline.holes)),
            outline.kind,
        )
        for outline in drawing.outlines
    )


def lines_in(drawing: Drawing, box: tuple[float, float, float, float]) -> tuple[str, ...]:
    """Give the open lines of a drawing as SVG path data, as `shapes_in` does."""
    return tuple(path_data(line, box) for line in drawing.lines)


def _number(label: PartLabel, box: tuple[float, float, float, float]) -> Number:
    leader = None if label.leader_mm is None else (label.leader_mm[0] - box[0], box[3] - label.leader_mm[1])
    return Number(label.number, label.at_mm[0] - box[0], box[3] - label.at_mm[1], label.size_mm, leader)
