"""Whether the focal length that a file states is the picture's: cropped or zoomed afterwards, it has another.

Off by a fifth and not believed to be, it makes the shape of a rectangle of unknown size wrong by a percent and more,
where the marks say too little of it to contradict the file outright.
"""

import math
from dataclasses import dataclass, replace

import numpy as np

from calibration.evidence import chance, log_evidence
from calibration.parameters import FOCAL_SIGMA_UNTOLD, FULL_FRAME_HALF_DIAGONAL_MM
from calibration.plane_map import Floats, P
from calibration.solution import Solution, solve
from calibration.uncertainty import MapCovariance, map_covariance

WRONG_BEFOREHAND = 0.3
"""Chance, before the marks are looked at, that a file's focal length is not the picture's. At a twentieth, 20 % of
intervals lied where it was 20 % off; where it was right, errors and intervals are the same at either (trials)."""


@dataclass(frozen=True, slots=True, eq=False)
class FocalDoubt:
    """The file's 35 mm equivalent focal length, the one that the marks show, and the map (10,) by the file's."""

    told_35mm: float
    shown_35mm: float
    by_file: Floats


def doubt_focal(held: Solution) -> tuple[Solution, MapCovariance, FocalDoubt | None]:
    """Give the map that holds to the file's focal length or the one that hardly does, whichever is likelier.

    Its covariance is that of both, each as likely as it is, about the map given (a mixture's second moment). The doubt
    is None where the file's is the likelier.
    """
    prior, as_held = held.problem.priors[P.LOG_FOCAL], map_covariance(held)
    if P.LOG_FOCAL not in held.problem.free or prior.sigma >= FOCAL_SIGMA_UNTOLD:
        return held, as_held, None
    loosely = held.problem.priors | {P.LOG_FOCAL: replace(prior, sigma=FOCAL_SIGMA_UNTOLD)}
    loose = solve(replace(held.problem, priors=loosely), held)
    if not (loose.possible and loose.converged):
        return held, as_held, None
    odds = log_evidence(loose) - log_evidence(held) + math.log(WRONG_BEFOREHAND / (1 - WRONG_BEFOREHAND))
    wrong = chance(odds)
    as_loose = map_covariance(loose)
    apart = np.outer(loose.values - held.values, loose.values - held.values)
    whole = (1 - wrong) * as_held.whole + wrong * as_loose.whole + min(wrong, 1 - wrong) * apart
    covariance = MapCovariance(whole, (1 - wrong) * as_held.lens + wrong * as_loose.lens)
    if wrong <= 0.5:
        return held, covariance, None
    shown = FULL_FRAME_HALF_DIAGONAL_MM * math.exp(float(loose.values[P.LOG_FOCAL]))
    told = FULL_FRAME_HALF_DIAGONAL_MM * math.exp(prior.expected)
    return loose, covariance, FocalDoubt(told, shown, held.values)
