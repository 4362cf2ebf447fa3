"""Strokes straight from vector shapes, with the errors of lines found in ink: truth for the fit and the loops."""

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray

from digitize.strokes import Link, NodeKind, Strokes

CORNER_RAD = math.radians(14)
"""A turn at one vertex above this is a corner; curves here are drawn in far smaller steps."""


@dataclass(frozen=True, slots=True)
class Inking:
    """How vector shapes become strokes: scale, noise and the faults of a thinned line."""

    mm_per_px: float = 0.18
    height_px: float = 4000.0
    sigma_px: float = 0.08
    width_px: float = 2.5
    junction_shift_px: float = 0.6
    """Largest displacement of a junction and of what is drawn within one line width of it."""
    corner_sigma_px: float = 0.15
    seed: int = 1

    def to_plan(self, points_px: NDArray[np.float64]) -> NDArray[np.float64]:
        """Picture px to plan mm; y turns."""
        return np.column_stack([points_px[:, 0], self.height_px - points_px[:, 1]]) * self.mm_per_px

    def to_picture(self, points_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """Plan mm to picture px; y turns."""
        return np.column_stack([points_mm[:, 0], self.height_px * self.mm_per_px - points_mm[:, 1]]) / self.mm_per_px


def strokes_of(lines_mm: Sequence[NDArray[np.float64]], inking: Inking) -> Strokes:
    """Draw polylines (mm, y up; closed where the last point repeats the first) and give them as noisy strokes."""
    rng = np.random.default_rng(inking.seed)
    nodes: list[NDArray[np.float64]] = []
    index: dict[tuple[float, float], int] = {}

    def node(point: NDArray[np.float64]) -> int:
        key = (round(float(point[0]), 5), round(float(point[1]), 5))
        if key not in index:
            index[key] = len(nodes)
            nodes.append(point)
        return index[key]

    pieces = _noded(lines_mm)
    corners = {(round(float(x), 5), round(float(y), 5)) for line in lines_mm for x, y in line[_corner_rows(line)]}
    chains = _chains(pieces, corners)
    ends = [(node(chain[0]), node(chain[-1])) for chain in chains]
    degree = np.zeros(len(nodes), dtype=int)
    for pair in ends:
        for end in pair:
            degree[end] += 1
    at_px = inking.to_picture(np.array(nodes))
    kinds = np.where(degree == 1, NodeKind.END, np.where(degree == 2, NodeKind.CORNER, NodeKind.JUNCTION))
    for (start, end), chain in zip(ends, chains, strict=True):
        if start == end and degree[start] == 2 and not _turns_at_start(chain):
            kinds[start] = NodeKind.LOOP
    shift = np.where(
        (kinds == NodeKind.JUNCTION)[:, None],
        rng.uniform(-1, 1, at_px.shape) * inking.junction_shift_px,
        rng.normal(0, inking.corner_sigma_px, at_px.shape) * (kinds != NodeKind.LOOP)[:, None],
    )
    links = []
    for (start, end), chain in zip(ends, chains, strict=True):
        points = _stepped(inking.to_picture(chain))
        along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
        noise = rng.normal(0, inking.sigma_px, points.shape)
        for which, far in ((start, along), (end, along[-1] - along)):
            near = np.clip(1 - far / inking.width_px, 0, 1)
            noise += (near * (kinds[which] == NodeKind.JUNCTION))[:, None] * shift[which]
        points = points + noise
        points[0], points[-1] = at_px[start] + shift[start], at_px[end] + shift[end]
        links.append(Link(start, end, points, inking.sigma_px, inking.width_px))
    return Strokes(at_px + shift, kinds.astype(np.uint8), tuple(links))


def _noded(lines_mm: Sequence[NDArray[np.float64]]) -> list[NDArray[np.float64]]:
    """Pieces of all lines, split at their corners and wherever they cross or touch."""
    runs = []
    for line in lines_mm:
        cuts = sorted({0, len(line) - 1, *np.flatnonzero(_corner_rows(line)).tolist()})
        runs += [shapely.LineString(line[a : b + 1]) for a, b in pairwise(cuts)]
    merged = shapely.union_all(runs, grid_size=1e-6)
    return [np.asarray(part.coords) for part in shapely.get_parts(merged)]


def _corner_rows(line: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Which vertices of a polyline turn sharply; its ends only if it is closed and turns there."""
    steps = np.diff(line, axis=0)
    angle = np.arctan2(steps[:, 1], steps[:, 0])
    turn = np.abs((np.diff(angle) + np.pi) % (2 * np.pi) - np.pi)
    rows = np.zeros(len(line), dtype=bool)
    rows[1:-1] = turn > CORNER_RAD
    if np.allclose(line[0], line[-1]):
        rows[0] = rows[-1] = _turns_at_start(line)
    return rows


def _turns_at_start(line: NDArray[np.float64]) -> bool:
    first, last = line[1] - line[0], line[-1] - line[-2]
    return bool(abs(math.atan2(last[0] * first[1] - last[1] * first[0], float(last @ first))) > CORNER_RAD)


def _chains(pieces: list[NDArray[np.float64]], corners: set[tuple[float, float]]) -> list[NDArray[np.float64]]:
    """Join pieces end to end wherever just two meet and the line does not turn sharply."""

    def key(point: NDArray[np.float64]) -> tuple[float, float]:
        return (round(float(point[0]), 5), round(float(point[1]), 5))

    meets: dict[tuple[float, float], list[tuple[int, int]]] = defaultdict(list)
    for which, piece in enumerate(pieces):
        meets[key(piece[0])].append((which, 0))
        meets[key(piece[-1])].append((which, 1))
    carries_on = {at for at, here in meets.items() if len(here) == 2 and at not in corners}
    used = [False] * len(pieces)

    def walk(which: int, side: int) -> list[NDArray[np.float64]]:
        """Run from a piece entered at `side` for as long as the line carries on."""
        run = []
        while not used[which]:
            used[which] = True
            piece = pieces[which] if side == 0 else pieces[which][::-1]
            run.append(piece)
            at = key(piece[-1])
            if at not in carries_on:
                break
            which, side = next((end for end in meets[at] if end[0] != which), (which, side))
        return run

    chains = []
    for at, here in meets.items():
        if at in carries_on:
            continue
        for which, side in here:
            if not used[which]:
                chains.append(walk(which, side))
    chains += [walk(which, 0) for which in range(len(pieces)) if not used[which]]
    return [np.concatenate([run[0], *(piece[1:] for piece in run[1:])]) for run in chains]


def _stepped(points: NDArray[np.float64]) -> NDArray[np.float64]:
    """The same polyline with its points about 1 px apart."""
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    at = np.linspace(0, along[-1], max(2, round(along[-1]) + 1))
    return np.column_stack([np.interp(at, along, points[:, axis]) for axis in (0, 1)])
