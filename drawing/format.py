"""Lengths in mm as words for people: the terminal, the report, the printed page."""

import math
from collections.abc import Sequence
from fractions import Fraction

from drawing.units import MM_PER_INCH

# What a steel rule shows; the rest is said in mm.
RULER_INCH = Fraction(1, 16)

# A length is said to this; below it paper, pencil and knife all fail.
SHOWN_MM = 0.1


def format_mm(mm: float) -> str:
    """Give a length to 0.1 mm: `914.4 mm`."""
    return f"{_rounded(mm, 1):.1f} mm"


def format_inches(mm: float) -> str:
    """Give a length to the nearest 1/16 inch as a rule shows it, and what is over or short in mm.

    `190.5` gives `7-1/2 in`, `190.9` gives `7-1/2 in + 0.4 mm`.
    """
    sixteenths = round(abs(mm) / MM_PER_INCH / RULER_INCH)
    whole, part = divmod(sixteenths * RULER_INCH, 1)
    over = _rounded(abs(mm) - float(sixteenths * RULER_INCH) * MM_PER_INCH, 1)
    said = f"{whole}-{part}" if whole and part else f"{part if part else whole}"
    sign = "-" if mm < 0 and sixteenths else ""
    rest = "" if abs(over) < SHOWN_MM / 2 else f" {'+' if over > 0 else '−'} {abs(over):.1f} mm"
    return f"{sign}{said} in{rest}"


def format_inches_near(mm: float) -> str:
    """Give a length to the nearest 1/16 inch and nothing more, for a headline: `7-1/2 in`."""
    return format_inches(float(round(mm / MM_PER_INCH / RULER_INCH) * RULER_INCH) * MM_PER_INCH)


def format_length(mm: float) -> str:
    """Give a length both ways: `190.5 mm (7-1/2 in)`."""
    return f"{format_mm(mm)} ({format_inches(mm)})"


def format_give(u95_mm: float) -> str:
    """Give a give or take, rounded up so that it never promises too much: `± 0.3 mm`, `± 0.04 mm`, `± 12 mm`."""
    if not math.isfinite(u95_mm):
        return "± unknown"
    digits = 0 if u95_mm >= 10 else 1 if u95_mm >= 0.1 else 2
    # A hair is taken off first, or 0.3 held as 0.30000000000000004 would be said as 0.4.
    up = math.ceil(u95_mm * 10**digits - 1e-9) / 10**digits
    return f"± {up:.{digits}f} mm"


def format_off(mm: float) -> str:
    """Give how far something is off, with its sign: `+0.12 mm`, `−1.4 mm`, `0.00 mm`."""
    digits = 2 if abs(mm) < 1 else 1
    value = _rounded(mm, digits)
    sign = "+" if value > 0 else "−" if value < 0 else ""
    return f"{sign}{abs(value):.{digits}f} mm"


def format_area(area_mm2: float) -> str:
    """Give an area in cm²: `41.3 cm²`; below 1 cm² in mm²."""
    if abs(area_mm2) < 100:
        return f"{_rounded(area_mm2, 1):.1f} mm²"
    return f"{_rounded(area_mm2 / 100, 1):.1f} cm²"


def format_numbers(numbers: Sequence[int]) -> str:
    """Give ascending numbers in words, three or more in a row by their ends: `7`, `2 and 3`, `1 to 4, 6 and 9`."""
    rows: list[list[int]] = []
    for number in numbers:
        if rows and number == rows[-1][-1] + 1:
            rows[-1].append(number)
        else:
            rows.append([number])
    words = [
        word
        for row in rows
        for word in ([f"{row[0]} to {row[-1]}"] if len(row) > 2 else [str(number) for number in row])
    ]
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def _rounded(value: float, digits: int) -> float:
    """Round, and never give minus zero."""
    return round(value, digits) + 0.0
