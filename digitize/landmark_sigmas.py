"""How far each landmark may be off: less where lines cross or turn than where one ends, and most where its lines are
thought to run beside their ink."""

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from digitize.landmarks import one_place_px
from digitize.runs import lengths_along
from digitize.strokes import Link, NodeKind, Strokes
from pictures.ridge import profiles

Floats = NDArray[np.float64]

KIND_SIGMA_PX = {NodeKind.JUNCTION: 0.15, NodeKind.CORNER: 0.15, NodeKind.TIP: 0.3, NodeKind.END: 0.45}
"""One-sigma error, px, of each kind (measured on drawn plans seen by a camera): across a line ink says to a tenth of a
px where it runs, along it less well where it ends."""

EXACT_SIGMA_PX = 0.15
"""Where a page itself says where its lines run, no kind is worse than another."""

MISLED_SIGMA_PX = 4.0
"""One-sigma error, px, of a landmark to which a line is extended wrongly: beside its ink, as where the lines of a
narrow double rule are drawn together, or past a nose, which bends too fast (2 to 7 px off on drawn plans)."""

PALEST = 0.7
"""Least part of a line's own darkness, a little farther on, that its way to a landmark shows. Where the landmark was
right hardly one in a hundred showed 0.77; where lines led beside their ink it was mostly under a half."""

NEAR_WIDTHS, NEAR_PX = 3.0, 5.0
"""How far from a landmark its lines are extensions: what is spoilt by the others' ink, and the blur."""

MOST_BOW_PX = 0.5
"""How far a line that goes on bending as it does just beyond may bow aside on its way to where others meet it: its
extension is then as good as its bend. On drawn plans 543 of 545 right ones had less, most noses that a line runs
through had more."""

FARTHER_PX = 48.0
"""A line's own darkness is that of so much of it beyond."""

ONE_PLACE_PX = 1.0
"""Nodes nearer to each other than this are one place."""

STEP_PX = 0.5
"""Samples along a line: three of them, one blur, are looked at together."""

BOW_PLACES = np.array([0.6, 1.1, 1.6, 2.1])
"""Where two stretches begin and end that show how a line bends, in parts of how far it is an extension."""

LEAST_BEYOND = 8
"""A link with fewer samples beyond is compared with all of itself."""


def landmark_sigmas_px(strokes: Strokes, places_px: Floats, darkness: NDArray[np.uint8]) -> Floats:
    """Give one sigma (N,) of landmarks (N, 2), both px, that lie on nodes of the strokes; `darkness` as in `Ink`."""
    if len(places_px) == 0:
        return np.empty(0)
    _, nodes = cKDTree(strokes.nodes_px).query(places_px)
    sigmas: Floats = np.array([KIND_SIGMA_PX.get(NodeKind(int(kind)), EXACT_SIGMA_PX) for kind in strokes.kinds[nodes]])
    row_of = {int(node): row for row, node in enumerate(nodes)}
    rows: list[int] = []
    ways: list[tuple[Link, Floats]] = []
    for link in strokes.links:
        for node, points_px in ((link.start, link.points_px), (link.end, link.points_px[::-1])):
            row = row_of.get(node)
            if row is None:
                continue
            if link.own is not None:
                sigmas[row] = EXACT_SIGMA_PX
            elif not link.bridged:
                rows.append(row)
                ways.append((link, points_px))
    sigmas = np.maximum(sigmas, _other_px(strokes, nodes))
    if ways:
        misled = _misled(ways, np.array([strokes.kinds[nodes[row]] for row in rows]), darkness)
        sigmas[np.array(rows)[misled]] = MISLED_SIGMA_PX
    return sigmas


