"""How far each kind of observation is from being met, and how sure each is: the rows of the adjustment."""

import math
from dataclasses import dataclass, field
from enum import Enum, auto
from typing import Protocol

import numpy as np

from calibration.observations import (
    SETTLED_SIGMA_PX,
    Corners,
    GivenScale,
    KnownDistance,
    PointPx,
    Skew,
    StraightLine,
)
from calibration.plane_map import Floats, PictureSize

DROPPED_TIMES = 1e4
"""A corner that is left out keeps its place, with an error this many times larger."""

DIFFERENCE = 1e-6
"""Step of a block's numerical derivative, as a part of its marks' extent and of each bound: central differences are
then good to 1e-9."""

Rows = tuple[int, ...]


class Sides(Enum):
    """Which sides of a rectangle count as known."""

    BOTH = auto()
    WIDTH = auto()
    NONE = auto()


class Block(Protocol):
    """One or more observations with the unknowns that only they need."""

    @property
    def points_px(self) -> Floats:
        """(k, 2) marks in the picture."""

    @property
    def bounds(self) -> Floats:
        """(q,) unit and largest step of each own unknown."""

    @property
    def priors(self) -> tuple[tuple[int, float, float], ...]:
        """(own unknown, expected, sigma) of the own unknowns about which something is known."""

    def start(self, plane_mm: Floats) -> Floats:
        """Give (q,) starting values for the marks' places (k, 2) on the plane."""

    def misfits(self, plane_mm: Floats, unknowns: Floats) -> Floats:
        """Give (B, m) misfits for B sets: marks on the plane (B, k, 2) and own unknowns (B, q)."""

    def slopes(self, plane_mm: Floats, moves_mm: Floats, unknowns: Floats) -> tuple[Floats, Floats]:
        """Give (m, p) and (m, q): how misfits move where the marks (k, 2) move by (p, k, 2), and with own unknowns."""

    def whitening(self, plane_mm: Floats, local: Floats) -> Floats:
        """Give the matrix that takes misfits (m,) to rows of unit covariance.

        From marks (k, 2) on the plane and the map's derivative (k, 2, 2) there.
        """


@dataclass(frozen=True, slots=True)
class KnownsBlock:
    """Known distances; a misfit is fitted less given length, mm."""

    knowns: tuple[KnownDistance, ...]
    bounds: Floats = field(default_factory=lambda: np.zeros(0))
    priors: tuple[tuple[int, float, float], ...] = ()

    @property
    def points_px(self) -> Floats:
        """Starts and ends in turn."""
        return np.array([p for known in self.knowns for p in (known.start_px, known.end_px)], dtype=np.float64)

    def start(self, plane_mm: Floats) -> Floats:
        """No unknowns."""
        return np.zeros(0)

    def misfits(self, plane_mm: Floats, unknowns: Floats) -> Floats:
        """Give lengths on the plane less the given ones."""
        along = plane_mm[..., 1::2, :] - plane_mm[..., ::2, :]
        return np.asarray(np.hypot(along[..., 0], along[..., 1]) - [known.length_mm for known in self.knowns])

    def slopes(self, plane_mm: Floats, moves_mm: Floats, unknowns: Floats) -> tuple[Floats, Floats]:
        """A length grows by what its ends move apart along it."""
        along = plane_mm[1::2] - plane_mm[::2]
        along = along / np.hypot(along[:, 0], along[:, 1])[:, None]
        apart = moves_mm[:, 1::2] - moves_mm[:, ::2]
        return (apart * along).sum(axis=2).T, np.zeros((len(along), 0))

    def whitening(self, plane_mm: Floats, local: Floats) -> Floats:
        """Marks through the local scale, and the give as a rectangular distribution."""
        along = plane_mm[1::2] - plane_mm[::2]
        along = along / np.hypot(along[:, 0], along[:, 1])[:, None]
        px = np.array([known.sigma_px for known in self.knowns])
        give = np.array([known.give_mm for known in self.knowns])
        at_ends = sum((np.einsum("ni,nij->nj", along, local[end::2]) ** 2).sum(axis=1) for end in (0, 1))
        return np.diag(1 / np.sqrt(px**2 * at_ends + give**2 / 3))


