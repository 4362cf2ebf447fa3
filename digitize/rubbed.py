"""Drawn lines rubbed out by hand: bands over the picture inside which no stroke counts."""

import math
from dataclasses import dataclass

from digitize.strokes import DigitizeError
from drawing.paths import Point


@dataclass(frozen=True, slots=True)
class Rub:
    """One stroke of the rubber: a line through `points_px` (picture px, y down), `width_px` wide with round ends."""

    points_px: tuple[Point, ...]
    width_px: float

    def __post_init__(self) -> None:
        if not self.points_px:
            raise DigitizeError("A rubbed band has no points; it needs one or more: rub again.")
        if not all(math.isfinite(value) for point in self.points_px for value in point):
            raise DigitizeError("A rubbed band has a point that is not a number of pixels: rub again.")
        if not 0 < self.width_px < math.inf:
            raise DigitizeError(f"A rubbed band is {self.width_px} px wide; it must be above zero: rub again.")
