"""Which lines run through ink too wide for any pen of the sheet: the black fields of a scale bar, of a balance mark."""

from dataclasses import dataclass, replace

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray

from digitize.loop import Loop
from digitize.not_parts import is_round
from digitize.strokes import NodeKind, Strokes

Floats = NDArray[np.float64]

PEN_WIDTHS = 2.0
"""Ink is solid from this many times the sheet's widest pen on, both ways. Two sides of a tip that share their ink are
up to two lines wide, and so is a line drawn over beside itself; a bar's black field has four and more."""

PEN_SHARE = 0.9
"""The widest pen: nine tenths of all that is drawn, by length, is no wider."""

CELL_PX = 2
"""Solid ink is looked for at every second pixel each way, with a quarter of the memory."""


@dataclass(frozen=True, slots=True)
class SolidInk:
    """Where a picture's ink is solid: `cells` (N,) are rising numbers of cells of CELL_PX, in rows of `columns`, and
    `areas_px2` (N,) how large the black field is that each belongs to."""

    cells: NDArray[np.int64]
    areas_px2: Floats
    columns: int

    def at(self, points_px: Floats) -> Floats:
        """How large the black fields are that (M, 2) points lie in, px², 0 outside of any."""
        x, y = np.round(points_px / CELL_PX).astype(np.int64).T
        inside = (x >= 0) & (x < self.columns) & (y >= 0)
        at = np.where(inside, y * self.columns + x, -1)
        found = np.minimum(np.searchsorted(self.cells, at), len(self.cells) - 1)
        areas: Floats = np.where(self.cells[found] == at, self.areas_px2[found], 0.0)
        return areas


def solid_cells(mask: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Give the cells of CELL_PX of a mask (H, W), that it may be written to while they are still needed."""
    return np.ascontiguousarray(mask[::CELL_PX, ::CELL_PX])


def solid_ink(cells: NDArray[np.uint8], widths_px: Floats, lengths_px: Floats) -> SolidInk:
    """Give where ink is wider than pens draw: what an opening leaves of it (Serra, "Image Analysis and Mathematical
    Morphology", 1982).

    Parameters
    ----------
    cells : (H / CELL_PX, W / CELL_PX) uint8
        As `solid_cells` gives them, ink too wide for lines included.
    widths_px, lengths_px : (L,) float
        Of the lines drawn on the sheet, at least one.
    """
    order = np.argsort(widths_px)
    drawn = np.cumsum(lengths_px[order])
    pen_px = float(widths_px[order][np.searchsorted(drawn, PEN_SHARE * drawn[-1])])
    size = max(3, round(PEN_WIDTHS * pen_px / CELL_PX))
    opened = cv2.morphologyEx(cells, cv2.MORPH_OPEN, np.ones((size, size), np.uint8))
    is_solid = np.flatnonzero(opened.ravel())
    if not len(is_solid):
        return SolidInk(is_solid, np.empty(0), cells.shape[1])
    _, fields, told, _ = cv2.connectedComponentsWithStats(opened)
    areas_px2 = CELL_PX**2 * told[:, cv2.CC_STAT_AREA].astype(np.float64)
    return SolidInk(is_solid, areas_px2[fields.ravel()[is_solid]], cells.shape[1])


def with_solid_fields(strokes: Strokes, solid: SolidInk) -> Strokes:
    """Give the strokes, each link with the size of the largest black field that it runs through."""
    if not len(solid.cells) or not strokes.links:
        return strokes
    counts = np.array([len(link.points_px) for link in strokes.links])
    areas_px2 = solid.at(np.concatenate([link.points_px for link in strokes.links]))
    largest = np.maximum.reduceat(areas_px2, np.cumsum(counts) - counts)
    links = tuple(
        replace(link, solid_px2=area_px2) if area_px2 > 0 else link
        for link, area_px2 in zip(strokes.links, largest.tolist(), strict=True)
    )
    return replace(strokes, links=links)


LEAST_FIELD, MOST_FIELD = 0.3, 10.0
"""The light field between black ones is as large as they are, about; a spar drawn black in a part's edge, or an
arrowhead on it, is a hundredth of the part, and what lies about the paper is larger by far..."""

SLIM_WIDTHS = 4.0
"""... but for slivers, no wider than this many line widths, along the paper's edge."""


def is_beside_solid(strokes: Strokes, loop: Loop) -> bool:
    """Tell whether a loop is a light field between black ones: its line runs on into ink as large as itself.

    A round hole's own ring is none, however little paper the lines that cross it leave in it.
    """
    links = [strokes.links[link] for link in loop.links]
    width_px = float(np.median([link.width_px for link in links]))
    is_ring = all(strokes.kinds[link.start] == NodeKind.LOOP for link in links)
    if is_ring and is_round(loop.polygon, width_px=width_px):
        return False
    slim = 2 * loop.area_px2 < SLIM_WIDTHS * width_px * shapely.length(loop.polygon)
    most_px2 = np.inf if slim else MOST_FIELD * loop.area_px2
    return any(LEAST_FIELD * loop.area_px2 < link.solid_px2 < most_px2 for link in links)
