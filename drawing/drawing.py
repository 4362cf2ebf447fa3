"""A drawing: the parts and lines of a plan at one size."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from enum import StrEnum
from fractions import Fraction

from drawing.path_measures import bounds_together, path_bounds_mm
from drawing.paths import Arc, Cubic, Line, Path, Point, Segment


class Kind(StrEnum):
    """What an outline is taken for."""

    PART = "part"
    BORDER = "border"
    UNSURE = "unsure"


@dataclass(frozen=True, slots=True)
class Outline:
    """A closed path that bounds a part, with its holes.

    `boundary` runs counter-clockwise and each hole clockwise, y up. `number` is
    the label people read, in reading order. `inside_px` is a point inside it and
    `area_px2` its area in the picture, by which a choice finds it again.
    `deviation_mm` is the largest measured distance between the fitted path and
    the points found in the ink; `u95_mm` the give or take of its width or height,
    whichever is larger (both at the drawing's size).
    """

    number: int
    boundary: Path
    holes: tuple[Path, ...]
    inside_px: Point
    area_px2: float
    confidence: float = 1.0
    kind: Kind = Kind.PART
    name: str = ""
    deviation_mm: float = 0.0
    u95_mm: float = 0.0


@dataclass(frozen=True, slots=True)
class Drawing:
    """Parts and open lines in mm, y up, at one size: full size or build size, never both."""

    outlines: tuple[Outline, ...]
    lines: tuple[Path, ...]

    def scaled(self, fraction: Fraction) -> "Drawing":
        """Give the same drawing at `fraction` of its present size, about the origin."""
        n = float(fraction)
        return _moved(self, lambda p: (p[0] * n, p[1] * n), n, turn=1)

    def mirrored(self) -> "Drawing":
        """Give the other half: x turned to -x, so that left becomes right."""
        return _moved(self, lambda p: (-p[0], p[1]), 1.0, turn=-1)

    def bounds_mm(self) -> tuple[float, float, float, float] | None:
        """Give (x min, y min, x max, y max) over outlines and lines, or None for a drawing with nothing in it."""
        paths = [outline.boundary for outline in self.outlines] + list(self.lines)
        if not paths:
            return None
        return bounds_together([path_bounds_mm(path) for path in paths])


def _moved(drawing: Drawing, move: Callable[[Point], Point], size: float, *, turn: int) -> Drawing:
    def moved_path(path: Path) -> Path:
        return Path(move(path.start_mm), tuple(moved_segment(s) for s in path.segments), path.closed)

    def moved_segment(segment: Segment) -> Segment:
        match segment:
            case Line():
                return Line(move(segment.end_mm))
            case Arc():
                return Arc(move(segment.end_mm), turn * segment.bulge)
            case Cubic():
                return Cubic(move(segment.control1_mm), move(segment.control2_mm), move(segment.end_mm))

    def moved_loop(path: Path) -> Path:
        return moved_path(path) if turn > 0 else reversed_path(moved_path(path))

    outlines = tuple(
        replace(
            outline,
            boundary=moved_loop(outline.boundary),
            holes=tuple(moved_loop(hole) for hole in outline.holes),
            deviation_mm=outline.deviation_mm * size,
            u95_mm=outline.u95_mm * size,
        )
        for outline in drawing.outlines
    )
    return Drawing(outlines, tuple(moved_path(path) for path in drawing.lines))


def reversed_path(path: Path) -> Path:
    """Give the same path run the other way."""
    pieces = list(path.pieces())
    start = path.segments[-1].end_mm
    segments: list[Segment] = []
    for begin, segment in reversed(pieces):
        match segment:
            case Line():
                segments.append(Line(begin))
            case Arc():
                segments.append(Arc(begin, -segment.bulge))
            case Cubic():
                segments.append(Cubic(segment.control2_mm, segment.control1_mm, begin))
    return Path(start, tuple(segments), path.closed)
