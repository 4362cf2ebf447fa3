"""The curve that a vector page itself draws along a link, and its pieces."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

SAME_T = 1e-7
"""Pieces of one curve whose parameters meet within this were cut apart there."""


@dataclass(frozen=True, slots=True, eq=False)
class OwnCurve:
    """Pieces of cubics end to end.

    `controls_px` (K, 4, 2) are the page's whole cubics, `straight` (K,) tells the lines among them, `source` (K,) their
    numbers, and `t` (K, 2) the parameters that a piece runs from and to; backwards where the second is the smaller.
    `dashed` (K,) tells what belongs to a dashed line.
    """

    controls_px: Floats
    straight: NDArray[np.bool_]
    source: NDArray[np.int64]
    t: Floats
    dashed: NDArray[np.bool_]

    def reversed(self) -> "OwnCurve":
        """Give the same curve run the other way."""
        return OwnCurve(
            self.controls_px[::-1], self.straight[::-1], self.source[::-1], self.t[::-1, ::-1], self.dashed[::-1]
        )

    def some(self, first: int, last: int) -> "OwnCurve":
        """Give the pieces from one number up to, not including, another."""
        part = slice(first, last)
        return OwnCurve(self.controls_px[part], self.straight[part], self.source[part], self.t[part], self.dashed[part])

    def pieces_px(self) -> Floats:
        """Give the control points of the pieces themselves, (K, 4, 2); those of whole cubics exactly."""
        pieces = self.controls_px.copy()
        back = (self.t == (1, 0)).all(axis=1)
        pieces[back] = pieces[back, ::-1]
        cut = ~back & (self.t != (0, 1)).any(axis=1)
        pieces[cut] = parts_of(self.controls_px[cut], self.t[cut, 0], self.t[cut, 1])
        return pieces


def end_to_end(curves: Sequence[OwnCurve]) -> OwnCurve:
    """Give the pieces of curves one after another."""
    return OwnCurve(
        np.concatenate([curve.controls_px for curve in curves]),
        np.concatenate([curve.straight for curve in curves]),
        np.concatenate([curve.source for curve in curves]),
        np.concatenate([curve.t for curve in curves]),
        np.concatenate([curve.dashed for curve in curves]),
    )


def joined(curves: Sequence[OwnCurve]) -> OwnCurve:
    """Give curves end to end as one; pieces of one cubic that go on from each other are one piece."""
    if len(curves) == 1 and len(curves[0].t) == 1:
        return curves[0]
    all_pieces = end_to_end(curves)
    controls, straight, source, t = all_pieces.controls_px, all_pieces.straight, all_pieces.source, all_pieces.t
    goes_on = (source[1:] == source[:-1]) & (np.abs(t[1:, 0] - t[:-1, 1]) < SAME_T)
    goes_on &= (t[1:, 1] > t[1:, 0]) == (t[:-1, 1] > t[:-1, 0])
    first = np.flatnonzero(np.concatenate([[True], ~goes_on]))
    last = np.concatenate([first[1:], [len(source)]]) - 1
    ends = np.column_stack([t[first, 0], t[last, 1]])
    return OwnCurve(controls[first], straight[first], source[first], ends, all_pieces.dashed[first])


def closed_up(curve: OwnCurve) -> OwnCurve:
    """Give a closed curve with the piece whole that it happened to begin and end within."""
    last = len(curve.t) - 1
    if last < 1 or curve.source[0] != curve.source[last] or curve.source[0] < 0:
        return curve
    if abs(curve.t[last, 1] - curve.t[0, 0]) >= SAME_T:
        return curve
    whole = curve.some(1, last + 1)
    t = whole.t.copy()
    t[-1, 1] = curve.t[0, 1]
    return OwnCurve(whole.controls_px, whole.straight, whole.source, t, whole.dashed)


def parts_of(controls: Floats, start: Floats, end: Floats) -> Floats:
    """Give the cubics (K, 4, 2) that run along cubics (K, 4, 2) from parameters `start` to `end`, (K,) each.

    By the cubic's blossom (polar form): the new control points are its values at (a, a, a), (a, a, b), (a, b, b)
    and (b, b, b).
    """
    a, b = start, end
    return np.stack([_blossom(controls, *at) for at in ((a, a, a), (a, a, b), (a, b, b), (b, b, b))], axis=1)


def _blossom(controls: Floats, *at: Floats) -> Floats:
    points = controls
    for t in at:
        share = t[:, None, None]
        points = points[:, :-1] * (1 - share) + points[:, 1:] * share
    return points[:, 0]


def points_at(controls: Floats, t: Floats) -> Floats:
    """Give the points (K, 2) of cubics (K, 4, 2) at parameters (K,)."""
    return _blossom(controls, t, t, t)


def leaving(controls: Floats) -> Floats:
    """Give the unit direction (2,) in which a cubic (4, 2) leaves its start; (0, 0) for one without length."""
    for point in controls[1:]:
        way = point - controls[0]
        long = float(np.hypot(*way))
        if long > 0:
            direction: Floats = way / long
            return direction
    return np.zeros(2)
