"""Area, length and bounds of a path, in closed form or to the last digits."""

import math

import numpy as np

from drawing.arcs import arc_circle
from drawing.errors import DrawingError
from drawing.paths import Arc, Cubic, Line, Path, Point, Points

Bounds = tuple[float, float, float, float]
"""(x min, y min, x max, y max)."""


def path_area_mm2(path: Path) -> float:
    """Give the area a closed path bounds, positive counter-clockwise with y up, by Green's theorem in closed form.

    Raises
    ------
    DrawingError
        If the path is open: it bounds nothing.
    """
    if not path.closed:
        raise DrawingError(
            f"The path from {path.start_mm} to {path.segments[-1].end_mm} mm is open; only a closed one has an area: "
            "close it."
        )
    # Areas are summed about the start, so that a small part far from the origin loses no digits.
    home = path.start_mm
    total = 0.0
    for start, segment in path.pieces():
        a, b = _from(home, start), _from(home, segment.end_mm)
        match segment:
            case Line():
                total += _cross(a, b) / 2
            case Arc():
                total += _cross(a, b) / 2 + _arc_segment_mm2(a, b, segment.bulge)
            case Cubic():
                total += _cubic_mm2(a, _from(home, segment.control1_mm), _from(home, segment.control2_mm), b)
    return total


def path_length_mm(path: Path) -> float:
    """Give a path's length; lines and arcs in closed form, cubics by quadrature to 1e-9 of their length."""
    total = 0.0
    cubics = []
    for start, segment in path.pieces():
        chord = math.dist(start, segment.end_mm)
        match segment:
            case Line():
                total += chord
            case Arc():
                total += chord * _arc_over_chord(segment.bulge)
            case Cubic():
                cubics.append(_controls(start, segment))
    return total + (_cubic_lengths_mm(np.array(cubics)) if cubics else 0.0)


def path_bounds_mm(path: Path) -> Bounds:
    """Give (x min, y min, x max, y max) of a path, exactly: arcs at their quadrants, cubics where they turn."""
    points = [path.start_mm]
    for start, segment in path.pieces():
        points.append(segment.end_mm)
        match segment:
            case Arc():
                points += _arc_extremes(start, segment).tolist()
            case Cubic():
                if _leaves_its_ends(start, segment):
                    points += _cubic_extremes(_controls(start, segment)).tolist()
            case Line():
                pass
    x, y = zip(*points, strict=True)
    return min(x), min(y), max(x), max(y)


def _leaves_its_ends(start: Point, cubic: Cubic) -> bool:
    """Whether a cubic may reach beyond the box around its two ends: not where both controls lie in it."""
    end, first, second = cubic.end_mm, cubic.control1_mm, cubic.control2_mm
    for a, b, c, d in zip(start, first, second, end, strict=True):
        low, high = (a, d) if a < d else (d, a)
        if not (low <= b <= high and low <= c <= high):
            return True
    return False


def bounds_together(bounds: list[Bounds]) -> Bounds:
    """Give the bounds over one or more bounds."""
    low_x, low_y, high_x, high_y = zip(*bounds, strict=True)
    return min(low_x), min(low_y), max(high_x), max(high_y)


def _from(home: Point, point: Point) -> Point:
    return point[0] - home[0], point[1] - home[1]


def _cross(a: Point, b: Point) -> float:
    return a[0] * b[1] - a[1] * b[0]


def _arc_segment_mm2(a: Point, b: Point, bulge: float) -> float:
    """Area between an arc and its chord: r^2 / 2 (sweep - sin sweep), written so that a flat arc loses no digits."""
    chord = math.dist(a, b)
    if abs(bulge) < _FLAT_BULGE:
        return chord**2 * bulge / 3 * (1 + bulge**2 / 5)
    sweep = 4 * math.atan(bulge)
    radius = chord * (1 + bulge**2) / (4 * abs(bulge))
    return radius**2 / 2 * (sweep - math.sin(sweep))


# Below this the two-term series of the segment's area is exact to 1e-11 of it, and the closed form is not.
_FLAT_BULGE = 1e-3


def _arc_over_chord(bulge: float) -> float:
    if bulge == 0:
        return 1.0
    return math.atan(abs(bulge)) * (1 + bulge**2) / abs(bulge)


