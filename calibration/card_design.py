"""What is printed on a card: its squares, markers and numbers, in mm from the pattern's middle, and its sheet's bars.

A card is a ChArUco board: a chessboard with a marker in each white square (Garrido-Jurado et al. 2014; OpenCV's aruco
module). Only the chessboard's inner corners are measured: ink that spreads, light and blur move them nowhere, while
a marker's own corners are drawn inwards by a third of a px.
"""

from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.observations import CalibrationError
from drawing.format import format_mm

Floats = NDArray[np.float64]

SQUARES = 6
"""Squares each way: 25 inner corners, and 18 markers whose cells are still 5 px wide on a 12 MP picture of an A1 sheet
with cards of 60 mm. More squares would have smaller cells, fewer would place a card less well."""

MARKERS = SQUARES * SQUARES // 2

MARKER_SHARE = 0.7
"""A marker's side, in squares: larger, it comes near the corners that are measured; smaller, its cells blur."""

SIZES_MM = (60.0, 80.0, 100.0, 120.0, 40.0, 150.0)
"""Sides of the pattern. A marker tells the size with the number, so no card can pass for one of another size: this
order is printed on paper and must never change."""

NUMBERS = 8
"""Cards of one size that can be told apart."""

DICTIONARY = cv2.aruco.DICT_4X4_1000

QUIET_MM = 5.0
"""White round the pattern, to the cut: a marker in an outer square needs it where the plan is dark beside the card."""

WORDS_MM = 11.0
"""Height of the strip below the pattern with the card's number, its bars' figure and what to do."""

LONG_BAR_MM, SHORT_BAR_MM = 200.0, 150.0
"""The sheet's own bars, up and across it: to be measured, which tells what the printer made of a mm. They differ, so
that one cannot be taken for the other."""


@dataclass(frozen=True)
class CardDesign:
    """One card: its number from 1, and the side of its pattern."""

    number: int
    size_mm: float = SIZES_MM[0]

    def __post_init__(self) -> None:
        if self.size_mm not in SIZES_MM:
            sizes = ", ".join(f"{size:g}" for size in sorted(SIZES_MM))
            raise CalibrationError(
                f"A card of {format_mm(self.size_mm)} was asked for; cards come in {sizes} mm, which their markers "
                "tell: take one of these."
            )
        if not 1 <= self.number <= NUMBERS:
            raise CalibrationError(f"Card {self.number} was asked for; cards of one size are numbered 1 to {NUMBERS}.")

    @cached_property
    def first_marker(self) -> int:
        """The number of its first marker; the others follow."""
        return (SIZES_MM.index(self.size_mm) * NUMBERS + self.number - 1) * MARKERS

    @property
    def square_mm(self) -> float:
        """A square's side."""
        return self.size_mm / SQUARES

    def inner_corners_mm(self) -> Floats:
        """Give the ((SQUARES - 1)^2, 2) inner corners, row by row from the upper left; y up from the middle."""
        steps = (np.arange(1, SQUARES) - SQUARES / 2) * self.square_mm
        x, y = np.meshgrid(steps, -steps)
        return np.column_stack([x.ravel(), y.ravel()])

    def dark_squares_mm(self) -> Floats:
        """Give the (18, 2) lower-left corners of the dark squares."""
        return np.array([self._lower_left(row, column) for row, column in _places(dark=True)])

    def markers_mm(self) -> Floats:
        """Give each marker's corners (18, 4, 2): upper-left, upper-right, lower-right, lower-left as the card reads."""
        side, inset = MARKER_SHARE * self.square_mm, (1 - MARKER_SHARE) / 2 * self.square_mm
        low = np.array([self._lower_left(row, column) for row, column in _places(dark=False)]) + inset
        corners: Floats = low[:, None, :] + side * np.array([[0, 1], [1, 1], [1, 0], [0, 0]])
        return corners

    def marker_cells(self) -> NDArray[np.bool_]:
        """Give which cells of each marker are dark, (18, 6, 6), rows from the top."""
        dictionary = cv2.aruco.getPredefinedDictionary(DICTIONARY)
        cells = int(dictionary.markerSize) + 2
        drawn = [dictionary.generateImageMarker(self.first_marker + n, cells) for n in range(MARKERS)]
        dark: NDArray[np.bool_] = np.array(drawn) == 0
        return dark

    def outline_mm(self) -> tuple[float, float, float, float]:
        """Give the cut card's box: left, lower, right, upper."""
        half = self.size_mm / 2 + QUIET_MM
        return -half, -half - WORDS_MM, half, half

    def _lower_left(self, row: int, column: int) -> tuple[float, float]:
        return (column - SQUARES / 2) * self.square_mm, (SQUARES / 2 - row - 1) * self.square_mm


def design_of(marker: int) -> tuple[CardDesign, int] | None:
    """Give the card that a marker is on and which of its markers it is, or None for one that no card has."""
    card, place = divmod(marker, MARKERS)
    size, number = divmod(card, NUMBERS)
    return (CardDesign(number + 1, SIZES_MM[size]), place) if size < len(SIZES_MM) else None


def _places(*, dark: bool) -> list[tuple[int, int]]:
    """Rows and columns of the dark or the white squares, row by row; the upper-left one is dark."""
    return [(row, column) for row in range(SQUARES) for column in range(SQUARES) if ((row + column) % 2 == 0) is dark]
