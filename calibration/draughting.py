"""How well the plan was drawn, as its straight lines show: by hand, or by a machine.

A line drawn by hand sags by tenths of a mm and its rectangle leans; one that a machine drew does neither. What a lens
does not explain of the lines' bow tells the two apart, and with it how far the corners can be trusted.
"""

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from calibration.observations import Corners, Observation, StraightLine
from calibration.solution import Solution

MACHINE_GIVE = 0.1
"""Part of a hand's give: plotters and printers place a line to 0.02 mm (trade practice: repeatability of plotters)."""

MACHINE_LEAN = 0.3
"""Part of a hand's lean: a plotter's axes are square to an arc minute, 0.3 mm on a metre."""

PROVEN = 0.0
"""How much likelier a machine must be than a hand (log of the odds): even odds, since both are common. Of borders drawn
by hand one in twenty is then taken for a machine's, and intervals still hold what they say (trials)."""


def as_by_machine(observations: Sequence[Observation]) -> list[Observation]:
    """Give the observations with rectangles and straight lines as true as a machine draws them."""
    return [_by_machine(seen) for seen in observations]


def shows_machine(by_hand: Solution, by_machine: Solution) -> bool:
    """Tell whether what was given shows that a machine drew it."""
    return log_evidence(by_machine) - log_evidence(by_hand) > PROVEN


def log_evidence(solution: Solution) -> float:
    """Give the log of how likely the rows are under a model, but for a constant (Laplace; MacKay 1992)."""
    problem = solution.problem
    _, information = np.linalg.slogdet(solution.by_unknowns.T @ solution.by_unknowns)
    sure = sum(np.linalg.slogdet(weight @ weight.T)[1] for weight in problem.weights(solution.values))
    sigmas = [problem.priors[p].sigma for p in problem.free if math.isfinite(problem.priors[p].sigma)]
    sigmas += [sigma for block in problem.blocks for _, _, sigma in block.priors]
    return float(0.5 * (sure - solution.cost - information) - np.log(sigmas).sum())


def _by_machine(seen: Observation) -> Observation:
    if isinstance(seen, Corners):
        return replace(seen, give_mm=MACHINE_GIVE * seen.give_mm, lean_sigma_rad=MACHINE_LEAN * seen.lean_sigma_rad)
    if isinstance(seen, StraightLine):
        return replace(seen, give_mm=MACHINE_GIVE * seen.give_mm)
    return seen
