"""The table of parts, at build size."""

from dataclasses import dataclass

from drawing.drawing import Drawing, Kind, Outline
from drawing.path_measures import path_area_mm2, path_bounds_mm, path_length_mm


@dataclass(frozen=True, slots=True)
class PartRow:
    """One part's figures at build size, mm.

    `area_mm2` is without the holes; `perimeter_mm` that of the boundary alone; `nodes` counts
    the segments of boundary and holes; `deviation_mm` is the largest measured distance of a digitized point
    from them.
    """

    number: int
    name: str
    kind: Kind
    confidence: float
    width_mm: float
    height_mm: float
    area_mm2: float
    perimeter_mm: float
    u95_mm: float
    deviation_mm: float
    nodes: int
    holes: int


def part_rows(build: Drawing) -> tuple[PartRow, ...]:
    """Give a row for each outline but the plan's drawn border, which is no part."""
    return tuple(_row(outline) for outline in build.outlines if outline.kind is not Kind.BORDER)


def _row(outline: Outline) -> PartRow:
    x0, y0, x1, y1 = path_bounds_mm(outline.boundary)
    # Winding is not trusted here: a hole takes away however it runs.
    area = abs(path_area_mm2(outline.boundary)) - sum(abs(path_area_mm2(hole)) for hole in outline.holes)
    return PartRow(
        outline.number,
        outline.name,
        outline.kind,
        outline.confidence,
        x1 - x0,
        y1 - y0,
        area,
        path_length_mm(outline.boundary),
        outline.u95_mm,
        outline.deviation_mm,
        sum(len(loop.segments) for loop in (outline.boundary, *outline.holes)),
        len(outline.holes),
    )
