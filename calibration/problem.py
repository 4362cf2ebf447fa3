"""Everything given, as one weighted least-squares problem with priors."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from enum import Enum, auto
from itertools import groupby

import numpy as np
from numpy.typing import NDArray

from calibration.blocks import Block, CornersBlock, KnownsBlock, LineBlock, Rows, ScaleBlock, Sides, SquareBlock
from calibration.card_block import CardsBlock
from calibration.line_rows import LineRows
from calibration.map_slopes import local_scales, plane_slopes
from calibration.observations import Cards, Corners, GivenScale, KnownDistance, Observation, Skew, StraightLine
from calibration.parameters import FOCAL_SIGMA_UNTOLD, Prior, Role
from calibration.plane_map import BULGE, CYLINDER, LENS, Floats, P, PictureSize, plane_from_picture
from calibration.side_corners import corner_by_sides

LARGEST_STEP = {
    P.LOG_SCALE: 0.3,
    P.TILT_X: 0.1,
    P.TILT_Y: 0.1,
    P.LOG_FOCAL: 0.2,
    P.STRETCH: 0.02,
    P.SHEAR: 0.02,
    P.K1: 0.05,
    P.K2: 0.05,
    P.CENTRE_X: 0.01,
    P.CENTRE_Y: 0.01,
    P.BEND_TURN: 0.2,
    **dict.fromkeys((*CYLINDER, *BULGE), 0.02),
}
"""Bounds of one step, which also are the unit of each parameter."""

USUAL = (P.TILT_X, P.TILT_Y, P.SHEAR, *LENS, *CYLINDER, *BULGE)
"""Parameters whose priors say what is usual and measure nothing: they do not count among what agrees or not."""


class What(Enum):
    """What may be wrong on its own."""

    KNOWN = auto()
    CORNER = auto()
    SIZE = auto()
    SCALE = auto()
    FOCAL = auto()
    PRINT = auto()


@dataclass(frozen=True, slots=True)
class Suspect:
    """One thing given that may be wrong: which kind, which observation, which of its corners."""

    what: What
    observation: int = -1
    corner: int = 0


@dataclass(frozen=True, slots=True)
class Problem:
    """Blocks of observations, priors of the map's parameters, and which rows each suspect has.

    `line_rows` are those of straight lines, `card_rows` of cards' corners, `usual_rows` those of priors that say how
    phones are held and what lenses, scanners and printers do.
    """

    size: PictureSize
    priors: dict[P, Prior]
    blocks: tuple[Block | LineBlock, ...]
    suspects: dict[Suspect, Rows]
    line_rows: Rows = ()
    usual_rows: Rows = ()
    card_rows: Rows = ()

    # Worked out once: a search asks for them thousands of times.
    free: tuple[P, ...] = field(init=False, repr=False, compare=False)
    """The map's parameters that are solved for."""
    bounds: Floats = field(init=False, repr=False, compare=False)
    """Unit and largest step of each unknown: free parameters, then each block's own."""
    points_px: Floats = field(init=False, repr=False, compare=False)
    """All marks, block after block."""
    expected: Floats = field(init=False, repr=False, compare=False)
    """The map's parameters before any observation."""
    _parts: tuple["_Part", ...] = field(init=False, repr=False, compare=False)
    _told: "_Told" = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        free = tuple(p for p, prior in self.priors.items() if prior.role is Role.FREE)
        marks = [block.points_px for block in self.blocks]
        expected = np.zeros(len(P))
        for p, prior in self.priors.items():
            expected[p] = prior.expected
        bounds = np.concatenate([[LARGEST_STEP[p] for p in free], *(block.bounds for block in self.blocks)])
        for name, value in (
            ("free", free),
            ("bounds", bounds),
            ("points_px", np.concatenate(marks)),
            ("expected", expected),
            ("_parts", tuple(_parts(self.blocks))),
            ("_told", _Told.of(self.priors, free, self.blocks)),
        ):
            object.__setattr__(self, name, value)

    def values(self, unknowns: Floats) -> Floats:
        """Give (..., 10) parameters of the map from (..., n) unknowns."""
        values = np.tile(self.expected, (*unknowns.shape[:-1], 1))
        values[..., list(self.free)] = unknowns[..., : len(self.free)]
        return values

    def start(self, values: Floats) -> Floats:
        """Give unknowns from parameters of the map, the blocks' own fitted to it."""
        plane_mm = plane_from_picture(values, self.points_px, self.size)
        own = [part.of.start(plane_mm[part.marks]) for part in self._parts if not isinstance(part.of, LineRows)]
        return np.concatenate([values[list(self.free)], *own])

    def rows(self, values: Floats, unknowns: Floats, weights: Sequence[Floats]) -> Floats:
        """Give (B, m) whitened rows, observations first, then priors, for (B, 56) parameters and (B, n) unknowns."""
        with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
            plane_mm = plane_from_picture(values, self.points_px, self.size)
            observed = []
            at = len(self.free)
            for part in self._parts:
                weight = weights[part.blocks]
                if isinstance(part.of, LineRows):
                    observed.append(part.of.rows(plane_mm[..., part.marks, :], weight))
                else:
                    own = unknowns[..., at : at + len(part.of.bounds)]
                    at += len(part.of.bounds)
                    observed.append(part.of.misfits(plane_mm[..., part.marks, :], own) @ weight[0].T)
        told = (unknowns[..., self._told.places] - self._told.expected) / self._told.sigmas
        return np.concatenate([*observed, told], axis=-1)

    def slopes(self, values: Floats, unknowns: Floats, weights: Sequence[Floats], parameters: Sequence[P]) -> Floats:
        """Give (m, k + q): how the rows move with k of the map's parameters, then with the blocks' q own unknowns."""
        plane_mm, moves_mm = plane_slopes(values, self.points_px, self.size, parameters)
        slopes = self.slopes_by_moves(plane_mm, moves_mm, unknowns, weights)
        # A prior of a parameter that is not asked for moves with nothing.
        free, count = len(self.free), len(parameters)
        column = {place: count + place - free for place in range(free, len(unknowns))}
        column |= {self.free.index(p): at for at, p in enumerate(parameters) if p in self.free}
        first = len(slopes) - len(self._told.places)
        for row, (place, sigma) in enumerate(zip(self._told.places.tolist(), self._told.sigmas.tolist(), strict=True)):
            if place in column:
                slopes[first + row, column[place]] = 1 / sigma
        return slopes

    def slopes_by_moves(
        self, plane_mm: Floats, moves_mm: Floats, unknowns: Floats, weights: Sequence[Floats]
    ) -> Floats:
        """Give (m, k + q): how the rows move where the marks move by (k, N, 2), then with the blocks' q own unknowns.

        Rows of priors stay zero.
        """
        free, count = len(self.free), len(moves_mm)
        slopes = np.zeros((sum(map(len, weights)) + len(self._told.places), count + len(unknowns) - free))
        row = own_at = 0
        with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
            for part in self._parts:
                weight, marks_mm, marks_moves = weights[part.blocks], plane_mm[part.marks], moves_mm[:, part.marks]
                if isinstance(part.of, LineRows):
                    slopes[row : row + part.of.count, :count] = part.of.slopes(marks_mm, marks_moves, weight)
                    row += part.of.count
                    continue
                own = unknowns[free + own_at : free + own_at + len(part.of.bounds)]
                by_map, by_own = part.of.slopes(marks_mm, marks_moves, own)
                slopes[row : row + len(weight[0]), :count] = weight[0] @ by_map
                slopes[row : row + len(weight[0]), count + own_at : count + own_at + len(own)] = weight[0] @ by_own
                row, own_at = row + len(weight[0]), own_at + len(own)
        return slopes

    def weights(self, values: Floats) -> list[Floats]:
        """Give each block's whitening matrix at these parameters of the map."""
        found: list[Floats] = []
        # Marks that wrong lengths pull into one point weigh without end: no search goes on from there.
        with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
            plane_mm = plane_from_picture(values, self.points_px, self.size)
            local = local_scales(values, self.points_px, self.size)
            for part in self._parts:
                if isinstance(part.of, LineRows):
                    found += part.of.whitening(plane_mm[part.marks], local[part.marks])
                else:
                    found.append(part.of.whitening(plane_mm[part.marks], local[part.marks]))
        return found


