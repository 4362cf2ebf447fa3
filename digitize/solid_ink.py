"""Which lines run through ink too wide for any pen of the sheet: the black fields of a scale bar, of a balance mark."""

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from digitize.loop import Loop
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


def solid_ink(mask: NDArray[np.uint8], widths_px: Floats, lengths_px: Floats) -> SolidInk:
    """Give where ink is wider than pens draw: what an opening leaves of it (Serra, "Image Analysis and Mathematical
    Morphology", 1982).

    Parameters
    ----------
    mask : (H, W) uint8
        Ink is above zero.
    widths_px, lengths_px : (L,) float
        Of the lines drawn on the sheet, at least one.
    """
    order = np.argsort(widths_px)
    drawn = np.cumsum(lengths_px[order])
    pen_px = float(widths_px[order][np.searchsorted(drawn, PEN_SHARE * drawn[-1])])
    small = np.ascontiguousarray(mask[::CELL_PX, ::CELL_PX])
    size = max(3, round(PEN_WIDTHS * pen_px / CELL_PX))
    opened = cv2.morphologyEx(small, cv2.MORPH_OPEN, np.ones((size, size), np.uint8))
    cells = np.flatnonzero(opened.ravel())
    if not len(cells):
        return SolidInk(cells, np.empty(0), small.shape[1])
    _, fields, told, _ = cv2.connectedComponentsWithStats(opened)
    areas_px2 = CELL_PX**2 * told[:, cv2.CC_STAT_AREA].astype(np.float64)
    return SolidInk(cells, areas_px2[fields.ravel()[cells]], small.shape[1])


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


LEAST_FIELD = 0.3
"""The light field between black ones is as large as they are, about; a spar drawn black in a part's edge, or an
arrowhead on it, is a hundredth of the part."""


def is_beside_solid(strokes: Strokes, loop: Loop) -> bool:
    """Tell whether a loop is a light field between black ones: its line runs on into ink as large as itself.

    A round hole's own ring is none, however little paper the lines that cross it leave in it.
    """
    links = [strokes.links[link] for link in loop.links]
    if all(strokes.kinds[link.start] == NodeKind.LOOP for link in links):
        return False
    return max(link.solid_px2 for link in links) > LEAST_FIELD * loop.area_px2
