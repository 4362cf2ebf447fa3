"""Which long lines of a drawing are straight on the paper: those that agree with one lens, one view and one bend.

Whether a line is straight cannot be seen in a picture that lens and curl bow, only whether lines are straight
together. Around the fit of what was given everything is linear: the lens, the view, and the height of the paper as
the humps of `bend`. A line is taken when the others, the border and the marks predict its bow much better than
a gentle curve would have it, the surest line first, and every one again once the others are known (a consensus as in
Fischler and Bolles 1981, with Bayes' odds in place of a threshold). Paper is taken for flat here, and
lines for straight on flat paper, unless a bend explains so many more of them that the odds are with it.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration.blocks import LineBlock
from calibration.kind import Kind
from calibration.observations import CalibrationError, Observation, StraightLine
from calibration.parameters import BULGE_SIGMA, priors
from calibration.plane_map import BULGE, Floats, PictureSize, plane_from_picture
from calibration.problem import Problem, build
from calibration.solution import solve_from
from calibration.start import starts

SHAPES = 4
"""Sag, S and two finer waves: all that a lens or paper makes of a line that can be measured."""

CAMBER = (0.005, 0.002, 0.001, 0.0005)
"""One sigma of each shape of a gentle curve, as part of its length: what bows more is no rival of a straight line, and
what bows less by the give of drawing is one."""

MODEL_MM = (0.1, 0.05, 0.03, 0.02)
"""One sigma of each shape that curled paper has beyond its humps and first order, mm."""

HEIGHT_SIGMA = 2 * BULGE_SIGMA
"""Half diagonals, of the height anywhere: humps stand for cylinders too, which rise higher."""

TAKEN = math.log(20)
"""Odds, as a logarithm, that a line is straight rather than gently curved, before it is taken."""

BENT = 4.0
"""Log of the odds for a bend, as those for which a bend is taken at all."""

LEAST_AGREEING = 4
"""Lines, those given among them, that must agree: fewer follow a lens as well (trials: 81 px off with one)."""

MOST_TAKEN = 16
"""The longest are enough; each costs time."""

ROUNDS = 4
"""Of taking and of asking the others about each again."""


@dataclass(frozen=True, slots=True)
class _Belief:
    """What is known of k parameters: precision (k, k) and precision times mean (k,)."""

    precision: Floats
    pull: Floats

    def told(self, by: Floats, rows: Floats, sign: float = 1.0) -> "_Belief":
        """Give the belief with rows (m,) of unit variance and their derivative (m, k) added, or taken away."""
        return _Belief(self.precision + sign * by.T @ by, self.pull - sign * by.T @ rows)


@dataclass(frozen=True, slots=True)
class _Lines:
    """Candidates by their shapes: rows (N, 4), derivatives (N, 4, k), and covariances (N, 4, 4) if they were curves.

    Rows of a straight line have unit variance.
    """

    rows: Floats
    by: Floats
    curved: Floats


def straight_among(
    candidates: Sequence[StraightLine],
    observations: Sequence[Observation],
    *,
    width_px: int,
    height_px: int,
    kind: Kind,
    focal_35mm: float | None = None,
) -> tuple[StraightLine, ...]:
    """Give those of a photo's long lines that are straight on the paper, as far as that can be told.

    Parameters
    ----------
    candidates : sequence of StraightLine
        The longest first.
    observations : sequence
        Everything given, with what tells the scale.
    """
    if kind is not Kind.PHOTO or not candidates:
        return ()
    size = PictureSize(width_px, height_px)
    told = priors(kind=kind, focal_35mm=focal_35mm)
    given = sum(isinstance(seen, StraightLine) for seen in observations)
    try:
        begin = starts(list(observations), kind=kind, size=size, priors=told)
        flat = solve_from(build(observations, size=size, priors=told), begin)[0]
    except CalibrationError:
        # Whoever adjusts says what is wrong.
        return ()
    problem = build([*observations, *candidates], size=size, priors=told)
    belief, lines, humps = _linear(problem, flat.values, flat.unknowns, len(candidates))
    if not np.isfinite(lines.by).all():
        return ()
    kept = slice(0, len(belief.pull) - humps)
    still = _Belief(belief.precision[kept, kept], belief.pull[kept])
    flat_taken, flat_odds = _agreeing(still, replace(lines, by=lines.by[..., kept]))
    bent_taken, bent_odds = _agreeing(belief, lines)
    drop = _log_evidence(belief) - _log_evidence(still)
    taken = bent_taken if bent_odds + drop - flat_odds > BENT else flat_taken
    if given + len(taken) < LEAST_AGREEING:
        return ()
    return tuple(candidates[n] for n in sorted(taken)[:MOST_TAKEN])


def _linear(problem: Problem, values: Floats, unknowns: Floats, count: int) -> tuple[_Belief, _Lines, int]:
    """Give what all but the last `count` lines tell, in units of bounds and of heights' sigmas, and those lines."""
    weights = problem.weights(values)
    own, free = len(unknowns), len(problem.free)
    slopes = problem.slopes(values, unknowns, weights, (*problem.free, *BULGE))
    by_map, by_bulge, by_own = np.split(slopes, (free, free + len(BULGE)), axis=1)
    unit = np.concatenate([problem.bounds, np.full(len(BULGE), HEIGHT_SIGMA)])
    by = np.hstack([by_map, by_own, by_bulge]) * unit
    rows = problem.rows(values[None], unknowns[None], weights)[0]
    end = problem.line_rows[-1] + 1
    parts: list[tuple[NDArray[np.intp], Floats, LineBlock]] = []
    for block, weight in zip(problem.blocks[::-1], weights[::-1], strict=True):
        if isinstance(block, LineBlock) and len(parts) < count:
            parts.append((np.arange(end - len(weight), end), weight, block))
            end -= len(weight)
    parts.reverse()
    plain = np.ones(len(rows), bool)
    kept: list[tuple[Floats, Floats, Floats]] = []
    for at, weight, block in parts:
        plain[at] = False
        kept.append(_in_shapes(block, values, problem.size, rows[at], by[at], weight))
    prior = np.diag(np.concatenate([np.full(own, 1e-12), np.ones(len(BULGE))]))
    belief = _Belief(prior, np.zeros(len(prior))).told(by[plain], rows[plain])
    stacked = [np.stack(part) for part in zip(*kept, strict=True)]
    return belief, _Lines(*stacked), len(BULGE)


