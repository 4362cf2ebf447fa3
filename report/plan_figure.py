"""The plan with its outlines numbered over it."""

from dataclasses import dataclass
from fractions import Fraction

from drawing.drawing import Drawing, Kind
from drawing.svg import path_data
from pictures.flat import FlatPicture
from printing.mirror import mirrored_flat
from printing.part_labels import PartLabel, part_labels, part_shapes
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


def plan_figure(facts: ReportFacts, flat: FlatPicture) -> PlanFigure:
    """Lay the build drawing over the flat picture, both in the figure's units."""
    shown = mirrored_flat(flat) if facts.mirrored else flat
    fraction = float(facts.fraction)
    rows, columns = shown.pixels.shape[:2]
    mm = shown.mm_per_px * fraction
    size = FIGURE_MM / (max(rows, columns) * mm)
    x, y = (corner * fraction * size for corner in shown.origin_mm)
    box = (x, y, x + columns * mm * size, y + rows * mm * size)
    drawing = facts.build.scaled(Fraction(size))
    shapes, lines, numbers = drawn_over(drawing, box)
    picture = embedded(shown.pixels, longest_px=LONGEST_PX)
    return PlanFigure(box[2] - box[0], box[3] - box[1], picture, shapes, lines, numbers)


def drawn_over(
    drawing: Drawing, box: tuple[float, float, float, float]
) -> tuple[tuple[Shape, ...], tuple[str, ...], tuple[Number, ...]]:
    """Give outlines, lines and part numbers of a drawing in figure units, y down from the box's upper-left corner."""
    shapes = tuple(
        Shape(
            outline.number,
            "".join(path_data(loop, box) for loop in (outline.boundary, *outline.holes)),
            outline.kind,
        )
        for outline in drawing.outlines
    )
    lines = tuple(path_data(line, box) for line in drawing.lines)
    labels = part_labels(part_shapes(drawing), box)
    return shapes, lines, tuple(_number(label, box) for label in labels)


def _number(label: PartLabel, box: tuple[float, float, float, float]) -> Number:
    leader = None if label.leader_mm is None else (label.leader_mm[0] - box[0], box[3] - label.leader_mm[1])
    return Number(label.number, label.at_mm[0] - box[0], box[3] - label.at_mm[1], label.size_mm, leader)
