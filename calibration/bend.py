"""How curled paper stands off the flat: from the place where a ray meets the flat to the place on the paper, in mm.

A ray from the camera meets the plane at w and the paper, standing z(w) mm nearer to the camera, at w (1 - z / D),
D the camera's distance from the plane. The height is given over w, not over the paper: rulings of a cylinder come from
straight lines of w as well, and picture to paper needs no search. With x, y = (w - w0) / S, w0 where the picture's
middle meets the plane and S the mm of a half diagonal,

    z / S = b2 t^2 + b3 t^3 + ... + g1 H1(x, y) + g2 H2(x, y) + ...,    t = x cos turn + y sin turn.

The first sum is a cylinder, and the paper's own length along it is the arc's; the second, a bulge, is no surface that
paper takes without stretching, so its places are those seen from straight above. It is a sum of equal humps on a grid:
powers of x and y grow without end outside the lines that hold them (trials: twice the error). Their amounts go
alike with their neighbours'. A profile's
constant and linear terms are left out: they are the plane's distance and tilt.
"""

from dataclasses import dataclass
from functools import cache
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

Floats: TypeAlias = NDArray[np.float64]

POWERS = (2, 3, 4, 5, 6)
"""Powers of t in a cylinder's profile; b2 to b6."""

HUMPS = tuple((x, y) for y in (-0.55, 0.0, 0.55) for x in (-0.8, -0.27, 0.27, 0.8))
"""Middles (x, y) of a bulge's humps: a grid over a picture of 4 by 3."""

HUMP_REACH = 0.45
"""Standard deviation of a hump, half diagonals: a little less than the grid's step leaves no holes between them."""

_HUMP_SPREAD = -2 * HUMP_REACH**2

ALIKE_REACH = 0.6
"""Half diagonals over which humps go alike (standard deviation): paper that rises in one place rises beside
it, and a bulge of one crest must not cost as much as twelve of any kind."""


def _alike() -> Floats:
    """Give (12, 12): what makes of twelve amounts, each on its own, humps that are as alike as they lie near."""
    places = np.array(HUMPS)
    apart = ((places[:, None] - places) ** 2).sum(axis=-1)
    eigenvalues, vectors = np.linalg.eigh(np.exp(-apart / (2 * ALIKE_REACH**2)))
    return np.asarray((vectors * np.sqrt(np.maximum(eigenvalues, 0))) @ vectors.T)


ALIKE = _alike()

MORE_NODES = 1
"""Gauss's rule with as many nodes as the profile's highest power, and one, takes the arc of slopes to 0.3 to 1e-5."""

INVERSE_STEPS = 20
"""Each step of the inverse leaves a tenth of the error or less for slopes to 0.1; it ends when all have settled."""

SETTLED = 1e-10
"""In half diagonals: a millionth of a px."""


@dataclass(frozen=True, slots=True)
class Bend:
    """One bend or, with leading axes, sets of them.

    `turn` (...,), `cylinder` (..., 5), `bulge` (..., 12); `distance` (...,) is D and `middle` (..., 2) is w0, in S.
    """

    turn: Floats
    cylinder: Floats
    bulge: Floats
    distance: Floats
    middle: Floats

    def paper(self, w: Floats) -> Floats:
        """Give (..., N, 2) places on the paper, laid flat, for places (..., N, 2) on the plane; both in S."""
        direction = np.stack([np.cos(self.turn), np.sin(self.turn)], axis=-1)
        nearer = 1 - self.heights(w) / self.distance[..., None]
        arc = self.arc_excess(w)
        return np.asarray(w * nearer[..., None] + arc[..., None] * direction[..., None, :])

    def plane(self, paper: Floats) -> Floats:
        """Give (N, 2) places on the plane for (N, 2) on the paper, the inverse of `paper` for a single bend, in S.

        NaN where the search does not settle: there the paper would have to be steeper than any sheet lies.
        """
        w = np.array(paper)
        off = np.full(len(w), np.inf)
        with np.errstate(invalid="ignore", over="ignore"):
            for _ in range(INVERSE_STEPS):
                step = paper - self.paper(w)
                w += step
                off = np.abs(step).max(axis=1, initial=0.0)
                if not (off > SETTLED).any():
                    break
        w[~(off <= 1e3 * SETTLED)] = np.nan
        return w

    def heights(self, w: Floats) -> Floats:
        """Give (..., N) heights above the plane where rays meet it at (..., N, 2), in S."""
        direction = np.stack([np.cos(self.turn), np.sin(self.turn)], axis=-1)
        offset = w - self.middle[..., None, :]
        return self._profile((offset * direction[..., None, :]).sum(axis=-1)) + self._bulged(offset)

    def _profile(self, t: Floats) -> Floats:
        height = np.zeros_like(t)
        for place in range(self._terms() - 1, -1, -1):
            height = height * t + self._term(place, t)
        return np.asarray(height * t * t)

    def _slope(self, t: Floats) -> Floats:
        slope = np.zeros_like(t)
        for place in range(self._terms() - 1, -1, -1):
            slope = slope * t + POWERS[place] * self._term(place, t)
        return np.asarray(slope * t)

    def _term(self, place: int, t: Floats) -> Floats:
        """Give a term's amount, to be multiplied with t's sets."""
        amounts = self.cylinder[..., place]
        return amounts.reshape(*amounts.shape, *[1] * (t.ndim - amounts.ndim))

    def _terms(self) -> int:
        """Give how many terms of the profile are used at all."""
        used = np.flatnonzero(self.cylinder.reshape(-1, len(POWERS)).any(axis=0))
        return int(used[-1]) + 1 if len(used) else 0

    def _bulged(self, offset: Floats) -> Floats:
        if not self.bulge.any():
            return np.zeros(offset.shape[:-1])
        x, y = offset[..., 0], offset[..., 1]
        height = np.zeros(np.broadcast_shapes(x.shape, self.bulge[..., :1].shape))
        amounts = self.bulge @ ALIKE
        for place, (at_x, at_y) in enumerate(HUMPS):
            height += amounts[..., place, None] * np.exp(((x - at_x) ** 2 + (y - at_y) ** 2) / _HUMP_SPREAD)
        return height

    def arc_excess(self, w: Floats) -> Floats:
        """Give (..., N): how much longer than its view from straight above the paper is, from the middle to each place.

        Along the profile's direction.
        """
        direction = np.stack([np.cos(self.turn), np.sin(self.turn)], axis=-1)
        t = ((w - self.middle[..., None, :]) * direction[..., None, :]).sum(axis=-1)
        if not self.cylinder.any():
            return np.zeros_like(t)
        distance, middle = self.distance[..., None, None], (self.middle * direction).sum(axis=-1)[..., None, None]
        nodes, weights = _gauss(POWERS[self._terms() - 1] + MORE_NODES)
        part = t[..., None, :] * ((nodes + 1) / 2)[:, None]
        slope = self._slope(part)
        along = 1 - (self._profile(part) + (part + middle) * slope) / distance
        return np.asarray((weights / 2) @ (np.hypot(along, slope) - along) * t)


@cache
def _gauss(nodes: int) -> tuple[Floats, Floats]:
    places, weights = np.polynomial.legendre.leggauss(nodes)
    return places, weights
