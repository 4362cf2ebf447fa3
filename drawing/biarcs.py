"""A drawing of lines and circular arcs alone, for cutters that know no other curves."""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from drawing.drawing import Drawing
from drawing.paths import Arc, Cubic, Line, Path, Segment

Floats = NDArray[np.float64]

PROBES = 18
"""Places along a stretch where its distance from two arcs is measured: the error has three humps at most."""

KEPT_SHARE = 0.93
"""What is measured at the probes keeps this share of the tolerance: between them it is larger by a few percent."""

GOOD_SHARE = 0.6
"""A stretch whose error is above this share of the tolerance is long enough: the error grows with its third power."""

TRIALS = 8
"""Lengths tried for one stretch; the power law finds it in three."""

SHORTEST = 1e-3
"""A stretch of less than this share of its cubic is a cusp: a line is closer than can be told."""


def arcs_only(drawing: Drawing, *, tolerance_mm: float) -> Drawing:
    """Give the same drawing with every cubic as circular arcs that meet without a kink.

    Stretches of a cubic are replaced by biarcs (two arcs with a common tangent, Bolton 1975, "Biarc curves"), each as
    long as the tolerance allows; lines, arcs and all corners stay what and where they are.

    Parameters
    ----------
    drawing : Drawing
    tolerance_mm : float
        Largest distance between a cubic and its arcs, at the drawing's size.
    """
    paths = [path for outline in drawing.outlines for path in (outline.boundary, *outline.holes)] + list(drawing.lines)
    turned = iter(_paths_of_arcs(paths, tolerance_mm))
    outlines = tuple(
        replace(outline, boundary=next(turned), holes=tuple(next(turned) for _ in outline.holes))
        for outline in drawing.outlines
    )
    return Drawing(outlines, tuple(turned))


def _paths_of_arcs(paths: list[Path], tolerance_mm: float) -> list[Path]:
    controls = [
        (start, segment.control1_mm, segment.control2_mm, segment.end_mm)
        for path in paths
        for start, segment in path.pieces()
        if isinstance(segment, Cubic)
    ]
    arcs = iter(_arcs_of(np.array(controls, dtype=float), tolerance_mm) if controls else [])
    made = []
    for path in paths:
        segments: list[Segment] = []
        for segment in path.segments:
            segments += next(arcs) if isinstance(segment, Cubic) else [segment]
        made.append(Path(path.start_mm, tuple(segments), path.closed))
    return made


def _arcs_of(control: Floats, tolerance_mm: float) -> list[list[Segment]]:
    """Lines and arcs for each of (N, 4, 2) cubics, all cubics searched together."""
    made: list[list[Segment]] = [[] for _ in control]
    begin = np.zeros(len(control))
    span = np.ones(len(control))
    good = np.zeros(len(control))
    tries = np.zeros(len(control), dtype=np.int64)
    kept = _Biarcs.over(control, begin, np.ones(len(control)))
    going = np.arange(len(control))
    while len(going):
        end = np.minimum(begin[going] + span[going], 1.0)
        trial = _Biarcs.over(control[going], begin[going], end)
        error = trial.error_mm(control[going], begin[going], end) / (KEPT_SHARE * tolerance_mm)
        tries[going] += 1
        cusp = (error > 1) & (end - begin[going] < SHORTEST)
        trial.straighten(cusp)
        fits = (error <= 1) | cusp
        better = fits & (end > good[going])
        good[going[better]] = end[better]
        kept.take(going[better], trial, better)
        # A longer stretch is worth another look only where this one is far below the tolerance.
        done = (good[going] > begin[going]) & (
            (good[going] >= 1) | (fits & (error > GOOD_SHARE)) | (tries[going] >= TRIALS)
        )
        factor = np.clip((0.85 / np.maximum(error, 1e-3)) ** (1 / 3), 0.3, 1.9)
        span[going] = np.where(fits, np.maximum(factor, 1.02), np.minimum(factor, 0.98)) * (end - begin[going])
        for which in going[done].tolist():
            made[which] += kept.segments(which, is_last=good[which] >= 1, end=control[which, 3])
        ended = going[done]
        span[ended] = good[ended] - begin[ended]
        begin[ended], tries[ended] = good[ended], 0
        going = going[begin[going] < 1]
    return made


