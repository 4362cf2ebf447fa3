"""What the marks make of the map where the paper lies flat, or is bent as was found: solved, weeded and averaged.

Which of the two the paper does is for `bend_choice` to say; all that is decided here is decided for either alike.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from calibration.bend_choice import BLUNDER
from calibration.bend_rivals import mean_and_spread
from calibration.blunders import GROSS_PART, TELLING, Fault, Weeded, if_clean, weed
from calibration.card_checks import disagreeing_card
from calibration.draughting import EVEN, allowing_for_hand, as_by_machine, chance_of_machine
from calibration.evidence import whole_log_evidence
from calibration.findings_words import dispute_text
from calibration.focal_choice import FocalDoubt, doubt_focal
from calibration.kind import Kind
from calibration.lens_choice import average_lens, beyond_usual
from calibration.observations import CalibrationError, Cards, Corners, Observation, StraightLine
from calibration.parameters import Prior, loosened, with_stretch
from calibration.plane_map import Floats, P, PictureSize, is_bent, plane_from_picture
from calibration.problem import Problem, Suspect, What, build
from calibration.refusals import CROSSES
from calibration.solution import Solution, foreseen, solve_from
from calibration.uncertainty import SEEN_SIGMA, Agreement, MapCovariance, unseen
from drawing.findings import Finding

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

LOOSENINGS = 2
"""From a phone's main lens to a wide one, and to an action camera's."""

HOPELESS = 5e-5
"""A chance, foreseen to first order, that solving will not make even. The log of its odds is then -10, and what is
foreseen is off by up to 2 there, by up to a tenth farther off (trials)."""

NEARLY_AS_GOOD = 6.0
"""A second minimum whose sum of squares is within this of the lowest explains the marks as well (odds of 20 to 1)."""


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """The map on average, how sure it is, and what was found and done on the way to it.

    `observations` are as sure as they were taken for; `line_times` and `card_times` say how much less sure lines and
    cards then are than they were given. `log_evidence` is what speaks for the map, whoever drew the plan. `likeliest`
    is the map, and `alone` its (56, 56) covariance, before other bends that fit as well went into `solution` and
    `covariance`.
    """

    observations: Sequence[Observation]
    weeded: Weeded
    solution: Solution
    covariance: MapCovariance
    likeliest: Floats
    alone: Floats
    lens_shown: bool
    line_times: float
    card_times: float
    log_evidence: float
    card_out: Finding | None
    focal_doubt: FocalDoubt | None

    @property
    def bent(self) -> bool:
        """Whether the paper was taken for bent."""
        return is_bent(self.weeded.solution.values)

    @property
    def rivals(self) -> tuple[Floats, ...]:
        """The maps of other minima that explain the marks nearly as well."""
        return tuple(minimum.values for minimum in _possible(self.weeded)[1:])


def weed_flat(
    observations: Sequence[Observation], flat: list[Solution], *, size: PictureSize, begin: list[Floats]
) -> Weeded | None:
    """Give what is left where the paper is flat and the lens the one expected; None where nothing can be told by it.

    Raises
    ------
    CalibrationError
        For a rectangle whose width and height are exchanged, and for what disagrees, with no culprit, by more than any
        bend makes.
    """

    def solver(problem: Problem) -> list[Solution]:
        return solve_from(problem, begin)

    try:
        weeded = weed(observations, size=size, priors=flat[0].problem.priors, solver=solver, minima=flat)
    except CalibrationError:
        weeded = None
    if weeded is None or not weeded.clean:
        _refuse_exchanged_sides(observations, start=begin[0], size=size)
    if weeded is not None and weeded.disputed and all(_beyond_any_bend(fault) for fault in weeded.disputed):
        raise CalibrationError(dispute_text(weeded.disputed, observations))
    return weeded


def _beyond_any_bend(fault: Fault) -> bool:
    """Tell whether bent paper cannot be what makes it look wrong: it may look as seen from nearer by than it was."""
    return fault.part > GROSS_PART and fault.suspect.what is not What.FOCAL


def fit_flat(
    observations: Sequence[Observation],
    flat: list[Solution],
    weeded: Weeded | None,
    *,
    kind: Kind,
    size: PictureSize,
    begin: list[Floats],
) -> Fit:
    """Fit with the paper flat; a lens wider than expected is asked for by lines that bow more.

    Parameters
    ----------
    flat : list of Solution
        The minima of everything given, with the lens expected.
    weeded : Weeded or None
        What `weed_flat` makes of them.
    begin : list of (56,) arrays
        Where searches begin.

    Raises
    ------
    CalibrationError
        For what disagrees by more than 5 % with no culprit, and for too little to tell the map.
    """
    told = flat[0].problem.priors
    weeded = _weeded(observations, kind=kind, size=size, priors=told, begin=begin, minima=flat, weeded=weeded)
    for _ in range(LOOSENINGS):
        if not weeded.solution.problem.line_rows or not beyond_usual(weeded.solution):
            break
        told = loosened(told)
        surely = weeded.grossly_wrong
        weeded = _weeded(observations, kind=kind, size=size, priors=told, begin=begin, surely=surely)
    return _fit(observations, weeded, kind=kind, size=size, told=told, begin=begin)


def fit_bent(observations: Sequence[Observation], bent: Weeded, *, size: PictureSize, begin: list[Floats]) -> Fit:
    """Fit a photo with the paper bent as was found; see `fit_flat`."""
    told = bent.solution.problem.priors
    return _fit(observations, bent, kind=Kind.PHOTO, size=size, told=told, begin=begin)


def _fit(
    observations: Sequence[Observation],
    weeded: Weeded,
    *,
    kind: Kind,
    size: PictureSize,
    told: dict[P, Prior],
    begin: list[Floats],
) -> Fit:
    line_times, by_hand, either = 1.0, None, 0.0
    if weeded.agreement.line_factor > weeded.agreement.usual_line_factor:
        # Paper that lies in small waves bends its lines by more than they are measured to: they tell less of the lens.
        line_times = math.sqrt(weeded.agreement.line_factor)
        observations = [_less_sure(seen, line_times) for seen in observations]
        begin = [*(one.values for one in _possible(weeded)), *begin]
        surely = weeded.grossly_wrong
        weeded = _weeded(observations, kind=kind, size=size, priors=told, begin=begin, surely=surely)
    elif not weeded.disputed and weeded.solution.problem.line_rows:
        truer = as_by_machine(observations)
        other = _weeded_alike(truer, weeded, kind=kind, size=size, priors=told)
        machine = 0.0 if other is None else chance_of_machine(weeded.solution, other.solution)
        if other is not None and machine > EVEN:
            by_hand, observations, weeded = (weeded.solution, machine), truer, other
        # Either hand may have drawn it: what speaks for both speaks for the map.
        either -= math.log(max(machine, 1 - machine))
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
    evidence = (
        whole_log_evidence(weeded.solution) + either - BLUNDER * (len(weeded.left_out) + len(weeded.disputed[:1]))
    )
    likeliest, alone = solution.values, covariance.whole
    if is_bent(solution.values):
        mean, spread = mean_and_spread(_possible(weeded), size)
        solution = replace(solution, values=solution.values + mean)
        covariance = MapCovariance(covariance.whole + spread, covariance.lens)
    return Fit(
        observations=observations,
        weeded=weeded,
        solution=solution,
        covariance=covariance,
        likeliest=likeliest,
        alone=alone,
        lens_shown=chosen.lens_shown,
        line_times=line_times,
        card_times=card_times,
        log_evidence=evidence,
        card_out=card_out,
        focal_doubt=focal_doubt,
    )


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
    weeded: Weeded | None = None,
    surely: frozenset[Suspect] = frozenset(),
) -> Weeded:
    """Solve and weed; where that fails, ask whether the plan is stretched; refuse what disagrees beyond reason.

    What is known already is not asked again: minima of everything given, they weeded, and what is `surely` wrong.
    """

    def solver(problem: Problem) -> list[Solution]:
        return solve_from(problem, begin)

    if weeded is None:
        weeded = weed(observations, size=size, priors=priors, solver=solver, minima=minima, surely=surely)
    # No copy is stretched so much that it made up for a grossly wrong length.
    unlike = weeded.agreement.variance_factor > MODEL_FACTOR or not weeded.clean
    if kind is Kind.PHOTO and unlike and not weeded.grossly_wrong:
        other = if_clean(solver(build(observations, size=size, priors=with_stretch(priors))), observations)
        if other is not None and _is_usual_stretch(other):
            # One wrong length looks like a stretch across it, and the other way round: the likelier is taken, and the
            # other told of where it explains nearly as much.
            better = weeded.without_one - (other.agreement.whole_misfit + 2 * len(STRETCHED))
            if better > 0:
                rivals = () if better > TELLING else weeded.left_out + weeded.disputed
                weeded = replace(other, or_wrong=rivals)
    if weeded.disputed and min(fault.part for fault in weeded.disputed) > APART_PART:
        raise CalibrationError(dispute_text(weeded.disputed, observations))
    return weeded


def _is_usual_stretch(stretched: Weeded) -> bool:
    """Tell whether a plan taken for stretched agrees, and is stretched by no more than copies are."""
    strain = math.hypot(*(stretched.solution.values[p] for p in STRETCHED))
    return strain < MOST_STRETCH and stretched.agreement.variance_factor < stretched.agreement.usual_factor


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


def _possible(weeded: Weeded) -> list[Solution]:
    """Give the lowest minimum and those that explain the marks nearly as well."""
    lowest, *others = weeded.minima
    found = (m for m in others if m.converged or is_bent(m.values))
    return [lowest, *(m for m in found if m.cost - lowest.cost < NEARLY_AS_GOOD)]


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
