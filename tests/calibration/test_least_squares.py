"""The search for the least sum of squares: bent valleys, directions that nothing observes, and when it ends."""

import numpy as np
import pytest

from calibration.least_squares import STOP, minimise

FEW = 15
"""Derivatives asked for; a search that keeps to the valley's floor by damping alone takes hundreds."""


def test_a_bent_and_narrow_valley_is_walked_in_a_few_steps():
    steep = 1e4
    asked = []

    def residuals(u):
        return np.array([steep * (u[1] - u[0] ** 2), 1 - u[0]])

    def derivative(u):
        asked.append(u)
        return np.array([[-2 * steep * u[0], steep], [-1.0, 0.0]])

    found = minimise(residuals, derivative, np.array([-1.2, 1.44]), bounds=np.ones(2))

    assert found.converged
    assert found.unknowns == pytest.approx([1, 1], abs=STOP)
    assert len(asked) < FEW


def test_the_search_ends_within_a_small_part_of_a_sigma():
    rng = np.random.default_rng(5)
    t = np.linspace(0, 3, 40)
    seen = 2 * np.exp(-0.7 * t) + rng.normal(0, 0.05, len(t))

    def residuals(u):
        return (u[0] * np.exp(-u[1] * t) - seen) / 0.05

    def derivative(u):
        return np.column_stack([np.exp(-u[1] * t), -u[0] * t * np.exp(-u[1] * t)]) / 0.05

    found = minimise(residuals, derivative, np.array([1.0, 0.2]), bounds=np.ones(2))

    exact = minimise(residuals, derivative, found.unknowns, bounds=np.ones(2), stop=1e-12)
    assert found.converged
    assert np.linalg.norm(found.jacobian @ (found.unknowns - exact.unknowns)) < STOP


def test_what_nothing_observes_is_left_where_it_was():
    by = np.array([[1.0, 1.0], [2.0, 2.0]])

    found = minimise(lambda u: by @ u - [3, 6], lambda u: by, np.array([1.0, 0.0]), bounds=np.ones(2))

    assert found.converged
    assert found.unknowns == pytest.approx([2, 1], abs=1e-6)


def test_a_start_at_the_rim_of_what_is_possible_has_not_converged():
    found = minimise(lambda u: u, lambda u: np.array([[np.nan]]), np.array([1.0]), bounds=np.ones(1))

    assert not found.converged
