"""How curled paper stands off the flat: from the place where a ray meets the flat to the place on the paper, in mm.

A ray from the camera meets the plane at w and the paper, standing z(w) mm nearer to the camera, at w (1 - z / D),
D the camera's distance from the plane. The height is given over w, not over the paper: rulings of a cylinder come from
straight lines of w as well, and picture to paper needs no search. With x, y = (w - w0) / S, w0 where the picture's
middle meets the plane and S the mm of a half diagonal,

    z / S = b2 t^2 + b3 t^3 + ... + g1 H1(x, y) + g2 H2(x, y) + ...,    t = x cos turn + y sin turn.

The first sum is a cylinder, and the paper's own length along it is the arc's. What is known of it beforehand is that
paper's curvature wanders along it (a random walk: Wahba 1978, smoothing by splines); all of its terms are always
solved for, so that where nothing shows the profile its intervals are wide. The second, a bulge, is no surface that
paper takes without stretching, so its places are those seen from straight above. It is a sum of equal humps on a grid:
powers of x and y grow without end outside the lines that hold them (trials: twice the error). Their amounts go
alike with their neighbours'. A profile's
constant and linear terms are left out: they are the plane's distance and tilt.
"""

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

Floats: TypeAlias = NDArray[np.float64]

POWERS = tuple(range(2, 17))
"""Powers of t in a cylinder's profile; b2 to b16. With powers to 8, paper that lifts or rolls up from where
it lies flat was followed so badly that 9 % of lengths lay outside what was stated; with these, 7 % (trials)."""

REACH = 1.1
"""Half diagonals over which the powers stand for a profile, to both sides; a sheet that fills the picture ends within
1.05 (trials). Beyond, where powers would soon come to metres, the paper goes on as high as it is there."""

PROFILE_ENDS = np.linspace(-REACH, REACH, 201)
"""Places over which the powers stand for a wandering curvature."""


def _profile_amounts() -> Floats:
    """Give (15, 15): what makes of amounts, each on its own and of sigma 1, powers of t of a profile.

    The first is an even curvature of 1; the others let it move away from that by a sigma of 1 over a half diagonal.
    """
    t = PROFILE_ENDS
    near = np.minimum.outer(np.abs(t), np.abs(t))
    apart = np.abs(np.abs(t)[:, None] - np.abs(t))
    # White noise three times integrated from the middle to both sides.
    walk = np.where(t[:, None] * t > 0, near**5 / 20 + near**4 * apart / 8 + near**3 * apart**2 / 12, 0)
    # Slopes and not heights are what lengths on bent paper go by.
    slopes = np.gradient(np.gradient(walk, t, axis=0), t, axis=1)
    to_powers = np.linalg.pinv(np.stack([power * t ** (power - 1) for power in POWERS], axis=1))
    eigenvalues, vectors = np.linalg.eigh(to_powers @ slopes @ to_powers.T)
    wanders = (vectors * np.sqrt(np.maximum(eigenvalues, 0))).T[:0:-1]
    return np.vstack([0.5 * np.eye(len(POWERS))[0], wanders])


PROFILE = _profile_amounts()

LONG_SIDE = np.linspace(-0.85, 0.85, 6)
SHORT_SIDE = np.linspace(-0.6, 0.6, 5)
"""Places of a bulge's humps along the picture's longer and its shorter side: a grid over a picture of 4 by 3. With 12
or 20 humps the bulges that they cannot make were the larger part of the error, and no interval told it (trials)."""

HUMPS = len(LONG_SIDE) * len(SHORT_SIDE)

HUMP_REACH = 0.33
"""Standard deviation of a hump, half diagonals: about the grid's step leaves no holes between them."""

_HUMP_SPREAD = -2 * HUMP_REACH**2

ALIKE_REACHES = (0.6, 1.0)
"""Half diagonals over which heights go alike (a Gaussian process of such a standard deviation: Rasmussen, Williams
2006), half of the variance each: bulges are of several sizes, and one as wide as the sheet must not cost as much as
thirty humps of any kind."""


def _alike() -> Floats:
    """Give (30, 30): what makes of amounts, each on its own and of sigma 1, humps whose sum has a sigma of 1."""
    places = np.stack(np.meshgrid(LONG_SIDE, SHORT_SIDE), axis=-1).reshape(-1, 2)
    apart = ((places[:, None] - places) ** 2).sum(axis=-1)
    humps = np.exp(apart / _HUMP_SPREAD)
    alike = np.zeros_like(apart)
    for reach in ALIKE_REACHES:
        # Humps' own reach makes neighbours alike as well; the amounts do the rest.
        amounts = np.exp(-apart / (2 * (reach**2 - 2 * HUMP_REACH**2)))
        alike += amounts / np.diag(humps @ amounts @ humps).mean() / len(ALIKE_REACHES)
    eigenvalues, vectors = np.linalg.eigh(alike)
    return np.asarray((vectors * np.sqrt(np.maximum(eigenvalues, 0))) @ vectors.T)


ALIKE = _alike()

