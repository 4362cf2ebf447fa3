"""How well the plan was drawn, as its straight lines show: by hand, or by a machine.

A line drawn by hand sags by tenths of a mm and its rectangle leans; one that a machine drew does neither. What a lens
does not explain of the lines' bow tells the two apart, and with it how far the corners can be trusted.
"""

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from calibration.evidence import chance, whole_log_evidence
from calibration.observations import Corners, KnownDistance, Observation, StraightLine
from calibration.plane_map import Floats
from calibration.solution import Solution
from calibration.uncertainty import MapCovariance, map_covariance

MACHINE_GIVE = 0.1
"""Part of a hand's give: plotters and printers place a line to 0.02 mm (trade practice: repeatability of plotters)."""

MACHINE_LEAN = 0.3
"""Part of a hand's lean: a plotter's axes are square to an arc minute, 0.3 mm on a metre."""

MACHINE_LENGTHS = math.sqrt((1 + MACHINE_GIVE**2) / 2)
"""Part of a hand's give of a length in a plan whose lines a machine drew: it is as true as they are, or was drawn by
hand into a border that came with the paper. Clicks hide which; either has half of the variance."""

EVEN = 0.5
"""A plan is taken for the likelier; both are common, so that neither has a head start."""


def as_by_machine(observations: Sequence[Observation]) -> list[Observation]:
    """Give the observations as true as they are in a plan whose lines a machine drew."""
    return [_by_machine(seen) for seen in observations]


def chance_of_machine(by_hand: Solution, by_machine: Solution) -> float:
    """Give how likely it is that a machine drew what was given."""
    return chance(whole_log_evidence(by_machine) - whole_log_evidence(by_hand))


def allowing_for_hand(
    covariance: MapCovariance, values: Floats, by_hand: Solution, *, chance_of_machine: float
) -> MapCovariance:
    """Give the covariance of a map by a machine's plan, allowing for the chance that a hand drew it after all."""
    other, left = map_covariance(by_hand), 1 - chance_of_machine
    apart = np.outer(by_hand.values - values, by_hand.values - values)
    whole = chance_of_machine * covariance.whole + left * (other.whole + chance_of_machine * apart)
    return MapCovariance(whole, chance_of_machine * covariance.lens + left * other.lens)


def _by_machine(seen: Observation) -> Observation:
    if isinstance(seen, Corners):
        return replace(seen, give_mm=MACHINE_GIVE * seen.give_mm, lean_sigma_rad=MACHINE_LEAN * seen.lean_sigma_rad)
    if isinstance(seen, StraightLine):
        return replace(seen, give_mm=MACHINE_GIVE * seen.give_mm)
    if isinstance(seen, KnownDistance):
        return replace(seen, give_mm=seen.give_mm - (1 - MACHINE_LENGTHS) * min(seen.drawn_mm, seen.give_mm))
    return seen
