"""Points and lengths as typed on the command line: `12 47 = 36 in`, `310,95 2210,101`."""

import re
from dataclasses import dataclass
from typing import TypeAlias

from drawing.lengths import parse_length
from job.errors import JobError

TypedPoint: TypeAlias = int | tuple[float, float]
"""A number that `scantling look` gave, or (x, y) in picture px."""

_NUMBER = r"[+-]?(?:\d+\.?\d*|\.\d+)"
_ZERO = re.compile(r"0+(?:\.0*)?\s*(?:mm|cm|m|in|inch|inches|\")?", re.IGNORECASE)
_COORDINATES = re.compile(rf"({_NUMBER}),({_NUMBER})")


@dataclass(frozen=True, slots=True)
class TypedLength:
    """Two typed points and the length between them, as written."""

    start: TypedPoint
    end: TypedPoint
    text: str


@dataclass(frozen=True, slots=True)
class TypedCorners:
    """Four typed points and the size as written, or None."""

    points: tuple[TypedPoint, TypedPoint, TypedPoint, TypedPoint]
    size_text: str | None


def parse_length_between(text: str, *, option: str) -> TypedLength:
    """Read `A B = LENGTH`; the length itself is read later, with its own sentences.

    Raises
    ------
    JobError
        When there are not two points, an equals sign and a length.
    """
    left, sign, right = text.partition("=")
    points = parse_points(left, option=option)
    if not sign or not right.strip() or len(points) != 2:
        raise JobError(
            f"{option} {text!r} names {_many(len(points))}{'' if sign else ' and no length'}; "
            f'it needs two points and a length: write it like {option} "12 47 = 36 in".'
        )
    return TypedLength(points[0], points[1], right.strip())


def parse_corners(text: str, *, option: str) -> TypedCorners:
    """Read `P P P P` or `P P P P = W x H mm`."""
    left, sign, right = text.partition("=")
    points = parse_points(left, option=option)
    if len(points) != 4 or (sign and not right.strip()):
        raise JobError(
            f"{option} {text!r} names {_many(len(points))}; it needs the four corners, upper-left first and clockwise, "
            f'and if known the size: write it like {option} "3 8 41 37 = 420 x 297 mm".'
        )
    return TypedCorners((points[0], points[1], points[2], points[3]), right.strip() or None)


def parse_pair(text: str, *, option: str) -> tuple[TypedPoint, TypedPoint]:
    """Read `P P`."""
    points = parse_points(text, option=option)
    if len(points) != 2:
        raise JobError(f'{option} {text!r} names {_many(len(points))}; it needs two: write it like {option} "12 47".')
    return points[0], points[1]


def parse_points(text: str, *, option: str) -> tuple[TypedPoint, ...]:
    """Read points separated by blanks, each `x,y` in px or a number from `look`.

    Raises
    ------
    JobError
        Naming what is neither.
    """
    # "310, 95" is one point: the blank after a comma is a typing habit.
    words = re.sub(r"\s*,\s*", ",", text.strip()).split()
    return tuple(_point(word, option) for word in words)


def parse_width_mm(text: str) -> float:
    """Read a margin or overlap: a length, or nothing at all (`0 mm`)."""
    return 0.0 if _ZERO.fullmatch(text.strip()) else parse_length(text).mm


def _point(word: str, option: str) -> TypedPoint:
    if word.isdecimal() and word.isascii():
        return int(word)
    if match := _COORDINATES.fullmatch(word):
        return float(match[1]), float(match[2])
    raise JobError(
        f"{option} has {word!r} where a point belongs; a point is a number from `scantling look` or x,y in pixels: "
        "write it like 12 or 310.5,95."
    )


def _many(count: int) -> str:
    return f"{count} point" if count == 1 else f"{count} points"
