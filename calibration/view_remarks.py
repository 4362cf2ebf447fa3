"""What the view itself leaves open: a camera that leaned about one side alone, a lens that no phone has, curled paper.

A rectangle of unknown size tells its shape by the view's perspective. Where the camera leaned about one of its sides
alone, that shape goes by the focal length; seen square on, or over a corner, it does not.
"""

import math
from collections.abc import Iterator, Sequence

import numpy as np

from calibration.bend_choice import SIDES
from calibration.calibration import Calibration
from calibration.kind import Kind
from calibration.lens_choice import LINES_ENOUGH
from calibration.observations import Cards, Corners, Observation, StraightLine
from calibration.plane_map import LENS, P, is_bent, standing
from calibration.solution import Solution
from calibration.uncertainty import NORMAL_95, length_slopes
from drawing.findings import Finding, Level
from drawing.format import format_give, format_mm

SHAPE_PART = 0.002
"""What a focal length leaves open of a rectangle's shape below this part is in every give or take: 2 mm on a metre."""

MOSTLY = 0.5
"""Part of the shape's variance that the focal length must be to blame for."""

USUAL_CURL_MM = 5.0
"""What paper that was rolled or folded stands off a table (common practice: 3 to 10 mm)."""

INNER_ENOUGH = 4
"""With so many long lines inside a border 238 of 240 sheets that stood 3 to 10 mm off a plane were told of (trials). By
its sides alone an edge that lifts is not seen in one view in eight, where a third of lengths lie outside of what is
stated."""

UNHEARD_OF = 3.3
"""Sigmas of its prior: one lens in a thousand lies further off."""


def view_remarks(
    calibration: Calibration, observations: Sequence[Observation], solution: Solution, *, longest_mm: float
) -> Iterator[Finding]:
    """Give the findings; `solution` holds all that was fitted, `longest_mm` is the longest part."""
    if calibration.kind is not Kind.PHOTO:
        return
    yield from _one_axis(calibration, observations, longest_mm=longest_mm)
    yield from _unheard_of_lens(calibration, observations, solution)
    yield from _flatness_unseen(calibration, observations, solution, longest_mm=longest_mm)


def _one_axis(calibration: Calibration, observations: Sequence[Observation], *, longest_mm: float) -> Iterator[Finding]:
    rectangles = [seen for seen in observations if isinstance(seen, Corners)]
    if not rectangles or any(seen.width_mm is not None for seen in rectangles):
        return
    ul, ur, lr, ll = (np.array(mark) for mark in rectangles[0].points_px)
    # Across and up through the rectangle's middle.
    starts, ends = np.array([ul + ll, ll + lr]) / 2, np.array([ur + lr, ul + ur]) / 2
    mm, _ = calibration.lengths_u95(starts, ends)
    slopes = length_slopes(calibration.values, starts, ends, calibration.size)
    shape = slopes[:, 0] / mm[0] - slopes[:, 1] / mm[1]
    with_focal = calibration.covariance[P.LOG_FOCAL]
    if not with_focal[P.LOG_FOCAL]:
        return
    whole = float(shape @ calibration.covariance @ shape)
    by_focal = float(shape @ with_focal) ** 2 / float(with_focal[P.LOG_FOCAL])
    part = NORMAL_95 * math.sqrt(by_focal)
    if part > SHAPE_PART and by_focal > MOSTLY * whole:
        name = rectangles[0].label
        yield Finding(
            "tilt-about-one-side",
            Level.NOTE,
            f"shape of the {name}",
            f"The camera leaned about one side of the {name} alone, so how high it is against its width goes by the "
            f"focal length that was taken: that leaves {format_give(part * longest_mm)} over the longest part "
            f"({format_mm(longest_mm)}), and more if the picture was cropped. Give a known distance along each side, "
            "or photograph it from right above, or leaning over a corner.",
        )


def _unheard_of_lens(
    calibration: Calibration, observations: Sequence[Observation], solution: Solution
) -> Iterator[Finding]:
    """Ask about a lens that no lines show and no phone has: a wrong length or size makes one."""
    lines = sum(isinstance(seen, StraightLine) for seen in observations)
    if lines >= LINES_ENOUGH or any(isinstance(seen, Cards) for seen in observations):
        return
    priors = solution.problem.priors
    free = [p for p in LENS if p in solution.problem.free]
    sigmas = [abs(calibration.values[p] - priors[p].expected) / priors[p].sigma for p in free]
    if max(sigmas, default=0.0) > UNHEARD_OF:
        yield Finding(
            "lens-unheard-of",
            Level.DECIDE,
            "lens",
            f"What was given fits only a lens that bends lines {max(sigmas):.0f} times as much as phones' lenses "
            "usually do, as when the size of the rectangle or a known distance is wrong: check each, or take in the "
            "whole drawn border, whose sides show what the lens does.",
        )


def _flatness_unseen(
    calibration: Calibration, observations: Sequence[Observation], solution: Solution, *, longest_mm: float
) -> Iterator[Finding]:
    """Say that paper is taken for flat where too few straight lines, and no cards, would show that it is not."""
    lines = sum(isinstance(seen, StraightLine) for seen in observations)
    if (
        lines >= SIDES + INNER_ENOUGH
        or any(isinstance(seen, Cards) for seen in observations)
        or is_bent(solution.values)
    ):
        return
    width_px, height_px = calibration.size.width_px, calibration.size.height_px
    rim = np.array([(0, 0), (width_px - 1, 0), (0, height_px - 1), (width_px - 1, height_px - 1)])
    _, distance_mm = standing(calibration.values, rim, calibration.size)
    # What stands z nearer to a camera D away looks larger by z / D.
    effect_mm = USUAL_CURL_MM / distance_mm * longest_mm
    yield Finding(
        "flatness-unseen",
        Level.NOTE,
        "the paper",
        "The paper is taken to have lain flat, and what was given would not show every curl: where it stands "
        f"{format_mm(USUAL_CURL_MM)} off the table, the longest part ({format_mm(longest_mm)}) may be "
        f"{format_mm(effect_mm)} off. Lay it flat under weights or glass, or mark long straight lines: a border's "
        f"{SIDES} sides and {INNER_ENOUGH} inside them.",
    )
