"""What a drawn plan truly holds: its ink, its parts and the lengths that are known on it."""

from dataclasses import dataclass, replace
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

Points: TypeAlias = NDArray[np.float64]
"""(N, 2) array of (x, y)."""
Point: TypeAlias = tuple[float, float]


@dataclass(frozen=True, slots=True)
class InkStroke:
    """One stroke of a round pen.

    `points_mm` is its centre-line as a polyline, plan frame (mm, y up), never farther than 0.002 mm from the curve
    it stands for. A closed one does not repeat its first point. `role` is one of outline, inside (a line drawn on
    a part), dimension, centre, lettering, cross, border or title.
    """

    points_mm: Points
    width_mm: float
    closed: bool
    role: str


@dataclass(frozen=True, slots=True)
class PartTruth:
    """A part to be cut out: the centre-line of the line that bounds it, and of each opening in it (mm, plan frame)."""

    name: str
    boundary_mm: Points
    holes_mm: tuple[Points, ...] = ()


@dataclass(frozen=True, slots=True)
class KnownTruth:
    """A length that the plan states in figures, and the two places in the ink between which it is true."""

    name: str
    start_mm: Point
    end_mm: Point

    @property
    def length_mm(self) -> float:
        """The true distance between both ends."""
        return float(np.hypot(self.end_mm[0] - self.start_mm[0], self.end_mm[1] - self.start_mm[1]))


@dataclass(frozen=True, slots=True)
class Piece:
    """A piece of a drawing that can be put anywhere on the sheet."""

    strokes: tuple[InkStroke, ...] = ()
    parts: tuple[PartTruth, ...] = ()
    known: tuple[KnownTruth, ...] = ()

    def __add__(self, other: "Piece") -> "Piece":
        return Piece(self.strokes + other.strokes, self.parts + other.parts, self.known + other.known)

    def at(self, x_mm: float, y_mm: float) -> "Piece":
        """Give the piece moved by (x, y)."""
        by = np.array([x_mm, y_mm])
        return Piece(
            tuple(replace(stroke, points_mm=stroke.points_mm + by) for stroke in self.strokes),
            tuple(
                PartTruth(part.name, part.boundary_mm + by, tuple(hole + by for hole in part.holes_mm))
                for part in self.parts
            ),
            tuple(
                KnownTruth(
                    known.name,
                    (known.start_mm[0] + x_mm, known.start_mm[1] + y_mm),
                    (known.end_mm[0] + x_mm, known.end_mm[1] + y_mm),
                )
                for known in self.known
            ),
        )

    def bounds_mm(self) -> tuple[float, float, float, float]:
        """Give (x min, y min, x max, y max) of the centre-lines of all its ink."""
        points = np.concatenate([stroke.points_mm for stroke in self.strokes])
        low, high = points.min(axis=0), points.max(axis=0)
        return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def joined(pieces: list[Piece]) -> Piece:
    """Give many pieces as one."""
    return Piece(
        tuple(stroke for piece in pieces for stroke in piece.strokes),
        tuple(part for piece in pieces for part in piece.parts),
        tuple(known for piece in pieces for known in piece.known),
    )


@dataclass(frozen=True, slots=True)
class PlanTruth:
    """A plan on one sheet of paper, at full size.

    The frame is mm, y up, with its origin at the lower-left corner of the drawn border (centre of its line).
    `sheet_mm` holds the paper's corners and `border_mm` the border's, each (4, 2): upper-left, upper-right,
    lower-right, lower-left.
    """

    name: str
    sheet_mm: Points
    border_mm: Points
    strokes: tuple[InkStroke, ...]
    parts: tuple[PartTruth, ...]
    known: tuple[KnownTruth, ...]

    def known_named(self, name: str) -> KnownTruth:
        """Give the known length of that name; KeyError when there is none."""
        for known in self.known:
            if known.name == name:
                return known
        raise KeyError(name)


def rectangle_corners(x0_mm: float, y0_mm: float, x1_mm: float, y1_mm: float) -> Points:
    """Give (4, 2) corners: upper-left, upper-right, lower-right, lower-left."""
    return np.array([[x0_mm, y1_mm], [x1_mm, y1_mm], [x1_mm, y0_mm], [x0_mm, y0_mm]])
