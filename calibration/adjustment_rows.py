"""Every observation of an adjustment, with its residual: what surveyors call the observations table."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from calibration.adjustment import Adjustment, Agreed, ObservedRow, Seen, Shown, Unit, UnknownRow, Use
from calibration.adjustment_unknowns import unknown_rows
from calibration.blocks import Block, CornersBlock, KnownsBlock, LineBlock, ScaleBlock, SquareBlock
from calibration.blunders import UNTESTED, Weeded
from calibration.card_block import POSE, CardsBlock
from calibration.kind import Kind
from calibration.map_slopes import local_scales
from calibration.naming import CORNER_NAMES
from calibration.observations import Across, CheckLength, Corners, KnownDistance, Observation, Skew
from calibration.plane_map import Floats, PictureSize, plane_from_picture
from calibration.problem import USUAL, Suspect, What
from calibration.solution import Solution
from calibration.uncertainty import Agreement, agreement, length_sigmas


def adjustment(
    observations: Sequence[Observation], solution: Solution, covariance: Floats, weeded: Weeded, *, kind: Kind
) -> Adjustment:
    """Set out an adjustment: `solution` is the map chosen, `covariance` its parameters'."""
    solution = replace(solution, problem=replace(solution.problem, usual_rows=_usual_rows(solution)))
    agrees = agreement(solution)
    told = _Told(observations, solution, covariance, agrees, weeded)
    return Adjustment(
        tuple(told.rows()),
        (
            *unknown_rows(solution.values, covariance, solution.problem.priors, kind=kind, size=solution.problem.size),
            *told.printed_size(),
        ),
        len(solution.rows),
        len(solution.unknowns),
        Agreed(agrees.spare, agrees.variance_factor, agrees.usual_factor),
        Agreed(agrees.line_spare, agrees.line_factor, agrees.usual_line_factor),
        Agreed(agrees.card_spare, agrees.card_factor, agrees.usual_card_factor),
        _widened_by(weeded),
    )


def _usual_rows(solution: Solution) -> tuple[int, ...]:
    """Give the rows that say what is usual, as they lie in this very problem: one without a lens has fewer."""
    problem = solution.problem
    told = [p for p in problem.free if math.isfinite(problem.priors[p].sigma)]
    first = len(solution.rows) - len(told)
    own = tuple(row for row in problem.usual_rows if row < first)
    return (*own, *(first + n for n, p in enumerate(told) if p in USUAL))


def _widened_by(weeded: Weeded) -> float:
    """Give how many times larger sigmas are for what did not agree."""
    agreement = weeded.agreement
    factor = agreement.variance_factor
    return math.sqrt(factor) if factor > agreement.usual_factor else 1.0