@dataclass(frozen=True, slots=True)
class CornersBlock:
    """Four corners of a rectangle; a misfit is a corner's place on the plane less the rectangle's, mm.

    Own unknowns: middle x, y, turn, log width, log height, lean (its angle's error). In place of a corner that is left
    out stands, where there is one, the place in `by_sides` that its sides give.
    """

    corners: Corners
    sides: Sides
    dropped: frozenset[int] = frozenset()
    by_sides: tuple[tuple[int, PointPx], ...] = ()

    @property
    def points_px(self) -> Floats:
        """Upper-left, upper-right, lower-right, lower-left."""
        points = np.array(self.corners.points_px, dtype=np.float64)
        for corner, place in self.by_sides:
            points[corner] = place
        return points

    @property
    def bounds(self) -> Floats:
        """A tenth of a size, or radian: far less than what the start is off by in the worst of views."""
        reach = 0.1 * (self.corners.width_mm or 1000.0)
        return np.array([reach, reach, 0.1, 0.1, 0.1, 0.1])

    @property
    def priors(self) -> tuple[tuple[int, float, float], ...]:
        """The size where given, and that it is a rectangle."""
        give = self.corners.give_mm / math.sqrt(3)
        told = []
        if self.corners.width_mm is not None and self.sides is not Sides.NONE:
            told.append((3, math.log(self.corners.width_mm), give / self.corners.width_mm))
        if self.corners.height_mm is not None and self.sides is Sides.BOTH:
            told.append((4, math.log(self.corners.height_mm), give / self.corners.height_mm))
        return (*told, (5, 0.0, self.corners.lean_sigma_rad))

    def start(self, plane_mm: Floats) -> Floats:
        """Give the rectangle nearest the four places."""
        ul, ur, lr, ll = plane_mm
        x, y = plane_mm.mean(axis=0)
        across = ur + lr - ul - ll
        down = lr + ll - ul - ur
        width, height = np.hypot(*across) / 2, np.hypot(*down) / 2
        return np.array([x, y, math.atan2(across[1], across[0]), math.log(width), math.log(height), 0.0])

    def misfits(self, plane_mm: Floats, unknowns: Floats) -> Floats:
        """Give x and y of each corner in turn."""
        x, y, turn, log_width, log_height, lean = (unknowns[..., i, None] for i in range(6))
        v = np.exp(log_height) / 2 * np.array([1.0, 1.0, -1.0, -1.0])
        u = np.exp(log_width) / 2 * np.array([-1.0, 1.0, 1.0, -1.0]) + lean * v
        cos, sin = np.cos(turn), np.sin(turn)
        rectangle = np.stack([x + cos * u - sin * v, y + sin * u + cos * v], axis=-1)
        off: Floats = (plane_mm - rectangle).reshape(*plane_mm.shape[:-2], 8)
        return off

    def slopes(self, plane_mm: Floats, moves_mm: Floats, unknowns: Floats) -> tuple[Floats, Floats]:
        """A corner moves as its mark does, and away from its rectangle's."""
        _, _, turn, log_width, log_height, lean = unknowns
        v = math.exp(log_height) / 2 * np.array([1.0, 1.0, -1.0, -1.0])
        half = math.exp(log_width) / 2 * np.array([-1.0, 1.0, 1.0, -1.0])
        cos, sin = math.cos(turn), math.sin(turn)
        none, one = np.zeros(4), np.ones(4)
        u = half + lean * v
        rectangle = np.array(
            [[one, none], [none, one], [-sin * u - cos * v, cos * u - sin * v], [cos * half, sin * half],
             [cos * lean * v - sin * v, sin * lean * v + cos * v], [cos * v, sin * v]]
        )  # fmt: skip
        return moves_mm.reshape(len(moves_mm), 8).T, -np.swapaxes(rectangle, 1, 2).reshape(6, 8).T

    def whitening(self, plane_mm: Floats, local: Floats) -> Floats:
        """Marks through the local scale, and how true the corner was drawn."""
        whole = np.zeros((8, 8))
        held = {corner for corner, _ in self.by_sides}
        for i in range(4):
            grow = DROPPED_TIMES**2 if i in self.dropped - held else 1.0
            sigma_px = SETTLED_SIGMA_PX if i in held else self.corners.sigma_px
            drawn = self.corners.give_mm**2 / 3 * np.eye(2)
            whole[2 * i : 2 * i + 2, 2 * i : 2 * i + 2] = grow * (sigma_px**2 * local[i] @ local[i].T + drawn)
        return _whitener(whole)