@dataclass(slots=True)
class _Biarcs:
    """Two arcs over a stretch of each cubic: start, joint and end (N, 2), and the two bulges (N,)."""

    start: Floats
    joint: Floats
    end: Floats
    bulge1: Floats
    bulge2: Floats
    way: Floats
    """Unit direction at the joint (N, 2)."""
    ways: tuple[Floats, Floats]
    """Unit directions at start and end."""
    reach: Floats
    """Tangent length over the chord's length (N,)."""
    kinked: NDArray[np.bool_]
    """Whether the arcs leave their joint another way than they come to it: one of them has no length (N,)."""

    @classmethod
    def over(cls, control: Floats, begin: Floats, end: Floats) -> "_Biarcs":
        """The biarcs with equal tangent lengths between two parameters of each cubic.

        With chord v and unit end tangents t0, t1 the tangent length d solves
        2 (1 - t0.t1) d^2 + 2 v.(t0 + t1) d - v.v = 0; the joint is the middle of the two tangents' ends.
        """
        (p0, t0), (p1, t1) = _at(control, begin), _at(control, end)
        v = p1 - p0
        a, b, c = 2 * (1 - _dot(t0, t1)), 2 * _dot(v, t0 + t1), -_dot(v, v)
        root = np.sqrt(np.maximum(b * b - 4 * a * c, 0))
        # Written so that nearly parallel tangents lose no digits; b is negative only past half a turn.
        below = b + root
        d = np.where(below > 0, -2 * c / np.where(below > 0, below, 1), np.sqrt(-c) / 2)
        joint = (p0 + p1 + d[:, None] * (t0 - t1)) / 2
        first, second = _turn(t0, joint - p0), _turn(p1 - joint, t1)
        angle = np.arctan2(t0[:, 1], t0[:, 0]) + 2 * first
        chord = np.hypot(*v.T)
        return cls(
            p0,
            joint,
            p1,
            np.tan(first / 2),
            np.tan(second / 2),
            np.column_stack([np.cos(angle), np.sin(angle)]),
            (t0, t1),
            d / np.where(chord > 0, chord, np.inf),
            np.cos(angle + 2 * second - np.arctan2(t1[:, 1], t1[:, 0])) < STRAIGHT_ON,
        )

    def error_mm(self, control: Floats, begin: Floats, end: Floats) -> Floats:
        """Largest distance of each stretch from its arcs, mm; infinite where the arcs go the long way round."""
        t = begin[:, None] + (end - begin)[:, None] * np.linspace(0, 1, PROBES + 2)[None, 1:-1]
        on = _points(control, t)
        first = ((on - self.joint[:, None]) * self.way[:, None]).sum(axis=2) < 0
        far = np.where(
            first, _off(on, self.start, self.joint, self.bulge1), _off(on, self.joint, self.end, self.bulge2)
        )
        # Past an arc's end its circle goes on, the arc does not: what lies there is as far as from the end.
        for past, end_mm in ((-self.ways[0], self.start), (self.ways[1], self.end)):
            beyond = on - end_mm[:, None]
            is_past = (beyond * past[:, None]).sum(axis=2) > 0
            far = np.where(is_past, np.maximum(far, np.hypot(beyond[..., 0], beyond[..., 1])), far)
        long_way = (np.abs(self.bulge1) > 1) | (np.abs(self.bulge2) > 1) | (self.reach > LONGEST_REACH) | self.kinked
        whole = np.concatenate([self.start[:, None], on, self.end[:, None]], axis=1)
        # The chords between the places lie inside the curve by an eighth of what it turns from one to the next.
        inside = np.hypot(*np.moveaxis(np.diff(whole, 2, axis=1), -1, 0)).max(axis=1) / 8
        back = _from_polyline(self._between(), whole).max(axis=1) - inside
        worst: Floats = np.where(long_way, np.inf, np.maximum(far.max(axis=1), back))
        return worst

    def _between(self) -> Floats:
        """The joint and three places of either arc, (N, 7, 2): the chord from the start, turned and shortened."""
        places = [self.joint[:, None]]
        for start, end, bulge in ((self.start, self.joint, self.bulge1), (self.joint, self.end, self.bulge2)):
            half = 2 * np.arctan(bulge)[:, None]
            share = np.array([[0.25, 0.5, 0.75]])
            size = share * np.sinc(share * half / np.pi) / np.sinc(half / np.pi)
            cos, sin = size * np.cos((share - 1) * half), size * np.sin((share - 1) * half)
            x, y = (end - start)[:, None, 0], (end - start)[:, None, 1]
            places.append(start[:, None] + np.stack([cos * x - sin * y, sin * x + cos * y], axis=2))
        return np.concatenate(places, axis=1)

    def straighten(self, rows: NDArray[np.bool_]) -> None:
        """Put a line from start to end in place of some of the arcs."""
        self.joint[rows] = (self.start[rows] + self.end[rows]) / 2
        self.bulge1[rows] = self.bulge2[rows] = 0.0

    def take(self, which: NDArray[np.int64], other: "_Biarcs", rows: NDArray[np.bool_]) -> None:
        """Keep some of another's arcs."""
        for mine, its in (
            (self.start, other.start),
            (self.joint, other.joint),
            (self.end, other.end),
            (self.bulge1, other.bulge1),
            (self.bulge2, other.bulge2),
        ):
            mine[which] = its[rows]

    def segments(self, which: int, *, is_last: bool, end: Floats) -> list[Segment]:
        """The arcs of one cubic's stretch; the last ends exactly where the cubic does."""
        joint = (float(self.joint[which, 0]), float(self.joint[which, 1]))
        last = end if is_last else self.end[which]
        out: list[Segment] = []
        for to, bulge in ((joint, float(self.bulge1[which])), ((float(last[0]), float(last[1])), self.bulge2[which])):
            out.append(Arc(to, float(bulge)) if abs(bulge) > FLAT_BULGE else Line(to))
        return out