def _in_shapes(
    block: LineBlock, values: Floats, size: PictureSize, rows: Floats, by: Floats, weight: Floats
) -> tuple[Floats, Floats, Floats]:
    """Give a line's rows (4,), their derivative (4, k) and the covariance of a curve's (4, 4), by its shapes."""
    plane_mm = plane_from_picture(values, block.points_px, size)
    chord = plane_mm[-1] - plane_mm[0]
    length_mm = float(np.hypot(*chord))
    t = (plane_mm - plane_mm[0]) @ chord / length_mm**2
    waves = np.polynomial.legendre.legvander(1 - 2 * t, SHAPES - 1)
    whole, scale = np.linalg.qr(weight @ (waves * (4 * t * (1 - t))[:, None]))
    straight = np.eye(SHAPES) + scale @ np.diag(np.square(MODEL_MM)) @ scale.T
    white = np.linalg.inv(np.linalg.cholesky(straight))
    wave = white @ scale @ np.diag(length_mm * np.array(CAMBER))
    return white @ whole.T @ rows, white @ whole.T @ by, np.eye(SHAPES) + wave @ wave.T


def _agreeing(belief: _Belief, lines: _Lines) -> tuple[list[int], float]:
    """Give which lines are straight together, and the log of the odds of all of them, straight or curved."""
    taken: list[int] = []
    free = np.ones(len(lines.rows), bool)
    for _ in range(ROUNDS):
        known = _knowing(belief, lines, taken)
        while free.any():
            straight, curved = _odds(known, lines)
            gain = np.where(free, straight - curved, -math.inf)
            best = int(gain.argmax())
            if gain[best] < TAKEN:
                break
            taken.append(best)
            free[best] = False
            known = known.told(lines.by[best], lines.rows[best])
        worst, least = -1, TAKEN
        for n in taken:
            straight, curved = _odds(known.told(lines.by[n], lines.rows[n], -1.0), lines)
            if straight[n] - curved[n] < least:
                worst, least = n, float(straight[n] - curved[n])
        if worst < 0:
            break
        taken.remove(worst)
    total, known = 0.0, belief
    for n in taken:
        total += float(_odds(known, lines)[0][n])
        known = known.told(lines.by[n], lines.rows[n])
    rest = np.setdiff1d(np.arange(len(lines.rows)), taken)
    return taken, total + float(_odds(known, lines)[1][rest].sum())


def _knowing(belief: _Belief, lines: _Lines, taken: list[int]) -> _Belief:
    for n in taken:
        belief = belief.told(lines.by[n], lines.rows[n])
    return belief


def _odds(known: _Belief, lines: _Lines) -> tuple[Floats, Floats]:
    """Give the log of every line's density (N,), were it straight and were it a gentle curve, as the rest has it."""
    expected = lines.rows + lines.by @ np.linalg.solve(known.precision, known.pull)
    spread = lines.by @ np.linalg.solve(known.precision, np.swapaxes(lines.by, -1, -2))
    logs = []
    for own in (np.eye(SHAPES), lines.curved):
        whole = spread + own
        _, size = np.linalg.slogdet(whole)
        off = (expected * np.linalg.solve(whole, expected[..., None])[..., 0]).sum(axis=-1)
        logs.append(-0.5 * off - 0.5 * size)
    return logs[0], logs[1]


def _log_evidence(belief: _Belief) -> float:
    """Give it but for what all beliefs from the same rows share."""
    _, size = np.linalg.slogdet(belief.precision)
    return 0.5 * float(belief.pull @ np.linalg.solve(belief.precision, belief.pull)) - 0.5 * float(size)
