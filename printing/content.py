"""What of a drawing must be printed, and which cells of a grid it touches."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from drawing.drawing import Drawing, Kind
from drawing.paths import sampled

Box = tuple[float, float, float, float]
"""(x min, y min, x max, y max), mm."""

# Chords stand in for curves when asking which page a curve touches; far below what scissors resolve.
CHORD_MM = 0.01


@dataclass(frozen=True, slots=True)
class PageContent:
    """The plan's ink that matters, build mm: chords `starts_mm` to `ends_mm` (N, 2), and filled `boxes_mm` (M, 4).

    `parts_mm` (P, 4) and `part_numbers` (P,) are the bounds and numbers of the parts.
    """

    starts_mm: NDArray[np.float64]
    ends_mm: NDArray[np.float64]
    boxes_mm: NDArray[np.float64]
    parts_mm: NDArray[np.float64]
    part_numbers: tuple[int, ...]

    def bounds_mm(self) -> Box | None:
        """Give the bounds of all of it, or None when there is nothing to print."""
        corners = np.concatenate([self.starts_mm, self.ends_mm, self.boxes_mm[:, :2], self.boxes_mm[:, 2:]])
        if not len(corners):
            return None
        low, high = corners.min(axis=0), corners.max(axis=0)
        return float(low[0]), float(low[1]), float(high[0]), float(high[1])

    def cells(
        self, corner_mm: tuple[float, float], step_mm: tuple[float, float], rows: int, cols: int
    ) -> NDArray[np.bool_]:
        """Tell which cells of a grid hold content: (rows, cols), the first row lowest, y up.

        A chord through a cell has an end in it or crosses its edge, so ends and crossings decide exactly.
        What lies on an edge between two cells counts for one of them, or for both.
        """
        held = np.zeros((rows, cols), bool)
        shape = np.array([cols, rows])
        start, end = ((p - corner_mm) / step_mm for p in (self.starts_mm, self.ends_mm))
        for points in (start, end):
            col, row = np.clip(np.floor(points), 0, shape - 1).astype(int).T
            held[row, col] = True
        for axis in (0, 1):
            for edge in range(1, int(shape[axis])):
                a, b = start[:, axis], end[:, axis]
                over = (np.minimum(a, b) < edge) & (np.maximum(a, b) > edge)
                along = (edge - a[over]) / (b[over] - a[over])
                other = start[over, 1 - axis] + along * (end[over, 1 - axis] - start[over, 1 - axis])
                cell = np.clip(np.floor(other), 0, shape[1 - axis] - 1).astype(int)
                for side in (edge - 1, edge):
                    if axis == 0:
                        held[cell, side] = True
                    else:
                        held[side, cell] = True
        low = np.clip(np.floor((self.boxes_mm[:, :2] - corner_mm) / step_mm), 0, shape - 1).astype(int)
        high = np.clip(np.ceil((self.boxes_mm[:, 2:] - corner_mm) / step_mm), low + 1, shape).astype(int)
        held |= filled(low, high, rows, cols)
        return held

    def cut(self, axis: int, edges_from_mm: NDArray[np.float64], step_mm: float) -> NDArray[np.bool_]:
        """Tell which parts a joint cuts along one axis: (K, P) for K grids whose first edge lies at `edges_from_mm`."""
        # A part that ends on a joint is not cut by it.
        low = np.floor((self.parts_mm[None, :, axis] - edges_from_mm[:, None]) / step_mm + 1e-9)
        high = np.ceil((self.parts_mm[None, :, axis + 2] - edges_from_mm[:, None]) / step_mm - 1e-9)
        return np.asarray(high - low > 1)


def page_content(drawing: Drawing, *, ink_boxes_mm: Sequence[Box] = ()) -> PageContent:
    """Give what of a drawing must be printed: outlines but no border, lines, and boxes of other ink.

    Parameters
    ----------
    drawing : Drawing
        At build size.
    ink_boxes_mm : sequence of (x min, y min, x max, y max)
        Where there is lettering and other ink that is neither outline nor line, build frame.
    """
    loops = []
    parts = []
    for outline in drawing.outlines:
        if outline.kind is Kind.BORDER:
            continue
        boundary = sampled(outline.boundary, tolerance_mm=CHORD_MM)
        parts.append((*boundary.min(axis=0), *boundary.max(axis=0)))
        loops.append(boundary)
        loops.extend(sampled(hole, tolerance_mm=CHORD_MM) for hole in outline.holes)
    starts = [*loops]
    ends = [np.roll(loop, -1, axis=0) for loop in loops]
    for line in drawing.lines:
        points = sampled(line, tolerance_mm=CHORD_MM)
        closed = np.vstack([points, points[:1]]) if line.closed else points
        starts.append(closed[:-1])
        ends.append(closed[1:])
    none = np.empty((0, 2))
    return PageContent(
        np.concatenate([none, *starts]),
        np.concatenate([none, *ends]),
        np.array(list(ink_boxes_mm), dtype=np.float64).reshape(-1, 4),
        np.array(parts, dtype=np.float64).reshape(-1, 4),
        tuple(outline.number for outline in drawing.outlines if outline.kind is not Kind.BORDER),
    )


def points_along(content: PageContent, *, step_mm: float) -> NDArray[np.float64]:
    """Give (N, 2) points along all chords, neighbours at most `step_mm` apart, build mm."""
    start, end = content.starts_mm, content.ends_mm
    counts = np.maximum(1, np.ceil(np.hypot(*(end - start).T) / step_mm)).astype(int)
    which = np.repeat(np.arange(len(counts)), counts)
    first = np.repeat(np.cumsum(counts) - counts, counts)
    along = ((np.arange(len(which)) - first) / counts[which])[:, None]
    return np.concatenate([start[which] + along * (end - start)[which], end])


def filled(low: NDArray[np.int64], high: NDArray[np.int64], rows: int, cols: int) -> NDArray[np.bool_]:
    """Give (rows, cols) cells that any of M boxes covers: from (x, y) cell `low` up to, not with, `high`, (M, 2)."""
    steps = np.zeros((rows + 1, cols + 1), np.int32)
    for x, y, sign in ((low, low, 1), (high, low, -1), (low, high, -1), (high, high, 1)):
        np.add.at(steps, (y[:, 1], x[:, 0]), sign)
    covered = steps.cumsum(axis=0, dtype=np.int32).cumsum(axis=1, dtype=np.int32)
    return np.asarray(covered[:rows, :cols] > 0)
