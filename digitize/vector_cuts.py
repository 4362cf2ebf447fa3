"""Where the runs of a vector page meet: crossings, shared stretches, and tiny gaps between their ends."""

from collections import defaultdict
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from digitize.own_curve import Floats
from digitize.vector_runs import SAME_PX, Runs

CLOSE_PX = 0.6
"""A free end this near another end or line was meant to lie on it: 0.05 mm at 300 dpi, a rounded coordinate."""

HALF_TURN_RAD = np.pi * 0.9
"""A run that turns by less in all cannot cross itself."""


@dataclass(frozen=True, slots=True)
class Cuts:
    """Places where runs are cut: `run` (C,) and `along_px` (C,).

    Ends that were moved onto something: `moved_run`, `moved_end` (0 start, 1 end), both (M,), and `moved_to_px` (M, 2).
    """

    run: NDArray[np.int64]
    along_px: Floats
    moved_run: NDArray[np.int64]
    moved_end: NDArray[np.int64]
    moved_to_px: Floats


def find_cuts(runs: Runs) -> Cuts:
    """Find every place where a run meets another or itself.

    Free ends within CLOSE_PX of another end or line are moved onto it.

    Parameters
    ----------
    runs : Runs
    """
    lines = _lines(runs)
    tree = shapely.STRtree(lines)
    run, along = _crossings(runs, lines, tree)
    own_run, own_along = _self_crossings(runs, lines)
    moved, reached_run, reached_along = _closed_gaps(runs, lines, tree)
    return Cuts(
        np.concatenate([run, own_run, reached_run]).astype(np.int64),
        np.concatenate([along, own_along, reached_along]),
        moved.moved_run,
        moved.moved_end,
        moved.moved_to_px,
    )


def _lines(runs: Runs) -> NDArray[np.object_]:
    of = np.repeat(np.arange(len(runs)), np.diff(runs.first))
    lines: NDArray[np.object_] = np.asarray(shapely.linestrings(runs.points_px, indices=of), dtype=object)
    return lines


def _crossings(runs: Runs, lines: NDArray[np.object_], tree: shapely.STRtree) -> tuple[NDArray[np.int64], Floats]:
    """Cuts of different runs by each other; where they run together, at the ends of that stretch."""
    pairs = tree.query(lines, predicate="intersects")
    pairs = pairs[:, pairs[0] < pairs[1]]
    if not pairs.shape[1]:
        return np.empty(0, np.int64), np.empty(0)
    met = shapely.intersection(lines[pairs[0]], lines[pairs[1]])
    parts, of_pair = shapely.get_parts(met, return_index=True)
    is_line = shapely.get_type_id(parts) == shapely.GeometryType.LINESTRING
    # A shared stretch comes back in its straight steps: only where it begins and ends are they cut.
    merged, of_merged = _merged(parts[is_line], of_pair[is_line])
    ends = [shapely.get_point(merged, at) for at in (0, -1)]
    points = np.concatenate([parts[~is_line], *ends])
    of = np.concatenate([of_pair[~is_line], of_merged, of_merged])
    both = pairs[:, of]
    run = both.ravel()
    at = np.concatenate([shapely.line_locate_point(lines[numbers], points) for numbers in both])
    return run, at


def _merged(parts: NDArray[np.object_], of: NDArray[np.int64]) -> tuple[NDArray[np.object_], NDArray[np.int64]]:
    if not len(parts):
        return parts, of
    groups, which = np.unique(of, return_inverse=True)
    together = shapely.line_merge(shapely.multilinestrings(parts, indices=which))
    merged, of_group = shapely.get_parts(together, return_index=True)
    return merged, groups[of_group]


