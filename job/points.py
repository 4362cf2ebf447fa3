"""Points and lengths as typed on the command line: `12 47 = 36 in`, `310,95 2210,101`."""

import re
from dataclasses import dataclass
from typing import TypeAlias

from drawing.lengths import parse_length
from job.errors import JobError

MOST_DIGITS = 9
"""No picture has a thousand million points; a longer number is a slip of the hand."""

SHOWN_LENGTH = 60
"""How much of a wrong word is repeated back, characters."""

TypedPoint: TypeAlias = int | tuple[float, float]
"""A number that `scantling look` gave, or (x, y) in picture px."""

_NUMBER = r"[+-]?(?:\d+\.?\d*|\.\d+)"
_ZERO = re.compile(r"0+(?:\.0*)?\s*(?:mm|cm|m|in|inch|inches|\")?", re.IGNORECASE)
_COORDINATES = re.compile(rf"({_NUMBER}),({_NUMBER})")


@dataclass(frozen=True, slots=True)
class TypedLength:
    """Two typed points and the length between them, as written; `along` are two points of the line it is along."""

    start: TypedPoint
    end: TypedPoint
    text: str
    along: tuple[TypedPoint, TypedPoint] | None = None


@dataclass(frozen=True, slots=True)
class TypedCorners:
    """Four typed points and the size as written, or None."""

    points: tuple[TypedPoint, TypedPoint, TypedPoint, TypedPoint]
    size_text: str | None


def parse_length_between(text: str, *, option: str) -> TypedLength:
    """Read `A B = LENGTH` or `A B along C D = LENGTH`; the length itself is read later, with its own sentences.

    Raises
    ------
    JobError
        When there are not two points, an equals sign and a length, or another number of points after `along`.
    """
    left, sign, right = text.partition("=")
    ends, along, line = left.partition(" along ")
    points = parse_points(ends, option=option)
    line_points = parse_points(line, option=option)
    if along and len(line_points) != 2:
        raise JobError(
            f"{option} {text!r} names {_many(len(line_points))} after along; it needs two, of a line that runs the way "
            f'the length is measured: write it like {option} "12 47 along 3 9 = 36 in / 2".'
        )
    if not sign or not right.strip() or len(points) != 2:
        raise JobError(
            f"{option} {text!r} names {_many(len(points))}{'' if sign else ' and no length'}; "
            f'it needs two points and a length: write it like {option} "12 47 = 36 in".'
        )
    return TypedLength(points[0], points[1], right.strip(), (line_points[0], line_points[1]) if along else None)


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
    """Read a margin or overlap: a length, or nothing at all (`0 mm`).

    Raises
    ------
    DrawingError
        When it is no length.
    JobError
        When it has a give or take.
    """
    return 0.0 if _ZERO.fullmatch(text.strip()) else parse_exact_mm(text, "A margin or overlap")


def parse_exact_mm(text: str, what: str) -> float:
    """Read a length that is set, not measured, so that no give or take can belong to it.

    Raises
    ------
    DrawingError
        When it is no length.
    JobError
        When it has a give or take, which would otherwise be dropped unseen.
    """
    length = parse_length(text)
    if length.give_mm is not None:
        raise JobError(f"{what} of {text!r} has a give or take; it is taken as it stands: leave the give or take out.")
    return length.mm


def _point(word: str, option: str) -> TypedPoint:
    if word.isdecimal() and word.isascii() and len(word) <= MOST_DIGITS:
        return int(word)
    if match := _COORDINATES.fullmatch(word):
        return float(match[1]), float(match[2])
    shown = repr(word if len(word) <= SHOWN_LENGTH else word[:SHOWN_LENGTH] + "...")
    raise JobError(
        f"{option} has {shown} where a point belongs; a point is a number from `scantling look` or x,y in pixels: "
        "write it like 12 or 310.5,95."
    )


def _many(count: int) -> str:
    return f"{count} point" if count == 1 else f"{count} points"
