"""Into which cells straight lines rule a four-sided figure, whatever else touches these lines.

The figure is laid out straight through its four corners, so that a picture taken at a slant tells as much as a scan;
there a cell is parted, again and again, by any line that runs across all of it. Fields between lines would tell the
same where nothing else is drawn; letters that touch a rule make fields of their own.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray

from digitize.not_parts import QUAD_FILL, hull_corners

Floats = NDArray[np.float64]

LEAST_WIDTH_PX = 2.0
"""A line's middle is off by a px where others meet it, however thin it is: what is told in line widths is told in no
less."""

PULLED_WIDTHS = 1.25
"""Letters that lie on a rule pull its middle aside by this, in line widths."""

EDGE_WIDTHS = 0.35
"""The edge of a slim figure may run beside the line between its corners by this over all its length."""

ALONG = np.sin(np.deg2rad(18))
"""What rules a cell runs along its side to within this, as a sine: short links' ends are pulled aside."""

BOW = 0.004
"""A rule bows by this share of its length where the paper or the lens does."""

THICKEST_SHARE = 0.2
"""... and by no more than this share of the figure's lesser side: its cells are as narrow as that."""

OPEN_WIDTHS = 1.0
"""A rule ends no farther from what it meets, and has no wider gaps, in line widths; a letter does in its cell."""

OPEN_SHARE = 0.02
"""... or this share of its own length."""

NARROWEST_WIDTHS = 2.5
"""Cells are no narrower, in line widths: two lines so near are one, drawn twice."""


@dataclass(frozen=True, slots=True)
class Ruled:
    """A four-sided figure laid out straight, and its cells.

    `size_px` is its width, the longer, and its height; `cells` (N, 4) hold x min, y min, x max, y max within it, px of
    the picture about. `lay_out` takes picture px (N, 2) to that frame.
    """

    to_straight: Floats
    size_px: tuple[float, float]
    cells: Floats

    def lay_out(self, points_px: Floats) -> Floats:
        """Give where points (N, 2) of the picture lie, px from the figure's corner along and across it."""
        lifted = np.column_stack([points_px, np.ones(len(points_px))]) @ self.to_straight.T
        return np.asarray(lifted[:, :2] / lifted[:, 2:])

    def cells_at(self, points_px: Floats) -> NDArray[np.int64]:
        """Give the number of the cell that each of some points (N, 2) of the picture lies in, -1 outside all."""
        at = self.lay_out(points_px)
        inside = np.all((at[:, None] > self.cells[:, :2]) & (at[:, None] < self.cells[:, 2:]), axis=2)
        return np.where(np.any(inside, axis=1), np.argmax(inside, axis=1), -1)

    def is_on_rule(self, points_px: Floats, *, within_px: float) -> bool:
        """Tell whether a line (N, 2) of the picture lies along the sides of the cells."""
        at = self.lay_out(points_px)
        low, high = at[:, None] - self.cells[:, :2], self.cells[:, 2:] - at[:, None]
        deep = np.minimum(low, high).min(axis=2).max(axis=1)
        return bool((deep < within_px).all())


def ruled(points_px: Floats, lines_px: Sequence[Floats], *, width_px: float) -> Ruled | None:
    """Give the cells into which lines part a closed line; None where that has not four straight sides.

    Parameters
    ----------
    points_px : (N, 2) float
        The closed line, picture px.
    lines_px : sequence of (M, 2) float
        What is drawn inside of it.
    width_px : float
        The lines' width.
    """
    corners = four_corners(points_px, width_px=width_px)
    width_px = max(width_px, LEAST_WIDTH_PX)
    if corners is None:
        return None
    sides = np.hypot(*(np.roll(corners, -1, axis=0) - corners).T)
    if sides[0] + sides[2] < sides[1] + sides[3]:
        corners, sides = np.roll(corners, -1, axis=0), np.roll(sides, -1)
    long_px, high_px = float(sides[[0, 2]].mean()), float(sides[[1, 3]].mean())
    straight = np.array([[0, 0], [long_px, 0], [long_px, high_px], [0, high_px]])
    matrix = cv2.getPerspectiveTransform(corners.astype(np.float32), straight.astype(np.float32))
    figure = Ruled(np.asarray(matrix, dtype=np.float64), (long_px, high_px), np.empty((0, 4)))
    pieces = [_dense(figure.lay_out(line), width_px) for line in lines_px if len(line) > 1]
    at = np.concatenate([middles for middles, _ in pieces]) if pieces else np.empty((0, 2))
    ways = np.concatenate([way for _, way in pieces]) if pieces else np.empty((0, 2))
    cells = _parted(np.array([0.0, 0.0, long_px, high_px]), at, ways, width_px, THICKEST_SHARE * high_px)
    return Ruled(figure.to_straight, figure.size_px, np.array(cells))


