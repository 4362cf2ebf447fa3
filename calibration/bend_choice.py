"""Whether what was given shows that the paper is curled, and into what: flat, a cylinder, or a bulge.

Bending paper that lies flat would put the marks' errors into it, so a bend is never tried unless lines or lengths
disagree in a way that a bend explains (to first order), and never taken unless its evidence is the higher
(Bayes; Laplace's approximation as in MacKay 1992), its own parameters counted.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calibration.blocks import LineBlock
from calibration.blunders import Weeded, weed
from calibration.evidence import log_evidence
from calibration.lens_choice import beyond_usual
from calibration.observations import CalibrationError, KnownDistance, Observation
from calibration.parameters import (
    BOW_SIGMA,
    BULGE_SIGMA,
    BULGE_SIGMAS,
    WANDER_SIGMAS,
    Prior,
    loosened,
    with_bulge,
    with_cylinder,
)
from calibration.plane_map import BULGE, CYLINDER, Floats, P, PictureSize
from calibration.problem import Problem, What, build
from calibration.solution import Solution, roughly, solve, solve_from
from calibration.uncertainty import SEEN_SIGMA, agreement, unseen

LEAST_LINES = 4
"""A border's sides: fewer lines follow a lens as well."""

INNER_FOR_BULGE = 8
"""Lines besides a border's that a bulge takes (trials: with fewer, a free surface does harm)."""

SIDES = 4

WORTH_TRYING = -2.0
"""Log of the odds for a bend, to first order, from which bends are tried. Under flat paper odds above some K turn up
once in K at most (Markov's inequality; of 300 flat sheets simulated none came to even odds), and what is first order
may be too low."""

SHOWN = 4.0
"""How much likelier than flat a bend must be to be taken (log of the odds, 50 to 1): at even odds 2 of 12 flat plans
with sides as straight as a machine's were taken for bent (trials), and curled ones came out the same."""

BLUNDER = 8.0
"""Log of the odds against one thing given being wrong: one in a hundred, and wrong by any amount at all."""

DIRECTIONS_RAD = np.radians(np.arange(0, 180, 15))
"""Directions tried; a minimum reaches some 30 degrees to both sides (trials)."""

APART_RAD = math.radians(25)
"""Starts nearer than this come to the same minimum."""

STARTS = 4
"""A cylinder along one diagonal looks much like one along the other: both must be tried, and their neighbours."""

SAME_RAD = math.radians(8)
"""Minima of a smooth profile lie further apart."""

HOPELESS_TIMES = 3.0
HOPELESS_COST = 40.0
"""A rough minimum that costs more than this many times the lowest and this much more will not come near it by another
term; one that costs twice as much has done so."""

CERTAINLY_BENT = 2.5
"""Lines that agree so much worse than they are measured are bent whatever else is wrong: four sides' factor stays below
1.6 by chance, and a blunder in a corner hardly bends them."""


def choose_bend(
    observations: Sequence[Observation], flat: Solution, *, size: PictureSize, priors: dict[P, Prior]
) -> Weeded | None:
    """Give the fit with the paper bent where what was given shows that it is, else None.

    Parameters
    ----------
    flat : Solution
        The fit of everything given with the paper flat.
    priors : dict
        Of a photo, before any bend.
    """
    lines = sum(isinstance(block, LineBlock) for block in flat.problem.blocks)
    if (
        lines < LEAST_LINES
        or not _suspicious(flat, lines)
        or _by_wrong_length(observations, flat, size=size, lines=lines)
    ):
        return None
    begin = _best_bend(observations, flat, size=size, priors=priors, lines=lines)
    if not begin:
        return None
    near = [solution for solution in begin if solution.cost < begin[0].cost + HOPELESS_COST]
    bent = _weeded(observations, near, size=size)
    if bent is None or unseen(bent.solution)[1] > SEEN_SIGMA:
        # Odds mean nothing where the bend leaves the scale or a rectangle's size open.
        return None
    if _odds(bent) - _flat_odds(observations, flat, size=size, priors=priors) < SHOWN:
        return None
    return bent


def _suspicious(flat: Solution, lines: int) -> bool:
    """Whether a bend is nearly as likely as none, to first order: a cylinder in any direction, or a bulge."""
    around = _Around.of(flat)
    directions = [around.promise(CYLINDER, BOW_SIGMA, turn_rad=turn).log_odds for turn in DIRECTIONS_RAD]
    odds = float(np.logaddexp.reduce(directions)) - math.log(len(directions))
    if lines - SIDES >= INNER_FOR_BULGE:
        odds = max(odds, around.promise(BULGE, BULGE_SIGMA).log_odds)
    return odds > WORTH_TRYING


def _by_wrong_length(observations: Sequence[Observation], flat: Solution, *, size: PictureSize, lines: int) -> bool:
    """Whether a known distance that is plainly wrong makes all of the disagreement: then no bend need be tried.

    A wrong length bends the lines of the whole fit; once it is left out they are straight again, which curled paper's
    are not.
    """
    if not any(isinstance(seen, KnownDistance) for seen in observations):
        return False
    weeded = _weeded(observations, [flat], size=size)
    if weeded is None or not weeded.left_out or weeded.disputed:
        return False
    lengths = all(fault.suspect.what is What.KNOWN for fault in weeded.left_out)
    return lengths and not _suspicious(weeded.solution, lines)


