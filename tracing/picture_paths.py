"""Paths of the plan as SVG path data in picture px: what the page draws over the picture."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from drawing.arcs import Circle, arc_circle
from drawing.paths import Arc, Cubic, Path

Floats = NDArray[np.float64]

WITHIN_PX = 0.04
"""How far a drawn curve may be from the true one: with rounding well under a tenth of a px."""

DIGITS = 2
"""Decimals of a px that are sent: 0.005 px is lost."""

MOST_HALVINGS = 8
"""A piece halved so often bends by nothing that a screen shows, whatever the lens."""

CHECKED_AT = np.array([1 / 6, 1 / 2, 5 / 6])
"""Where a piece is compared with the cubic that stands for it: in the middle between the places they share."""


class ToPicture(Protocol):
    """The part of a calibration that is needed."""

    def to_picture(self, points_mm: Floats, /) -> Floats:
        """Give picture px (N, 2) for plan mm (N, 2)."""


def path_data(paths: Sequence[Path], calibration: ToPicture) -> list[str]:
    """Give each path as path data, picture px (y down), within a tenth of a px of where the plan's path lies.

    Every piece is one cubic through four places of the true curve, halved until it keeps to the curve; straight
    lines stay lines where the lens leaves them so. A path that reaches beyond what the camera sees is "".
    """
    if not paths:
        return []
    return _written(_fitted(_pieces(paths), calibration), [path.closed for path in paths])


def loop_data(points_px: Floats) -> str:
    """Give a closed loop (N, 2), picture px, as path data to a tenth of a px: an area to point at."""
    corners = np.round(points_px, 1)
    return f"M{'L'.join(['%.7g %.7g'] * len(corners))}Z" % tuple(corners.ravel().tolist())


@dataclass(frozen=True, slots=True)
class _Pieces:
    """Pieces of paths in the plan, mm: stretches `span` (K, 2) of cubics `control` (K, 4, 2) or of arcs.

    `path` (K,) is the path each belongs to, `first` (K,) where in its path it begins. `arc` (K, 5) holds centre x and
    y, radius, first angle and sweep; its radius is 0 for what is no arc. `line` (K,) tells straight lines.
    """

    path: NDArray[np.int64]
    first: Floats
    control: Floats
    arc: Floats
    line: NDArray[np.bool_]
    span: Floats

    def at(self, t: Floats) -> Floats:
        """Places (K, T, 2), mm, at shares t (T,) of every stretch."""
        along = self.span[:, :1] + (self.span[:, 1:] - self.span[:, :1]) * t
        u = 1 - along
        weights = np.stack([u**3, 3 * u * u * along, 3 * u * along * along, along**3], axis=2)
        places = weights @ self.control
        arcs = np.flatnonzero(self.arc[:, 2])
        x, y, radius, start, sweep = (self.arc[arcs, k, None] for k in range(5))
        angle = start + sweep * along[arcs]
        places[arcs] = np.stack([x + radius * np.cos(angle), y + radius * np.sin(angle)], axis=2)
        return np.asarray(places)

    def picked(self, which: NDArray[np.bool_]) -> "_Pieces":
        """Some of them."""
        return _Pieces(*(getattr(self, name)[which] for name in self.__slots__))

    def halved(self) -> "_Pieces":
        """Both halves of each."""
        low, high = self.span.T
        middle = (low + high) / 2
        twice = _Pieces(*(np.concatenate([getattr(self, name)] * 2) for name in self.__slots__))
        span = np.concatenate([np.column_stack([low, middle]), np.column_stack([middle, high])])
        first = np.concatenate([self.first, self.first + middle - low])
        return replace(twice, span=span, first=first)


@dataclass(frozen=True, slots=True)
class _Fitted:
    """Cubics (K, 4, 2) in picture px in the order of their paths; `straight` (K,) tells which are lines."""

    path: NDArray[np.int64]
    control_px: Floats
    straight: NDArray[np.bool_]


NO_ARC = (0.0, 0.0, 0.0, 0.0, 0.0)


def _pieces(paths: Sequence[Path]) -> _Pieces:
    path, control, arc, line = [], [], [], []
    for number, one in enumerate(paths):
        for start, segment in one.pieces():
            path.append(number)
            if isinstance(segment, Cubic):
                control.append((start, segment.control1_mm, segment.control2_mm, segment.end_mm))
                arc.append(NO_ARC)
                line.append(False)
                continue
            control.append((start, start, segment.end_mm, segment.end_mm))
            circle = arc_circle(start, segment) if isinstance(segment, Arc) else None
            line.append(circle is None)
            arc.append(NO_ARC if circle is None else _as_row(circle))
    count = len(path)
    controls = np.array(control, dtype=np.float64).reshape(-1, 4, 2)
    straight = np.array(line, dtype=bool)
    # At equal steps: a line's places go by its length.
    controls[straight, 1:3] = THIRDS @ controls[straight][:, ::3]
    return _Pieces(
        np.array(path, dtype=np.int64),
        np.arange(count, dtype=np.float64),
        controls,
        np.array(arc, dtype=np.float64).reshape(-1, 5),
        straight,
        np.tile([0.0, 1.0], (count, 1)),
    )


def _as_row(circle: Circle) -> tuple[float, float, float, float, float]:
    return *circle.centre_mm, circle.radius_mm, circle.start_rad, circle.sweep_rad


THIRDS = np.array([[2, 1], [1, 2]]) / 3
"""A straight line's inner control points from its ends."""

