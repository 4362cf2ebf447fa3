"""Which lines run through ink too wide for any pen of the sheet: the black fields of a scale bar, of a balance mark."""

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from digitize.link_sizes import link_lengths_px
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
    """Where a picture's ink is solid: `cells` (N,) are rising numbers of cells of CELL_PX, in rows of `columns`."""

    cells: NDArray[np.int64]
    columns: int

    def holds(self, points_px: Floats) -> NDArray[np.bool_]:
        """Tell which of (M, 2) points lie in solid ink."""
        x, y = np.round(points_px / CELL_PX).astype(np.int64).T
        inside = (x >= 0) & (x < self.columns) & (y >= 0)
        at = np.where(inside, y * self.columns + x, -1)
        found = np.minimum(np.searchsorted(self.cells, at), max(len(self.cells) - 1, 0))
        held: NDArray[np.bool_] = self.cells[found] == at if len(self.cells) else np.zeros(len(at), np.bool_)
        return held


def solid_ink(mask: NDArray[np.uint8], widths_px: Floats, lengths_px: Floats) -> SolidInk:
    """Give where ink is wider than pens draw: what an opening leaves of it (Serra, "Image Analysis and Mathematical
    Morphology", 1982).

    Parameters
    ----------
    mask : (H, W) uint8
        Ink is above zero.
    widths_px, lengths_px : (L,) float
        Of the lines drawn on the sheet.
    """
    order = np.argsort(widths_px)
    drawn = np.cumsum(lengths_px[order])
    pen_px = float(widths_px[order][np.searchsorted(drawn, PEN_SHARE * drawn[-1])]) if len(order) else 1.0
    small = np.ascontiguousarray(mask[::CELL_PX, ::CELL_PX])
    size = max(3, round(PEN_WIDTHS * pen_px / CELL_PX))
    opened = cv2.morphologyEx(small, cv2.MORPH_OPEN, np.ones((size, size), np.uint8))
    return SolidInk(np.flatnonzero(opened.ravel()), small.shape[1])


def with_solid_shares(strokes: Strokes, solid: SolidInk) -> Strokes:
    """Give the strokes, each link with the share of its length that runs through solid ink."""
    if not len(solid.cells) or not strokes.links:
        return strokes
    counts = np.array([len(link.points_px) for link in strokes.links])
    held = solid.holds(np.concatenate([link.points_px for link in strokes.links]))
    shares = np.add.reduceat(held.astype(np.float64), np.cumsum(counts) - counts) / counts
    links = tuple(
        replace(link, solid=share) if share > 0 else link
        for link, share in zip(strokes.links, shares.tolist(), strict=True)
    )
    return replace(strokes, links=links)


MOST_SOLID = 0.2
"""A loop that runs through solid ink over more of its length is the light field between black ones. A part's outline
passes along a spar drawn black, or an arrowhead, over far less."""


def is_beside_solid(strokes: Strokes, links: frozenset[int]) -> bool:
    """Tell whether a loop along these links is a light field between black ones.

    A round hole's own ring is none, however little paper the lines that cross it leave in it.
    """
    if not any(strokes.links[link].solid for link in links):
        return False
    if all(strokes.kinds[strokes.links[link].start] == NodeKind.LOOP for link in links):
        return False
    lengths = link_lengths_px(strokes)
    solid_px = sum(strokes.links[link].solid * lengths[link] for link in links)
    return bool(solid_px > MOST_SOLID * sum(lengths[link] for link in links))
