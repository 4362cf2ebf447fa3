"""How sure the map is: its covariance, with what the lens adds to it, and whether the rows agree with one another."""

import math
from dataclasses import dataclass

import numpy as np

from calibration.map_slopes import local_scales, plane_slopes
from calibration.plane_map import LENS, Floats, P, PictureSize, moving, plane_from_picture
from calibration.solution import Solution

NORMAL_95 = 1.96
"""Half width of the central 95 % of a normal distribution, in sigmas."""

SEEN_SIGMA = 1.5
"""A parameter or own unknown that observations leave less sure than this many of its units (a tenth of a radian, of a
half diagonal, 30 % of a scale) is not observed: beyond it a linear interval means nothing."""

NEVER_SEEN = 1e-7
"""A direction whose singular value is this small against the largest is seen by nothing at all."""

BATCH = 20_000
"""Lengths worked on at a time: keeps the derivatives' arrays at some 10 MB."""


@dataclass(frozen=True, slots=True)
class Agreement:
    """Whether rows agree once all unknowns are adjusted under their priors.

    `residuals` (m,) whitened, `cofactor` (m, m) their covariance; `misfit` is the sum of squares of what was given
    but lines and cards, and `spare` how many of those observations more than needed there were; `line_misfit` and
    `line_spare` are those of straight lines, `card_misfit` and `card_spare` those of cards' corners: many points that
    agree well would hide a length that does not.
    """

    residuals: Floats
    cofactor: Floats
    misfit: float
    spare: float
    line_misfit: float
    line_spare: float
    card_misfit: float = 0.0
    card_spare: float = 0.0

    @property
    def variance_factor(self) -> float:
        """1 where what was given agrees as well as its sigmas say; 1 where nothing is spare."""
        return self.misfit / self.spare if self.spare > 0.5 else 1.0

    @property
    def usual_factor(self) -> float:
        """What the variance factor stays below 999 times in 1000."""
        return _usual_factor(self.spare)

    @property
    def whole_misfit(self) -> float:
        """The sum of squares of everything."""
        return self.misfit + self.line_misfit + self.card_misfit

    @property
    def line_factor(self) -> float:
        """The same for straight lines alone."""
        return self.line_misfit / self.line_spare if self.line_spare > 0.5 else 1.0

    @property
    def usual_line_factor(self) -> float:
        """What that stays below 999 times in 1000."""
        return _usual_factor(self.line_spare)

    @property
    def card_factor(self) -> float:
        """The same for cards' corners alone."""
        return self.card_misfit / self.card_spare if self.card_spare > 0.5 else 1.0

    @property
    def usual_card_factor(self) -> float:
        """What that stays below 999 times in 1000."""
        return _usual_factor(self.card_spare)


def _usual_factor(spare: float) -> float:
    """Chi-square (Wilson and Hilferty 1931)."""
    n = max(spare, 1.0)
    return float((1 - 2 / (9 * n) + 3.09 * math.sqrt(2 / (9 * n))) ** 3)


def unseen(solution: Solution) -> tuple[P | None, float]:
    """Give the parameter that the weakest direction mostly moves, and that direction's sigma in units.

    None stands for a rectangle's own. Only that of which nothing firm is known beforehand is looked at: scale,
    tilts, rectangles' sizes.
    """
    problem = solution.problem
    scaled = solution.by_unknowns * problem.bounds
    _, s, vt = np.linalg.svd(scaled, full_matrices=False)
    names: list[P | None] = [*problem.free, *([None] * (len(problem.bounds) - len(problem.free)))]
    if len(s) < scaled.shape[1] or s[-1] < NEVER_SEEN * s[0]:
        return names[int(np.abs(vt[-1]).argmax())], math.inf
    loose = [i for i, p in enumerate(names) if p in (None, P.LOG_SCALE, P.TILT_X, P.TILT_Y)]
    # Where a rectangle lies matters to no length; its middle follows the scale and would count it twice.
    whole = (vt.T / s**2) @ vt
    eigenvalues, vectors = np.linalg.eigh(whole[np.ix_(loose, loose)])
    return names[loose[int(np.abs(vectors[:, -1]).argmax())]], math.sqrt(eigenvalues[-1])


