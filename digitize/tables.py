"""Which figures are tables: a title block that stands free of the border, a list of parts."""

from enum import Enum

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from digitize.lettering import lettering_links
from digitize.ruled import Ruled
from digitize.strokes import Strokes

Floats = NDArray[np.float64]


class Told(Enum):
    """Whether a figure is a table."""

    NO = "no"
    MAYBE = "it may be"
    YES = "yes"


FEWEST_CELLS = 3
"""Cells of a table, at least."""

LEAST_LETTERED = 0.3
"""Words stand in so many of a table's cells, at least: a column of three is empty, to be filled in. Of the fields
between ribs and spars few have a name."""

FEWEST_LETTERED = 3
"""... and in no fewer: two names in a divided box may be those of two pieces."""

LETTER_SHARE = 0.25
"""Cells are ruled for their lettering: a letter's size over the usual cell's lesser side. A line of lettering fills a
third of its cell's height; a part's name a tenth or so of the part's."""

MANY_LETTERED, SMALL_SHARE = 0.55, 0.15
"""Where so many cells are lettered, smaller lettering leaves it in doubt: rows may be high, and pieces small."""

CLOSE_SHARE = 0.45
"""A letter's share where all cells stand in one row or column: strips cut side by side have names written smaller."""

TALL_LETTERS = 75
"""The letter that is higher than so many of a hundred has the usual height: of each word some are marred by a rule."""

ALL_LETTERING = 0.6
"""So much of what is drawn in a table's cells is lettering, by length: braces and openings are not..."""

MUCH_LETTERING = 0.4
"""... or so much, where some is known in every cell: of coarse letters that touch many are not known."""


def is_table(
    figure: Ruled, strokes: Strokes, lettering: NDArray[np.bool_], inside: NDArray[np.int64], *, width_px: float
) -> Told:
    """Tell whether a four-sided figure is ruled into cells for lettering.

    Sheets cut side by side stand in one row, each with its name, so that a single row or column is never sure.
    Letters that touch rules are looked at with the rules taken away.

    Parameters
    ----------
    figure : Ruled
    strokes : Strokes
    lettering : (L,) array of bool
        Links known to be lettering.
    inside : (K,) int
        Links inside the figure.
    width_px : float
        The figure's line.
    """
    cells = figure.cells
    if len(cells) < FEWEST_CELLS:
        return Told.NO
    off = [
        which
        for which in inside.tolist()
        if lettering[which] or not figure.is_on_rule(strokes.links[which].points_px, within_px=width_px)
    ]
    if not off:
        return Told.NO
    written = Strokes(strokes.nodes_px, strokes.kinds, tuple(strokes.links[which] for which in off))
    is_letter = lettering_links(written) | lettering[off]
    letters = [written.links[which] for which in np.flatnonzero(is_letter).tolist()]
    lengths = np.array([shapely.length(shapely.LineString(link.points_px)) for link in written.links])
    if not letters:
        return Told.NO
    lettered = set(figure.cells_at(np.array([link.points_px.mean(axis=0) for link in letters])).tolist()) - {-1}
    least = ALL_LETTERING if len(lettered) < len(cells) else MUCH_LETTERING
    if lengths[is_letter].sum() < least * lengths.sum():
        return Told.NO
    sizes = np.median(cells[:, 2:] - cells[:, :2], axis=0)
    lesser = int(sizes.argmin())
    share = (
        float(
            np.percentile(
                _sizes(figure, Strokes(written.nodes_px, written.kinds, tuple(letters)))[:, lesser], TALL_LETTERS
            )
        )
        / sizes[lesser]
    )
    if not (_are_apart(cells, 0) and _are_apart(cells, 1)):
        enough = len(lettered) >= max(FEWEST_LETTERED, LEAST_LETTERED * len(cells))
        return Told.MAYBE if enough and share > CLOSE_SHARE else Told.NO
    many = len(lettered) >= MANY_LETTERED * len(cells)
    if share > LETTER_SHARE and len(lettered) >= LEAST_LETTERED * len(cells):
        return Told.YES if len(lettered) >= FEWEST_LETTERED else Told.MAYBE if len(lettered) > 1 else Told.NO
    return Told.MAYBE if many and share > SMALL_SHARE else Told.NO


def _sizes(figure: Ruled, letters: Strokes) -> Floats:
    """How far connected pieces (N, 2) of lettering reach along and across a figure, px."""
    ends = np.array([(link.start, link.end) for link in letters.links])
    count = len(letters.nodes_px)
    joined = coo_matrix((np.ones(len(ends)), (ends[:, 0], ends[:, 1])), shape=(count, count))
    _, of_node = connected_components(joined, directed=False)
    pieces: dict[int, list[Floats]] = {}
    for link in letters.links:
        pieces.setdefault(int(of_node[link.start]), []).append(figure.lay_out(link.points_px))
    return np.array([np.ptp(np.concatenate(piece), axis=0) for piece in pieces.values()])


def _are_apart(cells: Floats, axis: int) -> bool:
    """Whether some cells stand one after the other along an axis, level with each other along the other one."""
    low, high = cells[:, [axis, 1 - axis]], cells[:, [axis + 2, 3 - axis]]
    level = np.minimum(high[:, None, 1], high[None, :, 1]) - np.maximum(low[:, None, 1], low[None, :, 1])
    sizes = (high - low)[:, 1]
    # A title over several cells is as wide as all of them.
    return bool(((low[:, None, 0] >= high[None, :, 0]) & (level > 0.5 * np.minimum(sizes[:, None], sizes))).any())
