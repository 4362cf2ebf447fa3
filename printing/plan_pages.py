"""Which piece of the drawing each page shows."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from drawing.drawing import Drawing
from printing.best_grid import MOST_CELLS, MOST_SHEETS, PageGrid, best_grid, refuse_too_many
from printing.content import Box, page_content
from printing.errors import PrintingError
from printing.setup import PageSetup

__all__ = ["PageGrid", "PagePlan", "Tile", "page_label", "plan_pages"]

# The page plan is page 1.
FIRST_TILE_PAGE = 2

# A stored grid still fits while nothing sticks out by more; a line's own half width is larger.
STICKS_OUT_MM = 0.01


@dataclass(frozen=True, slots=True)
class Tile:
    """One printed page's piece of the drawing.

    `page` is its page number in the PDF, `label` its row letter and column number, rows counted
    down and columns across from 0. `origin_mm` is its lower-left corner in the build frame,
    `at_page_mm` where that lies from the page's lower-left corner, `size_mm` its width and height.
    """

    page: int
    label: str
    row: int
    col: int
    origin_mm: tuple[float, float]
    at_page_mm: tuple[float, float]
    size_mm: tuple[float, float]


@dataclass(frozen=True, slots=True)
class PagePlan:
    """How pages cover a drawing: the tiles in reading order, blank ones left out.

    `cut_parts` holds the numbers of the parts that lie on more than one page.
    """

    setup: PageSetup
    grid: PageGrid
    tiles: tuple[Tile, ...]
    cut_parts: tuple[int, ...]

    @property
    def page_size_mm(self) -> tuple[float, float]:
        """Width and height of every page."""
        return self.setup.page_size_mm(landscape=self.grid.landscape)

    @property
    def core_size_mm(self) -> tuple[float, float]:
        """Width and height of what a page shows and no neighbour covers."""
        return self.setup.core_size_mm(landscape=self.grid.landscape)

    @property
    def page_count(self) -> int:
        """Pages in the PDF, the page plan among them."""
        return FIRST_TILE_PAGE - 1 + len(self.tiles)

    def core_mm(self, row: int, col: int) -> Box:
        """Give a cell's core in the build frame, blank or not."""
        width, height = self.core_size_mm
        left, low = self.grid.corner_mm(self.setup)
        x, y = left + col * width, low + (self.grid.rows - 1 - row) * height
        return x, y, x + width, y + height

    def tile_at(self, row: int, col: int) -> Tile | None:
        """Give the tile in a row and column, or None where the page is left out or there is none."""
        return next((tile for tile in self.tiles if (tile.row, tile.col) == (row, col)), None)


def plan_pages(
    drawing: Drawing,
    setup: PageSetup,
    *,
    grid: PageGrid | None = None,
    ink_boxes_mm: Sequence[Box] = (),
) -> PagePlan:
    """Lay a drawing out on pages.

    Without a grid, the way round and the place of the joints are chosen for the fewest sheets,
    then for the fewest parts cut by a joint. Pages without content are left out; a border is
    no content. With a grid, the same grid gives the same tiles to the bit.

    Parameters
    ----------
    drawing : Drawing
        At build size, mirrored if it is to be printed so.
    setup : PageSetup
        The paper. A stored grid belongs to one setup and one fraction.
    grid : PageGrid, optional
        As stored in a job.
    ink_boxes_mm : sequence of (x min, y min, x max, y max)
        Other ink that must be printed, lettering for one; build frame.

    Raises
    ------
    PrintingError
        If there is nothing to print, more than `MOST_SHEETS` are needed, or the drawing reaches
        beyond the given grid.
    """
    content = page_content(drawing, ink_boxes_mm=ink_boxes_mm)
    bounds = content.bounds_mm()
    if bounds is None:
        raise PrintingError(
            "The drawing has no outlines and no lines, so there is nothing to print; at least one is needed: "
            "check the regions and choices, or mark an outline by hand."
        )
    if not np.isfinite(bounds).all():
        raise PrintingError(
            f"The drawing reaches from x {bounds[0]:g} to {bounds[2]:g} and y {bounds[1]:g} to {bounds[3]:g} mm; "
            "pages need finite bounds: check the corners and known distances."
        )
    if grid is None:
        grid = best_grid(content, bounds, setup)
    step = setup.core_size_mm(landscape=grid.landscape)
    corner = grid.corner_mm(setup)
    if grid.rows < 1 or grid.cols < 1 or not np.isfinite(grid.origin_mm).all():
        raise PrintingError(
            f"The stored page grid has {grid.rows} rows and {grid.cols} columns from {grid.origin_mm} mm; it needs at "
            "least one of each and a finite origin: take the grid out of the job, and all pages are laid out anew."
        )
    if grid.rows * grid.cols > MOST_CELLS:
        raise PrintingError(
            f"The stored page grid has {grid.rows} rows and {grid.cols} columns; at most {MOST_CELLS} cells are laid "
            "out: take the grid out of the job, and all pages are laid out anew."
        )
    reach = corner[0] + grid.cols * step[0], corner[1] + grid.rows * step[1]
    out = max(corner[0] - bounds[0], corner[1] - bounds[1], bounds[2] - reach[0], bounds[3] - reach[1])
    if out > STICKS_OUT_MM:
        raise PrintingError(
            f"The drawing reaches {out:.1f} mm beyond the stored page grid; pages printed before no longer cover it: "
            "take the grid out of the job, and all pages are laid out anew."
        )
    held = content.cells(corner, step, grid.rows, grid.cols)
    if held.sum() > MOST_SHEETS:
        refuse_too_many(int(held.sum()), bounds, setup)
    tiles: list[Tile] = []
    size = setup.tile_size_mm(landscape=grid.landscape)
    for row in range(grid.rows):
        up = grid.rows - 1 - row
        for col in range(grid.cols):
            if held[up, col]:
                origin = grid.origin_mm[0] + col * step[0], grid.origin_mm[1] + up * step[1]
                page = FIRST_TILE_PAGE + len(tiles)
                tiles.append(Tile(page, page_label(row, col), row, col, origin, setup.at_page_mm, size))
    cut = content.cut(0, np.array(corner[:1]), step[0])[0] | content.cut(1, np.array(corner[1:]), step[1])[0]
    return PagePlan(setup, grid, tuple(tiles), tuple(np.array(content.part_numbers, int)[cut].tolist()))


def page_label(row: int, col: int) -> str:
    """Give a page's label, letters down and numbers across (as ISO 5457 numbers a sheet's fields): A1, B3, AA1."""
    letters = ""
    row += 1
    while row:
        row, letter = divmod(row - 1, 26)
        letters = chr(ord("A") + letter) + letters
    return f"{letters}{col + 1}"