def _weeded(observations: Sequence[Observation], begin: list[Solution], *, size: PictureSize) -> Weeded | None:
    """Give the best of some solutions of one problem, what is wrong left out; None where nothing comes of it."""

    def solver(problem: Problem) -> list[Solution]:
        return solve_from(problem, [solution.values for solution in begin])

    try:
        return weed(observations, size=size, priors=begin[0].problem.priors, solver=solver)
    except CalibrationError:
        return None


def _odds(weeded: Weeded) -> float:
    return log_evidence(weeded.solution) - BLUNDER * (len(weeded.left_out) + len(weeded.disputed[:1]))


def _flat_odds(
    observations: Sequence[Observation], flat: Solution, *, size: PictureSize, priors: dict[P, Prior]
) -> float:
    """Give the odds of flat paper: with all that was given, with what may be wrong left out, and with a wider lens."""
    odds = [log_evidence(flat)]
    wide = flat
    if beyond_usual(flat):
        wide = solve(build(observations, size=size, priors=loosened(priors)), flat.values)
        odds.append(log_evidence(wide) if wide.possible else -math.inf)
    agrees = agreement(wide)
    if agrees.line_factor < CERTAINLY_BENT and agrees.variance_factor > 1:
        weeded = _weeded(observations, [wide], size=size)
        odds.append(-math.inf if weeded is None else _odds(weeded))
    return max(odds)


def _best_bend(
    observations: Sequence[Observation], flat: Solution, *, size: PictureSize, priors: dict[P, Prior], lines: int
) -> list[Solution]:
    """Give about where the likeliest bend lies, with its rivals: a cylinder, or a bulge where lines enough tell."""
    begin = _cylinder_starts(flat)
    best: list[Solution] = []
    best_evidence = -math.inf
    for wander_sigma in WANDER_SIGMAS:
        told = with_cylinder(priors, wander_sigma=wander_sigma)
        found = _roughly(build(observations, size=size, priors=told), begin)
        if not found:
            break
        begin = [solution.values for solution in found]
        evidence = max(log_evidence(solution) for solution in found)
        if evidence > best_evidence:
            best, best_evidence = found, evidence
    if lines - SIDES >= INNER_FOR_BULGE:
        start = _Around.of(flat).promise(BULGE, BULGE_SIGMA).start
        for sigma in BULGE_SIGMAS:
            found = _roughly(build(observations, size=size, priors=with_bulge(priors, sigma=sigma)), [start])
            if not found:
                continue
            start, evidence = found[0].values, log_evidence(found[0])
            if evidence > best_evidence:
                best, best_evidence = found, evidence
    return best


def _roughly(problem: Problem, begin: list[Floats]) -> list[Solution]:
    """Give about where starts lead to, the lowest first, without those that are much worse or the same."""
    found = sorted((one for start in begin if (one := roughly(problem, start)).possible), key=lambda one: one.cost)
    kept: list[Solution] = []
    for one in found:
        turn = one.values[P.BEND_TURN]
        if one.cost < HOPELESS_TIMES * found[0].cost + HOPELESS_COST and all(
            abs(_half_turn(turn - other.values[P.BEND_TURN])) > SAME_RAD for other in kept
        ):
            kept.append(one)
    return kept


def _cylinder_starts(flat: Solution) -> list[Floats]:
    """Give maps to start from: the directions that promise most, each with the bend that it promises."""
    around = _Around.of(flat)
    promised = [around.promise(CYLINDER, BOW_SIGMA, turn_rad=turn) for turn in DIRECTIONS_RAD]
    taken: list[Floats] = []
    for promise in sorted(promised, key=lambda one: -one.log_odds):
        turn = promise.start[P.BEND_TURN]
        if all(abs(_half_turn(turn - other[P.BEND_TURN])) > APART_RAD for other in taken):
            taken.append(promise.start)
    return taken[:STARTS]


@dataclass(frozen=True, slots=True)
class _Promise:
    """What a bend makes of the rows, to first order: log of its odds against none, and the map (48,) with it."""

    log_odds: float
    start: Floats


@dataclass(frozen=True, slots=True)
class _Around:
    """A flat fit with what every first step from it needs: weights, what its unknowns span (m, n), rows free of it."""

    flat: Solution
    weights: list[Floats]
    span: Floats
    rows: Floats

    @classmethod
    def of(cls, flat: Solution) -> "_Around":
        span, _ = np.linalg.qr(flat.by_unknowns * flat.problem.bounds)
        return cls(flat, flat.problem.weights(flat.values), span, flat.rows - span @ (span.T @ flat.rows))

    def promise(self, terms: tuple[P, ...], sigma: float, *, turn_rad: float = 0.0) -> _Promise:
        """Give what bending by these terms, each under a prior of so many sigma, promises."""
        count = len(terms)
        values = self.flat.values.copy()
        values[P.BEND_TURN] = turn_rad
        slopes = self.flat.problem.slopes(values, self.flat.unknowns, self.weights, terms)[:, :count]
        slopes = (slopes - self.span @ (self.span.T @ slopes)) * sigma
        normal = slopes.T @ slopes + np.eye(count)
        pull = slopes.T @ self.rows
        amounts = -np.linalg.solve(normal, pull)
        _, size = np.linalg.slogdet(normal)
        values[list(terms)] = sigma * np.clip(amounts, -1, 1)
        return _Promise(-0.5 * float(pull @ amounts) - 0.5 * float(size), values)


def _half_turn(angle_rad: float) -> float:
    """Give the angle between two directions of lines, from -90 to 90 degrees."""
    return (angle_rad + math.pi / 2) % math.pi - math.pi / 2
