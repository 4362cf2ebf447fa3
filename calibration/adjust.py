"""The one adjustment: from everything given to the map of picture px to plan mm, with its uncertainty."""

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from calibration.adjustment_rows import adjustment
from calibration.along import fitted_along, known_along
from calibration.bend_choice import choose_bend
from calibration.bend_rivals import mean_and_spread
from calibration.blunders import TELLING, Weeded, weed
from calibration.calibration import Calibration
from calibration.card_checks import disagreeing_card, refuse_undeclared_reduction
from calibration.draughting import EVEN, allowing_for_hand, as_by_machine, chance_of_machine
from calibration.findings_words import dispute_text
from calibration.focal_choice import doubt_focal
from calibration.frame import lower_left_px, turn_rad
from calibration.kind import Kind
from calibration.lens_choice import average_lens, beyond_usual
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
from calibration.parameters import Prior, loosened, priors, with_stretch
from calibration.plane_map import Floats, P, PictureSize, is_bent, plane_from_picture
from calibration.problem import Problem, build
from calibration.refusals import CROSSES, refuse_impossible
from calibration.remarks import Evidence, remarks
from calibration.solution import Solution, foreseen, solve_from
from calibration.start import starts
from calibration.uncertainty import SEEN_SIGMA, Agreement, MapCovariance, agreement, unseen
from calibration.unit_slips import refuse_unit_slips

APART_PART = 0.05
"""What disagrees by more than this part, with no culprit, is no basis for anything."""

MODEL_FACTOR = 4.0
"""A variance factor above it asks whether the plan itself is stretched (trials: 1.1 % became 0.28 %)."""

MOST_STRETCH = 0.012
"""A stretch beyond what copies do (0.5-0.8 %) is no stretch but a blunder."""

STRETCHED = (P.STRETCH, P.SHEAR)
"""What a stretched plan adds to the map."""

EXCHANGED_PART = 0.3
"""A rectangle's shape must be this much nearer the exchanged sides' than the given sides' to be taken for exchanged."""

LEAST_SURE_PART = 0.2
"""A longest part that is less sure than this part of itself is not worth giving."""


LOOSENINGS = 2
"""From a phone's main lens to a wide one, and to an action camera's."""

HOPELESS = 5e-5
"""A chance, foreseen to first order, that solving will not make even. The log of its odds is then -10, and what is
foreseen is off by up to 2 there, by up to a tenth farther off (trials)."""

NEARLY_AS_GOOD = 6.0
"""A second minimum whose sum of squares is within this of the lowest explains the marks as well (odds of 20 to 1)."""