def _cubic_mm2(p0: Point, p1: Point, p2: Point, p3: Point) -> float:
    """Green's integral of a cubic Bezier: 1/2 of the integral of x dy - y dx, over its Bernstein products."""
    return (
        6 * _cross(p0, p1)
        + 3 * _cross(p0, p2)
        + _cross(p0, p3)
        + 3 * _cross(p1, p2)
        + 3 * _cross(p1, p3)
        + 6 * _cross(p2, p3)
    ) / 20


def _controls(start: Point, cubic: Cubic) -> Points:
    return np.array([start, cubic.control1_mm, cubic.control2_mm, cubic.end_mm])


_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(16)
_LENGTH_TOLERANCE = 1e-9
# A cusp halves at most so often; by then what is left is below 1e-9 of the whole.
_DEEPEST = 30


def _cubic_lengths_mm(control: Points) -> float:
    """Length of (N, 4, 2) cubics together: Gauss-Legendre over each and over its halves; halved until they agree."""
    tolerance = _LENGTH_TOLERANCE * np.linalg.norm(np.diff(control, axis=1), axis=2).sum(axis=1)
    total = 0.0
    for halving in range(_DEEPEST):
        left, right = _halves(control)
        in_halves = _gauss_lengths(left) + _gauss_lengths(right)
        agree = abs(_gauss_lengths(control) - in_halves) <= tolerance
        if halving == _DEEPEST - 1:
            agree[:] = True
        total += float(in_halves[agree].sum())
        if agree.all():
            break
        control = np.concatenate([left[~agree], right[~agree]])
        tolerance = np.tile(tolerance[~agree], 2)
    return total


def _gauss_lengths(control: Points) -> Points:
    """(N,) lengths of (N, 4, 2) cubics."""
    t = (_NODES[:, None] + 1) / 2
    d = 3 * np.diff(control, axis=1)[:, :, None]
    speed = np.linalg.norm((1 - t) ** 2 * d[:, 0] + 2 * (1 - t) * t * d[:, 1] + t**2 * d[:, 2], axis=2)
    lengths: Points = speed @ _WEIGHTS / 2
    return lengths


def _halves(control: Points) -> tuple[Points, Points]:
    """De Casteljau at the middle of (N, 4, 2) cubics."""
    p0, p1, p2, p3 = control.transpose(1, 0, 2)
    a, b, c = (p0 + p1) / 2, (p1 + p2) / 2, (p2 + p3) / 2
    d, e = (a + b) / 2, (b + c) / 2
    middle = (d + e) / 2
    return np.stack([p0, a, d, middle], axis=1), np.stack([middle, e, c, p3], axis=1)


def _arc_extremes(start: Point, arc: Arc) -> Points:
    circle = arc_circle(start, arc)
    if circle is None:
        return np.empty((0, 2))
    # An arc starts within half a turn of 0 and goes on for up to a whole one.
    quadrants = np.arange(-6, 7) * (math.pi / 2)
    low, high = sorted((circle.start_rad, circle.start_rad + circle.sweep_rad))
    angles = quadrants[(quadrants > low) & (quadrants < high)]
    reach = circle.radius_mm * np.column_stack([np.cos(angles), np.sin(angles)])
    extremes: Points = np.array(circle.centre_mm) + reach
    return extremes


def _cubic_extremes(control: Points) -> Points:
    d = np.diff(control, axis=0)
    turns = [t for d0, d1, d2 in d.T.tolist() for t in _roots(d0 - 2 * d1 + d2, 2 * (d1 - d0), d0) if 0 < t < 1]
    t = np.array(turns).reshape(-1, 1)
    u = 1 - t
    extremes: Points = u**3 * control[0] + 3 * u**2 * t * control[1] + 3 * u * t**2 * control[2] + t**3 * control[3]
    return extremes


def _roots(a: float, b: float, c: float) -> list[float]:
    """Real roots of a t^2 + b t + c that matter between 0 and 1, without cancellation."""
    square = b * b - 4 * a * c
    if square < 0:
        return []
    q = -(b + math.copysign(math.sqrt(square), b)) / 2
    # A root beyond 1 is of no use, so a divisor too small to give one below it is left out.
    return [above / below for above, below in ((q, a), (c, q)) if abs(below) > abs(above)]
