"""Whether what was given shows that the paper is curled, and into what: flat, a cylinder, or a bulge.

Bending paper that lies flat would put the marks' errors into it, so a bend is never tried unless lines or lengths
disagree in a way that a bend explains (to first order), and never taken unless its evidence is the higher
(Bayes; Laplace's approximation as in MacKay 1992), its own parameters counted.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from calibration.blocks import LineBlock
from calibration.blunders import Weeded, weed
from calibration.evidence import log_evidence
from calibration.lens_choice import beyond_usual
from calibration.map_slopes import first_cylinders, plane_slopes
from calibration.observations import CalibrationError, Observation
from calibration.parameters import (
    BOW_SIGMA,
    BULGE_SIGMAS,
    WANDER_SIGMAS,
    Prior,
    loosened,
    with_bulge,
    with_cylinder,
)
from calibration.plane_map import BULGE, CYLINDER, Floats, P, PictureSize
from calibration.problem import Problem, Suspect, build
from calibration.solution import Solution, roughly, solve, solve_from
from calibration.uncertainty import SEEN_SIGMA, agreement, unseen

LEAST_LINES = 4
"""A border's sides: fewer lines follow a lens as well."""

INNER_FOR_BULGE = 8
"""Lines besides a border's that a bulge takes (trials: with fewer, a free surface does harm)."""

SIDES = 4

WORTH_TRYING = -2.0
"""Log of the odds for a bend, to first order, from which bends are tried. Under flat paper odds above some K turn up
once in K at most (Markov's inequality), and what is first order may be too low."""

BEFOREHAND = 1.0
"""Log of the odds, before anything is looked at, that paper before a camera is bent by as much as is looked for: a plan
that was rolled or folded seldom lies flat. With it lengths on flat paper, measured with ten lines, are off by 1 % more
than if no bend were thought of; at 3, by 5 % more (trials)."""

SHOWN = 4.0
"""How much likelier than flat a bend must be to be told as a fact (log of the odds, 50 to 1): at even odds 2 of 12
flat plans with sides as straight as a machine's were taken for bent (trials), and curled ones came out the same."""

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


@dataclass(frozen=True, slots=True)
class BendChoice:
    """The fit with the paper bent, and how much likelier than flat paper what was given makes it (log of the odds)."""

    weeded: Weeded
    log_odds: float

    @property
    def shown(self) -> bool:
        """Whether it is told as a fact."""
        return self.log_odds > SHOWN


def choose_bend(
    observations: Sequence[Observation],
    flat: Solution,
    weeded: Weeded | None,
    *,
    size: PictureSize,
    priors: dict[P, Prior],
) -> BendChoice | None:
    """Give the fit with the paper bent and how likely it is, else None where that is not worth a thought.

    Parameters
    ----------
    flat : Solution
        The fit of everything given with the paper flat.
    weeded : Weeded or None
        The same without what is wrong then; None where nothing came of it.
    priors : dict
        Of a photo, before any bend.
    """
    lines = sum(isinstance(block, LineBlock) for block in flat.problem.blocks)
    if lines < LEAST_LINES:
        return None
    promised = _Promised.by(flat, lines)
    if promised.log_odds < WORTH_TRYING:
        return None
    without: frozenset[Suspect] = frozenset()
    if weeded is not None and weeded.left_out:
        # Their pull bends the lines of the whole fit; without it they are straight again, which curled paper's are not.
        without = frozenset(fault.suspect for fault in weeded.left_out)
        promised = _Promised.by(weeded.solution, lines)
        if promised.log_odds < WORTH_TRYING:
            return None
    begin = _best_bend(observations, promised, size=size, priors=priors, without=without)
    if not begin:
        return None
    near = [solution for solution in begin if solution.cost < begin[0].cost + HOPELESS_COST]
    bent = _weeded(observations, near, size=size, surely=_gross(weeded))
    if bent is None or unseen(bent.solution)[1] > SEEN_SIGMA:
        # Odds mean nothing where the bend leaves the scale or a rectangle's size open.
        return None
    return BendChoice(bent, _odds(bent) - _flat_odds(observations, flat, weeded, size=size, priors=priors))


def _gross(weeded: Weeded | None) -> frozenset[Suspect]:
    return frozenset() if weeded is None else weeded.grossly_wrong


def _weeded(
    observations: Sequence[Observation], begin: list[Solution], *, size: PictureSize, surely: frozenset[Suspect]
) -> Weeded | None:
    """Give the best of some solutions of one problem, what is wrong left out; None where nothing comes of it.

    Known distances that are `surely` wrong are not tried again.
    """

    def solver(problem: Problem) -> list[Solution]:
        return solve_from(problem, begin)

    try:
        return weed(observations, size=size, priors=begin[0].problem.priors, solver=solver, surely=surely)
    except CalibrationError:
        return None


def _odds(weeded: Weeded) -> float:
    return log_evidence(weeded.solution) - BLUNDER * (len(weeded.left_out) + len(weeded.disputed[:1]))


def _flat_odds(
    observations: Sequence[Observation],
    flat: Solution,
    weeded: Weeded | None,
    *,
    size: PictureSize,
    priors: dict[P, Prior],
) -> float:
    """Give the odds of flat paper: with all that was given, with what may be wrong left out, and with a wider lens.

    `weeded` is the flat fit of the lens expected.
    """
    odds = [log_evidence(flat)]
    wide = flat
    if beyond_usual(flat):
        wide = solve(build(observations, size=size, priors=loosened(priors)), flat)
        odds.append(log_evidence(wide) if wide.possible else -math.inf)
    if agreement(wide).variance_factor > 1:
        if wide is not flat:
            weeded = _weeded(observations, [wide], size=size, surely=_gross(weeded))
        if weeded is not None and agreement(weeded.solution).line_factor < CERTAINLY_BENT:
            odds.append(_odds(weeded))
    return max(odds)


