"""How well a model explains what was given, against another model of the same observations (Bayes)."""

import math

import numpy as np

from calibration.plane_map import LENS, P
from calibration.solution import Solution


def log_evidence(solution: Solution) -> float:
    """Give its logarithm but for what models that differ in lens or focal length share: marks' sigmas, other priors.

    Laplace's approximation, as in MacKay 1992.
    """
    problem = solution.problem
    _, size = np.linalg.slogdet(solution.by_unknowns.T @ solution.by_unknowns)
    told = sum(math.log(problem.priors[p].sigma) for p in (*LENS, P.LOG_FOCAL) if p in problem.free)
    return -0.5 * solution.cost - 0.5 * float(size) - told
