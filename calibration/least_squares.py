"""The least sum of squares of a small problem, by Gauss-Newton steps that are damped and bounded."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from calibration.plane_map import Floats

STOP = 1e-6
"""A step this small against its bound ends the search: 0.3 thousandths of a mm on a metre."""

MOST_STEPS = 60


@dataclass(frozen=True, slots=True)
class Minimum:
    """Where the search ended: unknowns (n,), residuals (m,) and their derivative (m, n)."""

    unknowns: Floats
    residuals: Floats
    jacobian: Floats
    converged: bool


def minimise(
    residuals: Callable[[Floats], Floats],
    derivative: Callable[[Floats], Floats],
    start: Floats,
    *,
    bounds: Floats,
    stop: float = STOP,
    most_steps: int = MOST_STEPS,
) -> Minimum:
    """Give the minimum reached from `start` (Levenberg 1944, Marquardt 1963).

    Parameters
    ----------
    residuals : (n,) array -> (m,) array
        Whitened residuals; NaN where the unknowns are impossible.
    derivative : (n,) array -> (m, n) array
        How they move with the unknowns.
    start : (n,) array
        Must be possible.
    bounds : (n,) array
        The largest step allowed for each unknown, which also is its unit.
    stop : float
        A step this small against its bound ends the search.
    most_steps : int
        Steps after which the search is given up.
    """
    unknowns = np.array(start, dtype=np.float64)
    r = residuals(unknowns)
    damping = 0.0
    for _ in range(most_steps):
        jacobian = derivative(unknowns)
        if not np.isfinite(jacobian).all():
            # At the rim of what is possible: whoever asked decides what that means.
            return Minimum(unknowns, r, jacobian, False)
        scaled = jacobian * bounds
        gradient = scaled.T @ r
        normal = scaled.T @ scaled
        while True:
            step = _step(normal, gradient, damping)
            largest = float(np.abs(step).max(initial=0.0))
            step /= max(1.0, largest)
            tried = unknowns + step * bounds
            r_tried = residuals(tried)
            if r_tried @ r_tried <= r @ r:
                break
            if largest < stop or damping > 1e12:
                return Minimum(unknowns, r, jacobian, largest < stop)
            damping = max(10 * damping, 1e-6)
        unknowns, r = tried, r_tried
        damping = 0.0 if damping < 1e-6 else damping / 10
        if largest < stop:
            return Minimum(unknowns, r, jacobian, True)
    return Minimum(unknowns, r, derivative(unknowns), False)


def _step(normal: Floats, gradient: Floats, damping: float) -> Floats:
    """Solve the damped normal equations; directions that nothing observes are not stepped along."""
    diagonal = np.diag(normal)
    eigenvalues, vectors = np.linalg.eigh(normal + damping * np.diag(np.maximum(diagonal, 1e-12)))
    seen = eigenvalues > 1e-14 * eigenvalues[-1]
    inverse = np.where(seen, 1 / np.where(seen, eigenvalues, 1.0), 0.0)
    return np.asarray(-(vectors @ (inverse * (vectors.T @ gradient))))
