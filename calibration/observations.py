"""What the scale can rest on: marks, lengths, corners and lines that a person gave or the program found."""

import math
from dataclasses import dataclass, replace
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from drawing.errors import ScantlingError

PointPx: TypeAlias = tuple[float, float]
"""(x, y) in the picture frame: x right, y down, px, (0, 0) at the centre of the top-left pixel."""

CLICK_SIGMA_PX = 0.5
"""One-sigma error of a mark put by hand at full zoom (measured in trials)."""

SETTLED_SIGMA_PX = 0.15
"""One-sigma error of a mark moved to an ink crossing, corner or line end (measured in trials)."""

DRAUGHTING_MM = 0.2
"""Half width of what a carefully drawn line may be off on paper, in mm of paper (trade practice)."""

LEAN_SIGMA_RAD = 0.001
"""How far a drawn rectangle's angle is off 90 degrees: 1 mm on a metre; one real border leaned by two to six times
that, which shows as a misfit."""

LEAST_POINTS = 4
"""Two tell where a line lies, and two more whether it bends."""


class CalibrationError(ScantlingError):
    """Marks, lengths or corners from which no true scale follows."""


@dataclass(frozen=True, slots=True)
class KnownDistance:
    """Two reference marks whose true distance is known.

    `length_mm` is full size; `give_mm` is half the width within which the figure
    may be off at full size (rounding of the figure, draughting), `drawn_mm` draughting's
    part of it. `text` is the length as the person wrote it; `label` is how it is spoken of
    ("known distance 1").
    `along_px` are two places of a line where only the part along it is known: to a curved tip's farthest point, say.
    """

    start_px: PointPx
    end_px: PointPx
    length_mm: float
    give_mm: float = DRAUGHTING_MM
    text: str = ""
    label: str = "known distance"
    sigma_px: float = CLICK_SIGMA_PX
    along_px: tuple[PointPx, PointPx] | None = None
    drawn_mm: float = DRAUGHTING_MM

    def __post_init__(self) -> None:
        _refuse_no_length(self)


@dataclass(frozen=True, slots=True)
class CheckLength:
    """A length to compare with the result and never fitted; fields as in KnownDistance."""

    start_px: PointPx
    end_px: PointPx
    length_mm: float
    give_mm: float = DRAUGHTING_MM
    text: str = ""
    label: str = "check length"
    sigma_px: float = CLICK_SIGMA_PX
    along_px: tuple[PointPx, PointPx] | None = None

    def __post_init__(self) -> None:
        _refuse_no_length(self)


def _refuse_no_length(given: KnownDistance | CheckLength) -> None:
    if given.start_px == given.end_px:
        raise CalibrationError(
            f"Both marks of {given.label} are at {given.start_px}; a distance needs two places: mark its other end."
        )
    if not 0 < given.length_mm < math.inf:
        raise CalibrationError(
            f"{given.label.capitalize()} is {given.length_mm} mm; it must be above zero: type it again."
        )


@dataclass(frozen=True, slots=True)
class Corners:
    """Four corners of a rectangle on the plan: upper-left, upper-right, lower-right, lower-left as the plan reads.

    `width_mm` is first to second, `height_mm` second to third, full size; both None when the
    size is unknown. `give_mm` is half the width within which a corner or the size may be off at
    full size. `label` tells a given rectangle ("corners") from a found one ("drawn border").
    `lean_sigma_rad` is how far its angles are off 90 degrees.
    """

    points_px: tuple[PointPx, PointPx, PointPx, PointPx]
    width_mm: float | None = None
    height_mm: float | None = None
    label: str = "corners"
    sigma_px: float = CLICK_SIGMA_PX
    give_mm: float = DRAUGHTING_MM
    lean_sigma_rad: float = LEAN_SIGMA_RAD


@dataclass(frozen=True, slots=True)
class Across:
    """A line the builder lays straight: plan +x runs from `start_px` to `end_px`."""

    start_px: PointPx
    end_px: PointPx
    sigma_px: float = CLICK_SIGMA_PX


@dataclass(frozen=True, slots=True)
class Skew:
    """The turn of a scan found in its own lines: plan +x lies `angle_rad` from picture +x, clockwise as seen.

    `across_rad` is the same of the lines at right angles to plan +x, where there are enough of both: they differ where
    the scan is sheared.
    """

    angle_rad: float
    sigma_rad: float
    across_rad: float | None = None
    across_sigma_rad: float = math.inf

    @property
    def shear_rad(self) -> float:
        """How far the lines across are turned against those along, clockwise as seen; 0 where it is not told."""
        return 0.0 if self.across_rad is None else self.across_rad - self.angle_rad

    @property
    def shear_sigma_rad(self) -> float:
        """One sigma of `shear_rad`."""
        return math.hypot(self.sigma_rad, self.across_sigma_rad)


@dataclass(frozen=True, slots=True)
class StraightLine:
    """Points along a line that is straight on the plan, in order: (N, 2) picture px, N >= 4.

    `sigma_px` is one sigma of a point across the line; `give_mm` half the width within which the line as drawn and
    laid may sag or wave, full size. `found` tells one that nobody said to be straight: it was taken because it agrees.
    """

    points_px: NDArray[np.float64]
    sigma_px: float
    label: str = "straight line"
    give_mm: float = DRAUGHTING_MM
    found: bool = False

    def __post_init__(self) -> None:
        if len(self.points_px) < LEAST_POINTS:
            raise CalibrationError(
                f"The {self.label} has {len(self.points_px)} points; at least {LEAST_POINTS} along it are needed to "
                "tell how it bends: mark more of it or leave it out."
            )


@dataclass(frozen=True, slots=True)
class GivenScale:
    """Scale on trust from a tag, a stated dpi or a PDF page: full-size mm per px along picture x and y."""

    mm_per_px_x: float
    mm_per_px_y: float
    why: str
    relative_sigma: float


@dataclass(frozen=True, slots=True, eq=False)
class LaidCard:
    """One printed card on the plan: nominal places (N, 2), mm of the card's own paper, y up, and picture px (N, 2).

    `sigma_px` is one sigma of a place in x and in y.
    """

    label: str
    places_mm: NDArray[np.float64]
    points_px: NDArray[np.float64]
    sigma_px: float


@dataclass(frozen=True, slots=True, eq=False)
class Cards:
    """Cards of one printer lying on the plan, each where and how it was put down.

    Full size is `full_per_paper` times the paper. `bars` are what the printer made of the cards' x (0) or y (1):
    (axis, printed over nominal length, one sigma of that); without any it is known as printers are.
    """

    cards: tuple[LaidCard, ...]
    full_per_paper: float = 1.0
    bars: tuple[tuple[int, float, float], ...] = ()

    def less_sure(self, times: float) -> "Cards":
        """Give the same with sigmas that many times larger."""
        return replace(self, cards=tuple(replace(card, sigma_px=times * card.sigma_px) for card in self.cards))


Observation: TypeAlias = KnownDistance | CheckLength | Corners | Across | Skew | StraightLine | GivenScale | Cards
