"""What is to be measured, as typed: `12 47`, `3 8 41`, `part 3`, `part 3 on 12 47 at 20`."""

import re
from dataclasses import dataclass
from typing import TypeAlias

from job.errors import JobError
from job.points import TypedPoint, parse_pair, parse_points
from job.stations import Stations, parse_stations

BETWEEN, ANGLE, AREA, RADIUS, ORDINATES = "--between", "--angle", "--area", "--radius", "--ordinates"


@dataclass(frozen=True, slots=True)
class TypedPart:
    """An outline as a person names it: by its number or name in the report, or by a point inside it, px."""

    named: str | tuple[float, float]

    @property
    def words(self) -> str:
        """How it is spoken of."""
        if isinstance(self.named, str):
            return f"part {self.named}"
        return f"the part around {self.named[0]:g},{self.named[1]:g} px"


TypedArea: TypeAlias = TypedPart | tuple[TypedPoint, ...]


@dataclass(frozen=True, slots=True)
class TypedOrdinates:
    """An outline, its base line from the leading to the trailing end where one was given, and the stations."""

    part: TypedPart
    base: tuple[TypedPoint, TypedPoint] | None
    stations: Stations


@dataclass(frozen=True, slots=True)
class Asked:
    """Everything to be measured, each kind in the order it was typed."""

    between: tuple[tuple[TypedPoint, TypedPoint], ...] = ()
    angles: tuple[tuple[TypedPoint, ...], ...] = ()
    areas: tuple[TypedArea, ...] = ()
    radii: tuple[tuple[TypedPoint, ...], ...] = ()
    ordinates: tuple[TypedOrdinates, ...] = ()

    def __post_init__(self) -> None:
        if not (self.between or self.angles or self.areas or self.radii or self.ordinates):
            raise JobError(
                'Nothing to measure was named; at least one thing is needed: add --between "12 47", or --angle, '
                "--area, --radius or --ordinates."
            )

    @property
    def needs_outlines(self) -> bool:
        """Whether parts must be drawn for it."""
        return bool(self.ordinates) or any(isinstance(area, TypedPart) for area in self.areas)


def parse_asked(
    *, between: list[str], angles: list[str], areas: list[str], radii: list[str], ordinates: list[str]
) -> Asked:
    """Read what every option of `measure` names.

    Raises
    ------
    ScantlingError
        In one sentence that names the option.
    """
    return Asked(
        tuple(parse_pair(text, option=BETWEEN) for text in between),
        tuple(_points(text, ANGLE, (3, 3), "an end, the corner and the other end", "12 47 51") for text in angles),
        tuple(_area(text) for text in areas),
        tuple(_points(text, RADIUS, (2, None), "three or more along the arc, or its two ends", "12 47 51")
              for text in radii),
        tuple(_ordinates(text) for text in ordinates),
    )  # fmt: skip


_PART = re.compile(r"part\s+(.+)", re.IGNORECASE | re.DOTALL)
_ORDINATES = re.compile(r"(.+?)(?:\s+on\s+(.+?))?(?:\s+at\s+(.+))?", re.IGNORECASE | re.DOTALL)


def _points(text: str, option: str, many: tuple[int, int | None], needed: str, example: str) -> tuple[TypedPoint, ...]:
    points = parse_points(text, option=option)
    least, most = many
    if len(points) < least or (most is not None and len(points) > most):
        raise JobError(
            f'{option} {text!r} names {len(points)} points; it needs {needed}: write it like {option} "{example}".'
        )
    return points


def _area(text: str) -> TypedArea:
    if (part := _part(text)) is not None:
        return part
    points = parse_points(text, option=AREA)
    if len(points) < 3:
        raise JobError(
            f"{AREA} {text!r} names {len(points)} points; it needs three or more around the area, or a part: write it "
            f'like {AREA} "12 47 51 60", {AREA} "part 3", or {AREA} "310,95" for the part around that place.'
        )
    return points


def _part(text: str) -> TypedPart | None:
    """Read `part 3`, `part NAME` or one `x,y`; None for anything else."""
    if match := _PART.fullmatch(text.strip()):
        return TypedPart(" ".join(match[1].split()))
    if "," in text and len(points := parse_points(text, option=AREA)) == 1 and isinstance(points[0], tuple):
        return TypedPart(points[0])
    return None


def _ordinates(text: str) -> TypedOrdinates:
    match = _ORDINATES.fullmatch(text.strip())
    part = None if match is None else _part(match[1])
    if match is None or part is None:
        raise JobError(
            f"{ORDINATES} {text!r} names no outline; a part of the report or a place inside it in px is needed: write "
            f'it like {ORDINATES} "part 3", "310,95 at 20" or "part 3 on 12 47 at 0 10 50 100 %".'
        )
    base = None if match[2] is None else parse_pair(match[2], option=f"{ORDINATES} ... on")
    stations = Stations() if match[3] is None else parse_stations(match[3], option=f"{ORDINATES} ... at")
    return TypedOrdinates(part, base, stations)
