"""Lengths and sizes as people write them, in mm."""

import math
import re
from dataclasses import dataclass
from fractions import Fraction

from drawing.errors import DrawingError
from drawing.papers import PAPERS
from drawing.units import MM_PER_INCH
from drawing.written_numbers import NUMBER, parse_number, plain_signs

# Nothing on a plan is longer at full size than the longest ship (458 m); a longer figure is a slip of the unit.
LONGEST_MM = 1_000_000.0
# Finer than any line; a shorter figure is a slip of the unit.
SHORTEST_MM = 0.01

_INCH = Fraction(str(MM_PER_INCH))
_UNITS = {
    "mm": Fraction(1), "mm.": Fraction(1), "millimetre": Fraction(1), "millimetres": Fraction(1),
    "millimeter": Fraction(1), "millimeters": Fraction(1),
    "cm": Fraction(10), "cm.": Fraction(10), "centimetre": Fraction(10), "centimetres": Fraction(10),
    "centimeter": Fraction(10), "centimeters": Fraction(10),
    "m": Fraction(1000), "m.": Fraction(1000), "metre": Fraction(1000), "metres": Fraction(1000),
    "meter": Fraction(1000), "meters": Fraction(1000),
    "in": _INCH, "in.": _INCH, "inch": _INCH, "inches": _INCH, '"': _INCH,
    "ft": 12 * _INCH, "ft.": 12 * _INCH, "foot": 12 * _INCH, "feet": 12 * _INCH, "'": 12 * _INCH,
}  # fmt: skip
_FEET = frozenset(unit for unit, mm in _UNITS.items() if mm == 12 * _INCH)
_INCHES = frozenset(unit for unit, mm in _UNITS.items() if mm == _INCH)

_QUANTITY = re.compile(rf"(?P<number>{NUMBER})\s*(?P<unit>[a-z]+\.?|['\"])?", re.IGNORECASE)
_FEET_AND_INCHES = re.compile(
    rf"(?P<feet>{NUMBER})\s*(?P<foot>feet|foot|ft\.?|')\s*(?:-\s*|,\s*|and\s+)?(?P<inches>{NUMBER})\s*(?P<unit>[a-z]+\.?|['\"])?",
    re.IGNORECASE,
)
_DIVIDED = re.compile(rf"(?P<whole>.*?[a-z'\".)])\s*/\s*(?P<divisor>{NUMBER})", re.IGNORECASE)
_DIHEDRAL = re.compile(
    rf"(?P<length>.*?)\s*\bover\s+dihedral(?:\s+of)?\s+(?P<degrees>{NUMBER})\s*(?:°|deg\.?|degrees?)", re.IGNORECASE
)
_MOST_DIHEDRAL_DEG = 45
_GIVE_SIGN = re.compile(r"\s*(?:±|\+\s*/\s*-|\+\s*-)\s*")
_HINT = "write it as 36 in, 7-1/2 in, 2' 6\" or 190.5 mm"


@dataclass(frozen=True, slots=True)
class Length:
    """A length in mm as a person wrote it; `give_mm` is the half width after ±, None when none was written."""

    mm: float
    give_mm: float | None
    text: str


def parse_length(text: str) -> Length:
    """Read a length with its unit, in mm.

    Takes `36 in`, `36"`, `7-1/2"`, `7 ½ in`, `2' 6"`, `2 ft 6-1/2 in`, `190.5 mm`, `1,5 cm`, `1.2 m`; a trailing
    `/ 2` divides; `± 1/8 in`, `+- 2 mm`, `+/- 1/8` or `± 0.5 %` tells how far the figure may be off, in the
    length's own unit when it has none. A division before ± is of the length alone; `(36 in ± 1/8) / 2` divides both.
    `36 in over dihedral 6 deg` is a span seen from above over panels that rise so steeply: the length, then, is that of
    the panels as they are drawn flat.

    Raises
    ------
    DrawingError
        If there is no unit, more than one meaning, or a length that cannot be: not above zero or
        outside 0.01 mm to 1 km, or a give as large as the length; a dihedral of nothing or of 45 degrees and more.
    """
    said = text.strip()
    over = _DIHEDRAL.fullmatch(plain_signs(said))
    if over is None:
        return _flat_length(said)
    return _over_dihedral(_flat_length(over["length"].strip()), float(parse_number(over["degrees"])), said)


def _flat_length(said: str) -> Length:
    """Read a length without a dihedral."""
    plain = plain_signs(said)
    if not plain:
        raise DrawingError(f"A length is empty; it needs a number and a unit: {_HINT}.")
    divisor = Fraction(1)
    bracketed = re.fullmatch(rf"\((?P<inside>[^()]*)\)\s*(?:/\s*(?P<divisor>{NUMBER}))?", plain)
    if bracketed is not None:
        plain = bracketed["inside"].strip()
        divisor = _divisor(bracketed["divisor"], said) if bracketed["divisor"] else divisor
    main, *gives = _GIVE_SIGN.split(plain)
    if len(gives) > 1:
        raise DrawingError(f'"{said}" says give or take {len(gives)} times; it may be said once: type it again.')
    mm, unit = _plain_length(main, said)
    give = _give(gives[0], mm, unit, said) / divisor if gives else None
    mm /= divisor
    _refuse_impossible(mm, said)
    return Length(float(mm), None if give is None else float(give), said)


