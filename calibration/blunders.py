"""What was given wrong: found by its normalised residual, named, and left out where the rest can tell."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from calibration.card_start import printed_size
from calibration.observations import CalibrationError, Cards, Corners, GivenScale, KnownDistance, Observation
from calibration.parameters import Prior
from calibration.plane_map import Floats, P, PictureSize, plane_from_picture
from calibration.problem import Problem, Suspect, What, build
from calibration.side_corners import off_its_sides
from calibration.solution import Solution, rectangle_mm
from calibration.uncertainty import SEEN_SIGMA, Agreement, agreement, unseen

LARGEST_USUAL = 3.3
"""A normalised residual above it is a blunder (one in a thousand by chance; Baarda 1968)."""

TELLING = 6.0
"""Leaving out one suspect must make the misfit this much less than leaving out any other does: odds of 20 to 1."""

ALIKE = 0.001
"""And by this part of what leaving out gains: of two scales that differ by half, each is made right by leaving out the
other, and which of them is a little righter tells of the paper's curl and of the lens."""

RIVALS = 6
"""Suspects tried one by one."""

GROSS_PART = 0.1
"""A length left out as this far off is a half span, another unit or another line's: paper that stands 25 mm off a plane
makes lengths 2 % longer (trials). To ask of every view of the paper whether it makes it right takes long."""

UNTESTED = 0.02
"""A row of which the others check less than this part of its variance cannot be tested."""

Solver = Callable[[Problem], list[Solution]]
"""Gives the minima found, the lowest first."""


@dataclass(frozen=True, slots=True)
class Fault:
    """A suspect, and what the rest says about it: mm off, and that as a part of the length given.

    `given_mm` and `rest_mm` are the length as given and as the others make it (0 and the distance for a corner).
    """

    suspect: Suspect
    given_mm: float
    rest_mm: float
    part: float

    @property
    def off_mm(self) -> float:
        """Given less what the rest makes it."""
        return self.given_mm - self.rest_mm


@dataclass(frozen=True, slots=True)
class Weeded:
    """A solution, what was left out of it for certain, and what disagrees without a culprit, likeliest first.

    `minima` are all that were found for the same problem, the solution first.
    """

    minima: tuple[Solution, ...]
    agreement: Agreement
    left_out: tuple[Fault, ...]
    disputed: tuple[Fault, ...]
    without_one: float = math.inf
    """Misfit of everything where the likeliest of what is left out or disputed is left out, and what that must earn;
    infinite where nothing can be."""
    or_wrong: tuple[Fault, ...] = ()
    """What may be wrong instead, where the plan was taken for stretched."""

    @property
    def solution(self) -> Solution:
        """The lowest minimum."""
        return self.minima[0]

    @property
    def clean(self) -> bool:
        """Nothing was wrong."""
        return not self.left_out and not self.disputed

    @property
    def grossly_wrong(self) -> frozenset[Suspect]:
        """Known distances that no other view of the camera, lens or paper makes right."""
        return frozenset(
            fault.suspect for fault in self.left_out if fault.suspect.what is What.KNOWN and fault.part > GROSS_PART
        )


