"""The ellipse through points that lie around one: a circle seen at a slant."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Ellipse:
    """`centre_px` (2,), the half axes `long_px` and `short_px`, and the direction of the long one."""

    centre_px: Floats
    long_px: float
    short_px: float
    turn_rad: float

    def reach_px(self, angles_rad: Floats) -> Floats:
        """How far from its centre the ellipse lies in directions (N,), px."""
        away = angles_rad - self.turn_rad
        reach: Floats = (
            self.long_px * self.short_px / np.hypot(self.short_px * np.cos(away), self.long_px * np.sin(away))
        )
        return reach

    def at(self, angles_rad: Floats) -> Floats:
        """Points (N, 2) in directions from the centre."""
        ways = np.column_stack([np.cos(angles_rad), np.sin(angles_rad)])
        points: Floats = self.centre_px + self.reach_px(angles_rad)[:, None] * ways
        return points

    def normals(self, angles_rad: Floats) -> Floats:
        """Unit normals (N, 2), outward, at the points in those directions."""
        c, s = np.cos(self.turn_rad), np.sin(self.turn_rad)
        x, y = ((self.at(angles_rad) - self.centre_px) @ np.array([[c, -s], [s, c]])).T
        way = np.column_stack([x / self.long_px**2, y / self.short_px**2])
        way /= np.hypot(way[:, 0], way[:, 1])[:, None]
        normals: Floats = way @ np.array([[c, s], [-s, c]])
        return normals

    def off_px(self, points_px: Floats) -> Floats:
        """Distances of (N, 2) points from the ellipse along the way from its centre, outside positive."""
        x, y = (points_px - self.centre_px).T
        off: Floats = np.hypot(x, y) - self.reach_px(np.arctan2(y, x))
        return off


def fit_ellipse(points_px: Floats, weights: Floats) -> Ellipse | None:
    """Fit an ellipse by weighted least squares of a x^2 + b x y + c y^2 + d x + e y = 1 about the points' middle.

    For points on most of its way round, and little noise beside its size: the bias is noise^2 / radius. None for
    fewer than six points or where the conic is no ellipse.
    """
    used = weights > 0
    if np.count_nonzero(used) < 6:
        return None
    middle = points_px[used].mean(axis=0)
    p = points_px[used] - middle
    size = float(np.sqrt((p * p).sum() / len(p)))
    if size == 0:
        return None
    x, y = (p / size).T
    design = np.column_stack([x * x, x * y, y * y, x, y])
    weighted = design * weights[used][:, None]
    square = weighted.T @ design
    # Sizes are near one: a vanishing determinant means points on too little of the way round.
    if abs(np.linalg.det(square)) <= 1e-12 * float(np.prod(np.diag(square))):
        return None
    a, b, c, d, e = np.linalg.solve(square, weighted.sum(axis=0)).tolist()
    if 4 * a * c - b * b <= 0:
        return None
    x0, y0 = np.linalg.solve([[2 * a, b], [b, 2 * c]], [-d, -e])
    level = 1 + a * x0 * x0 + b * x0 * y0 + c * y0 * y0
    form, axes = np.linalg.eigh(np.array([[a, b / 2], [b / 2, c]]) / level)
    if form.min() <= 0:
        return None
    long_way = axes[:, 0]
    return Ellipse(
        middle + size * np.array([x0, y0]),
        float(size / np.sqrt(form[0])),
        float(size / np.sqrt(form[1])),
        float(np.arctan2(long_way[1], long_way[0])),
    )