@dataclass(frozen=True, slots=True)
class _Part:
    """A block, or all lines that follow one another: its places among the marks and among the blocks."""

    of: Block | LineRows
    marks: slice
    blocks: slice


def _parts(blocks: Sequence[Block | LineBlock]) -> Iterator[_Part]:
    mark = place = 0
    for are_lines, group in groupby(blocks, lambda block: isinstance(block, LineBlock)):
        alike = list(group)
        counts = [len(block.points_px) for block in alike]
        if are_lines:
            lines = LineRows.of([block.line for block in alike if isinstance(block, LineBlock)])
            yield _Part(lines, slice(mark, mark + sum(counts)), slice(place, place + len(alike)))
        else:
            for n, block in enumerate(alike):
                assert not isinstance(block, LineBlock)
                first = mark + sum(counts[:n])
                yield _Part(block, slice(first, first + counts[n]), slice(place + n, place + n + 1))
        mark, place = mark + sum(counts), place + len(alike)


@dataclass(frozen=True, slots=True)
class _Told:
    """What is known beforehand of unknowns: their places, what is expected, and one sigma, (m,) each."""

    places: NDArray[np.intp]
    expected: Floats
    sigmas: Floats

    @classmethod
    def of(cls, priors: dict[P, Prior], free: Sequence[P], blocks: Sequence[Block | LineBlock]) -> "_Told":
        """Of blocks' own unknowns, then of the map's parameters."""
        told: list[tuple[int, float, float]] = []
        at = len(free)
        for block in blocks:
            told += [(at + i, expected, sigma) for i, expected, sigma in block.priors]
            at += len(block.bounds)
        known = ((n, priors[p]) for n, p in enumerate(free))
        told += [(n, prior.expected, prior.sigma) for n, prior in known if math.isfinite(prior.sigma)]
        places, expected, sigmas = np.array(told, dtype=np.float64).reshape(-1, 3).T
        return cls(places.astype(np.intp), expected, sigmas)


