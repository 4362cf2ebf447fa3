"""Where a grid of pages lies so that the plan takes the fewest sheets."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from drawing.format import format_mm
from printing.content import Box, PageContent, filled, points_along
from printing.errors import PrintingError
from printing.setup import PageSetup

MOST_SHEETS = 400
"""More sheets than anyone tapes together: a slip of the fraction is likelier."""

MOST_CELLS = 20_000
"""A grid with more cells than this holds too many sheets however few are blank."""

# Offsets are tried this far apart, and wherever an edge would just clear a part: finer saved no sheet in trials.
_OFFSET_STEP_MM = 5.0

# Content keeps this far from a joint or from the outermost edge where that costs no sheet.
_CLEARANCE_MM = 1.0

# Offsets tried along an axis, at most; parts beyond that add none.
_MOST_OFFSETS = 150

# First counts are made on a raster of this cell, coarser for plans with more than _RASTER_CELLS of them.
_RASTER_MM = 1.0
_RASTER_CELLS = 4_000_000

# The best by first count are counted again exactly, until one keeps its count.
_COUNTED_AGAIN = 40

# Origins are whole micrometres, so that a job file holds them exactly; content may stick out by no more.
_ORIGIN_DIGITS = 3
_STICKS_OUT_MM = 0.002


@dataclass(frozen=True, slots=True)
class PageGrid:
    """A grid of pages, kept in the job so that one page printed again still fits.

    `origin_mm` is the lower-left corner of the lowest, leftmost tile in the build frame.
    """

    origin_mm: tuple[float, float]
    landscape: bool
    rows: int
    cols: int

    def corner_mm(self, setup: PageSetup) -> tuple[float, float]:
        """Give the lower-left corner of the lowest, leftmost core, where the joints count from."""
        half = setup.overlap_mm / 2
        return self.origin_mm[0] + half, self.origin_mm[1] + half


def best_grid(content: PageContent, bounds_mm: Box, setup: PageSetup) -> PageGrid:
    """Give the grid with the fewest sheets, among those the one that cuts the fewest parts.

    Blank pages count for nothing. Portrait wins a tie. The same content gives the same grid.

    Raises
    ------
    PrintingError
        If more than `MOST_SHEETS` are needed.
    """
    square = setup.paper.width_mm == setup.paper.height_mm
    ways = [
        _best_way_round(content, bounds_mm, setup, landscape) for landscape in ((False,) if square else (False, True))
    ]
    found = [way for way in ways if isinstance(way, _Scored)]
    if not found:
        refuse_too_many(min(way for way in ways if isinstance(way, int)), bounds_mm, setup)
    best = min(found, key=lambda way: (way.sheets, way.cut_parts))
    if best.sheets > MOST_SHEETS:
        refuse_too_many(best.sheets, bounds_mm, setup)
    return best.grid


def refuse_too_many(sheets: int, bounds_mm: Box, setup: PageSetup) -> None:
    """Refuse a plan of more than `MOST_SHEETS` sheets, in words."""
    raise PrintingError(
        f"At this size the drawing is {format_mm(bounds_mm[2] - bounds_mm[0])} by "
        f"{format_mm(bounds_mm[3] - bounds_mm[1])} and takes {sheets} sheets of {setup.paper.name}; at most "
        f"{MOST_SHEETS} are printed: take a smaller fraction or larger paper, or check the scale."
    )


@dataclass(frozen=True, slots=True)
class _Scored:
    sheets: int
    cut_parts: int
    grid: PageGrid


def _best_way_round(content: PageContent, bounds_mm: Box, setup: PageSetup, landscape: bool) -> "_Scored | int":
    """The best grid one way round, or the number of cells when there are too many to look at."""
    step = setup.core_size_mm(landscape=landscape)
    size = (bounds_mm[2] - bounds_mm[0], bounds_mm[3] - bounds_mm[1])
    cells = math.ceil(size[0] / step[0]) * math.ceil(size[1] / step[1])
    if cells > MOST_CELLS:
        return cells
    edges = [_first_edges(content, bounds_mm, axis, step[axis]) for axis in (0, 1)]
    sheets = _first_count(content, bounds_mm, edges, step)
    whole_x, whole_y = (~content.cut(axis, edges[axis], step[axis]) for axis in (0, 1))
    cut = len(content.part_numbers) - whole_y.astype(int) @ whole_x.astype(int).T
    off_centre = [_off_centre(bounds_mm, axis, edges[axis], step[axis]) for axis in (0, 1)]
    unevenness = off_centre[1][:, None] + off_centre[0][None, :]
    order = np.lexsort((unevenness.ravel(), cut.ravel(), sheets.ravel()))[:_COUNTED_AGAIN]
    scored = []
    for flat_index in order:
        iy, ix = np.unravel_index(flat_index, sheets.shape)
        corner = float(edges[0][ix]), float(edges[1][iy])
        cols, rows = (
            max(1, math.ceil((bounds_mm[axis + 2] - corner[axis] - _STICKS_OUT_MM) / step[axis])) for axis in (0, 1)
        )
        count = int(content.cells(corner, step, rows, cols).sum())
        half = setup.overlap_mm / 2
        origin = round(corner[0] - half, _ORIGIN_DIGITS), round(corner[1] - half, _ORIGIN_DIGITS)
        grid = PageGrid(origin, landscape, rows, cols)
        scored.append(_Scored(count, int(cut[iy, ix]), grid))
        if count <= sheets[iy, ix]:
            # Those that follow were no better by the first count.
            break
    # min keeps the first of equals, and the order above puts the better centred first.
    return min(scored, key=lambda way: (way.sheets, way.cut_parts))


def _first_edges(content: PageContent, bounds_mm: Box, axis: int, step_mm: float) -> NDArray[np.float64]:
    """Places for a grid's first joint: at most one step before the content, whole micrometres, each once."""
    low, high = bounds_mm[axis], bounds_mm[axis + 2]
    slack = math.ceil((high - low) / step_mm - 1e-9) * step_mm - (high - low)
    tried = [
        np.array([low, low - slack / 2, low - slack, low - min(_CLEARANCE_MM, slack / 2)]),
        low - np.arange(0.0, step_mm, _OFFSET_STEP_MM),
        content.parts_mm[:, axis] - _CLEARANCE_MM,
        content.parts_mm[:, axis + 2] + _CLEARANCE_MM,
    ]
    before = np.mod(low - np.concatenate(tried), step_mm)
    _, first = np.unique(np.round(before, 1), return_index=True)
    before = before[np.sort(first)][:_MOST_OFFSETS]
    return np.round(low - before, _ORIGIN_DIGITS)


