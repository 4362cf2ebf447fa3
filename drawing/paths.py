"""Paths of lines, circular arcs and cubics, in mm."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from drawing.errors import DrawingError

Point: TypeAlias = tuple[float, float]
Points: TypeAlias = NDArray[np.float64]
"""(N, 2) array of (x, y)."""


@dataclass(frozen=True, slots=True)
class Line:
    """A straight segment from the path's current point to `end_mm`."""

    end_mm: Point


@dataclass(frozen=True, slots=True)
class Arc:
    """A circular arc to `end_mm`; `bulge` is tan(sweep / 4), positive counter-clockwise with y up."""

    end_mm: Point
    bulge: float


@dataclass(frozen=True, slots=True)
class Cubic:
    """A cubic Bezier segment to `end_mm`."""

    control1_mm: Point
    control2_mm: Point
    end_mm: Point


Segment: TypeAlias = Line | Arc | Cubic


@dataclass(frozen=True, slots=True)
class Path:
    """A run of segments in the plan or build frame (mm, y up), open or closed.

    A closed path's last segment ends exactly at `start_mm`.
    """

    start_mm: Point
    segments: tuple[Segment, ...]
    closed: bool

    def __post_init__(self) -> None:
        if not self.segments:
            raise DrawingError(f"A path at {self.start_mm} has no segments; it needs at least one: leave it out.")
        if self.closed and self.segments[-1].end_mm != self.start_mm:
            raise DrawingError(
                f"A closed path starts at {self.start_mm} and ends at {self.segments[-1].end_mm} mm; "
                "both must be one point: end it where it starts."
            )

    def pieces(self) -> Iterator[tuple[Point, Segment]]:
        """Give each segment with the point it starts from."""
        at = self.start_mm
        for segment in self.segments:
            yield at, segment
            at = segment.end_mm


def polyline(points_mm: Points, *, closed: bool) -> Path:
    """Make a path of straight lines through (N, 2) points, mm; a closed one returns to the first."""
    corners = [(float(x), float(y)) for x, y in points_mm]
    if closed:
        corners.append(corners[0])
    return Path(corners[0], tuple(Line(corner) for corner in corners[1:]), closed)


def sampled(path: Path, *, tolerance_mm: float) -> Points:
    """Give (N, 2) points along a path, mm, no chord farther than `tolerance_mm` from its curve.

    The start comes first; a closed path does not repeat it at the end.
    """
    runs = [np.array([path.start_mm])]
    for start, segment in path.pieces():
        match segment:
            case Line():
                runs.append(np.array([segment.end_mm]))
            case Arc():
                runs.append(_arc_points(start, segment, tolerance_mm))
            case Cubic():
                runs.append(_cubic_points(start, segment, tolerance_mm))
    points = np.concatenate(runs)
    return points[:-1] if path.closed else points


def _arc_points(start: Point, arc: Arc, tolerance_mm: float) -> Points:
    """Points on an arc after its start; the sagitta r (1 - cos(step / 2)) bounds the chord error."""
    a = complex(*start)
    b = complex(*arc.end_mm)
    # The sagitta of the whole arc is |bulge| / 2 chords.
    if abs(arc.bulge) * abs(b - a) / 2 <= tolerance_mm:
        return np.array([arc.end_mm])
    sweep = 4 * math.atan(arc.bulge)
    centre = (a + b) / 2 + (b - a) / 2 * 1j * (1 - arc.bulge**2) / (2 * arc.bulge)
    radius = abs(a - centre)
    # 2 acos(1 - x), written so that a small x loses no digits.
    step = 4 * math.asin(math.sqrt(tolerance_mm / radius / 2)) if tolerance_mm < radius else math.pi / 2
    count = max(2, math.ceil(abs(sweep) / step))
    turned = centre + (a - centre) * np.exp(1j * sweep * np.arange(1, count + 1) / count)
    points = np.column_stack([turned.real, turned.imag])
    points[-1] = arc.end_mm
    return points


def _cubic_points(start: Point, cubic: Cubic, tolerance_mm: float) -> Points:
    """Points on a cubic after its start; n = sqrt(max |second difference| 3/4 / tolerance) bounds the chord error."""
    control = np.array([start, cubic.control1_mm, cubic.control2_mm, cubic.end_mm])
    bend = np.linalg.norm(np.diff(control, n=2, axis=0), axis=1).max()
    count = max(1, math.ceil(math.sqrt(0.75 * bend / tolerance_mm)))
    t = np.arange(1, count + 1)[:, None] / count
    u = 1 - t
    points: Points = u**3 * control[0] + 3 * u**2 * t * control[1] + 3 * u * t**2 * control[2] + t**3 * control[3]
    points[-1] = control[3]
    return points
