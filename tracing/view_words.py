"""How the page says figures: a length with its give or take, how far off something is, how many sheets."""

import math
from fractions import Fraction

from drawing.build_fraction import LARGEST_SPOKEN_DENOMINATOR
from drawing.format import format_give


def with_give(mm: float, u95_mm: float) -> str:
    """Give a length no finer than its give or take: `990 mm, give or take 0.6 mm`."""
    return f"{plain_mm(mm, u95_mm)}, {give_or_take(u95_mm)}"


def give_or_take(u95_mm: float) -> str:
    """Give `give or take 0.6 mm`, rounded up so that it never promises too much."""
    if not math.isfinite(u95_mm):
        return "give or take unknown"
    return f"give or take {format_give(u95_mm).removeprefix('± ')}"


def plain_mm(mm: float, u95_mm: float) -> str:
    """Give a length in mm with the decimals that its give or take lets count: `990 mm`, `12.7 mm`, `3.05 mm`."""
    digits = 0 if u95_mm >= 5 else 1 if u95_mm >= 0.05 else 2
    figure = f"{mm:.{digits}f}"
    return f"{figure.rstrip('0').rstrip('.') if '.' in figure else figure} mm"


def plain_fraction(fraction: Fraction) -> str:
    """Give `1/2`, `1`, or `49.88 %` where the fraction was computed from a length."""
    if fraction.denominator <= LARGEST_SPOKEN_DENOMINATOR:
        return str(fraction)
    return f"{float(fraction * 100):.4g} %"


def counted(count: int, word: str) -> str:
    """Give `1 sheet`, `12 sheets`."""
    return f"{count} {word}{'' if count == 1 else 's'}"