def _best_bend(
    observations: Sequence[Observation],
    promised: "_Promised",
    *,
    size: PictureSize,
    priors: dict[P, Prior],
    without: frozenset[Suspect],
) -> list[Solution]:
    """Give about where the likeliest bend lies, with its rivals: a cylinder, or a bulge where lines enough tell."""
    begin = promised.cylinder_starts()
    best: list[Solution] = []
    best_evidence = -math.inf
    for wander_sigma in WANDER_SIGMAS:
        told = with_cylinder(priors, wander_sigma=wander_sigma)
        found = _roughly(build(observations, size=size, priors=told, without=without), begin)
        if not found:
            break
        begin = found
        evidence = max(log_evidence(solution) for solution in found)
        if evidence > best_evidence:
            best, best_evidence = found, evidence
    if promised.bulge is not None:
        start = promised.bulge.start
        for sigma in BULGE_SIGMAS:
            told = with_bulge(priors, sigma=sigma)
            found = _roughly(build(observations, size=size, priors=told, without=without), [start])
            if not found:
                continue
            start, evidence = found[0], log_evidence(found[0])
            if evidence > best_evidence:
                best, best_evidence = found, evidence
    return best


def _roughly(problem: Problem, begin: list[Solution]) -> list[Solution]:
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


@dataclass(frozen=True, slots=True)
class _Promise:
    """What a bend makes of the rows, to first order: log of its odds against none, and the flat fit moved by it."""

    log_odds: float
    start: Solution


@dataclass(frozen=True, slots=True)
class _Promised:
    """What cylinders promise in each of the directions tried, and a bulge where lines enough tell of one."""

    cylinders: list[_Promise]
    bulge: _Promise | None

    @classmethod
    def by(cls, flat: Solution, lines: int) -> "_Promised":
        """To first order around a flat fit."""
        problem = flat.problem
        weights = problem.weights(flat.values)
        plane_mm, by_bulge = plane_slopes(
            flat.values, problem.points_px, problem.size, BULGE if lines - SIDES >= INNER_FOR_BULGE else ()
        )
        turns = first_cylinders(flat.values, problem.points_px, problem.size, DIRECTIONS_RAD)
        moves = np.concatenate([turns.reshape(-1, *plane_mm.shape), by_bulge])
        slopes = problem.slopes_by_moves(plane_mm, moves, flat.unknowns, weights)[:, : len(moves)]
        # What the flat fit's own unknowns span is theirs to explain.
        span, scale = np.linalg.qr(flat.by_unknowns * problem.bounds)
        shares = span.T @ slopes
        left, rows = slopes - span @ shares, flat.rows - span @ (span.T @ flat.rows)
        follow = -np.linalg.lstsq(scale, shares)[0] * problem.bounds[:, None]

        def promise(terms: tuple[P, ...], at: int, sigma: Floats, turn_rad: float) -> _Promise:
            part = slice(at, at + len(terms))
            by = left[:, part] * sigma
            normal = by.T @ by + np.eye(len(terms))
            pull = by.T @ rows
            amounts = -np.linalg.solve(normal, pull)
            _, size = np.linalg.slogdet(normal)
            taken = sigma * np.clip(amounts, -1, 1)
            moved = follow[:, part] @ taken
            unknowns = flat.unknowns + moved / max(1.0, np.abs(moved / problem.bounds).max())
            values = problem.values(unknowns)
            values[P.BEND_TURN] = turn_rad
            values[list(terms)] = taken
            start = replace(flat, values=values, unknowns=unknowns)
            return _Promise(-0.5 * float(pull @ amounts) - 0.5 * float(size), start)

        count = len(CYLINDER)
        profiles = [np.array([BOW_SIGMA, *[wander] * (count - 1)]) for wander in WANDER_SIGMAS]
        cylinders = [
            max((promise(CYLINDER, n * count, sigmas, turn) for sigmas in profiles), key=lambda one: one.log_odds)
            for n, turn in enumerate(DIRECTIONS_RAD)
        ]
        at = count * len(cylinders)
        heights = [np.full(len(BULGE), height) for height in BULGE_SIGMAS] if len(by_bulge) else []
        bulges = [promise(BULGE, at, sigmas, 0.0) for sigmas in heights]
        return cls(cylinders, max(bulges, key=lambda one: one.log_odds, default=None))

    @property
    def log_odds(self) -> float:
        """How much likelier than none a bend is: a cylinder in any direction, or a bulge."""
        odds = [one.log_odds for one in self.cylinders]
        cylinder = float(np.logaddexp.reduce(odds)) - math.log(len(odds))
        return cylinder if self.bulge is None else max(cylinder, self.bulge.log_odds)

    def cylinder_starts(self) -> list[Solution]:
        """Give what to start from: the directions that promise most, each with the bend that it promises."""
        taken: list[Solution] = []
        for promise in sorted(self.cylinders, key=lambda one: -one.log_odds):
            turn = promise.start.values[P.BEND_TURN]
            if all(abs(_half_turn(turn - other.values[P.BEND_TURN])) > APART_RAD for other in taken):
                taken.append(promise.start)
        return taken[:STARTS]


def _half_turn(angle_rad: float) -> float:
    """Give the angle between two directions of lines, from -90 to 90 degrees."""
    return (angle_rad + math.pi / 2) % math.pi - math.pi / 2