def _first_count(
    content: PageContent, bounds_mm: Box, edges: list[NDArray[np.float64]], step: tuple[float, float]
) -> NDArray[np.int64]:
    """Sheets (len(edges y), len(edges x)) counted on a raster by its summed area, right to half a raster cell."""
    low = np.array(bounds_mm[:2])
    size = np.maximum(np.array(bounds_mm[2:]) - low, _RASTER_MM)
    raster = max(_RASTER_MM, math.sqrt(float(size.prod()) / _RASTER_CELLS))
    cols, rows = np.ceil(size / raster).astype(int) + 1
    at = ((points_along(content, step_mm=raster) - low) / raster).astype(int)
    boxes = ((content.boxes_mm - np.tile(low, 2)) / raster).astype(int)
    held = np.zeros((rows + 1, cols + 1), np.int32)
    held[1:, 1:] = filled(boxes[:, :2], boxes[:, 2:] + 1, rows, cols)
    held[at[:, 1] + 1, at[:, 0] + 1] = 1
    summed = held.cumsum(axis=0, dtype=np.int32).cumsum(axis=1, dtype=np.int32)
    joints_y = _joint_cells(edges[1], low[1], step[1], raster, rows)
    counts = np.empty((len(edges[1]), len(edges[0])), np.int64)
    for index, joints_x in enumerate(_joint_cells(edges[0], low[0], step[0], raster, cols)):
        strips = np.diff(summed[:, joints_x], axis=1)
        counts[:, index] = (np.diff(strips[joints_y], axis=1) > 0).sum(axis=(1, 2))
    return counts


def _joint_cells(edges: NDArray[np.float64], low: float, step: float, raster: float, size: int) -> NDArray[np.int64]:
    """Raster index of each joint, (len(edges), joints), cut off at the raster's sides."""
    joints = math.ceil(size * raster / step) + 2
    at = (edges[:, None] - low + step * np.arange(joints)[None, :]) / raster
    return np.clip(np.round(at), 0, size).astype(np.int64)


def _off_centre(bounds_mm: Box, axis: int, edges: NDArray[np.float64], step: float) -> NDArray[np.float64]:
    """How unlike the blank is on both sides of the content, mm."""
    before = bounds_mm[axis] - edges
    after = np.mod(edges - bounds_mm[axis + 2], step)
    return np.asarray(np.round(np.abs(before - after), 1))