class _Told:
    """Makes the rows, block after block."""

    def __init__(
        self,
        observations: Sequence[Observation],
        solution: Solution,
        covariance: Floats,
        agrees: Agreement,
        weeded: Weeded,
    ) -> None:
        self.observations, self.solution, self.covariance = observations, solution, covariance
        self.agrees = agrees
        self.left_out = {fault.suspect for fault in weeded.left_out}
        self.disputed = {fault.suspect for fault in weeded.disputed}
        problem = solution.problem
        self.size: PictureSize = problem.size
        self.weights = problem.weights(solution.values)

    def rows(self) -> Iterator[ObservedRow]:
        """Known distances, rectangles, scales, right angles and lines; then what is only compared."""
        at, own_at = 0, len(self.solution.problem.free)
        of_own: list[ObservedRow] = []
        prior_at = sum(len(weight) for weight in self.weights)
        for block, weight in zip(self.solution.problem.blocks, self.weights, strict=True):
            own = self.solution.unknowns[own_at : own_at + len(block.bounds)]
            rows = slice(at, at + len(weight))
            yield from self._of_block(block, weight, own, rows)
            if isinstance(block, CornersBlock):
                of_own += self._of_rectangle(block, own, prior_at)
            at, own_at, prior_at = rows.stop, own_at + len(block.bounds), prior_at + len(block.priors)
        yield from of_own
        yield from self._not_fitted()

    def _of_block(self, block: Block | LineBlock, weight: Floats, own: Floats, rows: slice) -> Iterator[ObservedRow]:
        points_px = block.points_px
        plane_mm = plane_from_picture(self.solution.values, points_px, self.size)
        match block:
            case KnownsBlock():
                for n, known in enumerate(block.knowns):
                    use = self._use(self._suspect(What.KNOWN, known))
                    row = self._length(known, Seen.KNOWN, use)
                    yield replace(row, standardized=self._standardized([rows.start + n]))
            case ScaleBlock():
                lengths = block.lengths_mm()
                fitted = np.hypot(*(plane_mm[1::2] - plane_mm[::2]).T)
                use = self._use(self._suspect(What.SCALE, block.scale))
                for n, way in enumerate(("across", "down")):
                    off = float(fitted[n] - lengths[n])
                    far_px = float(np.hypot(*(points_px[2 * n + 1] - points_px[2 * n])))
                    yield ObservedRow(
                        f"{block.scale.why}, {way} the picture", Seen.SCALE, use, Unit.MM, float(lengths[n]),
                        float(fitted[n]), off, off / float(fitted[n]) * far_px,
                        float(lengths[n]) * block.scale.relative_sigma, self._standardized([rows.start + n]),
                    )  # fmt: skip
            case SquareBlock():
                (off,) = block.misfits(plane_mm, own).tolist()
                yield ObservedRow(
                    "drawn lines along and across", Seen.AXES, Use.FITTED, Unit.RAD, math.pi / 2, math.pi / 2 + off,
                    off, None, block.skew.shear_sigma_rad, self._standardized([rows.start]),
                )  # fmt: skip
            case LineBlock():
                yield self._line(block, plane_mm, rows)
            case CornersBlock():
                yield from self._corners(block, plane_mm, own, rows)
            case CardsBlock():
                yield from self._cards(block, plane_mm, own, rows)

    def _corners(self, block: CornersBlock, plane_mm: Floats, own: Floats, rows: slice) -> Iterator[ObservedRow]:
        off_mm = block.misfits(plane_mm, own).reshape(4, 2)
        local = local_scales(self.solution.values, block.points_px, self.size)
        whole = np.linalg.inv(replace(block, dropped=frozenset()).whitening(plane_mm, local))
        sigma = np.sqrt(np.diag(whole @ whole.T).reshape(4, 2).mean(axis=1))
        for n, name in enumerate(CORNER_NAMES):
            use = self._use(self._suspect(What.CORNER, block.corners, n))
            off_px = np.linalg.solve(local[n], off_mm[n])[None]
            place = [rows.start + 2 * n, rows.start + 2 * n + 1]
            yield ObservedRow(
                f"{block.corners.label}, {name}", Seen.CORNER, use, Unit.MM, None, None, float(np.hypot(*off_mm[n])),
                float(np.hypot(*off_px[0])), float(sigma[n]),
                None if n in block.dropped else self._standardized(place), Shown(block.points_px[n : n + 1], off_px),
            )  # fmt: skip

    def _of_rectangle(self, block: CornersBlock, own: Floats, prior_at: int) -> Iterator[ObservedRow]:
        """What is known of a rectangle itself: its size where given, and its right angles."""
        for n, (which, expected, sigma) in enumerate(block.priors):
            tested = self._standardized([prior_at + n])
            if which == LEAN:
                lean = float(own[LEAN])
                yield ObservedRow(
                    f"{block.corners.label}, right angles", Seen.SQUARE, Use.FITTED, Unit.RAD, math.pi / 2,
                    math.pi / 2 - lean, -lean, None, block.corners.lean_sigma_rad, tested,
                )  # fmt: skip
            else:
                given, fitted = math.exp(expected), math.exp(float(own[which]))
                side = "width" if which == WIDTH else "height"
                use = self._use(self._suspect(What.SIZE, block.corners))
                yield ObservedRow(
                    f"{block.corners.label}, {side}", Seen.SIZE, use, Unit.MM, given, fitted, fitted - given, None,
                    given * sigma, tested,
                )  # fmt: skip

    def _line(self, block: LineBlock, plane_mm: Floats, rows: slice) -> ObservedRow:
        """How far a line's points lie off the straight line that fits them, on the plan and as px of the picture."""
        points_px = block.points_px
        off_mm, across = _off_straight(plane_mm)
        local = local_scales(self.solution.values, points_px, self.size)
        off_px = np.asarray(np.linalg.solve(local, (off_mm[:, None] * across)[..., None])[..., 0], dtype=np.float64)
        bow_px, _ = _off_straight(points_px)
        mm_per_px = float(np.abs(np.linalg.det(local)).mean()) ** 0.5
        sigma = math.hypot(block.line.sigma_px * mm_per_px, block.line.give_mm / math.sqrt(3))
        return ObservedRow(
            block.line.label, Seen.LINE, Use.FITTED, Unit.MM, None, None, float(np.sqrt(np.mean(off_mm**2))),
            float(np.sqrt((off_px**2).sum(axis=1).mean())), sigma,
            self._standardized(list(range(rows.start, rows.stop))), Shown(points_px, off_px),
            float(np.ptp(bow_px)),
        )  # fmt: skip

    def _cards(self, block: CardsBlock, plane_mm: Floats, own: Floats, rows: slice) -> Iterator[ObservedRow]:
        """Each card's corners as a whole, then each bar measured on a print, as a ratio to its figure less 1."""
        off_mm = block.misfits(plane_mm, own)[: 2 * len(block.points_px)].reshape(-1, 2)
        local = local_scales(self.solution.values, block.points_px, self.size)
        mm_per_px = np.sqrt(np.abs(np.linalg.det(local)))
        at, row = 0, rows.start
        for card in block.cards.cards:
            on = slice(at, at + len(card.places_mm))
            spare = 2 * len(card.places_mm) - POSE
            rms_mm = float(np.sqrt((off_mm[on] ** 2).sum(axis=1).mean()))
            rms_px = float(np.sqrt(((off_mm[on] / mm_per_px[on, None]) ** 2).sum(axis=1).mean()))
            yield ObservedRow(
                card.label, Seen.CARD, Use.FITTED, Unit.MM, None, None, rms_mm, rms_px,
                card.sigma_px * float(mm_per_px[on].mean()), self._standardized(list(range(row, row + spare))),
            )  # fmt: skip
            at, row = on.stop, row + spare
        printed = block.printed(own)
        for n, (axis, ratio, sigma) in enumerate(block.bars):
            given, fitted = ratio - 1, float(printed[axis]) - 1
            yield ObservedRow(
                f"bar along the cards' {'xy'[axis]}, over its figure", Seen.BAR, Use.FITTED, Unit.PART, given, fitted,
                fitted - given, None, sigma, self._standardized([row + n]),
            )  # fmt: skip

    def printed_size(self) -> Iterator[UnknownRow]:
        """What the printer made of the cards: an unknown beside the map's own."""
        at = len(self.solution.problem.free)
        for block in self.solution.problem.blocks:
            if isinstance(block, CardsBlock):
                bounds = self.solution.problem.bounds
                _, s, vt = np.linalg.svd(self.solution.by_unknowns * bounds, full_matrices=False)
                sigmas = bounds * np.sqrt((vt.T**2 / s**2).sum(axis=1))
                for (which, expected, sigma), what in zip(block.priors, ("size", "x size over y size"), strict=True):
                    value = float(self.solution.unknowns[at + which])
                    name = f"cards' printed {what}, less 100 %"
                    yield UnknownRow(name, Unit.PART, value, float(sigmas[at + which]), expected, sigma, True)
            at += len(block.bounds)

    def _not_fitted(self) -> Iterator[ObservedRow]:
        for n, seen in enumerate(self.observations):
            match seen:
                case KnownDistance() if Suspect(What.KNOWN, n) in self.left_out:
                    yield self._length(seen, Seen.KNOWN, Use.LEFT_OUT)
                case CheckLength():
                    yield self._length(seen, Seen.CHECK, Use.COMPARED)
                case Corners(width_mm=float() | int()) if Suspect(What.SIZE, n) in self.left_out:
                    fault = f"{seen.label}, size {seen.width_mm:.1f} x {seen.height_mm:.1f} mm"
                    yield ObservedRow(
                        fault, Seen.SIZE, Use.LEFT_OUT, Unit.MM, None, None, None, None, None, None,
                    )  # fmt: skip
                case Across():
                    way = math.atan2(seen.start_px[1] - seen.end_px[1], seen.end_px[0] - seen.start_px[0])
                    yield self._direction("the line to lay straight", way, None)
                case Skew():
                    yield self._direction("turn of the drawn lines", -seen.angle_rad, seen.sigma_rad)
                case _:
                    continue

    def _length(self, seen: KnownDistance | CheckLength, kind: Seen, use: Use) -> ObservedRow:
        """A length; what is not fitted is compared with what the map makes of it, the map's own doubt included."""
        start, end = np.array([seen.start_px]), np.array([seen.end_px])
        fitted, marks_mm = length_sigmas(
            self.solution.values, np.zeros_like(self.covariance), start, end, self.size, mark_sigma_px=seen.sigma_px
        )
        _, whole_mm = length_sigmas(
            self.solution.values, self.covariance, start, end, self.size, mark_sigma_px=seen.sigma_px
        )
        give_mm = seen.give_mm / math.sqrt(3)
        off_mm = float(fitted[0]) - seen.length_mm
        far_px = math.dist(seen.start_px, seen.end_px)
        label = f"{seen.label} ({seen.text})" if seen.text else seen.label
        return ObservedRow(
            label, kind, use, Unit.MM, seen.length_mm, float(fitted[0]), off_mm, off_mm / float(fitted[0]) * far_px,
            math.hypot(float(marks_mm[0]), give_mm), off_mm / math.hypot(float(whole_mm[0]), give_mm),
        )  # fmt: skip

    def _direction(self, label: str, way_rad: float, sigma_rad: float | None) -> ObservedRow:
        return ObservedRow(label, Seen.TURN, Use.TURNS, Unit.RAD, way_rad, None, None, None, sigma_rad, None)

    def _standardized(self, places: list[int]) -> float | None:
        """The residual over its sigma; of several rows the root mean square, as their redundancy weighs them."""
        left = self.agrees.residuals[places]
        spare = np.diag(self.agrees.cofactor)[places]
        if spare.sum() < UNTESTED * len(places):
            return None
        size = math.sqrt(float((left**2).sum() / spare.sum()))
        return math.copysign(size, float(left[0])) if len(places) == 1 else size

    def _suspect(self, what: What, seen: Observation, corner: int = 0) -> Suspect:
        place = next(n for n, one in enumerate(self.observations) if one is seen)
        return Suspect(what, place, corner) if what is What.CORNER else Suspect(what, place)

    def _use(self, suspect: Suspect) -> Use:
        if suspect in self.left_out:
            return Use.LEFT_OUT
        return Use.DISPUTED if suspect in self.disputed else Use.FITTED


WIDTH, LEAN = 3, 5
"""Places of a rectangle's own unknowns."""


def _off_straight(points: Floats) -> tuple[Floats, Floats]:
    """Give (N,) distances from the straight line that fits points best, and that line's normal (2,)."""
    centred = points - points.mean(axis=0)
    _, _, directions = np.linalg.svd(centred, full_matrices=False)
    return np.asarray(centred @ directions[1]), np.asarray(directions[1])
