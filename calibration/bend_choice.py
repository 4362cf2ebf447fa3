"""Whether what was given shows that the paper is curled, and into what: flat, a cylinder, or a bulge.

Bending paper that lies flat would put the marks' errors into it, so a bend is never tried unless lines or lengths
disagree in a way that a bend explains (a score test: Rao 1948), and never taken unless its evidence is the higher
(Bayes; Laplace's approximation as in MacKay 1992), its own parameters counted.
"""

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from calibration.blocks import LineBlock
from calibration.blunders import Weeded, weed
from calibration.lens_choice import beyond_usual
from calibration.observations import CalibrationError, KnownDistance, Observation
from calibration.parameters import BULGE_SIGMA, CYLINDER_SIGMA, Prior, loosened, with_bulge, with_cylinder
from calibration.plane_map import BULGE, CYLINDER, LENS, Floats, P, PictureSize
from calibration.problem import Problem, What, build
from calibration.solution import Solution, roughly, solve, solve_from
from calibration.uncertainty import agreement

LEAST_LINES = 4
"""A border's sides: fewer lines follow a lens as well."""

INNER_FOR_BULGE = 8
"""Lines besides a border's that a bulge takes (trials: with fewer, a free surface does harm)."""

SIDES = 4

SUSPICIOUS = 18.0
"""Drop in the sum of squares that any smooth height promises before bends are tried: flat sheets promise 9 to 12 by
chance, and one in ten more than this, which costs them time only."""

SHOWN = 4.0
"""A bend must be this much likelier (log of the odds) than none to be taken: 50 to 1."""

BLUNDER = 8.0
"""Log of the odds against one thing given being wrong: one in a hundred, and wrong by any amount at all."""

DIRECTIONS_RAD = np.radians(np.arange(0, 180, 15))
"""Directions tried; a minimum reaches some 30 degrees to both sides (trials)."""

APART_RAD = math.radians(25)
"""Starts nearer than this come to the same minimum."""

STARTS = 4
"""A cylinder along one diagonal looks much like one along the other: both must be tried, and their neighbours."""

TURN_SIGMA = math.pi / math.sqrt(2 * math.pi)
"""A direction may be any: the normal density that weighs as much as one in half a turn."""

SAME_RAD = math.radians(8)
"""Minima of a smooth profile lie further apart."""

HOPELESS_TIMES = 3.0
HOPELESS_COST = 40.0
"""A rough minimum that costs more than this many times the lowest and this much more will not come near it by another
term; one that costs twice as much has done so."""

FIRST_TERMS = 4
TERMS_IN_TURN = (4, 3, 2, 1, 5)
"""Four terms are tried first: with fewer the search for the direction of an edge that lifts goes astray (a rendered
photo: 28 degrees off). Fewer or more are taken where their evidence is the higher."""

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
    if lines < LEAST_LINES or not _suspicious(flat) or _by_wrong_length(observations, flat, size=size):
        return None
    begin = _best_bend(observations, flat, size=size, priors=priors, lines=lines)
    if not begin:
        return None
    near = [solution for solution in begin if solution.cost < begin[0].cost + HOPELESS_COST]
    bent = _weeded(observations, near, size=size)
    if bent is None or _odds(bent) - _flat_odds(observations, flat, size=size, priors=priors) < SHOWN:
        return None
    return bent


def _suspicious(flat: Solution) -> bool:
    """Whether some smooth height would bring the rows nearer to one another by more than chance does."""
    drop, _ = _promise(flat, list(BULGE), np.full(len(BULGE), BULGE_SIGMA))
    return drop > SUSPICIOUS


def _by_wrong_length(observations: Sequence[Observation], flat: Solution, *, size: PictureSize) -> bool:
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
    return lengths and not _suspicious(weeded.solution)


def _weeded(observations: Sequence[Observation], begin: list[Solution], *, size: PictureSize) -> Weeded | None:
    """Give the best of some solutions of one problem, what is wrong left out; None where nothing comes of it."""

    def solver(problem: Problem) -> list[Solution]:
        return solve_from(problem, [solution.values for solution in begin])

    try:
        return weed(observations, size=size, priors=begin[0].problem.priors, solver=solver)
    except CalibrationError:
        return None


def _odds(weeded: Weeded) -> float:
    return _log_evidence(weeded.solution) - BLUNDER * (len(weeded.left_out) + len(weeded.disputed[:1]))


