"""The paper, its margin, and how far pages overlap."""

import math
import re
from dataclasses import dataclass

from drawing.errors import DrawingError
from drawing.format import format_mm
from drawing.lengths import parse_size
from drawing.papers import PAPERS, Paper
from printing.errors import PrintingError

# Bars, marks and labels need this much between a joint and the edge of what the printer reaches; less and 2 mm
# lettering no longer fits, more and every page shows less of the plan.
BAND_MM = 5.0

# Below this, a page holds no two joining marks and a bar worth measuring.
SMALLEST_CORE_MM = 60.0

# ISO 32000, annex C: a page is at most 14 400 units of 1/72 inch a side.
LARGEST_PAPER_MM = 5080.0


@dataclass(frozen=True, slots=True)
class PageSetup:
    """One kind of sheet and how the plan lies on it.

    `margin_mm` is what the printer cannot reach, on all four sides. Neighbouring pages
    show the same `overlap_mm` of the plan. A page shows four nested areas: the sheet;
    inside the margin the printable area; inside that the *tile*, all that is shown of
    the plan; and inside half an overlap the *core*, which no neighbour covers. Cores lie
    side by side; the joints are their edges. Bars, marks and labels lie in the band of
    `band_mm` between the core and the edge of the printable area, where each thing of the
    plan also shows on a neighbour.
    """

    paper: Paper
    margin_mm: float = 6.0
    overlap_mm: float = 10.0

    def __post_init__(self) -> None:
        width, height = self.paper.width_mm, self.paper.height_mm
        if not 0 < min(width, height) <= max(width, height) <= LARGEST_PAPER_MM:
            raise PrintingError(
                f"The paper is {width:g} x {height:g} mm; its sides must be above zero and at most "
                f"{LARGEST_PAPER_MM:g} mm: give another size."
            )
        for name, value in (("margin", self.margin_mm), ("overlap", self.overlap_mm)):
            if not 0 <= value < math.inf:
                raise PrintingError(f"The {name} is {value:g} mm; it must be zero or more: type it again.")
        across = min(width, height) - 2 * (self.margin_mm + self.band_mm)
        if across < SMALLEST_CORE_MM:
            raise PrintingError(
                f"{self.paper.name} paper of {width:g} x {height:g} mm leaves {format_mm(max(0.0, across))} for the "
                f"plan inside its margins of {self.margin_mm:g} mm and overlap of {self.overlap_mm:g} mm; at least "
                f"{SMALLEST_CORE_MM:g} mm are needed: take larger paper, or a smaller margin or overlap."
            )

    @property
    def band_mm(self) -> float:
        """Width of the band between core and printable edge."""
        return max(BAND_MM, self.overlap_mm / 2)

    @property
    def at_page_mm(self) -> tuple[float, float]:
        """Where a tile's lower-left corner lies from the page's."""
        at = self.margin_mm + self.band_mm - self.overlap_mm / 2
        return at, at

    def page_size_mm(self, *, landscape: bool) -> tuple[float, float]:
        """Give the page's width and height."""
        sides = (self.paper.width_mm, self.paper.height_mm)
        return (max(sides), min(sides)) if landscape else (min(sides), max(sides))

    def core_size_mm(self, *, landscape: bool) -> tuple[float, float]:
        """Give the core's width and height, which is also the step from page to page."""
        edge = 2 * (self.margin_mm + self.band_mm)
        width, height = self.page_size_mm(landscape=landscape)
        return width - edge, height - edge

    def tile_size_mm(self, *, landscape: bool) -> tuple[float, float]:
        """Give the tile's width and height."""
        edge = 2 * self.at_page_mm[0]
        width, height = self.page_size_mm(landscape=landscape)
        return width - edge, height - edge


def parse_paper(text: str) -> Paper:
    """Read a paper's name or size: `A4`, `letter`, `300x400mm`, `11 x 17 in`.

    The paper stands upright whichever side is written first: pages choose their own way round.

    Raises
    ------
    PrintingError
        If it is neither a paper's name nor a size.
    """
    said = text.strip()
    named = PAPERS.get(re.sub(r"\s+(portrait|landscape)$", "", said.lower()))
    if named is not None:
        return named
    try:
        width, height = sorted(parse_size(said))
    except DrawingError as error:
        names = ", ".join(paper.name for paper in PAPERS.values())
        raise PrintingError(
            f'"{said}" is no paper known here; a name ({names}) or a size with its unit is needed: '
            "write it as A4, 300 x 400 mm or 11 x 17 in."
        ) from error
    for paper in PAPERS.values():
        if math.isclose(paper.width_mm, width) and math.isclose(paper.height_mm, height):
            return paper
    return Paper(f"{width:g} × {height:g} mm", width, height)
