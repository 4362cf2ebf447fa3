"""Wing sections by the published NACA four-digit formula, and ribs cut from them."""

import math
from dataclasses import dataclass

import numpy as np

from sample_scans.truth import Points

_STATIONS = 700  # cosine spaced; keeps chords of a 2 mm nose radius on a 150 mm chord within 0.002 mm


@dataclass(frozen=True, slots=True)
class Section:
    """A NACA four-digit section: camber and thickness in chords, place of the largest camber in chords."""

    camber: float
    camber_at: float
    thickness: float

    @classmethod
    def from_digits(cls, digits: str) -> "Section":
        """Give the section named by its four digits, such as 4412."""
        return cls(int(digits[0]) / 100, int(digits[1]) / 10, int(digits[2:]) / 100)

    def surfaces(self) -> tuple[Points, Points]:
        """Give the upper and the lower surface of unit chord, (N, 2), from nose to trailing edge.

        NACA Report 460: y_t = 5 t (0.2969 sqrt x - 0.1260 x - 0.3516 x^2 + 0.2843 x^3 - 0.1036 x^4), the last
        figure in its variant for a sharp trailing edge, laid off square to the camber line.
        """
        x = (1 - np.cos(np.linspace(0, math.pi, _STATIONS))) / 2
        thick = 5 * self.thickness * (0.2969 * np.sqrt(x) - 0.1260 * x - 0.3516 * x**2 + 0.2843 * x**3 - 0.1036 * x**4)
        thick[-1] = 0.0
        m, p = self.camber, self.camber_at
        if m == 0:
            line, slope = np.zeros_like(x), np.zeros_like(x)
        else:
            ahead = x < p
            line = np.where(ahead, m / p**2 * (2 * p * x - x**2), m / (1 - p) ** 2 * (1 - 2 * p + 2 * p * x - x**2))
            slope = np.where(ahead, 2 * m / p**2 * (p - x), 2 * m / (1 - p) ** 2 * (p - x))
        angle = np.arctan(slope)
        upper = np.column_stack([x - thick * np.sin(angle), line + thick * np.cos(angle)])
        lower = np.column_stack([x + thick * np.sin(angle), line - thick * np.cos(angle)])
        return upper, lower


def plain_rib(section: Section, *, chord_mm: float) -> Points:
    """Give a whole section, counter-clockwise from its sharp trailing edge at (chord, 0); the nose is at the origin."""
    upper, lower = section.surfaces()
    return np.concatenate([upper[::-1], lower[1:-1]]) * chord_mm


@dataclass(frozen=True, slots=True)
class RibCuts:
    """What is cut out of a rib: spar notches from top and bottom, and the leading edge's notch in a square nose."""

    spar_from_mm: float
    spar_width_mm: float = 3.0
    spar_depth_mm: float = 3.0
    nose_at_mm: float = 3.0
    nose_notch_mm: float = 2.5


def notched_rib(section: Section, *, chord_mm: float, cuts: RibCuts) -> Points:
    """Give a rib with square spar notches top and bottom, a notch in its nose and a sharp trailing edge.

    Counter-clockwise, chord line on y = 0, the trailing edge at (chord, 0), the nose cut off square at
    `cuts.nose_at_mm`.
    """
    upper, lower = (surface * chord_mm for surface in section.surfaces())
    lower_run = _notched(lower, cuts, inward=1.0)
    upper_run = _notched(upper, cuts, inward=-1.0)
    front_middle = (lower_run[0, 1] + upper_run[0, 1]) / 2
    half, depth = cuts.nose_notch_mm / 2, cuts.nose_notch_mm
    x = cuts.nose_at_mm
    notch = np.array(
        [
            [x, front_middle + half],
            [x + depth, front_middle + half],
            [x + depth, front_middle - half],
            [x, front_middle - half],
        ]
    )
    return np.concatenate([lower_run, upper_run[::-1][1:], notch])


def _notched(surface: Points, cuts: RibCuts, *, inward: float) -> Points:
    """One surface from the cut nose to the trailing edge, with its notch; its floor is square to the chord line."""
    x, y = surface[surface[:, 0].argmin() :].T
    left, right = cuts.spar_from_mm, cuts.spar_from_mm + cuts.spar_width_mm
    y_nose, y_left, y_middle, y_right = np.interp([cuts.nose_at_mm, left, (left + right) / 2, right], x, y)
    floor = y_middle + inward * cuts.spar_depth_mm
    ahead = (x > cuts.nose_at_mm) & (x < left)
    behind = x > right
    return np.concatenate(
        [
            [[cuts.nose_at_mm, y_nose]],
            surface[surface[:, 0].argmin() :][ahead],
            [[left, y_left], [left, floor], [right, floor], [right, y_right]],
            surface[surface[:, 0].argmin() :][behind],
        ]
    )