def _self_crossings(runs: Runs, lines: NDArray[np.object_]) -> tuple[NDArray[np.int64], Floats]:
    """Cuts of runs by themselves: such a run is taken in stretches that turn too little to cross themselves."""
    run: list[int] = []
    along: list[float] = []
    for which in np.flatnonzero(~shapely.is_simple(lines)).tolist():
        points = runs.points_of(which)
        far = runs.along_px[runs.first[which] : runs.first[which + 1]]
        way = np.diff(points, axis=0)
        turn = np.arctan2(way[:-1, 0] * way[1:, 1] - way[:-1, 1] * way[1:, 0], (way[:-1] * way[1:]).sum(axis=1))
        stretch = np.concatenate([[0], (np.cumsum(np.abs(turn)) // HALF_TURN_RAD).astype(int)])
        cuts = [0, *(np.flatnonzero(np.diff(stretch)) + 1).tolist(), len(points) - 1]
        parts = [shapely.LineString(points[a : b + 1]) for a, b in pairwise(cuts) if b > a]
        starts = [float(far[a]) for a, b in pairwise(cuts) if b > a]
        tree = shapely.STRtree(parts)
        first, second = tree.query(parts, predicate="intersects")
        for i, j in zip(first.tolist(), second.tolist(), strict=True):
            if i >= j:
                continue
            for x, y in shapely.get_coordinates(shapely.intersection(parts[i], parts[j])).tolist():
                here = shapely.Point(x, y)
                both = [starts[k] + float(shapely.line_locate_point(parts[k], here)) for k in (i, j)]
                # Stretches that follow each other meet where one ends.
                if abs(both[1] - both[0]) > 2 * SAME_PX:
                    run += [which, which]
                    along += both
    return np.array(run, dtype=np.int64), np.array(along)


def _closed_gaps(
    runs: Runs, lines: NDArray[np.object_], tree: shapely.STRtree
) -> tuple[Cuts, NDArray[np.int64], Floats]:
    """Free ends moved onto what lies within CLOSE_PX, and the cuts (run, along) where that is a line."""
    count = len(runs)
    ends = np.concatenate([runs.points_px[runs.first[:-1]], runs.points_px[runs.first[1:] - 1]])
    points = np.asarray(shapely.points(ends), dtype=object)
    near = tree.query(points, predicate="dwithin", distance=SAME_PX)
    own = near[0] % count == near[1]
    touched = np.bincount(near[0][~own], minlength=2 * count) > 0
    closed = np.hypot(*(ends[:count] - ends[count:]).T) <= SAME_PX
    free = np.flatnonzero(~touched & ~np.tile(closed, 2))
    moved: dict[int, Floats] = {}
    reached_run: list[int] = []
    reached_along: list[float] = []
    lengths = runs.lengths_px
    close: dict[int, list[int]] = defaultdict(list)
    for one, other in sorted(cKDTree(ends).query_pairs(CLOSE_PX)):
        if one % count != other % count or lengths[one % count] > 10 * CLOSE_PX:
            close[one].append(other)
            close[other].append(one)
    beside: dict[int, list[int]] = defaultdict(list)
    for at, line in tree.query(points[free], predicate="dwithin", distance=CLOSE_PX).T.tolist():
        if line != free[at] % count:
            beside[int(free[at])].append(line)
    for end in free.tolist():
        if lengths[end % count] <= CLOSE_PX:
            continue
        if close[end]:
            nearest = min(close[end], key=lambda k: float(np.hypot(*(ends[k] - ends[end]))))
            # What others have been moved onto stays where it is.
            moved[end] = moved.get(nearest, ends[nearest])
        elif beside[end]:
            far = shapely.distance(lines[beside[end]], points[end])
            line = beside[end][int(np.argmin(far))]
            at_px = float(shapely.line_locate_point(lines[line], points[end]))
            moved[end] = shapely.get_coordinates(shapely.line_interpolate_point(lines[line], at_px))[0]
            reached_run.append(line)
            reached_along.append(at_px)
    numbers = np.array(sorted(moved), dtype=np.int64)
    to = np.array([moved[n] for n in numbers.tolist()]).reshape(-1, 2)
    empty = np.empty(0, np.int64)
    return (
        Cuts(empty, np.empty(0), numbers % count if count else numbers, numbers // max(count, 1), to),
        np.array(reached_run, dtype=np.int64),
        np.array(reached_along),
    )
