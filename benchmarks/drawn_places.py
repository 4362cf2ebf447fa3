"""Where the lines of a drawn scene cross, turn and end: the places that a person marks on a plan, with their truth."""

import math
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from benchmarks.bordered_plans import Points, Scene, Stripe

LEAST_TURN = math.radians(30)
"""Lines that turn or cross by less show no one place to put a mark on."""

LEAST_SIDE_MM = 2.0
"""Sides of a corner are straight for as long; less is a curve's chord."""

TIP_RAD = math.radians(40)
"""Sides that run apart by less over that length end in a tip, such as a rib's nose."""

SAME_MM = 0.05
"""Places as near as this are one, drawn by two lines."""


class PlaceKind(StrEnum):
    """What the lines do at a place."""

    CROSSING = "crossing"
    CORNER = "corner"
    END = "line end"
    TIP = "tip"


@dataclass(frozen=True)
class Place:
    """A place on the sheet, mm, y down, and how far the nearest other place is, lettering's too."""

    at_mm: tuple[float, float]
    kind: PlaceKind
    clear_mm: float


def drawn_places(scene: Scene) -> list[Place]:
    """Give the crossings, corners, tips and ends of all lines but lettering's.

    A line's end is its pen's last place: half a width within the ink's end.
    """
    crossings = _crossings(scene.stripes)
    found = [(point, PlaceKind.CROSSING, letters) for point, letters in crossings]
    met = np.array([point for point, _ in crossings]).reshape(-1, 2)
    for stripe in scene.stripes:
        found += [(point, kind, stripe.lettering) for point, kind in _own(stripe.points_mm)]
    places: list[Place] = []
    points = np.array([point for point, _, _ in found])
    for n, (point, kind, letters) in enumerate(found):
        far = np.hypot(*(points - point).T)
        if letters or (far[:n] < SAME_MM).any():
            continue
        if kind is PlaceKind.END and len(met) and np.hypot(*(met - point).T).min() < SAME_MM:
            continue
        others = far[far >= SAME_MM]
        places.append(Place((float(point[0]), float(point[1])), kind, float(others.min(initial=math.inf))))
    return places


def _own(points_mm: Points) -> list[tuple[Points, PlaceKind]]:
    """Give a line's own corners and tips, and its ends where it is open."""
    keep = np.concatenate([[True], np.hypot(*np.diff(points_mm, axis=0).T) > 1e-9])
    path = points_mm[keep]
    closed = math.dist(path[0], path[-1]) < SAME_MM
    ends = [] if closed else [(path[0], PlaceKind.END), (path[-1], PlaceKind.END)]
    if closed:
        path = path[:-1]
    count = len(path)
    if count < 3:
        return ends
    steps = np.hypot(*(np.roll(path, -1, axis=0) - path).T)
    inner = range(count) if closed else range(1, count - 1)
    found, tips = [], []
    for n in inner:
        back, ahead = path[n - 1] - path[n], path[(n + 1) % count] - path[n]
        if min(steps[n - 1], steps[n]) >= LEAST_SIDE_MM:
            if math.pi - _angle(back, ahead) > LEAST_TURN:
                found.append((path[n], PlaceKind.CORNER))
        elif closed:
            ways = [_along(path, n, sign) - path[n] for sign in (-1, 1)]
            if _angle(*ways) < TIP_RAD:
                tips.append((path[n], ways[0] + ways[1]))
    # Of the vertices about one tip, the outermost.
    for point, inward in tips:
        near = [other for other, _ in tips if math.dist(other, point) < LEAST_SIDE_MM]
        if all((other - point) @ inward >= 0 for other in near):
            found.append((point, PlaceKind.TIP))
    return found + ends


def _angle(one: Points, other: Points) -> float:
    return abs(math.atan2(one[0] * other[1] - one[1] * other[0], one @ other))


def _along(path: Points, start: int, sign: int) -> Points:
    """Give the place that lies the least side's length from a vertex, along a closed path."""
    left, at = LEAST_SIDE_MM, start
    for _ in range(len(path)):
        after = (at + sign) % len(path)
        step = math.dist(path[at], path[after])
        if step >= left:
            return np.asarray(path[at] + left / step * (path[after] - path[at]))
        left, at = left - step, after
    return np.asarray(path[at])


def _crossings(stripes: list[Stripe]) -> list[tuple[Points, bool]]:
    """Give where two lines cross or one ends on another, and whether either is lettering's."""
    starts = np.concatenate([stripe.points_mm[:-1] for stripe in stripes])
    ends = np.concatenate([stripe.points_mm[1:] for stripe in stripes])
    owner = np.repeat(np.arange(len(stripes)), [len(stripe.points_mm) - 1 for stripe in stripes])
    along = ends - starts
    length = np.maximum(np.hypot(*along.T), 1e-9)
    found: list[tuple[Points, bool]] = []
    for n in range(len(starts)):
        other = np.flatnonzero(owner > owner[n])
        sine = along[n, 0] * along[other, 1] - along[n, 1] * along[other, 0]
        far = starts[other] - starts[n]
        with np.errstate(divide="ignore", invalid="ignore"):
            t = (far[:, 0] * along[other, 1] - far[:, 1] * along[other, 0]) / sine
            u = (far[:, 0] * along[n, 1] - far[:, 1] * along[n, 0]) / sine
        slack, slack_other = SAME_MM / 2 / length[n], SAME_MM / 2 / length[other]
        meet = (t >= -slack) & (t <= 1 + slack) & (u >= -slack_other) & (u <= 1 + slack_other)
        meet &= np.abs(sine) > math.sin(LEAST_TURN) * length[n] * length[other]
        for m in np.flatnonzero(meet):
            letters = stripes[owner[n]].lettering or stripes[owner[other[m]]].lettering
            found.append((starts[n] + t[m] * along[n], letters))
    return found
