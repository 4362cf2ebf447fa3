"""The one adjustment: from everything given to the map of picture px to plan mm, with its uncertainty."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from calibration.adjustment_rows import adjustment
from calibration.along import fitted_along, known_along
from calibration.bend_choice import BEFOREHAND, SHOWN, BendChoice, choose_bend
from calibration.bend_rivals import PerhapsBent, average_flat_and_bent
from calibration.calibration import Calibration
from calibration.card_checks import refuse_undeclared_reduction
from calibration.evidence import chance
from calibration.fit import Fit, fit_bent, fit_flat, weed_flat
from calibration.frame import lower_left_px, turn_rad
from calibration.kind import Kind
from calibration.observations import (
    CalibrationError,
    Cards,
    CheckLength,
    Corners,
    KnownDistance,
    Observation,
    PointPx,
    Skew,
    StraightLine,
)
from calibration.observed import observe
from calibration.paper_shape import refuse_wrong_paper
from calibration.parameters import priors
from calibration.plane_map import Floats, PictureSize
from calibration.problem import build
from calibration.refusals import refuse_impossible
from calibration.remarks import Evidence, remarks
from calibration.solution import Solution, solve_from
from calibration.start import starts
from calibration.uncertainty import agreement
from calibration.unit_slips import refuse_unit_slips

LEAST_SURE_PART = 0.2
"""A longest part that is less sure than this part of itself is not worth giving."""


def adjust(
    observations: Sequence[Observation],
    *,
    width_px: int,
    height_px: int,
    kind: Kind,
    focal_35mm: float | None = None,
    sheet_px: Floats | None = None,
    tag_mm_per_px: tuple[float, float] | None = None,
    origin_px: PointPx | None = None,
) -> Calibration:
    """Fit the map of picture px to plan mm to everything given.

    One weighted least-squares problem with priors; see `plane_map` for the model and `parameters` for what is
    known of it beforehand. What is wrong among the observations is named in the findings and left out
    where the rest can tell; where it cannot, both are named and the result is not settled. Findings state their
    effect over the length between the two marks furthest apart; see `told_over`.

    Parameters
    ----------
    observations : sequence
        Straight lines tell of a photo's lens, a skew's two directions of a scan's shear.
    width_px, height_px : int
        Size of the picture as displayed upright.
    kind : Kind
        What is fitted: a camera's view, an affine map, or a page's own scale.
    focal_35mm : float, optional
        The file's 35 mm equivalent focal length; relative to the picture's diagonal.
    sheet_px : (K, 2) array, optional
        The paper's outline in the picture; handed on.
    tag_mm_per_px : (x, y), optional
        What the file says a px measures at full size; compared and never used.
    origin_px : point, optional
        Where the plan's origin shall lie; by default the rectangle's lower-left corner, else the lower-left pixel.

    Raises
    ------
    CalibrationError
        For marks that cannot be, too little to tell a scale, lengths in mixed-up units, and
        observations that disagree by more than 5 % with no culprit.
    """
    size = PictureSize(width_px, height_px)

    def fit(given: Sequence[Observation]) -> Calibration:
        return _adjusted(
            given, size=size, kind=kind, focal_35mm=focal_35mm, sheet_px=sheet_px,
            tag_mm_per_px=tag_mm_per_px, origin_px=origin_px,
        )  # fmt: skip

    refuse_impossible(observations, kind=kind, size=size)
    if not any(map(known_along, observations)):
        return fit(observations)
    begin = starts(observations, kind=kind, size=size, priors=priors(kind=kind, focal_35mm=focal_35mm))
    return fitted_along(observations, fit, start=begin[0], size=size)


def told_over(calibration: Calibration, longest_px: tuple[PointPx, PointPx]) -> Calibration:
    """Give the same map with findings that state their effect over another longest part; nothing is fitted again.

    Raises
    ------
    CalibrationError
        For a longest part that comes out too unsure to build from.
    """
    if calibration.evidence is None:
        return calibration
    _refuse_unsure(calibration, longest_px)
    evidence = replace(calibration.evidence, longest_px=longest_px)
    return replace(calibration, findings=remarks(calibration, evidence), evidence=evidence)


def _adjusted(
    observations: Sequence[Observation],
    *,
    size: PictureSize,
    kind: Kind,
    focal_35mm: float | None,
    sheet_px: Floats | None,
    tag_mm_per_px: tuple[float, float] | None,
    origin_px: PointPx | None,
) -> Calibration:
    """Fit to lengths between two places, which need not lie in the picture."""
    observations = _of_use(observations, kind)
    told = priors(kind=kind, focal_35mm=focal_35mm)
    begin = starts(observations, kind=kind, size=size, priors=told)
    refuse_undeclared_reduction(observations, start=begin[0], size=size)
    refuse_unit_slips(observations, start=begin[0], size=size)
    refuse_wrong_paper(observations, size=size, priors=told, begin=begin)
    flat = solve_from(build(observations, size=size, priors=told), begin)
    weeded = weed_flat(observations, flat, size=size, begin=begin)
    bend = choose_bend(observations, flat[0], weeded, size=size, priors=told) if kind is Kind.PHOTO else None
    shown = bend if bend is not None and bend.shown else None
    if _found_disagree(observations, flat[0] if shown is None else shown.weeded.solution):
        return _adjusted(
            [seen for seen in observations if not _is_found(seen)], size=size, kind=kind, focal_35mm=focal_35mm,
            sheet_px=sheet_px, tag_mm_per_px=tag_mm_per_px, origin_px=origin_px,
        )  # fmt: skip
    perhaps = None
    if shown is not None:
        fit = fit_bent(observations, shown.weeded, size=size, begin=begin)
    else:
        fit = fit_flat(observations, flat, weeded, kind=kind, size=size, begin=begin)
        if bend is not None:
            fit, perhaps = _averaged(observations, fit, bend, size=size, begin=begin)
    solution, covariance = fit.solution, fit.covariance.whole
    out = frozenset(fault.suspect for fault in fit.weeded.left_out)
    calibration = Calibration(
        kind=kind,
        size=size,
        values=solution.values,
        covariance=covariance,
        turn_rad=turn_rad(fit.observations, solution.values, size, kind),
        origin_px=lower_left_px(fit.observations, size) if origin_px is None else origin_px,
        sheet_px=sheet_px,
        observed=observe(fit.observations, solution, covariance, left_out=out),
        adjustment=adjustment(fit.observations, solution, covariance, fit.weeded, kind=kind),
    )
    longest = _furthest(fit.observations, size)
    _refuse_unsure(calibration, longest)
    evidence = Evidence(
        fit=fit,
        longest_px=longest,
        likeliest=replace(calibration, values=fit.likeliest, covariance=fit.alone),
        tag_mm_per_px=tag_mm_per_px,
        perhaps_bent=perhaps,
    )
    return replace(calibration, findings=remarks(calibration, evidence), evidence=evidence)


def _averaged(
    observations: Sequence[Observation], flat: Fit, bend: BendChoice, *, size: PictureSize, begin: list[Floats]
) -> tuple[Fit, PerhapsBent | None]:
    """Give the flat fit averaged with the bent one, which is not shown but may be, and that one's map.

    A closer look may show the bend after all: plans that a machine drew tell more of their paper than the first look,
    which takes each for drawn by hand.
    """
    try:
        bent = fit_bent(observations, bend.weeded, size=size, begin=begin)
    except CalibrationError:
        # It came to nothing when it was looked at more closely.
        return flat, None
    odds = bent.log_evidence - flat.log_evidence
    if odds > SHOWN:
        return bent, None
    likely = chance(odds + BEFOREHAND)
    values, covariance = average_flat_and_bent(
        (flat.solution, flat.covariance), (bent.solution, bent.covariance), likely, size=size
    )
    average = replace(flat, solution=replace(flat.solution, values=values), covariance=covariance)
    return average, PerhapsBent(likely, bent.solution.values)


def _of_use(observations: Sequence[Observation], kind: Kind) -> list[Observation]:
    """Keep straight lines of photos only, and lines' right angles of scans only: a page's may lean by intent."""
    used: list[Observation] = []
    for seen in observations:
        if isinstance(seen, Skew) and kind is not Kind.SCAN:
            used.append(replace(seen, across_rad=None))
        elif kind is Kind.PHOTO or not isinstance(seen, StraightLine):
            used.append(seen)
    return used


def _is_found(seen: Observation) -> bool:
    return isinstance(seen, StraightLine) and seen.found


def _found_disagree(observations: Sequence[Observation], solution: Solution) -> bool:
    """Whether lines that were taken because they agree do not after all: nothing then says that they are straight."""
    if not any(_is_found(seen) for seen in observations):
        return False
    agrees = agreement(solution)
    return agrees.line_factor > agrees.usual_line_factor


def _refuse_unsure(calibration: Calibration, longest_px: tuple[PointPx, PointPx]) -> None:
    longest = calibration.length(*longest_px)
    if longest.u95_mm > LEAST_SURE_PART * longest.mm:
        raise CalibrationError(
            f"The longest part comes out as {longest.mm:.0f} mm, give or take {longest.u95_mm:.0f} mm; that is too "
            "unsure to build from: give longer known distances, in both directions and near the plan's edges."
        )


def _furthest(observations: Sequence[Observation], size: PictureSize) -> tuple[PointPx, PointPx]:
    marks: list[PointPx] = []
    for seen in observations:
        if isinstance(seen, KnownDistance | CheckLength):
            marks += [seen.start_px, seen.end_px]
        elif isinstance(seen, Corners):
            marks += seen.points_px
        elif isinstance(seen, Cards):
            marks += [(float(x), float(y)) for card in seen.cards for x, y in card.points_px[[0, -1]]]
    if not marks:
        (x, y), right, bottom = size.middle_px, size.width_px - 1.0, size.height_px - 1.0
        return ((0.0, y), (right, y)) if right > bottom else ((x, 0.0), (x, bottom))
    places = np.array(marks)
    apart = np.linalg.norm(places[:, None] - places, axis=2)
    i, j = np.unravel_index(int(apart.argmax()), apart.shape)
    return marks[i], marks[j]
