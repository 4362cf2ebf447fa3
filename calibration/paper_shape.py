"""A paper's size that does not fit the shape of its corners: which paper it may be instead."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calibration.blocks import CornersBlock
from calibration.observations import CalibrationError, Corners, Observation
from calibration.parameters import Prior
from calibration.plane_map import Floats, P, PictureSize
from calibration.problem import Suspect, What, build
from calibration.solution import solve_from
from drawing.papers import PAPERS, Paper

TRIM_MM = 2.0
"""A size this near a paper's is meant as that paper: it is trimmed to 1.5-3 mm (ISO 216)."""

UNLIKE_PART = 0.02
"""Shapes nearer than this are one: Tabloid and ANSI-D (1.545) are not told from each other, A4 and Letter are."""

SURE_SIGMAS = 3.3
"""One in a thousand by chance."""

WIDTH, HEIGHT = 3, 4
"""Places of the logs of width and height among a rectangle's own unknowns."""


@dataclass(frozen=True, slots=True)
class _Shape:
    """Log of width over height, and one sigma."""

    log_ratio: float
    sigma: float

    def is_like(self, log_ratio: float) -> bool:
        return abs(self.log_ratio - log_ratio) < max(SURE_SIGMAS * self.sigma, UNLIKE_PART)


def refuse_wrong_paper(
    observations: Sequence[Observation], *, size: PictureSize, priors: dict[P, Prior], begin: list[Floats]
) -> None:
    """Raise if corners are given a paper's size, and their shape is that of another paper.

    Raises
    ------
    CalibrationError
        Naming both papers and both shapes.
    """
    for place, seen in enumerate(observations):
        if not isinstance(seen, Corners) or seen.width_mm is None or seen.height_mm is None:
            continue
        given = _paper_of(seen.width_mm, seen.height_mm)
        if given is None:
            continue
        shape = _shape(observations, place, size=size, priors=priors, begin=begin)
        if shape is None or shape.is_like(math.log(seen.width_mm / seen.height_mm)):
            continue
        turned = 1 if seen.width_mm > seen.height_mm else -1
        others = [paper for paper in PAPERS.values() if shape.is_like(turned * _log_ratio(paper))]
        if not others:
            continue
        # Of papers alike in shape the one nearest in size is meant.
        other = min(others, key=lambda paper: abs(math.log(paper.height_mm / given.height_mm)))
        raise CalibrationError(
            f"The {seen.label} are given the size of {given.name}, whose sides are 1 to "
            f"{math.exp(_log_ratio(given)):.3f}, but they make a rectangle of 1 to "
            f"{math.exp(abs(shape.log_ratio)):.3f}; a paper's size must fit its corners: is it {other.name} "
            f"({other.width_mm:.1f} x {other.height_mm:.1f} mm)? Give the size of the paper that it is, or leave the "
            "size out and give a known distance."
        )


def _paper_of(width_mm: float, height_mm: float) -> Paper | None:
    short, long = sorted((width_mm, height_mm))
    for paper in PAPERS.values():
        if abs(paper.width_mm - short) <= TRIM_MM and abs(paper.height_mm - long) <= TRIM_MM:
            return paper
    return None


def _log_ratio(paper: Paper) -> float:
    return math.log(paper.height_mm / paper.width_mm)


def _shape(
    observations: Sequence[Observation],
    place: int,
    *,
    size: PictureSize,
    priors: dict[P, Prior],
    begin: list[Floats],
) -> _Shape | None:
    """Give the shape of a rectangle as the view alone tells it."""
    lone = [observations[place]]
    try:
        problem = build(lone, size=size, priors=priors, without=frozenset({Suspect(What.SIZE, 0)}))
        solution = solve_from(problem, begin)[0]
    except CalibrationError:
        return None
    at = len(solution.problem.free)
    assert isinstance(solution.problem.blocks[0], CornersBlock)
    contrast = np.zeros(len(solution.unknowns))
    contrast[at + WIDTH], contrast[at + HEIGHT] = 1.0, -1.0
    bounds = solution.problem.bounds
    _, s, vt = np.linalg.svd(solution.by_unknowns * bounds, full_matrices=False)
    sigma = float(np.linalg.norm((vt @ (bounds * contrast)) / s))
    return _Shape(float(contrast @ solution.unknowns), sigma)