def four_corners(points_px: Floats, *, width_px: float) -> Floats | None:
    """The corners (4, 2) of a closed line of four straight sides, None for any other; a bump on a side is left out."""
    hull = hull_corners(points_px, width_px=width_px)
    while len(hull) > 4:
        before, after = np.roll(hull, 1, axis=0) - hull, np.roll(hull, -1, axis=0) - hull
        spans = np.abs(before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0])
        hull = np.delete(hull, int(spans.argmin()), axis=0)
    if len(hull) < 4:
        return None
    figure, drawn = shapely.Polygon(hull), shapely.make_valid(shapely.Polygon(points_px))
    # A bump on a side leaves the corners' own figure, and a letter's eye beside it is cut off the drawn one.
    both = shapely.area(shapely.intersection(figure, drawn))
    whole = max(shapely.area(figure), shapely.area(drawn))
    slack = max((1 - QUAD_FILL) * whole, EDGE_WIDTHS * width_px * shapely.length(figure))
    return hull if whole - both < slack else None


def _dense(line: Floats, width_px: float) -> tuple[Floats, Floats]:
    """Middles of short steps along a line, and their ways, each taken over a line width and more."""
    steps = np.hypot(*np.diff(line, axis=0).T)
    far = np.concatenate([[0.0], np.cumsum(steps)])
    count = max(2, int(np.ceil(far[-1] / (0.3 * width_px))) + 1)
    along = np.linspace(0, far[-1], count)
    at = np.column_stack([np.interp(along, far, line[:, axis]) for axis in (0, 1)])
    reach = 1.5 * width_px
    ends = [np.column_stack([np.interp(along + by, far, line[:, axis]) for axis in (0, 1)]) for by in (-reach, reach)]
    way = ends[1] - ends[0]
    size = np.hypot(*way.T)
    kept = size > 0
    return at[kept], way[kept] / size[kept, None]


def _parted(box: Floats, at: Floats, ways: Floats, width_px: float, most_px: float) -> list[Floats]:
    """A cell, or what the lines across it make of it."""
    near = ((at > box[:2] - width_px) & (at < box[2:] + width_px)).all(axis=1)
    at, ways = at[near], ways[near]
    for axis in (0, 1):
        runs = np.abs(ways[:, 1 - axis]) < ALONG
        where = _line_across(
            box[[axis, axis + 2]], box[[1 - axis, 3 - axis]], at[runs][:, [axis, 1 - axis]], width_px, most_px
        )
        if where is not None:
            first, second = box.copy(), box.copy()
            first[3 - axis] = second[1 - axis] = where
            return [*_parted(first, at, ways, width_px, most_px), *_parted(second, at, ways, width_px, most_px)]
    return [box]


def _line_across(span: Floats, side: Floats, at: Floats, width_px: float, most_px: float) -> float | None:
    """Where on the side of a cell a line begins that runs over its whole span, nearest to the side's middle.

    `at` (N, 2) are points of lines that run so, along and aside.
    """
    within_px = max(PULLED_WIDTHS * width_px, min(BOW * float(np.ptp(span)), most_px))
    clear = (at[:, 1] > side[0] + NARROWEST_WIDTHS * width_px) & (at[:, 1] < side[1] - NARROWEST_WIDTHS * width_px)
    at = at[clear]
    at = at[np.argsort(at[:, 1])]
    open_px = max(OPEN_WIDTHS * width_px, OPEN_SHARE * float(np.ptp(span)))
    places = np.unique(np.round(at[:, 1] / (0.5 * within_px)).astype(int)) * (0.5 * within_px)
    for place in sorted(places.tolist(), key=lambda y: abs(y - side.mean())):
        first, last = np.searchsorted(at[:, 1], [place - within_px, place + within_px])
        along = np.sort(at[first:last, 0])
        along = along[(along > span[0]) & (along < span[1])]
        gaps = np.diff(np.concatenate([span[:1], along, span[1:]]))
        if gaps.max() < open_px:
            return float(np.median(at[first:last, 1]))
    return None
