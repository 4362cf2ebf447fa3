"""How wide the square notches and slots of a drawing are: they scale with the plan, the wood that goes in does not."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from drawing.drawing import Drawing, Kind, Outline
from drawing.findings import Finding, Level
from drawing.paths import Line, Path, Point

SQUARE_DEG = 4.0
"""Corners this near to a right angle, and sides this near to parallel, are square: what a short side's two ends,
a tenth of its length off, come to."""

LEAST_DEPTH_SHARE = 0.2
"""A shallower step than this, in parts of its width, holds no wood."""


@dataclass(frozen=True, slots=True)
class Notch:
    """A square recess of a part, or a rectangular hole in it, mm at the drawing's size.

    `width_mm` is across two parallel sides: of a hole the shorter way. `at_mm` is its middle.
    """

    width_mm: float
    depth_mm: float
    at_mm: Point
    is_hole: bool


def notches_of(outline: Outline) -> tuple[Notch, ...]:
    """Give the square notches and rectangular holes of a part, in the order of its outline.

    A notch is a straight bottom between two parallel straight sides at right angles to it, cut into the part; its depth
    is that of its shorter side.
    """
    found = [notch for loop in (outline.boundary, *outline.holes) for notch in _notches(loop)]
    holes = [slot for hole in outline.holes if (slot := _rectangle(hole)) is not None]
    return (*found, *holes)


def about_notches(build: Drawing) -> list[Finding]:
    """Give one note that lists every notch's and slot's width at build size, or nothing where there is none."""
    said = []
    for outline in build.outlines:
        if outline.kind is Kind.BORDER:
            continue
        notches = notches_of(outline)
        words = [
            text
            for text in (
                _listed("notch", "notches", [notch for notch in notches if not notch.is_hole]),
                _listed("slot", "slots", [notch for notch in notches if notch.is_hole]),
            )
            if text
        ]
        if words:
            said.append(f"Part {outline.number}: {', '.join(words)}")
    if not said:
        return []
    text = "Widths at build size, scaled with the plan: check your wood. " + ". ".join(said)
    return [Finding("notch-widths", Level.NOTE, "notches and slots", text + ".")]


def _listed(one: str, many: str, notches: Sequence[Notch]) -> str:
    if not notches:
        return ""
    widths = ", ".join(f"{notch.width_mm:.2f}" for notch in notches)
    return f"{one if len(notches) == 1 else many} {widths} mm"


def _notches(loop: Path) -> list[Notch]:
    """Three lines in a row that turn right twice: the part lies on the left of its own boundary, and of its holes'."""
    pieces = list(loop.pieces())
    count = len(pieces)
    if count < 5:
        return []
    found = []
    for at in range(count):
        around = [pieces[at - 1], pieces[at], pieces[(at + 1) % count]]
        if not all(isinstance(segment, Line) for _, segment in around):
            continue
        (a, _), (b, _), (c, last) = around
        d = last.end_mm
        if not (_is_square(a, b, c) and _is_square(b, c, d)):
            continue
        sides_mm = math.dist(a, b), math.dist(c, d)
        notch = _notch(a, b, c, d, depth_mm=min(sides_mm))
        if notch.depth_mm >= LEAST_DEPTH_SHARE * notch.width_mm:
            found.append(notch)
    return found


def _is_square(a: Point, b: Point, c: Point) -> bool:
    """Whether a way turns right by a right angle at its middle point."""
    ux, uy, vx, vy = b[0] - a[0], b[1] - a[1], c[0] - b[0], c[1] - b[1]
    turn_deg = math.degrees(math.atan2(ux * vy - uy * vx, ux * vx + uy * vy))
    return abs(turn_deg + 90) <= SQUARE_DEG


def _notch(a: Point, b: Point, c: Point, d: Point, *, depth_mm: float) -> Notch:
    """The width half way up the shorter side, square to the sides' mean direction."""
    ux, uy = a[0] - b[0], a[1] - b[1]
    vx, vy = d[0] - c[0], d[1] - c[1]
    long_u, long_v = math.hypot(ux, uy), math.hypot(vx, vy)
    ux, uy, vx, vy = ux / long_u, uy / long_u, vx / long_v, vy / long_v
    half = depth_mm / 2
    left = b[0] + half * ux, b[1] + half * uy
    right = c[0] + half * vx, c[1] + half * vy
    mx, my = ux + vx, uy + vy
    size = math.hypot(mx, my)
    across = abs((right[0] - left[0]) * my - (right[1] - left[1]) * mx) / size
    return Notch(across, depth_mm, ((left[0] + right[0]) / 2, (left[1] + right[1]) / 2), is_hole=False)


def _rectangle(hole: Path) -> Notch | None:
    """A hole of four lines at right angles, its shorter way across."""
    pieces = list(hole.pieces())
    if len(pieces) != 4 or not all(isinstance(segment, Line) for _, segment in pieces):
        return None
    a, b, c, d = (start for start, _ in pieces)
    corners = ((a, b, c), (b, c, d), (c, d, a), (d, a, b))
    if not (all(_is_square(*three) for three in corners) or all(_is_square(*three[::-1]) for three in corners)):
        return None
    sides = [(math.dist(a, b) + math.dist(c, d)) / 2, (math.dist(b, c) + math.dist(d, a)) / 2]
    middle = (a[0] + b[0] + c[0] + d[0]) / 4, (a[1] + b[1] + c[1] + d[1]) / 4
    return Notch(min(sides), max(sides), middle, is_hole=True)