SHARED_AT = np.array([0, 1 / 3, 2 / 3, 1])

THROUGH = np.array([[6, 0, 0, 0], [-5, 18, -9, 2], [2, -9, 18, -5], [0, 0, 0, 6]]) / 6
"""Control points of the cubic through four places at equal shares."""

BERNSTEIN = np.stack(
    [(1 - CHECKED_AT) ** 3, 3 * (1 - CHECKED_AT) ** 2 * CHECKED_AT, 3 * (1 - CHECKED_AT) * CHECKED_AT**2, CHECKED_AT**3]
).T


def _fitted(pieces: _Pieces, calibration: ToPicture) -> _Fitted:
    done: list[tuple[_Pieces, Floats, NDArray[np.bool_]]] = []
    for halving in range(MOST_HALVINGS + 1):
        shares = np.concatenate([SHARED_AT, CHECKED_AT])
        places_px = calibration.to_picture(pieces.at(shares).reshape(-1, 2)).reshape(-1, len(shares), 2)
        shared, checked = places_px[:, :4], places_px[:, 4:]
        control_px = THROUGH @ shared
        off_px = np.hypot(*np.moveaxis(checked - BERNSTEIN @ control_px, 2, 0)).max(axis=1)
        straight = pieces.line & (_bow_px(shared) <= WITHIN_PX)
        # What the camera does not see has no place however often it is halved.
        keeps = straight | (off_px <= WITHIN_PX) | np.isnan(off_px) | (halving == MOST_HALVINGS)
        done.append((pieces.picked(keeps), control_px[keeps], straight[keeps]))
        if keeps.all():
            break
        pieces = pieces.picked(~keeps).halved()
    path = np.concatenate([one.path for one, _, _ in done])
    order = np.lexsort((np.concatenate([one.first for one, _, _ in done]), path))
    return _Fitted(
        path[order], np.concatenate([c for _, c, _ in done])[order], np.concatenate([s for _, _, s in done])[order]
    )


def _bow_px(shared: Floats) -> Floats:
    """How far the inner places (K, 4, 2) lie from the chord."""
    chord = shared[:, 3] - shared[:, 0]
    long = np.hypot(chord[:, 0], chord[:, 1])
    unit = chord / np.where(long > 0, long, 1)[:, None]
    inner = shared[:, 1:3] - shared[:, :1]
    off: Floats = np.abs(inner[..., 0] * unit[:, None, 1] - inner[..., 1] * unit[:, None, 0]).max(axis=1)
    return off


def _written(fitted: _Fitted, closed: Sequence[bool]) -> list[str]:
    """Path data of every path; all numbers are put into words in one go."""
    paths = np.arange(len(closed))
    begins, ends = np.searchsorted(fitted.path, paths), np.searchsorted(fitted.path, paths, side="right") - 1
    forms = np.where(fitted.straight, "L%.7g %.7g", "C%.7g %.7g %.7g %.7g %.7g %.7g").tolist()
    for begin, end, is_closed in zip(begins.tolist(), ends.tolist(), closed, strict=True):
        forms[begin] = f"\nM%.7g %.7g{forms[begin]}"
        if is_closed:
            forms[end] += "Z"
    said = np.ones((len(forms), 4, 2), dtype=bool)
    said[:, 0] = False
    said[begins, 0] = True
    said[fitted.straight, 1:3] = False
    data = ("".join(forms) % tuple(np.round(fitted.control_px, DIGITS)[said].tolist())).split("\n")[1:]
    hidden = np.logical_or.reduceat(~np.isfinite(fitted.control_px).all(axis=(1, 2)), begins)
    return ["" if is_hidden else one for one, is_hidden in zip(data, hidden.tolist(), strict=True)]
