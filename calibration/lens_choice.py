"""Whether what was given shows that the lens bends lines, or whether a lens that bends nothing explains it as well.

Makers take most of a lens's bending out of the picture before anyone sees it, or do not: both are common. Solving
for a lens that is not there would put the marks' errors into it (trials: three times the error), and not solving for
one that is leaves its bending in every length.
"""

from dataclasses import dataclass, replace

import numpy as np

from calibration.blocks import LineBlock
from calibration.evidence import log_evidence
from calibration.parameters import Prior, Role
from calibration.plane_map import LENS
from calibration.solution import Solution, solve
from calibration.uncertainty import MapCovariance, map_covariance

LINES_ENOUGH = 4
"""One line may follow a curve; the lens bends four by one law (design trials)."""

SURPRISING = 2.5
"""Sigmas of its prior; one parameter in eighty lies further off by chance, and loses little by a looser prior."""

SHOWN = 0.0
"""How much likelier a lens must be to be solved for (log of the odds): even odds, since both are common. At 20 to 1 six
lengths of bent pictures were off by a tenth more."""


@dataclass(frozen=True, slots=True)
class Chosen:
    """The map chosen, its covariance, and whether the lens's bending was shown and is in it."""

    solution: Solution
    covariance: MapCovariance
    lens_shown: bool


def beyond_usual(solution: Solution) -> bool:
    """Whether the lens found is none that was expected: its prior then pulls and its interval lies."""
    priors = solution.problem.priors
    return any(
        abs(solution.values[p] - priors[p].expected) > SURPRISING * priors[p].sigma
        for p in LENS
        if p in solution.problem.free
    )


def choose_lens(full: Solution) -> Chosen:
    """Give the map without a lens where it explains what was given at least as well, else the full one.

    The measure is the ratio of the two models' evidence. Four straight lines always show what the lens does. What the
    full map says otherwise stays in the covariance: it was not disproved.
    """
    covariance = map_covariance(full)
    lens = [p for p in LENS if p in full.problem.free]
    lines = sum(isinstance(block, LineBlock) for block in full.problem.blocks)
    if not lens or lines >= LINES_ENOUGH:
        return Chosen(full, covariance, bool(lens))
    plain = _without_lens(full)
    if plain is None or log_evidence(full) - log_evidence(plain) > SHOWN:
        return Chosen(full, covariance, True)
    apart = np.outer(full.values - plain.values, full.values - plain.values)
    return Chosen(plain, MapCovariance(covariance.whole + apart, covariance.lens + apart), False)


def _without_lens(full: Solution) -> Solution | None:
    none = {p: Prior(Role.FIXED) for p in LENS}
    problem = replace(full.problem, priors=full.problem.priors | none)
    values = full.values.copy()
    values[list(LENS)] = 0.0
    plain = solve(problem, values)
    return plain if plain.possible and plain.converged else None
