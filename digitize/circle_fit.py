"""The circle through points, where they lie on one."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class Circle:
    """Centre and radius, mm."""

    centre_mm: NDArray[np.float64]
    radius_mm: float

    def off_mm(self, points_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """Signed distances of (N, 2) points from the circle, outside positive."""
        x, y = (points_mm - self.centre_mm).T
        off: NDArray[np.float64] = np.hypot(x, y) - self.radius_mm
        return off


def fit_circle(points_mm: NDArray[np.float64], weights: NDArray[np.float64]) -> Circle | None:
    """Fit a circle by least squares of the distances: Kasa's linear fit, then Gauss-Newton steps.

    Returns None for points that do not turn enough to have a centre (under a few degrees), or fewer than six.
    """
    used = points_mm[weights > 0]
    if len(used) < 6:
        return None
    middle = used.mean(axis=0)
    p = used - middle
    size = float(np.sqrt((p * p).sum() / len(p)))
    if size == 0:
        return None
    p = p / size
    solved = _least_squares(np.column_stack([2 * p, np.ones(len(p))]), (p * p).sum(axis=1))
    if solved is None:
        return None
    x, y, c = solved.tolist()
    if c + x * x + y * y <= 0:
        return None
    centre = np.array([x, y])
    radius = float(np.sqrt(c + x * x + y * y))
    if radius > 30:
        return None
    for _ in range(3):
        way = p - centre
        far = np.hypot(*way.T)
        if far.min() == 0:
            return None
        jacobian = np.column_stack([-way / far[:, None], -np.ones(len(p))])
        step = _least_squares(jacobian, radius - far)
        if step is None:
            return None
        centre, radius = centre + step[:2], radius + float(step[2])
    if radius <= 0:
        return None
    return Circle(middle + size * centre, size * radius)


def _least_squares(design: NDArray[np.float64], target: NDArray[np.float64]) -> NDArray[np.float64] | None:
    """Solve three normal equations: sizes are near one, and libraries' general solvers take fifty times as long."""
    square = np.einsum("ij,ik->jk", design, design)
    if abs(np.linalg.det(square)) <= 1e-13 * float(np.prod(np.diag(square))):
        return None
    return np.asarray(np.linalg.solve(square, np.einsum("ij,i->j", design, target)))