def build(
    observations: Sequence[Observation],
    *,
    size: PictureSize,
    priors: dict[P, Prior],
    without: frozenset[Suspect] = frozenset(),
) -> Problem:
    """Give the problem that these observations make, leaving out what is suspected."""
    blocks: list[Block | LineBlock] = []
    suspects: dict[Suspect, Rows] = {}
    knowns: list[KnownDistance] = []
    told = dict(priors)
    if Suspect(What.FOCAL) in without:
        told[P.LOG_FOCAL] = Prior(Role.FREE, priors[P.LOG_FOCAL].expected, FOCAL_SIGMA_UNTOLD)
    for i, seen in enumerate(observations):
        if isinstance(seen, KnownDistance) and Suspect(What.KNOWN, i) not in without:
            suspects[Suspect(What.KNOWN, i)] = (len(knowns),)
            knowns.append(seen)
    if knowns:
        blocks.append(KnownsBlock(tuple(knowns)))
    at = len(knowns)
    sized: list[Suspect] = []
    for i, seen in enumerate(observations):
        if isinstance(seen, GivenScale) and Suspect(What.SCALE, i) not in without:
            blocks.append(ScaleBlock(seen, size))
            suspects[Suspect(What.SCALE, i)] = (at, at + 1)
            at += 2
        elif isinstance(seen, Corners):
            dropped = frozenset(s.corner for s in without if s.what is What.CORNER and s.observation == i)
            sides = _sides(seen, i, observations, without)
            by_sides = ((corner, corner_by_sides(seen, corner, observations)) for corner in sorted(dropped))
            held = tuple((corner, place) for corner, place in by_sides if place is not None)
            blocks.append(CornersBlock(seen, sides, dropped, held))
            for corner in range(4):
                if corner not in dropped:
                    suspects[Suspect(What.CORNER, i, corner)] = (at + 2 * corner, at + 2 * corner + 1)
            if sides is Sides.BOTH:
                sized.append(Suspect(What.SIZE, i))
            at += 8
        elif isinstance(seen, Skew) and seen.across_rad is not None:
            blocks.append(SquareBlock(seen, size))
            at += 1
    first_line = at
    for seen in observations:
        if isinstance(seen, StraightLine):
            blocks.append(LineBlock(seen))
            at += len(seen.points_px) - 2
    lines = tuple(range(first_line, at))
    card_rows: list[int] = []
    printed: dict[int, Rows] = {}
    for i, seen in enumerate(observations):
        if isinstance(seen, Cards):
            laid = CardsBlock(seen, doubted=Suspect(What.PRINT, i) in without)
            blocks.append(laid)
            card_rows += range(at, at + laid.corner_rows)
            at += laid.corner_rows + len(laid.bars)
            printed[i] = tuple(range(at - len(laid.bars), at))
    usual: list[int] = []
    for block in blocks:
        if isinstance(block, CornersBlock) and len(block.priors) == 3:
            suspects[sized.pop(0)] = (at, at + 1)
        elif isinstance(block, CardsBlock):
            place, bars = printed.popitem()
            usual += [at, at + 1]
            if not block.doubted:
                suspects[Suspect(What.PRINT, place)] = (*bars, at, at + 1)
        at += len(block.priors)
    for p, prior in told.items():
        if prior.role is Role.FREE and math.isfinite(prior.sigma):
            if p is P.LOG_FOCAL and prior.sigma < FOCAL_SIGMA_UNTOLD:
                suspects[Suspect(What.FOCAL)] = (at,)
            if p in USUAL:
                usual.append(at)
            at += 1
    return Problem(size, told, tuple(blocks), suspects, lines, tuple(usual), tuple(card_rows))


def _sides(corners: Corners, place: int, observations: Sequence[Observation], without: frozenset[Suspect]) -> Sides:
    """Give which sides count; the width of a doubted size stays where it is all that tells the scale."""
    if corners.width_mm is None:
        return Sides.NONE
    if Suspect(What.SIZE, place) not in without:
        return Sides.BOTH
    for i, seen in enumerate(observations):
        match seen:
            case KnownDistance():
                suspect = Suspect(What.KNOWN, i)
            case GivenScale():
                suspect = Suspect(What.SCALE, i)
            case Corners(width_mm=float() | int()):
                suspect = Suspect(What.SIZE, i)
            case Cards():
                suspect = Suspect(What.PRINT, i)
            case _:
                continue
        if suspect not in without:
            return Sides.NONE
    return Sides.WIDTH
