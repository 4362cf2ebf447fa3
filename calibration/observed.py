"""Each length that was given, beside what the calibration makes of it."""

import math
from collections.abc import Iterator, Sequence

import numpy as np

from calibration.calibration import Given, Observed
from calibration.card_start import card_lengths
from calibration.naming import CORNER_NAMES
from calibration.observations import Cards, CheckLength, Corners, GivenScale, KnownDistance, Observation, PointPx
from calibration.plane_map import Floats
from calibration.problem import Suspect, What
from calibration.solution import Solution, rectangle_mm
from calibration.uncertainty import NORMAL_95, length_sigmas

SIDES = ("top side", "right side", "bottom side", "left side")


def observe(
    observations: Sequence[Observation], solution: Solution, covariance: Floats, *, left_out: frozenset[Suspect]
) -> tuple[Observed, ...]:
    """Give one entry for every known distance, check length, side of a rectangle, direction of a scale, and card."""
    given = list(_lengths(observations, solution, left_out))
    if not given:
        return ()
    starts, ends = np.array([one[3] for one in given]), np.array([one[4] for one in given])
    marks = np.array([one[5] for one in given])
    fitted, sigma = length_sigmas(solution.values, covariance, starts, ends, solution.problem.size, mark_sigma_px=marks)
    return tuple(
        Observed(label, kind, given_mm, float(mm), float(mm) - given_mm, NORMAL_95 * float(sigma_mm), used, start, end)
        for (label, kind, given_mm, start, end, _, used), mm, sigma_mm in zip(given, fitted, sigma, strict=True)
    )


def _lengths(
    observations: Sequence[Observation], solution: Solution, left_out: frozenset[Suspect]
) -> Iterator[tuple[str, Given, float, PointPx, PointPx, float, bool]]:
    for i, seen in enumerate(observations):
        match seen:
            case KnownDistance():
                used = Suspect(What.KNOWN, i) not in left_out
                yield seen.label, Given.KNOWN, seen.length_mm, seen.start_px, seen.end_px, seen.sigma_px, used
            case CheckLength():
                yield seen.label, Given.CHECK, seen.length_mm, seen.start_px, seen.end_px, seen.sigma_px, False
            case Corners():
                yield from _sides(i, seen, solution, left_out)
            case GivenScale():
                (x, y), size = solution.problem.size.middle_px, solution.problem.size
                right, bottom = size.width_px - 1.0, size.height_px - 1.0
                used = Suspect(What.SCALE, i) not in left_out
                across = seen.mm_per_px_x * right
                yield f"{seen.why}, across the picture", Given.SCALE, across, (0.0, y), (right, y), 0.0, used
                down = seen.mm_per_px_y * bottom
                yield f"{seen.why}, down the picture", Given.SCALE, down, (x, 0.0), (x, bottom), 0.0, used
            case Cards():
                for card, given_mm, start, end in card_lengths(solution, seen):
                    yield card.label, Given.CARD, given_mm, start, end, card.sigma_px, True
            case _:
                continue


def _sides(
    place: int, corners: Corners, solution: Solution, left_out: frozenset[Suspect]
) -> Iterator[tuple[str, Given, float, PointPx, PointPx, float, bool]]:
    fitted = rectangle_mm(solution, corners)
    for i, side in enumerate(SIDES):
        j = (i + 1) % len(CORNER_NAMES)
        given = (corners.width_mm, corners.height_mm)[i % 2]
        if given is None:
            given = math.hypot(*(fitted[j] - fitted[i]))
        used = (
            not {Suspect(What.CORNER, place, i), Suspect(What.CORNER, place, j), Suspect(What.SIZE, place)} & left_out
        )
        marks = corners.points_px
        yield f"{corners.label}, {side}", Given.SIDE, given, marks[i], marks[j], corners.sigma_px, used