def adjust(
    observations: Sequence[Observation],
    *,
    width_px: int,
    height_px: int,
    kind: Kind,
    focal_35mm: float | None = None,
    sheet_px: Floats | None = None,
    longest_px: tuple[PointPx, PointPx] | None = None,
    tag_mm_per_px: tuple[float, float] | None = None,
    origin_px: PointPx | None = None,
) -> Calibration:
    """Fit the map of picture px to plan mm to everything given.

    One weighted least-squares problem with priors; see `plane_map` for the model and `parameters` for what is
    known of it beforehand. What is wrong among the observations is named in the findings and left out
    where the rest can tell; where it cannot, both are named and the result is not settled.

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
    longest_px : two points, optional
        Ends of the longest part, over which findings state their effect; by default the two marks furthest apart.
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
            given, size=size, kind=kind, focal_35mm=focal_35mm, sheet_px=sheet_px, longest_px=longest_px,
            tag_mm_per_px=tag_mm_per_px, origin_px=origin_px,
        )  # fmt: skip

    refuse_impossible(observations, kind=kind, size=size)
    if not any(map(known_along, observations)):
        return fit(observations)
    begin = starts(observations, kind=kind, size=size, priors=priors(kind=kind, focal_35mm=focal_35mm))
    return fitted_along(observations, fit, start=begin[0], size=size)


def _adjusted(
    observations: Sequence[Observation],
    *,
    size: PictureSize,
    kind: Kind,
    focal_35mm: float | None,
    sheet_px: Floats | None,
    longest_px: tuple[PointPx, PointPx] | None,
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
    bent = choose_bend(observations, flat[0], size=size, priors=told) if kind is Kind.PHOTO else None
    if _found_disagree(observations, flat[0] if bent is None else bent.solution):
        return _adjusted(
            [seen for seen in observations if not _is_found(seen)], size=size, kind=kind, focal_35mm=focal_35mm,
            sheet_px=sheet_px, longest_px=longest_px, tag_mm_per_px=tag_mm_per_px, origin_px=origin_px,
        )  # fmt: skip
    if bent is not None:
        weeded, told = bent, bent.solution.problem.priors
    else:
        weeded = _weeded(observations, kind=kind, size=size, priors=told, begin=begin, minima=flat)
        for _ in range(LOOSENINGS):
            if not weeded.solution.problem.line_rows or not beyond_usual(weeded.solution):
                break
            told = loosened(told)
            weeded = _weeded(observations, kind=kind, size=size, priors=told, begin=begin)
    line_times, by_hand = 1.0, None
    if weeded.agreement.line_factor > weeded.agreement.usual_line_factor:
        # Paper that lies in small waves bends its lines by more than they are measured to: they tell less of the lens.
        line_times = math.sqrt(weeded.agreement.line_factor)
        observations = [_less_sure(seen, line_times) for seen in observations]
        begin = [*(one.values for one in _possible(weeded)), *begin]
        weeded = _weeded(observations, kind=kind, size=size, priors=told, begin=begin)
    elif not weeded.disputed and weeded.solution.problem.line_rows:
        truer = as_by_machine(observations)
        other = _weeded_alike(truer, weeded, kind=kind, size=size, priors=told)
        if other is not None and (chance := chance_of_machine(weeded.solution, other.solution)) > EVEN:
            by_hand, observations, weeded = (weeded.solution, chance), truer, other
    card_times, card_out = 1.0, None
    if weeded.agreement.card_factor > weeded.agreement.usual_card_factor:

        def agreeing(others: Sequence[Observation]) -> Agreement:
            return _weeded(others, kind=kind, size=size, priors=told, begin=begin).agreement

        observations, card_out = disagreeing_card(observations, weeded.agreement, agreeing)
        if card_out is not None:
            weeded = _weeded(observations, kind=kind, size=size, priors=told, begin=[weeded.solution.values, *begin])
        # What cards' corners are off beyond blur and noise, print and paper have done: they tell less.
        card_times = math.sqrt(max(weeded.agreement.card_factor, 1.0))
        observations = [seen.less_sure(card_times) if isinstance(seen, Cards) else seen for seen in observations]
        weeded = _weeded(observations, kind=kind, size=size, priors=told, begin=[weeded.solution.values, *begin])
    _refuse_unseen(weeded.solution, kind)
    focal_chosen, covariance, focal_doubt = doubt_focal(weeded.solution)
    chosen = average_lens(focal_chosen, covariance)
    solution, covariance = chosen.solution, _widened(chosen.covariance, weeded)
    if by_hand is not None:
        covariance = allowing_for_hand(covariance, solution.values, by_hand[0], chance_of_machine=by_hand[1])
    likeliest, alone = solution.values, covariance.whole
    if is_bent(solution.values):
        mean, spread = mean_and_spread(_possible(weeded), size)
        solution = replace(solution, values=solution.values + mean)
        covariance = MapCovariance(covariance.whole + spread, covariance.lens)
    out = frozenset(fault.suspect for fault in weeded.left_out)
    calibration = Calibration(
        kind=kind,
        size=size,
        values=solution.values,
        covariance=covariance.whole,
        turn_rad=turn_rad(observations, solution.values, size, kind),
        origin_px=lower_left_px(observations, size) if origin_px is None else origin_px,
        sheet_px=sheet_px,
        observed=observe(observations, solution, covariance.whole, left_out=out),
        adjustment=adjustment(observations, solution, covariance.whole, weeded, kind=kind),
    )
    longest = longest_px or _furthest(observations, size)
    _refuse_unsure(calibration, longest)
    evidence = Evidence(
        observations=observations,
        weeded=weeded,
        covariance=covariance,
        lens_shown=chosen.lens_shown,
        line_times=line_times,
        card_times=card_times,
        card_out=card_out,
        longest_px=longest,
        likeliest=replace(calibration, values=likeliest, covariance=alone),
        rivals=_rivals(weeded),
        tag_mm_per_px=tag_mm_per_px,
        focal_doubt=focal_doubt,
    )
    return replace(calibration, findings=remarks(calibration, evidence))


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


def _less_sure(seen: Observation, times: float) -> Observation:
    """Give a straight line with sigmas that many times larger; anything else as it is."""
    if not isinstance(seen, StraightLine):
        return seen
    return replace(seen, sigma_px=times * seen.sigma_px, give_mm=times * seen.give_mm)


def _weeded(
    observations: Sequence[Observation],
    *,
    kind: Kind,
    size: PictureSize,
    priors: dict[P, Prior],
    begin: list[Floats],
    minima: list[Solution] | None = None,
) -> Weeded:
    """Solve and weed; where that fails, ask whether the plan is stretched; refuse what disagrees beyond reason."""

    def solver(problem: Problem) -> list[Solution]:
        return solve_from(problem, begin)

    weeded = weed(observations, size=size, priors=priors, solver=solver, minima=minima)
    if kind is Kind.PHOTO and (not weeded.clean or weeded.agreement.variance_factor > MODEL_FACTOR):
        other = weed(observations, size=size, priors=with_stretch(priors), solver=solver)
        strain = math.hypot(*(other.solution.values[p] for p in STRETCHED))
        agrees = other.agreement.variance_factor < other.agreement.usual_factor
        # One wrong length looks like a stretch across it, and the other way round: the likelier is taken, and the other
        # told of where it explains nearly as much.
        better = weeded.without_one - (other.agreement.whole_misfit + 2 * len(STRETCHED))
        if other.clean and strain < MOST_STRETCH and agrees and better > 0:
            rivals = () if better > TELLING else weeded.left_out + weeded.disputed
            weeded = replace(other, or_wrong=rivals)
    if not weeded.clean:
        _refuse_exchanged_sides(observations, start=begin[0], size=size)
    if weeded.disputed and min(fault.part for fault in weeded.disputed) > APART_PART:
        raise CalibrationError(dispute_text(weeded.disputed, observations))
    return weeded


def _refuse_exchanged_sides(observations: Sequence[Observation], *, start: Floats, size: PictureSize) -> None:
    """Raise if a rectangle, seen as its vanishing line tells, has its width and height exchanged."""
    for seen in observations:
        if not isinstance(seen, Corners) or seen.width_mm is None or seen.height_mm is None:
            continue
        ul, ur, lr, ll = plane_from_picture(start, np.array(seen.points_px), size)
        shape = math.log(np.hypot(*(ur + lr - ul - ll)) / np.hypot(*(ul + ur - lr - ll)))
        given = math.log(seen.width_mm / seen.height_mm)
        if abs(shape + given) < EXCHANGED_PART * abs(shape - given):
            raise CalibrationError(
                f"The {seen.label} are given as {seen.width_mm:.1f} wide and {seen.height_mm:.1f} mm high, but fit "
                "the other way round; the size is first to second corner by second to third: exchange the two, or "
                "check the corners' order."
            )


def _refuse_unseen(solution: Solution, kind: Kind) -> None:
    weakest, sigma = unseen(solution)
    if sigma < SEEN_SIGMA:
        return
    what = {P.TILT_X: "how the camera leaned to the side", P.TILT_Y: "how the camera leaned forward"}
    tells = what.get(weakest, "the scale") if weakest is not None else "the rectangle's size"
    remedy = f"mark four corners of a rectangle, or {CROSSES}" if kind is Kind.PHOTO else "give a longer known distance"
    raise CalibrationError(
        f"What was given does not tell {tells}; lengths that lie in other directions and places are needed: {remedy}."
    )


def _weeded_alike(
    observations: Sequence[Observation], like: Weeded, *, kind: Kind, size: PictureSize, priors: dict[P, Prior]
) -> Weeded | None:
    """Weed observations taken for truer; None where anything else is wrong with them than before.

    Or where they are hopelessly less likely with the same left out, whether the plan is stretched or not.
    """
    without = frozenset(fault.suspect for fault in like.left_out)
    chances = (
        chance_of_machine(like.solution, foreseen(build(observations, size=size, priors=told, without=without), one))
        for told in (priors, with_stretch(priors))
        for one in _possible(like)
    )
    if all(chance < HOPELESS for chance in chances):
        return None
    try:
        weeded = _weeded(
            observations, kind=kind, size=size, priors=priors, begin=[one.values for one in _possible(like)]
        )
    except CalibrationError:
        return None
    before, after = ({fault.suspect for fault in one.left_out} for one in (like, weeded))
    return weeded if before == after and not weeded.disputed else None


def _widened(covariance: MapCovariance, weeded: Weeded) -> MapCovariance:
    """Widen by how much worse than expected the rows agree; that is the least that a wrong model does."""
    factor = weeded.agreement.variance_factor
    if factor <= weeded.agreement.usual_factor:
        return covariance
    return MapCovariance(factor * covariance.whole, factor * covariance.lens)


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


def _rivals(weeded: Weeded) -> tuple[Floats, ...]:
    """Give the maps of other minima that explain the marks nearly as well."""
    return tuple(m.values for m in _possible(weeded)[1:])


def _possible(weeded: Weeded) -> list[Solution]:
    """Give the lowest minimum and those that explain the marks nearly as well."""
    lowest, *others = weeded.minima
    found = (m for m in others if m.converged or is_bent(m.values))
    return [lowest, *(m for m in found if m.cost - lowest.cost < NEARLY_AS_GOOD)]
