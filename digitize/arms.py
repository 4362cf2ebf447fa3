"""How lines run up to a node: a line or parabola through the clean samples of each, extended to where they meet."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from digitize.corners import stepped
from digitize.runs import Floats

REACH = 48
"""Samples (about px) looked at along an arm: more gains nothing against a blur of one px, and curves bend away."""

SPANS = (48, 32, 20, 12, 7)
"""How many clean samples a fit may use, longest first: the first that the samples agree with is taken."""

AGREES_SIGMAS = 1.5
"""A fit whose residuals are within this many sigma of the samples' own noise describes them."""

OWN_SPAN = 16
"""Clean samples nearest a node that show an arm's own noise: enough to tell it to a quarter, few enough to be a
parabola."""

OWN_FACTOR = 1.6
"""Mean square residual of a fit, in parts of the arm's own noise, that may be chance."""

TURNED = 4.0
"""The nearest few samples show as much noise as twice as many do, to within this factor of the square: four degrees of
freedom make less than a quarter of what is expected once in twenty arms."""

FLOOR_PX = 0.03
"""What a sample errs besides noise (linear sampling, drawing), px."""

LEAST_SCATTER_PX = 0.015
"""Nothing drawn and seen through pixels scatters less, px."""

BENT_SIGMAS = 4.0
"""A parabola's bend must stand this far above its error, or the arm is straight: a needless bend costs half the
accuracy."""


@dataclass(frozen=True, slots=True)
class Arms:
    """Fits of A arms, each in its own frame: `origin_px` (A, 2), unit `axis` (A, 2) leading away from the node.

    Across the axis (a quarter turn from x towards y) an arm runs at `level + slope x + bend x^2`. `variance` (A, 3, 3)
    is that fit's covariance, `nearest_px` (A,) how far along the first clean sample lies, `known` whether there were
    samples enough.
    """

    origin_px: Floats
    axis: Floats
    fit: Floats
    variance: Floats
    nearest_px: Floats
    known: NDArray[np.bool_]

    def local(self, points_px: Floats) -> Floats:
        """Points (A, 2), one an arm, in the arms' frames."""
        away = points_px - self.origin_px
        along = (away * self.axis).sum(axis=1)
        across = away[:, 1] * self.axis[:, 0] - away[:, 0] * self.axis[:, 1]
        return np.column_stack([along, across])

    def at(self, along_px: Floats) -> Floats:
        """The arms' points (A, 2) px at (A,) distances along their axes."""
        across = self.fit[:, 0] + along_px * (self.fit[:, 1] + along_px * self.fit[:, 2])
        normal = np.column_stack([-self.axis[:, 1], self.axis[:, 0]])
        return self.origin_px + along_px[:, None] * self.axis + across[:, None] * normal

    def direction(self, along_px: Floats) -> Floats:
        """Unit directions (A, 2) away from the node at (A,) distances along the axes."""
        slope = self.fit[:, 1] + 2 * along_px * self.fit[:, 2]
        normal = np.column_stack([-self.axis[:, 1], self.axis[:, 0]])
        away = self.axis + slope[:, None] * normal
        unit: Floats = away / np.hypot(away[:, 0], away[:, 1])[:, None]
        return unit

    def sigma(self, along_px: Floats) -> Floats:
        """One-sigma error (A,) across the arms, px, at (A,) distances along their axes."""
        powers = np.stack([np.ones_like(along_px), along_px, along_px**2], axis=1)
        sigma: Floats = np.sqrt(np.maximum(np.einsum("ai,aij,aj->a", powers, self.variance, powers), 0))
        return sigma


