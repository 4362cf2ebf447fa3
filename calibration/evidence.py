"""How well a model explains what was given, against another model of the same observations (Bayes)."""

import math

import numpy as np

from calibration.plane_map import BULGE, CYLINDER, LENS, P
from calibration.solution import Solution

TURN_SIGMA = math.pi / math.sqrt(2 * math.pi)
"""A direction may be any: the normal density that weighs as much as one in half a turn."""

CHOSEN = (*LENS, P.LOG_FOCAL, *CYLINDER, *BULGE)
"""Parameters that one model solves for, or knows more of, and another does not."""


MOST_ODDS = 30.0
"""Log of odds that are as good as certain."""


def chance(log_odds: float) -> float:
    """Give how likely what has these odds is."""
    return 1 / (1 + math.exp(-max(min(log_odds, MOST_ODDS), -MOST_ODDS)))


def log_evidence(solution: Solution) -> float:
    """Give its logarithm but for what all models share: the marks' sigmas and the other priors.

    Laplace's approximation, as in MacKay 1992.
    """
    problem = solution.problem
    _, size = np.linalg.slogdet(solution.by_unknowns.T @ solution.by_unknowns)
    told = sum(math.log(problem.priors[p].sigma) for p in CHOSEN if p in problem.free)
    if P.BEND_TURN in problem.free:
        told += math.log(TURN_SIGMA)
    return -0.5 * solution.cost - 0.5 * float(size) - told


def whole_log_evidence(solution: Solution) -> float:
    """Give the logarithm with the marks' sigmas and all priors: also of models that trust what was given differently.

    Laplace's approximation, as in MacKay 1992; but for a constant.
    """
    problem = solution.problem
    _, size = np.linalg.slogdet(solution.by_unknowns.T @ solution.by_unknowns)
    sure = sum(np.linalg.slogdet(weight @ weight.T)[1] for weight in problem.weights(solution.values))
    sigmas = [problem.priors[p].sigma for p in problem.free if math.isfinite(problem.priors[p].sigma)]
    sigmas += [sigma for block in problem.blocks for _, _, sigma in block.priors]
    if P.BEND_TURN in problem.free:
        sigmas.append(TURN_SIGMA)
    return float(0.5 * (sure - solution.cost - size) - np.log(sigmas).sum())
