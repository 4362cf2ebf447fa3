"""Which figures are scale bars: a slim row of cells of one length, with figures at the lines between them."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from digitize.lettering import Piece
from digitize.ruled import Ruled

Floats = NDArray[np.float64]

FEWEST_CELLS = 3
"""Cells of a scale bar, at least, one that is divided finely counted once."""

EVEN = 1.2
"""A cell of a scale bar is longer than the next by less: no more is left of a slant once the bar is laid out straight,
or of a line's width in a small one."""

EVEN_THROUGH = 1.4
"""... and than any by less: the corners of so slim a figure tell little of the slant."""

FINE = 0.7
"""The parts of a cell that is divided finely are shorter than this, in parts of the longest cell."""

EVEN_FINE = 1.5
"""... and differ by less: a px or two are much of one."""

MOST_HIGH = 2.2
"""A scale bar is no higher than this many of its figures: a spar's web with its uprights numbered is, and a panel."""

NEAR_LETTERS = 2.5
"""Its figures stand no farther from it than this, in heights of their own."""

WORD_GAP = 0.45
"""Figures of one number stand nearer than this, in heights: letters of a word stand at 0.2, words at 0.6 to 0.8."""

AT_LINE = 0.2
"""A number has its middle this near to the line that it belongs to, in lengths of a cell: a narrow 1 stands aside."""

FEWEST_NUMBERS = 3
"""So many lines have their number: a dimension's figures stand between lines, a name stands where there is room."""

MOST_NUMBERS = 0.65
"""... and so much of what is written along the bar stands at a line."""

LEAST_ALIKE = 0.5
"""Pieces lower than this, in parts of the usual height, are points, or ticks of the lines."""


def is_scale_bar(figure: Ruled, pieces: Sequence[Piece], *, width_px: float) -> bool:
    """Tell whether a four-sided figure is a scale bar.

    Its cells are equally long, but for one at an end that is divided finely; one line may run along its middle.
    Numbers stand at the lines between cells, on one side.

    Parameters
    ----------
    figure : Ruled
    pieces : sequence of Piece
        Pieces of ink no larger than letters, anywhere on the sheet.
    width_px : float
        The figure's line.
    """
    long_px, high_px = figure.size_px
    cells = figure.cells
    lines = _merged(np.unique(cells[:, [0, 2]]), width_px)
    step_px = even_step_px(lines)
    if step_px is None or step_px < high_px or (cells[:, 3] - cells[:, 1]).min() < high_px / 3:
        return False
    if not pieces:
        return False
    spans = [figure.lay_out(piece.points_px) for piece in pieces]
    boxes = np.array([[*span.min(axis=0), *span.max(axis=0)] for span in spans])
    plain = np.array([piece.straight or piece.ring for piece in pieces])
    along = (boxes[:, 0] < long_px + step_px / 2) & (boxes[:, 2] > -step_px / 2)
    for is_beside, far_px in (((boxes[:, 3] < 0), -boxes[:, 3]), ((boxes[:, 1] > high_px), boxes[:, 1] - high_px)):
        near = along & is_beside & (far_px < NEAR_LETTERS * (boxes[:, 3] - boxes[:, 1]))
        if near.any() and _are_numbers(boxes[near], plain[near], lines, high_px, step_px):
            return True
    return False


def even_step_px(lines_px: Floats) -> float | None:
    """Give the length of the cells between lines (N,) in order along a bar, None where they are not a scale bar's."""
    steps = np.diff(lines_px)
    if len(steps) < FEWEST_CELLS:
        return None
    is_fine = steps < FINE * steps.max()
    if is_fine.any():
        fine = np.flatnonzero(is_fine)
        parts = steps[fine]
        at_end = fine[0] == 0 or fine[-1] == len(steps) - 1
        if not at_end or len(fine) < 2 or fine[-1] - fine[0] + 1 > len(fine) or parts.max() > EVEN_FINE * parts.min():
            return None
        whole = [float(parts.sum())]
        steps = np.concatenate([whole, steps[~is_fine]] if fine[0] == 0 else [steps[~is_fine], whole])
    if len(steps) < FEWEST_CELLS or steps.max() > EVEN_THROUGH * steps.min():
        return None
    ratio = steps[1:] / steps[:-1]
    return float(np.median(steps)) if (np.maximum(ratio, 1 / ratio) < EVEN).all() else None


def _merged(places: Floats, width_px: float) -> Floats:
    """Places in order, those nearer to one another than a line is wide taken together."""
    return np.array([group.mean() for group in np.split(places, np.flatnonzero(np.diff(places) > width_px) + 1)])


def _are_numbers(boxes: Floats, plain: NDArray[np.bool_], lines: Floats, high_px: float, step_px: float) -> bool:
    """Whether what stands along one side of a bar, by its boxes (N, 4) laid out, are numbers at its lines.

    Not all of them are rings and bars: rivets and ticks stand so too.
    """
    heights = boxes[:, 3] - boxes[:, 1]
    letter_px = float(np.median(heights))
    kept = heights > LEAST_ALIKE * letter_px
    boxes, plain = boxes[kept], plain[kept]
    if high_px > MOST_HIGH * letter_px or plain.all():
        return False
    order = np.argsort(boxes[:, 0])
    boxes = boxes[order]
    reach = np.maximum.accumulate(boxes[:, 2])
    begins = np.flatnonzero(boxes[1:, 0] - reach[:-1] > WORD_GAP * letter_px) + 1
    words = np.split(boxes, begins)
    middles = np.array([(word[:, 0].min() + word[:, 2].max()) / 2 for word in words])
    middles = middles[(middles > -step_px / 2) & (middles < lines[-1] + step_px / 2)]
    away = np.abs(middles[:, None] - lines)
    near = away.min(axis=1, initial=np.inf) < AT_LINE * step_px
    numbered = set(away.argmin(axis=1)[near].tolist())
    return len(numbered) >= FEWEST_NUMBERS and near.sum() >= MOST_NUMBERS * len(middles)