@dataclass(frozen=True, slots=True)
class MapCovariance:
    """(56, 56) covariances of the map's parameters: the whole, and the part that a known lens would take away."""

    whole: Floats
    lens: Floats


def map_covariance(solution: Solution) -> MapCovariance:
    """Give how sure the map's parameters are."""
    problem = solution.problem
    bounds = problem.bounds
    _, s, vt = np.linalg.svd(solution.by_unknowns * bounds, full_matrices=False)
    own = bounds[:, None] * ((vt.T / s**2) @ vt) * bounds
    free, n = list(problem.free), len(problem.free)
    whole = np.zeros((len(P), len(P)))
    whole[np.ix_(free, free)] = own[:n, :n]
    lens = [p for p in LENS if p in problem.free]
    with_lens = whole[:, lens]
    by_lens = with_lens @ np.linalg.solve(whole[np.ix_(lens, lens)], with_lens.T) if lens else np.zeros_like(whole)
    return MapCovariance(whole, by_lens)


def agreement(solution: Solution) -> Agreement:
    """Give how well the rows agree."""
    problem = solution.problem
    q, _ = np.linalg.qr(solution.by_unknowns * problem.bounds)
    left = solution.rows - q @ (q.T @ solution.rows)
    cofactor = np.eye(len(left)) - q @ q.T
    spare = np.diag(cofactor)
    lines = np.zeros(len(left), bool)
    lines[list(problem.line_rows)] = True
    cards = np.zeros(len(left), bool)
    cards[list(problem.card_rows)] = True
    counted = ~lines & ~cards
    # How the phone was held is a habit, no measurement: it does not count among what agrees or not.
    counted[list(problem.usual_rows)] = False
    return Agreement(
        left,
        cofactor,
        float((left[counted] ** 2).sum()),
        float(spare[counted].sum()),
        float((left[lines] ** 2).sum()),
        float(spare[lines].sum()),
        float((left[cards] ** 2).sum()),
        float(spare[cards].sum()),
    )


def length_sigmas(
    values: Floats,
    covariance: Floats,
    starts_px: Floats,
    ends_px: Floats,
    size: PictureSize,
    *,
    mark_sigma_px: float | Floats,
) -> tuple[Floats, Floats]:
    """Give (N,) lengths on the plane, mm, and their one-sigma errors, mm, from the map and from the two marks."""
    mark_sigmas_px = np.broadcast_to(mark_sigma_px, len(starts_px))
    lengths, sigmas = [np.zeros(0)], [np.zeros(0)]
    for at in range(0, len(starts_px), BATCH):
        start, end = starts_px[at : at + BATCH], ends_px[at : at + BATCH]
        slopes = length_slopes(values, start, end, size)
        variance = (slopes * (covariance @ slopes)).sum(axis=0)
        along = plane_from_picture(values, end, size) - plane_from_picture(values, start, size)
        length = np.hypot(along[:, 0], along[:, 1])
        along = along / np.where(length > 0, length, 1.0)[:, None]
        for mark in (start, end):
            pull = (along[:, :, None] * local_scales(values, mark, size)).sum(axis=1)
            variance = variance + mark_sigmas_px[at : at + BATCH] ** 2 * (pull**2).sum(axis=1)
        lengths.append(length)
        sigmas.append(np.sqrt(np.maximum(variance, 0)))
    return np.concatenate(lengths), np.concatenate(sigmas)


def length_slopes(values: Floats, starts_px: Floats, ends_px: Floats, size: PictureSize) -> Floats:
    """Give the (56, N) derivatives of lengths by the map's parameters."""
    moved = moving(values)
    plane_mm, moves_mm = plane_slopes(values, np.concatenate([starts_px, ends_px]), size, moved)
    (start, end), (start_moves, end_moves) = np.split(plane_mm, 2), np.split(moves_mm, 2, axis=1)
    along = end - start
    length = np.hypot(along[:, 0], along[:, 1])
    along = along / np.where(length > 0, length, 1.0)[:, None]
    slopes = np.zeros((len(P), len(starts_px)))
    slopes[moved] = ((end_moves - start_moves) * along).sum(axis=2)
    return slopes
