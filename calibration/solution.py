"""The least sum of squares of a problem: the map that fits what was given best."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calibration.blocks import CornersBlock
from calibration.least_squares import MOST_STEPS, STOP, Minimum, average_off, minimise
from calibration.observations import CalibrationError, Corners
from calibration.plane_map import Floats, P
from calibration.problem import LARGEST_STEP, Problem

REWEIGHTINGS = 8
"""Weights follow the local scale; they settle in two or three rounds."""

SETTLED = 3e-3
"""Unknowns that move less far, in sigmas, need no new weights: those would move them by a tenth of that."""

HOPELESS_TIMES = 10.0
HOPELESS_COST = 100.0
"""A rough minimum that costs more than this many times the lowest and this much more is not worth new weights, which
change costs by some 10 %."""

SAME = 0.02
"""Rough minima nearer than this part of a step's bound are one."""

ROUGH_STOP = 0.1
"""In sigmas: where a start leads to, and with weights that are not the last, need be known no better."""

ROUGH_STEPS = 20
"""Starts that lead somewhere get near it in 10 to 15; those that take longer mostly wander off (trials)."""


@dataclass(frozen=True, slots=True)
class Solution:
    """A minimum: parameters (10,), unknowns (n,), whitened rows (m,), their derivative by unknowns (m, n)."""

    problem: Problem
    values: Floats
    unknowns: Floats
    rows: Floats
    by_unknowns: Floats
    converged: bool

    @property
    def possible(self) -> bool:
        """Whether it lies within what can be: not on a mark's horizon."""
        return bool(np.isfinite(self.by_unknowns).all())

    @property
    def cost(self) -> float:
        """The sum of squares that was made least."""
        return float(self.rows @ self.rows)


def solve_from(problem: Problem, starts: Sequence[Floats] | Sequence[Solution]) -> list[Solution]:
    """Give the minima reached from several starts, the lowest first.

    Raises
    ------
    CalibrationError
        If no start leads to a camera that sees all marks on the plan.
    """
    found = [solution for start in _worth_solving(problem, starts) if (solution := solve(problem, start)).possible]
    if not found:
        raise CalibrationError(
            "What was given fits no camera that sees every mark on the paper; corners and lengths must belong to "
            "one flat plan: check the corners' order and size, and the marks of the known distances."
        )
    return sorted(found, key=lambda solution: solution.cost)


def solve(problem: Problem, start: Floats | Solution) -> Solution:
    """Give the minimum reached from parameters of the map (56,), at which marks must lie before the horizon.

    Or from another problem's solution, of which blocks that are the same keep their own unknowns.
    """
    values, unknowns = _begin(problem, start)
    stop = ROUGH_STOP
    for _ in range(REWEIGHTINGS):
        found = _minimise_at(problem, unknowns, problem.weights(values), stop=stop)
        moved = float(np.linalg.norm(found.jacobian @ (found.unknowns - unknowns)))
        unknowns = found.unknowns
        values = problem.values(unknowns)
        if moved < SETTLED * average_off(found.residuals) and stop == STOP:
            break
        stop = STOP
    return Solution(problem, values, unknowns, found.residuals, found.jacobian, found.converged)


def foreseen(problem: Problem, start: Solution) -> Solution:
    """Give the minimum of a problem, as it is to first order seen from the solution of another with the same blocks.

    Its rows and their sum of squares are moved there; its parameters of the map are not.
    """
    values, unknowns = _begin(problem, start)
    weights = problem.weights(values)
    rows = problem.rows(values, unknowns, weights)
    by_unknowns = problem.slopes(values, unknowns, weights, problem.free)
    span, _ = np.linalg.qr(by_unknowns * problem.bounds)
    return Solution(problem, values, unknowns, rows - span @ (span.T @ rows), by_unknowns, True)


def _begin(problem: Problem, start: Floats | Solution) -> tuple[Floats, Floats]:
    """Give parameters of the map and unknowns."""
    if not isinstance(start, Solution):
        return start, problem.start(start)
    own = start.unknowns[len(start.problem.free) :]
    return start.values, np.concatenate([start.values[list(problem.free)], own])


def _worth_solving(
    problem: Problem, starts: Sequence[Floats] | Sequence[Solution]
) -> Sequence[Floats] | Sequence[Solution]:
    """Give where starts come to with rough weights, as far as the minima differ and are not hopeless."""
    if len(starts) == 1:
        return starts
    rough = [roughly(problem, start) for start in starts]
    rough = sorted((solution for solution in rough if solution.possible), key=lambda solution: solution.cost)
    unit = np.array([LARGEST_STEP[p] for p in P])
    kept: list[Solution] = []
    for solution in rough:
        hopeless = solution.cost > HOPELESS_TIMES * rough[0].cost + HOPELESS_COST
        if not hopeless and all(np.abs((solution.values - other.values) / unit).max() > SAME for other in kept):
            kept.append(solution)
    return kept


def roughly(problem: Problem, start: Floats | Solution) -> Solution:
    """Give about where a start leads to, with the weights that hold at the start."""
    begin, unknowns = _begin(problem, start)
    found = _minimise_at(problem, unknowns, problem.weights(begin), stop=ROUGH_STOP, most_steps=ROUGH_STEPS)
    values = problem.values(found.unknowns)
    return Solution(problem, values, found.unknowns, found.residuals, found.jacobian, found.converged)


def _minimise_at(
    problem: Problem,
    unknowns: Floats,
    weights: list[Floats],
    *,
    stop: float = STOP,
    most_steps: int = MOST_STEPS,
) -> Minimum:
    def rows(these: Floats) -> Floats:
        return np.asarray(problem.rows(problem.values(these)[None], these[None], weights)[0])

    def slopes(these: Floats) -> Floats:
        return problem.slopes(problem.values(these), these, weights, problem.free)

    return minimise(rows, slopes, unknowns, bounds=problem.bounds, stop=stop, most_steps=most_steps)


def rectangle_mm(solution: Solution, corners: Corners) -> Floats:
    """Give the (4, 2) corners, on the plane, of the rectangle that fits best."""
    at = len(solution.problem.free)
    for block in solution.problem.blocks:
        own = solution.unknowns[at : at + len(block.bounds)]
        at += len(block.bounds)
        if isinstance(block, CornersBlock) and block.corners is corners:
            return -block.misfits(np.zeros((4, 2)), own).reshape(4, 2)
    raise ValueError(f"{corners.label} are not part of this problem")
