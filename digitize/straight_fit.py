"""The straight line through points."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class Straight:
    """A point on a line and its unit direction, in whatever its points were given in: px, or mm."""

    at: NDArray[np.float64]
    along: NDArray[np.float64]

    def off(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """Signed distances of (N, 2) points, left of the line's direction positive."""
        way = points - self.at
        left: NDArray[np.float64] = way[:, 1] * self.along[0] - way[:, 0] * self.along[1]
        return left

    def foot(self, point: NDArray[np.float64]) -> NDArray[np.float64]:
        """The place of the line nearest to a point (2,)."""
        foot: NDArray[np.float64] = self.at + self.along * float((point - self.at) @ self.along)
        return foot


def fit_straight(points: NDArray[np.float64], weights: NDArray[np.float64]) -> Straight:
    """Fit a line by least squares of the distances from it; it runs from the first point towards the last."""
    used = points[weights > 0] if (weights > 0).sum() >= 2 else points
    middle = used.mean(axis=0)
    off = used - middle
    x, y = off[:, 0], off[:, 1]
    # The direction of largest scatter, from the second moments.
    angle = 0.5 * np.arctan2(2 * (x * y).sum(), (x * x).sum() - (y * y).sum())
    along = np.array([np.cos(angle), np.sin(angle)])
    if along @ (points[-1] - points[0]) < 0:
        along = -along
    return Straight(middle, along)
