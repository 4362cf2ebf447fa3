"""How much of a lens's bending goes into the map: as much as what was given makes it likely that there is any.

Makers take most of a lens's bending out of the picture before anyone sees it, or do not: both are common. Solving
for a lens that is not there puts the marks' errors into it, and not solving for one that is leaves its bending in
every length; choosing one of the two throws away what the other is worth.
"""

from dataclasses import dataclass, replace

import numpy as np

from calibration.blocks import LineBlock
from calibration.evidence import chance, log_evidence
from calibration.parameters import Prior, Role
from calibration.plane_map import LENS
from calibration.solution import Solution, solve
from calibration.uncertainty import MapCovariance, map_covariance

LINES_ENOUGH = 4
"""One line may follow a curve; the lens bends four by one law (design trials)."""

SURPRISING = 2.5
"""Sigmas of its prior; one parameter in eighty lies further off by chance, and loses little by a looser prior."""

BEFOREHAND = 2.0
"""Log of the odds, before the marks are looked at, that a lens bends lines. At even odds, six lengths of bent pictures
were off by 6 % more; at 20 to 1, those of pictures without a lens by 4 % more (trials)."""


@dataclass(frozen=True, slots=True, eq=False)
class Averaged:
    """The map on average, its covariance, and whether the marks themselves show the lens's bending."""

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


def average_lens(full: Solution, covariance: MapCovariance) -> Averaged:
    """Give the mean of the map with a lens and of the one without, each as likely as the marks make it.

    Four straight lines always show what the lens does, and its map is then the only one. Model averaging (Hoeting et
    al. 1999): what the two are apart stays in the covariance. `covariance` is that of the full map.
    """
    lens = [p for p in LENS if p in full.problem.free]
    lines = sum(isinstance(block, LineBlock) for block in full.problem.blocks)
    if not lens or lines >= LINES_ENOUGH:
        return Averaged(full, covariance, bool(lens))
    plain = _without_lens(full)
    if plain is None:
        return Averaged(full, covariance, True)
    shown = log_evidence(full) - log_evidence(plain)
    without = chance(-shown - BEFOREHAND)
    apart = plain.values - full.values
    between = without * (1 - without) * np.outer(apart, apart)
    # Without a lens the rest is surer; what a doubtful focal length adds, it adds to either.
    surer = map_covariance(full).whole - map_covariance(plain).whole
    averaged = MapCovariance(covariance.whole - without * surer + between, (1 - without) * covariance.lens + between)
    return Averaged(replace(full, values=full.values + without * apart), averaged, shown > 0)


def _without_lens(full: Solution) -> Solution | None:
    none = {p: Prior(Role.FIXED) for p in LENS}
    problem = replace(full.problem, priors=full.problem.priors | none)
    values = full.values.copy()
    values[list(LENS)] = 0.0
    plain = solve(problem, replace(full, values=values))
    return plain if plain.possible and plain.converged else None