def _flat_odds(
    observations: Sequence[Observation], flat: Solution, *, size: PictureSize, priors: dict[P, Prior]
) -> float:
    """Give the odds of flat paper: with all that was given, with what may be wrong left out, and with a wider lens."""
    odds = [_log_evidence(flat)]
    wide = flat
    if beyond_usual(flat):
        wide = solve(build(observations, size=size, priors=loosened(priors)), flat.values)
        odds.append(_log_evidence(wide) if wide.possible else -math.inf)
    agrees = agreement(wide)
    if agrees.line_factor < CERTAINLY_BENT and agrees.variance_factor > 1:
        weeded = _weeded(observations, [wide], size=size)
        odds.append(-math.inf if weeded is None else _odds(weeded))
    return max(odds)


def _best_bend(
    observations: Sequence[Observation], flat: Solution, *, size: PictureSize, priors: dict[P, Prior], lines: int
) -> list[Solution]:
    """Give about where the likeliest bend lies, with its rivals: more terms, or a bulge, only as long as they pay."""
    begin = _cylinder_starts(flat)
    best: list[Solution] = []
    best_evidence = -math.inf
    for terms in TERMS_IN_TURN:
        found = _roughly(build(observations, size=size, priors=with_cylinder(priors, terms=terms)), begin)
        if not found:
            break
        if terms >= FIRST_TERMS:
            begin = [solution.values for solution in found]
        evidence = max(_log_evidence(solution) for solution in found)
        if evidence > best_evidence:
            best, best_evidence = found, evidence
        elif terms > FIRST_TERMS:
            break
    if lines - SIDES >= INNER_FOR_BULGE:
        _, amounts = _promise(flat, list(BULGE), np.full(len(BULGE), BULGE_SIGMA))
        values = flat.values.copy()
        values[list(BULGE)] = np.clip(amounts, -BULGE_SIGMA, BULGE_SIGMA)
        found = _roughly(build(observations, size=size, priors=with_bulge(priors)), [values])
        if found and _log_evidence(found[0]) > best_evidence:
            best = found
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
    promised = []
    for turn in DIRECTIONS_RAD:
        values = flat.values.copy()
        values[P.BEND_TURN] = turn
        profile, sigmas = list(CYLINDER[:FIRST_TERMS]), np.array(CYLINDER_SIGMA[:FIRST_TERMS])
        drop, amounts = _promise(replace(flat, values=values), profile, sigmas)
        values[profile] = np.clip(amounts, -sigmas, sigmas)
        promised.append((drop, turn, values))
    promised.sort(key=lambda one: -one[0])
    taken: list[tuple[float, Floats]] = []
    for _, turn, values in promised:
        if all(abs(_half_turn(turn - other)) > APART_RAD for other, _ in taken):
            taken.append((float(turn), values))
    return [values for _, values in taken[:STARTS]]


def _promise(flat: Solution, terms: list[P], sigmas: Floats) -> tuple[float, Floats]:
    """Give by how much the sum of squares would fall, and the terms' amounts (k,), to first order, under priors."""
    problem, count = flat.problem, len(terms)
    slopes = problem.slopes(flat.values, flat.unknowns, problem.weights(flat.values), terms)[:, :count]
    q, _ = np.linalg.qr(flat.by_unknowns * problem.bounds)
    slopes = (slopes - q @ (q.T @ slopes)) * sigmas
    rows = flat.rows - q @ (q.T @ flat.rows)
    normal = slopes.T @ slopes + np.eye(count)
    pull = slopes.T @ rows
    amounts = -np.linalg.solve(normal, pull)
    return float(-pull @ amounts), np.asarray(amounts * sigmas)


def _half_turn(angle_rad: float) -> float:
    """Give the angle between two directions of lines, from -90 to 90 degrees."""
    return (angle_rad + math.pi / 2) % math.pi - math.pi / 2


def _log_evidence(solution: Solution) -> float:
    """Give it but for what all models share: the marks' sigmas and the other priors."""
    problem = solution.problem
    _, size = np.linalg.slogdet(solution.by_unknowns.T @ solution.by_unknowns)
    own = [p for p in (*LENS, P.LOG_FOCAL, *CYLINDER, *BULGE) if p in problem.free]
    told = sum(math.log(problem.priors[p].sigma) for p in own)
    if P.BEND_TURN in problem.free:
        told += math.log(TURN_SIGMA)
    return -0.5 * solution.cost - 0.5 * float(size) - told