def _over_dihedral(seen_above: Length, dihedral_deg: float, said: str) -> Length:
    """Give the length along panels that rise by an angle from the length seen from above."""
    if not 0 < dihedral_deg < _MOST_DIHEDRAL_DEG:
        raise DrawingError(
            f'"{said}" has a dihedral of {dihedral_deg:g} degrees; it is how far one panel rises and must lie between '
            f"0 and {_MOST_DIHEDRAL_DEG}: type it again, or leave it out for a span measured flat."
        )
    rise = math.cos(math.radians(dihedral_deg))
    give_mm = None if seen_above.give_mm is None else seen_above.give_mm / rise
    return Length(seen_above.mm / rise, give_mm, said)


def parse_size(text: str) -> tuple[float, float]:
    """Read a width and a height, (width, height) in mm.

    Takes `420 x 297 mm`, `16-1/2 in × 11 in`, `2' 6" by 4'`, and paper names: `A4`, `A3 landscape`, `Letter`.
    A first figure without a unit has the second's; paper stands upright unless `landscape` follows.

    Raises
    ------
    DrawingError
        If it is no such size, or a length in it is refused.
    """
    said = text.strip()
    plain = plain_signs(said)
    words = plain.lower().split()
    if words and words[0] in PAPERS and words[1:] in ([], ["portrait"], ["landscape"]):
        paper = PAPERS[words[0]]
        if words[1:] == ["landscape"]:
            return paper.height_mm, paper.width_mm
        return paper.width_mm, paper.height_mm
    sides = re.split(r"\s*(?:x|\*|by)\s*", plain, flags=re.IGNORECASE)
    if len(sides) != 2 or not all(sides):
        names = ", ".join(paper.name for paper in PAPERS.values())
        raise DrawingError(
            f'"{said}" is not a size; a width, x, a height and their unit are needed, or a paper ({names}): '
            "write it as 420 x 297 mm or A3 landscape."
        )
    if any(_GIVE_SIGN.search(side) for side in sides):
        raise DrawingError(f'"{said}" has a give or take; a size takes none: leave it out.')
    height, unit = _plain_length(sides[1], said)
    width, _ = _plain_length(sides[0] if _has_unit(sides[0]) else f"{sides[0]} {unit}", said)
    for side in (width, height):
        _refuse_impossible(side, said)
    return float(width), float(height)


def _plain_length(text: str, said: str) -> tuple[Fraction, str]:
    """Give mm and the unit last named, of a length without ±."""
    if re.match(r"[-+]\s*[0-9.]", text):
        raise DrawingError(f'"{said}" has a sign before it; a length is above zero and needs none: leave the sign out.')
    divided = _DIVIDED.fullmatch(text)
    if divided is not None:
        mm, unit = _plain_length(divided["whole"], said)
        return mm / _divisor(divided["divisor"], said), unit
    both = _FEET_AND_INCHES.fullmatch(text)
    if both is not None:
        return _feet_and_inches(both, said), "in"
    quantity = _QUANTITY.fullmatch(text)
    if quantity is None:
        raise DrawingError(f'"{said}" is not a length; a number and a unit are needed: {_HINT}.')
    unit = (quantity["unit"] or "").lower()
    if not unit:
        raise DrawingError(
            f'"{said}" has no unit; a length needs one: write {quantity["number"]} mm or {quantity["number"]} in.'
        )
    if unit not in _UNITS:
        raise DrawingError(
            f'"{said}" is in "{unit}"; a length must be in mm, cm, m, in or ft: write it in one of these.'
        )
    return parse_number(quantity["number"]) * _UNITS[unit], unit


def _feet_and_inches(both: re.Match[str], said: str) -> Fraction:
    unit = (both["unit"] or "").lower()
    if unit not in _INCHES:
        found = f'feet, then {both["inches"]} in "{unit}"' if unit else f"feet, then {both['inches']} with no unit"
        raise DrawingError(f'"{said}" has {found}; inches must follow feet: write it as 2\' 6".')
    feet, inches = parse_number(both["feet"]), parse_number(both["inches"])
    if feet.denominator != 1:
        raise DrawingError(f'"{said}" has part of a foot and inches as well; feet before inches are whole: {_HINT}.')
    if inches >= 12:
        raise DrawingError(
            f'"{said}" has {both["inches"]} inches after the feet; they must be below 12: type it again.'
        )
    return (12 * feet + inches) * _INCH


def _divisor(text: str, said: str) -> Fraction:
    divisor = parse_number(text)
    if divisor == 0:
        raise DrawingError(f'"{said}" is divided by zero; it must be by a number above zero, as in 36 in / 2.')
    return divisor


def _give(text: str, mm: Fraction, unit: str, said: str) -> Fraction:
    """Half width after ±, mm."""
    percent = re.fullmatch(rf"({NUMBER})\s*%", text)
    if percent is not None:
        give = mm * parse_number(percent[1]) / 100
    elif _has_unit(text):
        give, _ = _plain_length(text, said)
    elif unit in _FEET:
        raise DrawingError(f'The give or take of "{said}" has no unit; after feet it needs one: write it as ± 1/4 in.')
    else:
        give, _ = _plain_length(f"{text} {unit}", said)
    if not 0 < give < mm:
        raise DrawingError(
            f'The give or take of "{said}" is {float(give):g} mm; it must lie between zero and the length itself '
            f"({float(mm):g} mm): type it again, or leave it out."
        )
    return give


def _has_unit(text: str) -> bool:
    return re.fullmatch(NUMBER, text.strip()) is None


def _refuse_impossible(mm: Fraction, said: str) -> None:
    if mm <= 0:
        raise DrawingError(f'"{said}" is zero; a length must be above zero: type it again.')
    if not SHORTEST_MM <= mm <= LONGEST_MM:
        raise DrawingError(
            f'"{said}" is {float(mm):.6g} mm; a length must lie between {SHORTEST_MM:g} mm and '
            f"{LONGEST_MM / 1000:g} m: check its unit."
        )