@dataclass(frozen=True, slots=True)
class ScaleBlock:
    """A scale on trust; a misfit is the log of fitted over given scale, in x and in y."""

    scale: GivenScale
    size: PictureSize
    bounds: Floats = field(default_factory=lambda: np.zeros(0))
    priors: tuple[tuple[int, float, float], ...] = ()

    @property
    def points_px(self) -> Floats:
        """The ends of the picture's middle row, then of its middle column."""
        (x, y), right, bottom = self.size.middle_px, self.size.width_px - 1.0, self.size.height_px - 1.0
        return np.array([[0, y], [right, y], [x, 0], [x, bottom]])

    def start(self, plane_mm: Floats) -> Floats:
        """No unknowns."""
        return np.zeros(0)

    def misfits(self, plane_mm: Floats, unknowns: Floats) -> Floats:
        """Give the logs of the two ratios."""
        along = plane_mm[..., 1::2, :] - plane_mm[..., ::2, :]
        return np.asarray(np.log(np.hypot(along[..., 0], along[..., 1]) / self.lengths_mm()))

    def slopes(self, plane_mm: Floats, moves_mm: Floats, unknowns: Floats) -> tuple[Floats, Floats]:
        """By differences."""
        return difference_slopes(self, plane_mm, moves_mm, unknowns)

    def whitening(self, plane_mm: Floats, local: Floats) -> Floats:
        """As stated with the scale."""
        return np.eye(2) / self.scale.relative_sigma

    def lengths_mm(self) -> Floats:
        """Give what the middle row and the middle column measure at the given scale, end pixel to end pixel."""
        return np.array(
            [
                self.scale.mm_per_px_x * (self.size.width_px - 1),
                self.scale.mm_per_px_y * (self.size.height_px - 1),
            ]
        )


@dataclass(frozen=True, slots=True)
class LineBlock:
    """A line that is straight on the plan; `line_rows` makes the rows of all of them."""

    line: StraightLine
    bounds: Floats = field(default_factory=lambda: np.zeros(0))
    priors: tuple[tuple[int, float, float], ...] = ()

    @property
    def points_px(self) -> Floats:
        """The line's points in order."""
        return np.asarray(self.line.points_px, dtype=np.float64)


@dataclass(frozen=True, slots=True)
class SquareBlock:
    """Two families of drawn lines that are at right angles on the plan; the misfit is an angle, radians."""

    skew: Skew
    size: PictureSize
    bounds: Floats = field(default_factory=lambda: np.zeros(0))
    priors: tuple[tuple[int, float, float], ...] = ()

    @property
    def points_px(self) -> Floats:
        """The picture's middle, a place from there along the one family, and one along the other."""
        assert self.skew.across_rad is not None
        (x, y), reach = self.size.middle_px, self.size.half_diagonal_px / 2
        along, across = self.skew.angle_rad, self.skew.across_rad
        # Clockwise as seen is from x to y where y runs down.
        return np.array(
            [
                [x, y],
                [x + reach * math.cos(along), y + reach * math.sin(along)],
                [x - reach * math.sin(across), y + reach * math.cos(across)],
            ]
        )

    def start(self, plane_mm: Floats) -> Floats:
        """No unknowns."""
        return np.zeros(0)

    def misfits(self, plane_mm: Floats, unknowns: Floats) -> Floats:
        """Give what the angle is off a right one."""
        along, across = (plane_mm[..., end, :] - plane_mm[..., 0, :] for end in (1, 2))
        dot = (along * across).sum(axis=-1)
        cross = along[..., 0] * across[..., 1] - along[..., 1] * across[..., 0]
        return np.asarray(np.arctan2(dot, np.abs(cross))[..., None])

    def slopes(self, plane_mm: Floats, moves_mm: Floats, unknowns: Floats) -> tuple[Floats, Floats]:
        """By differences."""
        return difference_slopes(self, plane_mm, moves_mm, unknowns)

    def whitening(self, plane_mm: Floats, local: Floats) -> Floats:
        """As sure as both families' directions are."""
        return np.eye(1) / self.skew.shear_sigma_rad


def difference_slopes(block: Block, plane_mm: Floats, moves_mm: Floats, unknowns: Floats) -> tuple[Floats, Floats]:
    """Give a block's `slopes` by central differences."""
    count = len(moves_mm)
    largest = np.abs(moves_mm).max(axis=(1, 2), initial=0.0)
    reach = float(np.abs(plane_mm - plane_mm[0]).max())
    away = DIFFERENCE * reach / np.where(largest > 0, largest, 1.0)
    steps = np.concatenate([away, DIFFERENCE * block.bounds])
    moved = np.concatenate([away[:, None, None] * moves_mm, np.zeros((len(unknowns), *plane_mm.shape))])
    own = np.concatenate([np.zeros((count, len(unknowns))), np.diag(steps[count:])])
    ahead, behind = (block.misfits(plane_mm + way * moved, unknowns + way * own) for way in (1, -1))
    slopes = ((ahead - behind) / (2 * steps[:, None])).T
    return slopes[:, :count], slopes[:, count:]


def _whitener(covariance: Floats) -> Floats:
    return np.asarray(np.linalg.inv(np.linalg.cholesky(covariance)))