LONGEST_REACH = 1.0
"""Tangents longer than the chord belong to a stretch that turns back: half a circle has 0.5, a straight line 0.25."""

STRAIGHT_ON = math.cos(1e-3)
"""Two arcs whose directions at the joint differ by more than a milliradian do not continue one another."""

FLAT_BULGE = 1e-7
"""A flatter arc leaves its chord by less than a nanometre on 10 mm."""


def _at(control: Floats, t: Floats) -> tuple[Floats, Floats]:
    """Points (N, 2) of cubics and unit directions there; where handles have no length, the way to the next control."""
    u = 1 - t
    d = np.diff(control, axis=1)
    speed = (u * u)[:, None] * d[:, 0] + (2 * u * t)[:, None] * d[:, 1] + (t * t)[:, None] * d[:, 2]
    size = np.hypot(*speed.T)
    still = size <= 1e-9 * np.abs(d).sum(axis=(1, 2))
    if still.any():
        near = np.where((t < 0.5)[:, None], control[:, 2] - control[:, 0], control[:, 3] - control[:, 1])
        whole = control[:, 3] - control[:, 0]
        near = np.where((np.hypot(*near.T) > 0)[:, None], near, whole)
        speed = np.where(still[:, None], near, speed)
        size = np.hypot(*speed.T)
    unit = np.where((size > 0)[:, None], speed, [1.0, 0.0]) / np.where(size > 0, size, 1)[:, None]
    return _points(control, t[:, None])[:, 0], unit


def _points(control: Floats, t: Floats) -> Floats:
    """Points (N, M, 2) of cubics (N, 4, 2) at parameters (N, M)."""
    t3, u = t[..., None], 1 - t[..., None]
    p0, p1, p2, p3 = (control[:, None, k] for k in range(4))
    on: Floats = u**3 * p0 + 3 * u * u * t3 * p1 + 3 * u * t3 * t3 * p2 + t3**3 * p3
    return on


def _off(on: Floats, start: Floats, end: Floats, bulge: Floats) -> Floats:
    """Distances (N, M) of points from the circles or lines of arcs.

    For a point q with chord c from start, and bulge b, the circle is |q|^2 - q.c - (c x q)(1 - b^2) / (2 b) = 0, which
    is written so that a straight arc is its limit.
    """
    c = (end - start)[:, None]
    q = on - start[:, None]
    b = bulge[:, None]
    chord = np.hypot(c[..., 0], c[..., 1])
    long = np.where(chord > 0, chord, 1.0)
    across = (c[..., 0] * q[..., 1] - c[..., 1] * q[..., 0]) / long
    form = 2 * b * (_dot(q, q) - _dot(q, c)) / long + across * (b * b - 1)
    # The gradient's length on the circle is 1 + b^2.
    far: Floats = np.where(chord > 0, np.abs(form) / (1 + b * b), np.hypot(q[..., 0], q[..., 1]))
    return far


def _from_polyline(points: Floats, line: Floats) -> Floats:
    """Distances (N, K) of points (N, K, 2) from polylines (N, M, 2)."""
    a, step = line[:, None, :-1], np.diff(line, axis=1)[:, None]
    q = points[:, :, None] - a
    share = np.clip(_dot(q, step) / np.maximum(_dot(step, step), np.finfo(float).tiny), 0, 1)
    rest = q - share[..., None] * step
    nearest: Floats = np.hypot(rest[..., 0], rest[..., 1]).min(axis=2)
    return nearest


def _turn(a: Floats, b: Floats) -> Floats:
    angle: Floats = np.arctan2(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0], _dot(a, b))
    return angle


def _dot(a: Floats, b: Floats) -> Floats:
    both: Floats = a[..., 0] * b[..., 0] + a[..., 1] * b[..., 1]
    return both
