"""Everything given, as one weighted least-squares problem with priors."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from enum import Enum, auto

import numpy as np
from numpy.typing import NDArray

from calibration.blocks import Block, CornersBlock, KnownsBlock, LineBlock, Rows, ScaleBlock, Sides, SquareBlock
from calibration.card_block import CardsBlock
from calibration.map_slopes import plane_slopes
from calibration.observations import Cards, Corners, GivenScale, KnownDistance, Observation, Skew, StraightLine
from calibration.parameters import FOCAL_SIGMA_UNTOLD, Prior, Role
from calibration.plane_map import BULGE, CYLINDER, LENS, Floats, P, PictureSize, local_scales, plane_from_picture
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


DIFFERENCE = 1e-6
"""Step of a block's numerical derivative, in units of each bound: central differences are then good to 1e-9."""


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
    blocks: tuple[Block, ...]
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
    _ends: NDArray[np.intp] = field(init=False, repr=False, compare=False)

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
            ("_ends", np.cumsum([len(points) for points in marks])[:-1]),
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
        own = [block.start(part) for block, part in zip(self.blocks, self._split(plane_mm), strict=True)]
        return np.concatenate([values[list(self.free)], *own])

    def rows(self, values: Floats, unknowns: Floats, weights: Sequence[Floats]) -> Floats:
        """Give (B, m) whitened rows, observations first, then priors, for (B, 10) parameters and (B, n) unknowns."""
        with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
            plane_mm = plane_from_picture(values, self.points_px, self.size)
            observed, told = [], []
            at = len(self.free)
            for block, part, weight in zip(self.blocks, self._split(plane_mm), weights, strict=True):
                own = unknowns[..., at : at + len(block.bounds)]
                at += len(block.bounds)
                observed.append(block.misfits(part, own) @ weight.T)
                told += [(own[..., i] - expected) / sigma for i, expected, sigma in block.priors]
        for place, p in enumerate(self.free):
            if math.isfinite(self.priors[p].sigma):
                told.append((unknowns[..., place] - self.priors[p].expected) / self.priors[p].sigma)
        return np.concatenate([*observed, np.stack(told, axis=-1)] if told else observed, axis=-1)

    def slopes(self, values: Floats, unknowns: Floats, weights: Sequence[Floats], parameters: Sequence[P]) -> Floats:
        """Give (m, k + q): how the rows move with k of the map's parameters, then with the blocks' q own unknowns."""
        free, count = len(self.free), len(parameters)
        columns = count + len(unknowns) - free
        observed, told = [], []
        with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
            plane_mm, moves_mm = plane_slopes(values, self.points_px, self.size, parameters)
            at = free
            parts = zip(self._split(plane_mm), self._split(moves_mm), strict=True)
            for block, (part_mm, part_moves), weight in zip(self.blocks, parts, weights, strict=True):
                own = unknowns[at : at + len(block.bounds)]
                rows = np.zeros((len(weight), columns))
                if isinstance(block, LineBlock):
                    rows[:, :count] = weight @ block.slopes(part_mm, part_moves).T
                else:
                    by_map, by_own = _block_slopes(block, part_mm, part_moves, own, parameters)
                    rows[:, :count] = weight @ by_map
                    rows[:, count + at - free : count + at - free + len(own)] = weight @ by_own
                for i, _, sigma in block.priors:
                    told.append((count + at - free + i, sigma))
                at += len(own)
                observed.append(rows)
        # A prior of a parameter that is not asked for moves with nothing: its row stays, in a column that is cut off.
        place = {p: i for i, p in enumerate(parameters)}
        sigmas = [(place.get(p, columns), self.priors[p].sigma) for p in self.free]
        told += [(column, sigma) for column, sigma in sigmas if math.isfinite(sigma)]
        priors = np.zeros((len(told), columns + 1))
        for row, (column, sigma) in enumerate(told):
            priors[row, column] = 1 / sigma
        return np.vstack([*observed, priors[:, :columns]])

    def weights(self, values: Floats) -> list[Floats]:
        """Give each block's whitening matrix at these parameters of the map."""
        points = self.points_px
        plane_mm = plane_from_picture(values, points, self.size)
        local = local_scales(values, points, self.size)
        parts = zip(self.blocks, self._split(plane_mm), self._split(local, axis=0), strict=True)
        return [block.whitening(mm, scales) for block, mm, scales in parts]

    def _split(self, marks: Floats, axis: int = -2) -> list[Floats]:
        return np.split(marks, self._ends, axis=axis)


def _block_slopes(
    block: Block, plane_mm: Floats, moves_mm: Floats, own: Floats, parameters: Sequence[P]
) -> tuple[Floats, Floats]:
    """Give how misfits move with the map's parameters and with the block's own unknowns, by central differences."""
    count = len(parameters)
    steps = DIFFERENCE * np.concatenate([[LARGEST_STEP[p] for p in parameters], block.bounds])
    away_mm = np.concatenate([steps[:count, None, None] * moves_mm, np.zeros((len(own), *plane_mm.shape))])
    own_away = np.concatenate([np.zeros((count, len(own))), np.diag(steps[count:])])
    ahead = block.misfits(plane_mm + away_mm, own + own_away)
    behind = block.misfits(plane_mm - away_mm, own - own_away)
    slopes = ((ahead - behind) / (2 * steps[:, None])).T
    return slopes[:, :count], slopes[:, count:]


def build(
    observations: Sequence[Observation],
    *,
    size: PictureSize,
    priors: dict[P, Prior],
    without: frozenset[Suspect] = frozenset(),
) -> Problem:
    """Give the problem that these observations make, leaving out what is suspected."""
    blocks: list[Block] = []
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