MORE_NODES = 1
"""Gauss's rule with as many nodes as the profile's highest power, and one, takes the arc of slopes to 0.3 to 1e-5."""

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(POWERS[-1] + MORE_NODES)

WEIGHTS = _WEIGHTS / 2
"""Of the nodes of an integral from 0 to 1."""

PARTS = np.append((_NODES + 1) / 2, 1.0)
"""Those nodes, as parts of the way to a place, and the place itself."""

EXPONENTS = np.array(POWERS)

SLOPE_PARTS = EXPONENTS * PARTS[:, None] ** (EXPONENTS - 1)
RISE_PARTS = (EXPONENTS + 1) * PARTS[:, None] ** EXPONENTS
"""(nodes, 15): a power's slope at a node is the node's own times a power of t, and so is that of t times the height.

With them all nodes and places are one product of matrices."""

INVERSE_STEPS = 20
"""Each step of the inverse leaves a tenth of the error or less for slopes to 0.1; it ends when all have settled."""

SETTLED = 1e-10
"""In half diagonals: a millionth of a px."""


@dataclass(frozen=True, slots=True)
class Bend:
    """One bend or, with leading axes, sets of them.

    `turn` (...,), `cylinder` (..., 15), `bulge` (..., 30); `distance` (...,) is D and `middle` (..., 2) is w0, in S.
    `long_axis` is that along which the picture is longer, 0 for x and 1 for y.
    """

    turn: Floats
    cylinder: Floats
    bulge: Floats
    distance: Floats
    middle: Floats
    long_axis: int = 0

    def paper(self, w: Floats) -> Floats:
        """Give (..., N, 2) places on the paper, laid flat, for places (..., N, 2) on the plane; both in S."""
        offset = w - self.middle[..., None, :]
        height = self._bulged(offset)
        if not self.cylinder.any():
            return np.asarray(w * (1 - height / self.distance[..., None])[..., None])
        powers = powers_of(self._along(offset))
        height = height + self._profile(powers)
        arc = self._arc_excess(powers)
        direction = np.stack([np.cos(self.turn), np.sin(self.turn)], axis=-1)
        nearer = 1 - height / self.distance[..., None]
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
        offset = w - self.middle[..., None, :]
        return self._profile(powers_of(self._along(offset))) + self._bulged(offset)

    def _along(self, offset: Floats) -> Floats:
        """Give t (..., N) of places from the middle."""
        return offset[..., 0] * np.cos(self.turn)[..., None] + offset[..., 1] * np.sin(self.turn)[..., None]

    def _profile(self, powers: Floats) -> Floats:
        amounts = self.cylinder @ PROFILE
        return np.asarray((amounts[..., None, :] @ powers[..., 2:-1, :])[..., 0, :])

    def _bulged(self, offset: Floats) -> Floats:
        if not self.bulge.any():
            return np.zeros(offset.shape[:-1])
        along, across = humps_by_side(offset, self.long_axis)
        # A hump is a product of one along each side: eleven exponentials a place do for all thirty.
        amounts = self.bulge @ ALIKE
        amounts = amounts.reshape(*amounts.shape[:-1], len(SHORT_SIDE), len(LONG_SIDE))
        return np.asarray(((across @ amounts) * along).sum(axis=-1))

    def arc_excess(self, w: Floats) -> Floats:
        """Give (..., N): how much longer than its view from straight above the paper is, from the middle to each place.

        Along the profile's direction.
        """
        return self._arc_excess(powers_of(self._along(w - self.middle[..., None, :])))

    def _arc_excess(self, powers: Floats) -> Floats:
        amounts = (self.cylinder @ PROFILE)[..., None, :]
        middle = self.middle[..., 0] * np.cos(self.turn) + self.middle[..., 1] * np.sin(self.turn)
        slope = (SLOPE_PARTS[:-1] * amounts) @ powers[..., 1:-2, :]
        rise = (RISE_PARTS[:-1] * amounts) @ powers[..., 2:-1, :] + middle[..., None, None] * slope
        along = 1 - rise / self.distance[..., None, None]
        return np.asarray((WEIGHTS @ (np.hypot(along, slope) - along)) * powers[..., 1, :])


def powers_of(t: Floats) -> Floats:
    """Give (..., 18, N): t (..., N) to the power of 0, 1, ... up to one more than a profile's highest.

    Beyond `REACH` that of `REACH`.
    """
    t = np.clip(t, -REACH, REACH)
    powers = np.empty((*t.shape[:-1], POWERS[-1] + 2, t.shape[-1]))
    powers[..., 0, :] = 1
    for exponent in range(1, POWERS[-1] + 2):
        np.multiply(powers[..., exponent - 1, :], t, out=powers[..., exponent, :])
    return powers


def humps_by_side(offset: Floats, long_axis: int) -> tuple[Floats, Floats]:
    """Give a hump of every place along the longer side (..., N, 6) and the shorter (..., N, 5), for (..., N, 2)."""
    along = offset[..., long_axis, None] - LONG_SIDE
    across = offset[..., 1 - long_axis, None] - SHORT_SIDE
    return np.exp(along**2 / _HUMP_SPREAD), np.exp(across**2 / _HUMP_SPREAD)
