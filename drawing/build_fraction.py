"""The fraction at which a builder builds: build size / full size."""

import re
from fractions import Fraction

from drawing.errors import DrawingError
from drawing.written_numbers import NUMBER, parse_number, plain_signs

# Ships are built at 1/1200 and microbes' models at 100 times: beyond these a slip is likelier than a wish.
SMALLEST = Fraction(1, 2000)
LARGEST = Fraction(100)

# A fraction with a larger lower number was computed, not chosen: percent says it better.
LARGEST_SPOKEN_DENOMINATOR = 1000
# As many decimals as a double holds.
MOST_DIGITS = 17

_HINT = "write it as 1/2, 0.5, 50 % or 1:2"


def parse_fraction(text: str) -> Fraction:
    """Read build size / full size exactly: `1/2`, `0.5`, `50 %`, `1:2` and `2` (twice full size).

    Raises
    ------
    DrawingError
        If it is no such number, not above zero, or outside 1/2000 to 100.
    """
    said = text.strip()
    plain = plain_signs(said)
    percent = re.fullmatch(rf"({NUMBER})\s*(?:%|percent|per cent)", plain, re.IGNORECASE)
    ratio = re.fullmatch(rf"({NUMBER})\s*:\s*({NUMBER})|([0-9.,]+)\s*/\s*([0-9.,]+)", plain)
    if percent is not None:
        fraction = parse_number(percent[1]) / 100
    elif re.fullmatch(NUMBER, plain):
        fraction = parse_number(plain)
    elif ratio is not None:
        build, full = ratio[1] or ratio[3], ratio[2] or ratio[4]
        below = parse_number(full)
        if below == 0:
            raise DrawingError(f'The fraction "{said}" divides by zero; its second number must be above zero: {_HINT}.')
        fraction = parse_number(build) / below
    elif re.match(r"[-+]\s*[0-9.]", plain):
        raise DrawingError(f'The fraction "{said}" has a sign before it; it is above zero and needs none: {_HINT}.')
    else:
        raise DrawingError(f'"{said}" is not a fraction; build size / full size is needed: {_HINT}.')
    if fraction == 0:
        raise DrawingError(f'The fraction "{said}" is zero; it must be above zero: {_HINT}.')
    if not SMALLEST <= fraction <= LARGEST:
        raise DrawingError(
            f'The fraction "{said}" is {float(fraction):.4g}; it must lie between 1/{SMALLEST.denominator} and '
            f"{LARGEST}: {_HINT}."
        )
    return fraction


def format_fraction(fraction: Fraction) -> str:
    """Give a fraction as `parse_fraction` reads it back exactly: `1/2`, `1`, `0.49876`."""
    if fraction.denominator <= LARGEST_SPOKEN_DENOMINATOR:
        return str(fraction)
    # Only tenths of tenths end as a decimal; any other is exact as it stands.
    digits = next((count for count in range(MOST_DIGITS + 1) if 10**count % fraction.denominator == 0), None)
    if digits is None:
        return str(fraction)
    figures = f"{fraction.numerator * 10**digits // fraction.denominator:0{digits + 1}d}"
    return f"{figures[:-digits]}.{figures[-digits:]}"


def speak_fraction(fraction: Fraction) -> str:
    """Give a fraction as a person says it: `full size`, `1/2 of full size`, `49.88 % of full size`."""
    if fraction == 1:
        return "full size"
    if fraction.denominator == 1:
        return f"{fraction} times full size"
    if fraction.denominator <= LARGEST_SPOKEN_DENOMINATOR:
        return f"{fraction} of full size"
    return f"{float(fraction * 100):.4g} % of full size"
