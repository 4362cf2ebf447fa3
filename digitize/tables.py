"""Which figures are tables: a title block that stands free of the border, a list of parts."""

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from digitize.loop import Loop
from digitize.not_parts import hull_corners, is_quad

Floats = NDArray[np.float64]

LEAST_LETTERED = 0.3
"""Words stand in so many of a table's cells, at least: a column of three is empty, to be filled in, and the lone digits
of another are not known for lettering. Of the fields between ribs and spars few have a name."""

FEWEST_LETTERED = 3
"""... and in no fewer: two names in a divided box are those of two pieces."""

LETTER_SHARE = 0.25
"""Cells are ruled for their lettering: a letter's size over the usual cell's lesser side. A line of lettering fills a
third of its cell's height; a part's name a tenth or so of the part's."""

FULL = 0.95
"""The cells fill their table to this share."""

APART = 0.1
"""Cells whose middles lie farther apart than this, in parts of the table's side, are in two rows or columns."""


def is_table(loop: Loop, cells: Sequence[Loop], letters_px: Floats, *, letter_px: float, width_px: float) -> bool:
    """Tell whether a four-sided figure is ruled into rows and columns of cells for lettering.

    Sheets cut side by side stand in one row, each with its name: these are no table.

    Parameters
    ----------
    loop : Loop
    cells : sequence of Loop
        The fields inside of it.
    letters_px : (N, 2) float
        Middles of the lettering inside of it.
    letter_px : float
        Usual size of a letter.
    width_px : float
    """
    if len(cells) < FEWEST_LETTERED or not len(letters_px) or not is_quad(loop.points_px, width_px=width_px):
        return False
    if sum(cell.area_px2 for cell in cells) < FULL * loop.area_px2:
        return False
    if not all(is_quad(cell.points_px, width_px=width_px) for cell in cells):
        return False
    points = shapely.points(letters_px)
    lettered = sum(bool(shapely.contains(cell.polygon, points).any()) for cell in cells)
    if lettered < max(FEWEST_LETTERED, LEAST_LETTERED * len(cells)):
        return False
    corners = hull_corners(loop.points_px, width_px=width_px)
    sides = [corners[1] - corners[0], corners[2] - corners[1]]
    middles = np.array([shapely.get_coordinates(shapely.centroid(cell.polygon))[0] for cell in cells])
    for side in sides:
        along = np.sort(middles @ side / (side @ side))
        if np.count_nonzero(np.diff(along) > APART) == 0:
            return False
    lesser = [min(np.hypot(*np.diff(_corners(cell, width_px)[:3], axis=0).T)) for cell in cells]
    return bool(letter_px > LETTER_SHARE * float(np.median(lesser)))


def _corners(cell: Loop, width_px: float) -> Floats:
    return hull_corners(cell.points_px, width_px=width_px)
