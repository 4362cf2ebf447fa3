"""Lines of black-and-white pictures whose two edges are straight: told by the pixels, however long their stairs are."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from digitize.runs import Floats

SOFT_PX = (0.4, 0.16, 0.07)
"""How far from an edge a pixel still counts for half, each fit beginning where the last ended. The last is about what
noise moves edges by: wider, pixels far from the edge outweigh those that show it; at once, no pixel shows the way."""

STEPS = 12
"""Newton steps of one fit, at most: it is convex and takes two or three."""

FARTHEST_STEP_PX = 0.3
"""No step moves an edge farther: beyond, other pixels tell."""

SETTLED_PX = 0.005

NEAR_PX = 1.5
"""Pixels farther from either edge than this are on their right side in any case."""

ENDS_PX = 2.0
"""A corner's ink may reach so far beyond where middles are spoilt by it: what is measured there is worth less."""

MOST_COLUMNS = 400
"""A long line is looked at in so many places: each tells its edges to some tenths of a px."""

WRONG_PX = 0.045
"""How far pixels may lie on the wrong side of a straight line's edges, rms over its length: noise of one grey level in
thirty puts those of straight lines off by up to 0.04, a bow of 0.5 px by 0.05."""


@dataclass(frozen=True, slots=True)
class StraightEdges:
    """The middle line between two straight edges: `level_px` across from a point, `slope` along; `wrong_px` is how far
    pixels lie on their wrong sides, rms."""

    level_px: float
    slope: float
    wrong_px: float


def straight_edges(
    darkness: NDArray[np.uint8], at: Floats, along: Floats, *, reach_px: tuple[float, float], width_px: float
) -> StraightEdges | None:
    """Fit the two parallel edges that part black pixels from white ones best.

    A pixel is black if its centre lies between the edges. That is a linear separation, found by logistic regression,
    the distance to an edge in place of the margin (Cox 1958): of a straight line every pixel that is wrong is so by no
    more than its noise, on whichever rows of pixels it lies and however long its stairs are.

    Parameters
    ----------
    darkness : (H, W) uint8
        As in `Ink`, of a black-and-white picture.
    at, along : (2,) float
        A point and the unit direction of the line, to within half a px.
    reach_px : pair of float
        From where to where along it its own ink is seen alone.
    width_px : float
        Its width.

    Returns
    -------
    StraightEdges or None
        None where there are too few pixels to tell.
    """
    places, black = _pixels(darkness, at, along, reach_px, width_px / 2 + NEAR_PX)
    away = places - at
    far, across = away @ along, away[:, 1] * along[0] - away[:, 0] * along[1]
    near = np.abs(np.abs(across) - width_px / 2) < NEAR_PX
    if near.sum() < 24:
        return None
    far, across, black = far[near], across[near], black[near]
    side, sign = np.where(across > 0, 1.0, -1.0), np.where(black, 1.0, -1.0)
    long_px = max(float(np.abs(far).max()), 1.0)
    change = np.column_stack([side, side * far / long_px, np.ones(len(far))])
    inside = -side * across
    unknown = np.array([0.0, 0.0, width_px / 2])
    for soft_px in SOFT_PX:
        for _ in range(STEPS):
            part = 1 / (1 + np.exp(np.clip(sign * (inside + change @ unknown) / soft_px, -40, 40)))
            slope = change.T @ (sign * part) / soft_px
            bend = (change * (part * (1 - part))[:, None]).T @ change / soft_px**2
            step = np.linalg.solve(bend + 1e-3 * np.eye(3), slope)
            largest = float(np.abs(step).max())
            unknown = unknown + step * min(1.0, FARTHEST_STEP_PX / max(largest, 1e-9))
            if largest < SETTLED_PX:
                break
    wrong = np.maximum(-sign * (inside + change @ unknown), 0)
    columns = len(np.unique(np.round(far)))
    wrong_px = float(np.sqrt((wrong**2).sum() / columns))
    return StraightEdges(float(unknown[0]), float(unknown[1]) / long_px, wrong_px)


def _pixels(
    darkness: NDArray[np.uint8], at: Floats, along: Floats, reach_px: tuple[float, float], half_px: float
) -> tuple[Floats, NDArray[np.bool_]]:
    """Centres (P, 2) of the pixels about a line, column by column along it, and which are black."""
    axis = 0 if abs(along[0]) >= abs(along[1]) else 1
    low, high = sorted(float(at[axis] + reach * along[axis]) for reach in reach_px)
    column = np.arange(np.ceil(low), np.floor(high) + 1)
    column = column[:: 1 + len(column) // MOST_COLUMNS]
    middle = at[1 - axis] + (column - at[axis]) * along[1 - axis] / along[axis]
    reach = int(np.ceil(half_px / abs(along[axis]))) + 1
    row = np.rint(middle)[:, None] + np.arange(-reach, reach + 1)
    places = np.empty((*row.shape, 2))
    places[..., axis], places[..., 1 - axis] = column[:, None], row
    places = places.reshape(-1, 2)
    places = places[((places >= 0) & (places < np.array(darkness.shape)[::-1])).all(axis=1)]
    x, y = places.astype(np.int64).T
    return places, darkness[y, x] > BLACK


BLACK = 127
"""Pixels of black-and-white pictures are as dark as this or not at all."""