def arm_samples(
    at: NDArray[np.int64],
    way: NDArray[np.int64],
    skip: NDArray[np.int64],
    far: NDArray[np.int64],
    first: NDArray[np.int64],
    ring: NDArray[np.bool_],
    *,
    reach: int = REACH,
) -> NDArray[np.int64]:
    """Samples (A, reach) from each node outward, -1 where spoilt by it or by the node at the other end."""
    # A side too short to keep clear of both its nodes is measured about its middle.
    begin = np.minimum(skip, np.maximum((far - 2) // 2, 0))
    finish = np.maximum(far - skip, np.minimum(far, (far + 3) // 2))
    steps = begin[:, None] + np.arange(reach)[None, :]
    rows = np.repeat(at, reach)
    index = stepped(rows, (way[:, None] * steps).ravel(), first, ring).reshape(-1, reach)
    return np.where(steps <= finish[:, None], index, -1)


def fit_arms(
    points_px: Floats,
    weights: Floats,
    index: NDArray[np.int64],
    origin_px: Floats,
    *,
    sigma_px: float,
) -> Arms:
    """Fit each arm on its clean samples, as far out as one parabola describes them.

    Parameters
    ----------
    points_px : (T, 2) float
        Samples of all lines.
    weights : (T,) float
        0 for a sample that is not to be used.
    index : (A, REACH) int
        Each arm's samples from its node outward; -1 where it has no more or where they lie too near the node.
    origin_px : (A, 2) float
        About where each arm's node is.
    sigma_px : float
        One-sigma noise of a sample.

    Returns
    -------
    Arms
    """
    count = len(index)
    has = index >= 0
    safe = np.where(has, index, 0)
    weight = np.where(has, weights[safe], 0.0)
    clean = weight > 0
    # Arms with hardly a clean sample do with those there are.
    poor = clean.sum(axis=1) < 2
    weight[poor] = has[poor]
    clean = weight > 0
    away = points_px[safe] - origin_px[:, None, :]
    order = np.cumsum(clean, axis=1)
    near = clean & (order <= 12)
    numbers = np.maximum(near.sum(axis=1), 1)[:, None]
    mean = (away * near[:, :, None]).sum(axis=1) / numbers
    length = np.hypot(mean[:, 0], mean[:, 1])
    axis = np.where(length[:, None] > 0, mean / np.where(length > 0, length, 1)[:, None], [1.0, 0.0])
    x = away[:, :, 0] * axis[:, None, 0] + away[:, :, 1] * axis[:, None, 1]
    y = away[:, :, 1] * axis[:, None, 0] - away[:, :, 0] * axis[:, None, 1]

    fit, variance = np.zeros((count, 3)), np.zeros((count, 3, 3))
    variance[:, 0, 0] = variance[:, 1, 1] = 1.0
    open_ = np.ones(count, np.bool_)
    within = np.full(count, (AGREES_SIGMAS * sigma_px + FLOOR_PX) ** 2)
    # A faint line scatters more than the picture's usual one: what a short parabola leaves is its own noise, and a
    # longer fit that leaves little more still describes it.
    _, _, own, solid = least_squares(x, y, weight * (order <= OWN_SPAN), 2)
    # Where the line turns once more so near, what that leaves is the turn, not noise.
    _, _, nearest_own, told = least_squares(x, y, weight * (order <= SPANS[-1]), 2)
    own = np.where(told, np.minimum(own, TURNED * np.maximum(nearest_own, FLOOR_PX**2)), own)
    within = np.where(solid, np.maximum(within, OWN_FACTOR * own), within)
    noise = sigma_px**2 + FLOOR_PX**2
    for span in SPANS:
        todo = np.flatnonzero(open_)
        if len(todo) == 0:
            break
        used = weight[todo] * (order[todo] <= span)
        curve, curve_cov, curve_rest, solid = least_squares(x[todo], y[todo], used, 2)
        line, line_cov, line_rest, firm = least_squares(x[todo], y[todo], used, 1)
        # Judged by the scatter that there is: the noise allowed for may be more.
        most = np.maximum(noise, own[todo])
        scatter = np.clip(curve_rest, max(LEAST_SCATTER_PX, 0.5 * sigma_px) ** 2, most)
        bent = solid & is_bent(curve, curve_cov, scatter)
        bent |= solid & (line_rest > within[todo]) & (curve_rest < 0.5 * line_rest)
        rest = np.where(bent, curve_rest, line_rest)
        last = span == SPANS[-1]
        take = firm & ((rest <= within[todo]) | last)
        fit[todo[take]] = np.where(bent[take, None], curve[take], line[take])
        chosen = np.where(bent[take, None, None], curve_cov[take], line_cov[take])
        variance[todo[take]] = chosen * np.maximum(noise, rest[take])[:, None, None]
        open_[todo[take]] = False
    known = ~open_
    # A lone sample still gives the direction to it.
    nearest = np.where(clean.any(axis=1), x[np.arange(count), np.argmax(clean, axis=1)], 0.0)
    return Arms(origin_px.copy(), axis, fit, variance, nearest, known | (length > 0))


def is_bent(curve: Floats, covariance: Floats, variance_px2: Floats) -> NDArray[np.bool_]:
    """Whether parabolas' bends stand out of their errors, with a sample's variance."""
    bent: NDArray[np.bool_] = np.abs(curve[:, 2]) > BENT_SIGMAS * np.sqrt(covariance[:, 2, 2] * variance_px2)
    return bent


def least_squares(
    x: Floats, y: Floats, weight: Floats, degree: int
) -> tuple[Floats, Floats, Floats, NDArray[np.bool_]]:
    """Polynomials y(x) for many arms at once: coefficients (A, 3), unit covariance, mean square residual, solvable."""
    size = degree + 1
    scale = np.maximum((np.abs(x) * (weight > 0)).max(axis=1), 1.0)
    u = x / scale[:, None]
    powers = [np.ones_like(u), u]
    while len(powers) <= 2 * degree:
        powers.append(powers[-1] * u)
    sums = np.stack([np.einsum("aw,aw->a", weight, power) for power in powers], axis=1)
    normal = np.stack([sums[:, row : row + size] for row in range(size)], axis=1)
    weighed = weight * y
    right = np.stack([np.einsum("aw,aw->a", weighed, power) for power in powers[:size]], axis=1)
    number = (weight > 0).sum(axis=1)
    scaled = normal / np.maximum(sums[:, :1, None], 1e-300)
    solvable = (number >= size + 1) & (np.linalg.det(scaled) > (1e-4 if degree == 1 else 1e-8))
    normal[~solvable] = np.eye(size)
    right[~solvable] = 0
    inverse = np.linalg.inv(normal)
    solution = np.einsum("aij,aj->ai", inverse, right)
    residual = y - sum(solution[:, power, None] * powers[power] for power in range(size))
    rest = (weight * residual**2).sum(axis=1) / np.maximum(number - size, 1)
    back = scale[:, None] ** -np.arange(size)[None, :]
    coefficients, covariance = np.zeros((len(x), 3)), np.zeros((len(x), 3, 3))
    coefficients[:, :size] = solution * back
    covariance[:, :size, :size] = inverse * back[:, :, None] * back[:, None, :]
    return coefficients, covariance, rest, solvable


def meeting_points(arms: Arms, node: NDArray[np.int64], begin_px: Floats, *, hold_px: Floats) -> Floats:
    """Give where the arms of each node meet: the least weighted squares of the distances to their extensions.

    Parameters
    ----------
    arms : Arms
        A arms.
    node : (A,) int
        Which node each belongs to.
    begin_px : (N, 2) float
        About where the nodes are.
    hold_px : (N,) float
        How far, one sigma, a node may be from there: holds a node that its arms leave free along themselves.

    Returns
    -------
    (N, 2) float
    """
    place = begin_px.copy()
    hold = 1 / hold_px**2
    for _ in range(5):
        local = arms.local(place[node])
        along = local[:, 0]
        slope = arms.fit[:, 1] + 2 * along * arms.fit[:, 2]
        level = arms.fit[:, 0] + along * (arms.fit[:, 1] + along * arms.fit[:, 2])
        tilt = np.sqrt(1 + slope**2)
        miss = (local[:, 1] - level) / tilt
        gradient = np.column_stack([-arms.axis[:, 1], arms.axis[:, 0]]) - slope[:, None] * arms.axis
        gradient /= tilt[:, None]
        weight = arms.known / (arms.sigma(along) ** 2 + FLOOR_PX**2)
        normal = np.zeros((len(place), 2, 2))
        np.add.at(normal, node, weight[:, None, None] * gradient[:, :, None] * gradient[:, None, :])
        right = np.zeros((len(place), 2))
        np.add.at(right, node, -(weight * miss)[:, None] * gradient)
        normal += hold[:, None, None] * np.eye(2)
        right += hold[:, None] * (begin_px - place)
        place = place + np.linalg.solve(normal, right[:, :, None])[:, :, 0]
    return place
