"""The straight line through points."""

import math
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
    clean = weights > 0
    used = points[clean] if np.count_nonzero(clean) >= 2 else points
    line = straight_through(used)
    cosine, sine = line.along.tolist()
    (x0, y0), (x1, y1) = points[0].tolist(), points[-1].tolist()
    return Straight(line.at, -line.along) if cosine * (x1 - x0) + sine * (y1 - y0) < 0 else line


def straight_through(points: NDArray[np.float64]) -> Straight:
    """Fit a line to (N, 2) points by least squares of their distances; it runs from the first towards the last."""
    middle = points.sum(axis=0) / len(points)
    x, y = (points - middle).T
    # The direction of largest scatter, from the second moments: of few points in a fifth of an SVD's time.
    angle = 0.5 * math.atan2(2 * float(x @ y), float(x @ x) - float(y @ y))
    cosine, sine = math.cos(angle), math.sin(angle)
    if cosine * float(x[-1] - x[0]) + sine * float(y[-1] - y[0]) < 0:
        cosine, sine = -cosine, -sine
    return Straight(middle, np.array([cosine, sine]))
