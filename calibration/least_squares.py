"""The least sum of squares of a small problem, by Gauss-Newton steps that are damped, bounded and bent."""

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from calibration.plane_map import Floats

STOP = 3e-4
"""What is left to go once the search ends, in sigmas of whatever depends on the unknowns: no figure shows it."""

NEAR = 0.05
"""The last step is no longer than this, in sigmas: the derivative before it holds after it as well."""

MOST_STEPS = 60

FIRST_DAMPING = 1e-4
MOST_DAMPING = 1e8
"""Parts of the normal matrix's diagonal."""

PARTS = (1.0, 0.5, 0.25, 0.1, 0.03)
"""Of a step that are tried once the whole of it, straight, has failed; then the step is damped."""

SAME_WAY = 0.95
"""Cosine of two steps that lead the same way, or back."""

CREEPING = 0.4
MOST_ONWARD = 50.0
"""Steps that shrink less than that are taken to where they lead, so many times onward at most."""

SURELY_SEEN = 1e-11
"""A pivot this small against the largest may be rounding: then eigenvalues tell which directions are seen at all."""


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
    """Give the minimum reached from `start` (Levenberg 1944, Marquardt 1963, damping as in Nielsen 1999).

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
        The search ends where what is left to go is less, in sigmas: a step moves nothing that depends on the unknowns
        by more of its sigmas than its own length as rows see it, and each is as much shorter as the last was. Sigmas
        are as large as rows on average are off, if that is more than one.
    most_steps : int
        Steps after which the search is given up.
    """
    unknowns = np.array(start, dtype=np.float64)
    r = residuals(unknowns)
    cost = float(r @ r)
    damping, times, before, moved_before = 0.0, 2.0, math.inf, np.zeros_like(r)
    for _ in range(most_steps):
        jacobian = derivative(unknowns)
        if not np.isfinite(jacobian).all():
            # At the rim of what is possible: whoever asked decides what that means.
            return Minimum(unknowns, r, jacobian, False)
        sigma = average_off(r)
        scaled = jacobian * bounds
        gradient = scaled.T @ r
        normal = scaled.T @ scaled
        while True:
            inverse = _inverse(normal, damping)
            step = _bounded(-(inverse @ gradient))
            moved = scaled @ step
            length = math.sqrt(float(moved @ moved))
            expected = -float(2 * gradient @ step) - length**2
            onward = _onward(moved, moved_before) if damping == 0 else 1.0
            if onward != 1:
                step = _bounded(onward * step)
            r_tried = residuals(unknowns + step * bounds)
            if onward != 1 and not r_tried @ r_tried <= cost:
                onward, step = 1.0, step / onward
                r_tried = residuals(unknowns + step * bounds)
            # A step shorter than that fails by rounding and not by a valley's bend.
            if not r_tried @ r_tried <= cost and length > NEAR:
                bend = -(inverse @ (scaled.T @ (r_tried - r - moved)))
                for part in _parts_of_arc(step, bend):
                    r_tried = residuals(unknowns + part * bounds)
                    if r_tried @ r_tried <= cost:
                        step = part
                        break
            cost_tried = float(r_tried @ r_tried)
            if cost_tried <= cost:
                break
            if length < stop * sigma or damping > MOST_DAMPING:
                return Minimum(unknowns, r, jacobian, length < stop * sigma)
            damping, times = max(damping * times, FIRST_DAMPING), 2 * times
        gain = (cost - cost_tried) / expected if expected > 0 else 1.0
        unknowns, r, cost = unknowns + step * bounds, r_tried, cost_tried
        if length < NEAR * sigma and _left(length, math.inf if damping else before) < stop * sigma:
            return Minimum(unknowns, r, jacobian, True)
        # Once a search has been taken there, how fast it comes nearer must be seen anew.
        before, moved_before = (length, moved) if onward == 1 else (math.inf, np.zeros_like(r))
        damping, times = damping * max(1 / 9, 1 - (2 * gain - 1) ** 3), 2.0
        damping = 0.0 if damping < FIRST_DAMPING else damping
    return Minimum(unknowns, r, derivative(unknowns), False)


def average_off(residuals: Floats) -> float:
    """Give by how much rows (m,) are off on average, in their sigmas, and one where they are off by less."""
    return math.sqrt(max(1.0, float(residuals @ residuals) / len(residuals)))


def _left(length: float, before: float) -> float:
    """Give how far there is to go after a step that was so many times shorter than the one before: a geometric sum."""
    times = length / before if length < 0.9 * before < math.inf else 0.9
    return length * times / (1 - times)


def _onward(moved: Floats, before: Floats) -> float:
    """Give how many times a step leads to where steps that shrink as slowly as it did from the last one end.

    Rows far from met make steps too short or too long by as much each time (Aitken 1926): without it dozens of them
    creep the same way, or to and fro.
    """
    last = float(before @ before)
    if last == 0:
        return 1.0
    times = float(moved @ before) / last
    alike = float(moved @ before) ** 2 > SAME_WAY**2 * last * float(moved @ moved)
    return 1 / (1 - times) if alike and CREEPING < abs(times) < 1 - 1 / MOST_ONWARD else 1.0


def _parts_of_arc(step: Floats, bend: Floats) -> Iterator[Floats]:
    """Give parts of a step, the largest first.

    In a bent valley a straight step climbs its side: each part is bent by what the whole was off to second order.
    """
    if not np.isfinite(bend).all():
        bend = np.zeros_like(step)
    yield from (_bounded(part * step + part**2 * bend) for part in PARTS)


def _bounded(step: Floats) -> Floats:
    return np.asarray(step / max(1.0, float(np.abs(step).max(initial=0.0))))


def _inverse(normal: Floats, damping: float) -> Floats:
    """Invert the damped normal matrix; directions that nothing observes are not stepped along."""
    damped = normal + damping * np.diag(np.maximum(np.diag(normal), 1e-12))
    try:
        factor = np.linalg.cholesky(damped)
    except np.linalg.LinAlgError:
        return _inverse_of_seen(damped)
    pivots = np.diag(factor)
    if pivots.min() ** 2 < SURELY_SEEN * pivots.max() ** 2:
        return _inverse_of_seen(damped)
    half = np.linalg.inv(factor)
    return np.asarray(half.T @ half)


def _inverse_of_seen(normal: Floats) -> Floats:
    eigenvalues, vectors = np.linalg.eigh(normal)
    seen = eigenvalues > 1e-14 * eigenvalues[-1]
    return np.asarray((vectors * np.where(seen, 1 / np.where(seen, eigenvalues, 1.0), 0.0)) @ vectors.T)
