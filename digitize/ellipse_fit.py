"""The ellipses through points that lie around them: circles seen at a slant, many fitted at once."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

CHORD_PX = 0.003
"""What a drawn line may lose on its chords: at 1 px apart it would be 0.04 at a radius of 3 px."""


@dataclass(frozen=True, slots=True)
class Ellipse:
    """`centre_px` (2,), the half axes `long_px` and `short_px`, and the direction of the long one."""

    centre_px: Floats
    long_px: float
    short_px: float
    turn_rad: float

    def at(self, angles_rad: Floats) -> Floats:
        """Points (N, 2) in directions from the centre."""
        return self._alone(len(angles_rad)).at(angles_rad)

    def around(self, begin_rad: float) -> Floats:
        """Points (N, 2) all around from a direction on, the last the first: a px apart, closer on small ellipses.

        Chords between them lie within CHORD_PX of the ellipse.
        """
        fewest = np.pi * np.sqrt(self.long_px / (2 * CHORD_PX))
        count = int(max(fewest, 2 * np.pi * self.long_px))
        points = self.at(begin_rad + np.linspace(0, 2 * np.pi, count + 1))
        points[-1] = points[0]
        return points

    def normals(self, angles_rad: Floats) -> Floats:
        """Unit normals (N, 2), outward, at the points in those directions."""
        return self._alone(len(angles_rad)).normals(angles_rad)

    def off_px(self, points_px: Floats) -> Floats:
        """Distances of (N, 2) points from the ellipse along the way from its centre, outside positive."""
        return self._alone(len(points_px)).off_px(points_px)

    def _alone(self, count: int) -> "Ellipses":
        return many([self]).spread(np.zeros(count, dtype=np.int64))


@dataclass(frozen=True, slots=True)
class Ellipses:
    """Ellipses side by side: `centre_px` (E, 2), the others (E,); the methods take one direction or point for each."""

    centre_px: Floats
    long_px: Floats
    short_px: Floats
    turn_rad: Floats

    def spread(self, of: NDArray[np.int64] | NDArray[np.bool_]) -> "Ellipses":
        """The ellipses with these numbers."""
        return Ellipses(self.centre_px[of], self.long_px[of], self.short_px[of], self.turn_rad[of])

    def one(self, which: int) -> Ellipse:
        """One of them."""
        long_px, short_px, turn_rad = (float(each[which]) for each in (self.long_px, self.short_px, self.turn_rad))
        return Ellipse(self.centre_px[which], long_px, short_px, turn_rad)

    def reach_px(self, angles_rad: Floats) -> Floats:
        """How far from their centres the ellipses lie in directions (E,), px."""
        away = angles_rad - self.turn_rad
        reach: Floats = (
            self.long_px * self.short_px / np.hypot(self.short_px * np.cos(away), self.long_px * np.sin(away))
        )
        return reach

    def at(self, angles_rad: Floats) -> Floats:
        """Points (E, 2) in directions from the centres."""
        ways = np.column_stack([np.cos(angles_rad), np.sin(angles_rad)])
        points: Floats = self.centre_px + self.reach_px(angles_rad)[:, None] * ways
        return points

    def normals(self, angles_rad: Floats) -> Floats:
        """Unit normals (E, 2), outward, at the points in those directions."""
        c, s = np.cos(self.turn_rad), np.sin(self.turn_rad)
        x, y = (self.at(angles_rad) - self.centre_px).T
        u, v = (c * x + s * y) / self.long_px**2, (c * y - s * x) / self.short_px**2
        way = np.column_stack([c * u - s * v, s * u + c * v])
        normals: Floats = way / np.hypot(u, v)[:, None]
        return normals

    def off_px(self, points_px: Floats) -> Floats:
        """Distances of (E, 2) points from the ellipses along the ways from their centres, outside positive."""
        x, y = (points_px - self.centre_px).T
        off: Floats = np.hypot(x, y) - self.reach_px(np.arctan2(y, x))
        return off


def many(ellipses: Sequence[Ellipse]) -> Ellipses:
    """Ellipses side by side."""
    sizes = np.array([(one.long_px, one.short_px, one.turn_rad) for one in ellipses]).reshape(-1, 3)
    return Ellipses(np.array([one.centre_px for one in ellipses], dtype=np.float64).reshape(-1, 2), *sizes.T)


def fit_ellipses(points_px: Floats, weights: Floats, first: NDArray[np.int64]) -> tuple[Ellipses, NDArray[np.bool_]]:
    """Fit ellipses by weighted least squares of a x^2 + b x y + c y^2 + d x + e y = 1 about their points' middles.

    For points on most of the way round, and little noise beside the size: the bias is noise^2 / radius.

    Parameters
    ----------
    points_px : (N, 2) float
        The points of each ellipse in turn.
    weights : (N,) float
        0 for a point that is not to be used.
    first : (E,) int
        Where in them the points of each ellipse begin; none is without points.

    Returns
    -------
    Ellipses and (E,) bool
        Which were found: not those with fewer than six points or where the conic is no ellipse, whose values say
        nothing.
    """
    of = np.repeat(np.arange(len(first)), np.diff(first, append=len(points_px)))
    used = (weights > 0).astype(np.float64)
    number = np.add.reduceat(used, first)
    found: NDArray[np.bool_] = number >= 6
    number = np.maximum(number, 1)
    middle = np.add.reduceat(points_px * used[:, None], first) / number[:, None]
    away = points_px - middle[of]
    size = np.sqrt(np.add.reduceat((away * away).sum(axis=1) * used, first) / number)
    found &= size > 0
    size = np.where(found, size, 1.0)
    x, y = (away / size[of, None]).T
    design = np.stack([x * x, x * y, y * y, x, y])
    weighted = design * weights
    rows, columns = np.triu_indices(5)
    square = np.empty((len(first), 5, 5))
    square[:, rows, columns] = square[:, columns, rows] = np.add.reduceat(
        weighted[rows] * design[columns], first, axis=1
    ).T
    # Sizes are near one: a vanishing determinant means points on too little of the way round.
    found &= np.abs(np.linalg.det(square)) > 1e-12 * np.prod(np.diagonal(square, axis1=1, axis2=2), axis=1)
    square[~found] = np.eye(5)
    a, b, c, d, e = np.linalg.solve(square, np.add.reduceat(weighted, first, axis=1).T[..., None])[..., 0].T
    lie = 4 * a * c - b * b
    found &= lie > 0
    lie = np.where(found, lie, 1.0)
    x0, y0 = (b * e - 2 * c * d) / lie, (b * d - 2 * a * e) / lie
    level = 1 + a * x0 * x0 + b * x0 * y0 + c * y0 * y0
    found &= level != 0
    forms = np.stack([a, b / 2, b / 2, c], axis=1).reshape(-1, 2, 2) / np.where(found, level, 1.0)[:, None, None]
    form, axes = np.linalg.eigh(forms)
    found &= form.min(axis=1) > 0
    form[~found] = 1.0
    long_px, short_px = (size[:, None] / np.sqrt(form)).T
    centre_px = middle + size[:, None] * np.column_stack([x0, y0])
    return Ellipses(centre_px, long_px, short_px, np.arctan2(axes[:, 1, 0], axes[:, 0, 0])), found