def _other_px(strokes: Strokes, nodes: NDArray[np.int64]) -> Floats:
    """How far the farthest other crossing or corner lies for which each node (N,) stands too, px; 0 without any."""
    width_px = np.zeros(len(strokes.nodes_px))
    for link in strokes.links:
        for node in (link.start, link.end):
            width_px[node] = max(width_px[node], link.width_px)
    meet = np.flatnonzero((width_px > 0) & np.isin(strokes.kinds, (NodeKind.JUNCTION, NodeKind.CORNER)))
    if len(meet) == 0:
        return np.zeros(len(nodes))
    places_px = strokes.nodes_px[nodes]
    near = cKDTree(strokes.nodes_px[meet]).query_ball_point(places_px, one_place_px(width_px[nodes]))
    return np.array(
        [
            max((far for far in np.hypot(*(strokes.nodes_px[meet[some]] - place).T) if far > ONE_PLACE_PX), default=0.0)
            for place, some in zip(places_px, near, strict=True)
        ]
    )


def _misled(
    ways: list[tuple[Link, Floats]], kinds: NDArray[np.uint8], darkness: NDArray[np.uint8]
) -> NDArray[np.bool_]:
    """Whether each line's way to its node, the first of its points (M, 2), lies beside the ink or bends too fast.

    `kinds` are the nodes'.
    """
    near_px = np.array([NEAR_WIDTHS * link.width_px + NEAR_PX for link, _ in ways])
    count = int(np.ceil((near_px.max() + FARTHER_PX) / STEP_PX))
    along = np.arange(count) * STEP_PX
    x, y = np.empty((2, len(ways), count), np.float32)
    length_px = np.empty(len(ways))
    for n, (_, points_px) in enumerate(ways):
        some = points_px[: 2 * count]
        at = lengths_along(some)
        x[n], y[n] = (np.interp(along, at, some[:, axis]) for axis in (0, 1))
        length_px[n] = at[-1]
    dark = profiles(darkness, x, y).astype(np.float64)
    dark[:, 1:-1] = (dark[:, :-2] + dark[:, 1:-1] + dark[:, 2:]) / 3
    there = along <= length_px[:, None]
    near = along <= np.minimum(near_px, length_px / 2)[:, None]
    beyond = there & ~near & (along <= (near_px + FARTHER_PX)[:, None])
    few = beyond.sum(axis=1) < LEAST_BEYOND
    beyond[few] = there[few]
    own = _middles(dark, beyond)
    palest = np.where(near, dark, np.inf).min(axis=1)
    bends = np.isin(kinds, (NodeKind.JUNCTION, NodeKind.CORNER)) & (_bow_px(x, y, near_px, length_px) > MOST_BOW_PX)
    misled: NDArray[np.bool_] = (palest < PALEST * own) | bends
    return misled


def _middles(values: Floats, held: NDArray[np.bool_]) -> Floats:
    """The median of each row's values that are held; NaN where none is. `np.nanmedian` takes five times as long."""
    ranked = np.sort(np.where(held, values, np.nan), axis=1)
    count, row = held.sum(axis=1), np.arange(len(held))
    middles: Floats = (ranked[row, (count - 1) // 2] + ranked[row, count // 2]) / 2
    return middles


def _bow_px(x: NDArray[np.float32], y: NDArray[np.float32], near_px: Floats, length_px: Floats) -> Floats:
    """How far aside of its tangent a line would bow over the last `near_px` to its node, bending as it does beyond.

    Told by how it turns from one stretch half as long to another that begins `near_px` farther on; 0 where it is too
    short to tell.
    """
    at = np.minimum((near_px[:, None] * BOW_PLACES / STEP_PX).astype(np.int64), x.shape[1] - 1)
    places = np.stack([np.take_along_axis(x, at, axis=1), np.take_along_axis(y, at, axis=1)], axis=2)
    before, after = places[:, 1] - places[:, 0], places[:, 3] - places[:, 2]
    turn = np.abs(np.arctan2(before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0], (before * after).sum(axis=1)))
    return np.where(length_px > BOW_PLACES[-1] * near_px, turn * near_px / 2, 0.0)
