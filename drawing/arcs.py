"""What circle an arc runs on, and the same arc as cubics."""

import cmath
import math
from dataclasses import dataclass

from drawing.paths import Arc, Cubic, Path, Point


@dataclass(frozen=True, slots=True)
class Circle:
    """The circle of an arc, mm; `start_rad` and `sweep_rad` counter-clockwise, y up."""

    centre_mm: Point
    radius_mm: float
    start_rad: float
    sweep_rad: float


def arc_circle(start: Point, arc: Arc) -> Circle | None:
    """Give the circle of an arc from `start`, or None where it has no length or is straight (see STRAIGHT_BULGE)."""
    a, b = complex(*start), complex(*arc.end_mm)
    if abs(arc.bulge) < STRAIGHT_BULGE or a == b:
        return None
    out = (b - a) * 1j * (1 - arc.bulge**2) / (4 * arc.bulge)
    centre = (a + b) / 2 + out
    radius = abs(b - a) * (1 + arc.bulge**2) / (4 * abs(arc.bulge))
    return Circle((centre.real, centre.imag), radius, cmath.phase(a - centre), 4 * math.atan(arc.bulge))


def whole_circle(path: Path) -> Circle | None:
    """Give the circle that a closed path goes around once, None for any other path."""
    if not path.closed:
        return None
    circles = []
    for start, segment in path.pieces():
        circle = arc_circle(start, segment) if isinstance(segment, Arc) else None
        if circle is None:
            return None
        circles.append(circle)
    first = circles[0]
    for circle in circles[1:]:
        if math.dist(circle.centre_mm, first.centre_mm) > SAME_CIRCLE * first.radius_mm:
            return None
        if abs(circle.radius_mm - first.radius_mm) > SAME_CIRCLE * first.radius_mm:
            return None
    sweep = sum(circle.sweep_rad for circle in circles)
    # Arcs that go back and forth come to a whole turn nowhere; twice around is none either.
    return first if math.isclose(abs(sweep), math.tau, rel_tol=1e-6) and _same_way(circles) else None


def _same_way(circles: list[Circle]) -> bool:
    return len({circle.sweep_rad > 0 for circle in circles}) == 1


def split_arc(start: Point, arc: Arc, *, count: int) -> list[Arc]:
    """Give an arc as `count` equal arcs end to end; the last ends exactly where it did."""
    circle = arc_circle(start, arc)
    if circle is None or count == 1:
        return [arc]
    centre = complex(*circle.centre_mm)
    bulge = math.tan(circle.sweep_rad / count / 4)
    ends = [centre + (complex(*start) - centre) * cmath.exp(1j * circle.sweep_rad * k / count) for k in range(1, count)]
    return [Arc((end.real, end.imag), bulge) for end in ends] + [Arc(arc.end_mm, bulge)]


def arc_cubics(start: Point, arc: Arc, *, tolerance_mm: float) -> list[Cubic]:
    """Give an arc as equal cubics, nowhere farther than `tolerance_mm` from it.

    Controls lie 4/3 tan(sweep / 4) radii along the tangents; the radial error of a
    quarter circle is then 2.725e-4 radii and falls with the sixth power of the sweep.
    """
    circle = arc_circle(start, arc)
    if circle is None:
        return [straight_cubic(start, arc.end_mm)]
    allowed = tolerance_mm / circle.radius_mm
    quarters = abs(circle.sweep_rad) / (math.pi / 2)
    count = max(1, math.ceil(quarters), math.ceil(quarters * (QUARTER_ERROR / allowed) ** (1 / 6)))
    centre = complex(*circle.centre_mm)
    reach = 4 / 3 * math.tan(circle.sweep_rad / count / 4)
    at = complex(*start)
    cubics = []
    for piece in split_arc(start, arc, count=count):
        end = complex(*piece.end_mm)
        control1 = at + 1j * (at - centre) * reach
        control2 = end - 1j * (end - centre) * reach
        cubics.append(Cubic((control1.real, control1.imag), (control2.real, control2.imag), piece.end_mm))
        at = end
    return cubics


def straight_cubic(start: Point, end: Point) -> Cubic:
    """Give a straight line as a cubic: controls at its thirds."""
    (x0, y0), (x1, y1) = start, end
    return Cubic(((2 * x0 + x1) / 3, (2 * y0 + y1) / 3), ((x0 + 2 * x1) / 3, (y0 + 2 * y1) / 3), end)


# Centres and radii of one circle's arcs agree to this share of the radius, in numbers of some meters and back.
SAME_CIRCLE = 1e-9

# A flatter arc leaves its chord by less than half a billionth of it; its centre is so far off that it has lost as much.
STRAIGHT_BULGE = 1e-9

# Largest radial error of one cubic on a quarter circle, in radii, a little rounded up (computed: 2.7253e-4).
QUARTER_ERROR = 2.73e-4