def weed(
    observations: Sequence[Observation],
    *,
    size: PictureSize,
    priors: dict[P, Prior],
    solver: Solver,
    minima: list[Solution] | None = None,
    surely: frozenset[Suspect] = frozenset(),
) -> Weeded:
    """Solve; leave out, one at a time, what the rest shows to be wrong; stop where the rest cannot tell.

    `minima` are those of everything given, where they are known already, but for what is `surely` wrong.
    """
    without = surely
    most = max(1, sum(isinstance(seen, KnownDistance) for seen in observations) // 3)
    if minima is None:
        minima = solver(build(observations, size=size, priors=priors, without=without))
    left_out = [_fault(suspect, observations, minima[0]) for suspect in surely]
    off = _off_its_sides(observations)
    while True:
        solution = minima[0]
        agrees = agreement(solution)
        if off is not None and off not in without:
            # What is seen in the picture needs no test: size, tilt and lens may have taken up most of its misfit.
            without |= {off}
            minima = solver(build(observations, size=size, priors=priors, without=without))
            left_out.append(_fault(off, observations, minima[0]))
            continue
        suspects = _suspects(solution, agrees)
        if not suspects:
            earned = agrees.whole_misfit + 2 * len(left_out) if left_out else math.inf
            return Weeded(tuple(minima), agrees, tuple(left_out), (), earned)
        tried = []
        for suspect, rows in suspects[:RIVALS]:
            if not _tells_scale(observations, without | {suspect}):
                continue
            try:
                other = solver(build(observations, size=size, priors=priors, without=without | {suspect}))
            except CalibrationError:
                continue
            # Leaving out more must earn more (Akaike 1974): two rows explain twice what one does by chance.
            tried.append((agreement(other[0]).whole_misfit + 2 * rows, suspect, other))
        if not tried:
            return Weeded(
                tuple(minima), agrees, tuple(left_out), tuple(_blind_faults(suspects, observations, solution))
            )
        tried.sort(key=lambda one: one[0])
        best, first, other = tried[0]
        telling = max(TELLING, ALIKE * (agrees.whole_misfit - best))
        rivals = [one for one in tried if one[0] - best < telling]
        # What nothing would be known without cannot be left out.
        if len(rivals) > 1 or len(left_out) >= most + (off is not None) or unseen(other[0])[1] > SEEN_SIGMA:
            # A rest that tells too little measures nothing; what holds all is the better judge then.
            judges = [solution if unseen(rest[0])[1] > SEEN_SIGMA else rest[0] for _, _, rest in rivals]
            faults = tuple(_fault(one[1], observations, judge) for one, judge in zip(rivals, judges, strict=True))
            return Weeded(tuple(minima), agrees, tuple(left_out), faults, best + 2 * len(left_out))
        without |= {first}
        left_out.append(_fault(first, observations, other[0]))
        minima = other


def if_clean(minima: list[Solution], observations: Sequence[Observation]) -> Weeded | None:
    """Give the minima of everything given as weeded where there is nothing to leave out, else None."""
    agrees = agreement(minima[0])
    if _off_its_sides(observations) is not None or _suspects(minima[0], agrees):
        return None
    return Weeded(tuple(minima), agrees, (), ())


def _suspects(solution: Solution, agrees: Agreement) -> list[tuple[Suspect, int]]:
    """Give suspects and their testable rows, the likeliest first; none unless one is beyond what chance does."""
    scored = []
    for suspect, rows in solution.problem.suspects.items():
        place = list(rows)
        eigenvalues, vectors = np.linalg.eigh(agrees.cofactor[np.ix_(place, place)])
        tested = eigenvalues > UNTESTED
        count = int(tested.sum())
        if not count:
            continue
        along = vectors[:, tested].T @ agrees.residuals[place]
        squares = float((along**2 / eigenvalues[tested]).sum())
        # For two rows the square that chance exceeds as seldom as 3.3 sigma for one.
        limit = LARGEST_USUAL**2 if count == 1 else -2 * math.log(math.erfc(LARGEST_USUAL / math.sqrt(2)))
        scored.append((squares, squares > limit, suspect, count))
    if not any(beyond for _, beyond, _, _ in scored):
        return []
    scored.sort(key=lambda one: -one[0])
    # A suspect that explains a fifth of what the likeliest does is no rival.
    return [(suspect, count) for squares, _, suspect, count in scored if squares > 0.2 * scored[0][0]]


def _off_its_sides(observations: Sequence[Observation]) -> Suspect | None:
    """Give a corner that does not lie where its sides meet, while the others do."""
    for i, seen in enumerate(observations):
        corner = off_its_sides(seen, observations) if isinstance(seen, Corners) else None
        if corner is not None:
            return Suspect(What.CORNER, i, corner)
    return None


def _tells_scale(observations: Sequence[Observation], without: frozenset[Suspect]) -> bool:
    """Tell whether any length is left."""
    for i, seen in enumerate(observations):
        match seen:
            case KnownDistance():
                left = Suspect(What.KNOWN, i) not in without
            case GivenScale():
                left = Suspect(What.SCALE, i) not in without
            case Corners(width_mm=float() | int()):
                # The width of a doubted size stays where nothing else tells the scale.
                left = True
            case Cards():
                # Doubted, their printed size is known to a fifth only.
                left = Suspect(What.PRINT, i) not in without
            case _:
                left = False
        if left:
            return True
    return False


def _blind_faults(
    suspects: list[tuple[Suspect, int]], observations: Sequence[Observation], solution: Solution
) -> list[Fault]:
    """Measure suspects by the solution that holds them, where none can be left out."""
    return [_fault(suspect, observations, solution) for suspect, _ in suspects[:RIVALS]]


def _fault(suspect: Suspect, observations: Sequence[Observation], rest: Solution) -> Fault:
    """Measure a suspect by a solution that leaves it out."""
    values, size = rest.values, rest.problem.size
    if suspect.what is What.FOCAL:
        given = math.exp(rest.problem.priors[P.LOG_FOCAL].expected)
        part = abs(given / math.exp(values[P.LOG_FOCAL]) - 1)
        return Fault(suspect, 0.0, 0.0, part)
    seen = observations[suspect.observation]
    if isinstance(seen, KnownDistance):
        fitted = _length(values, seen.start_px, seen.end_px, size)
        return Fault(suspect, seen.length_mm, fitted, abs(seen.length_mm / fitted - 1))
    if isinstance(seen, GivenScale):
        middle = np.array([(0, size.middle_px[1]), (size.width_px - 1, size.middle_px[1])])
        fitted = _length(values, middle[0], middle[1], size)
        given = seen.mm_per_px_x * (size.width_px - 1)
        return Fault(suspect, given, fitted, abs(given / fitted - 1))
    if isinstance(seen, Cards):
        given, fitted = printed_size(rest, seen)
        return Fault(suspect, given, fitted, abs(given / fitted - 1))
    assert isinstance(seen, Corners)
    rectangle = rectangle_mm(rest, seen)
    width = float(np.hypot(*(rectangle[1] - rectangle[0])))
    if suspect.what is What.SIZE:
        height = float(np.hypot(*(rectangle[2] - rectangle[1])))
        assert seen.width_mm is not None
        assert seen.height_mm is not None
        pairs = ((seen.width_mm, width), (seen.height_mm, height))
        given, fitted = max(pairs, key=lambda pair: abs(math.log(pair[0] / pair[1])))
        return Fault(suspect, given, fitted, abs(given / fitted - 1))
    mark = plane_from_picture(values, np.array([seen.points_px[suspect.corner]]), size)[0]
    off = float(np.hypot(*(mark - rectangle[suspect.corner])))
    return Fault(suspect, off, 0.0, off / width)


def _length(values: Floats, start: object, end: object, size: PictureSize) -> float:
    ends = plane_from_picture(values, np.array([start, end]), size)
    return float(np.hypot(*(ends[1] - ends[0])))
