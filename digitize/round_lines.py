"""Where in the ink round lines lie: circles and ellipses fitted to the pixels themselves."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.special import chndtr, ndtr

from digitize.ellipse_fit import Ellipses, fit_ellipses
from digitize.runs import Floats

Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

STEPS = 8
"""Gauss-Newton steps: from a third of a px off, the last moves a line by under a thousandth."""

CIRCLE_AT = 4
"""Before this step it is decided which are circles: those whose oval is no more than noise have three unknowns on."""

CIRCLE_SIGMAS = 2.5
"""An oval by less than this many of its standard errors is a circle: of true circles one in twenty is missed, by no
more than its noise."""

FARTHEST_STEP_PX = 0.5
"""No step moves the line farther: beyond, its flanks are not where they were looked for."""

FLANK_SIGMAS, FLANK_PX = 2.5, 0.5
"""Pixels looked at reach so far beyond the line's edges: its whole flank, and little of what lies beside it."""

BLUR_KNOWN_PX = 0.06
"""How well a picture's blur is known beforehand from its other lines, one sigma: a thin line does not tell its width
from its blur, and blur draws a bend inward."""

USUAL_BLUR_PX, USUAL_KNOWN_PX = 0.8, 0.15
"""Where other lines are too few to tell: the blur of scans and good photos, and how far it may be off."""

START_BLUR = 0.7
"""The fit begins with this part of the picture's blur."""

ALIKE_PIXELS = 2.0
"""Neighbouring pixels err alike in JPEG's ripples and in softened stairs: so many count as one."""

MOST_PIXELS = 2500
"""Of a large line's pixels so many are looked at: they tell it to some thousandths of a px."""

SIDES = 24
"""Points that carry a moved ellipse from one step to the next."""

SHAPE, WIDTH, BLUR, INK, PAPER = slice(0, 5), 5, 6, 7, 8
"""The unknowns: shifts along x and y, growth, ovals along and across the axes; width, blur, darkness of ink and
paper."""

UNKNOWNS = 9

SPREAD = np.array([0.5, 0.5, 1.0, 0.5, 0.5])
"""What the variance of each shape unknown adds to a point's, on average around."""


@dataclass(frozen=True, slots=True)
class RoundLines:
    """E lines as ellipses, and how well they are known.

    `width_px` (E,) is their ink's width without blur, `sigma_px` (E,) one sigma of a point by noise alone; `off_px`
    (E,) is how far the ink leaves each, rms over stretches as long as the line is wide, `noise_px` (E,) what of that
    noise would make. `found` (E,) tells those that could be fitted: the values of others say nothing.
    """

    ellipses: Ellipses
    width_px: Floats
    sigma_px: Floats
    off_px: Floats
    noise_px: Floats
    found: Bools


@dataclass(frozen=True, slots=True)
class _Lines:
    """What is sought: ellipses, the width and blur of their ink, how dark it and the paper are."""

    ellipses: Ellipses
    width: Floats
    blur: Floats
    ink: Floats
    paper: Floats


def fit_round_lines(
    darkness: NDArray[np.uint8],
    about: Ellipses,
    *,
    seen_px: Floats,
    clear: Sequence[tuple[Floats, Bools]],
    blur_px: float,
    oval_px: Floats,
    lost_px2: float = 0.0,
) -> RoundLines:
    """Fit blurred rings of ink to the pixels about ellipses, by least squares.

    A straight line of width w blurred by s is as dark as F((w/2 - d) / s) + F((w/2 + d) / s) - 1 at the distance d, F
    the normal law. A bend draws both edges inward, by s^2 / (2 r) at the radius r: here that is part of the fit. No
    darkness is cut off, as for a centroid, and every pixel counts for what its noise lets it.

    Parameters
    ----------
    darkness : (H, W) uint8
        As in `Ink`.
    about : Ellipses
        Where E lines lie, to within half a line width.
    seen_px : (E,) float
        Width of their ink at half its darkness, px.
    clear : sequence of ((N,) float, (N,) bool)
        For each, the angles at which it was looked at, radians, and whether it is seen alone there.
    blur_px : float
        About the picture's blur, one sigma; 0 if nothing tells it.
    oval_px : (E,) float
        An oval that a circle may have by chance besides noise, one sigma.
    lost_px2 : float
        Square of the blur that a line had before its picture was made black and white, and that no longer shows.
    """
    blur_px, known_px = (blur_px, BLUR_KNOWN_PX) if blur_px > 0 else (USUAL_BLUR_PX, USUAL_KNOWN_PX)
    seen = _Pixels.near(darkness, about, seen_px, clear, FLANK_SIGMAS * blur_px + FLANK_PX)
    # A wide sharp line becomes a thin blurred one in a few steps, but not the other way.
    blur = np.full(len(seen_px), START_BLUR * blur_px)
    width_px = np.maximum(np.sqrt(np.maximum(seen_px**2 - blur**2, 0)), 1.0)
    now = first = _Lines(about, width_px, blur, seen.darkest(), np.zeros(len(seen_px)))
    found = seen.some & (now.ink > 0)
    free = np.ones((len(seen_px), UNKNOWNS), np.bool_)
    for step in range(STEPS):
        fit = _Fit.of(seen, now, free, blur_px, known_px)
        if step == CIRCLE_AT:
            long_px, short_px = now.ellipses.long_px, now.ellipses.short_px
            sigma_px = np.sqrt(fit.variance[:, 3:5].mean(axis=1)) * fit.rougher(seen, now)
            oval = (long_px - short_px) / 2 > CIRCLE_SIGMAS * np.hypot(sigma_px, oval_px)
            free[:, 3:5] = oval[:, None]
            mean_px = np.where(oval, np.nan, (long_px + short_px) / 2)
            round_off = [np.where(oval, own, mean_px) for own in (long_px, short_px)]
            now = replace(now, ellipses=replace(now.ellipses, long_px=round_off[0], short_px=round_off[1]))
            fit = _Fit.of(seen, now, free, blur_px, known_px)
        moved, is_ellipse = _stepped(now, fit.step)
        found &= is_ellipse & (moved.ellipses.short_px > 0.5 * about.short_px)
        found &= moved.ellipses.long_px < 1.5 * about.long_px
        now = _chosen(found, moved, first)
    fit = _Fit.of(seen, now, free, blur_px, known_px)
    off_px, noise_px = fit.left(seen, now)
    sigma_px = np.sqrt((fit.variance[:, SHAPE] * SPREAD).sum(axis=1)) * fit.rougher(seen, now)
    # What was lost drew each edge inward by its own bend; of a nearly round line all the way by as much.
    radius_px = np.sqrt(now.ellipses.long_px * now.ellipses.short_px)
    half_px = np.minimum(now.width / 2, np.maximum(radius_px - LEAST_HOLE_PX, 0))
    out_px = lost_px2 / 2 * radius_px / (radius_px**2 - half_px**2)
    grown = replace(now.ellipses, long_px=now.ellipses.long_px + out_px, short_px=now.ellipses.short_px + out_px)
    return RoundLines(grown, now.width, sigma_px, off_px, noise_px, found)


@dataclass(frozen=True, slots=True)
class _Pixels:
    """The pixels near each of E ellipses, one ellipse's after another: places (P, 2), darkness (P,), whose (P,)."""

    points: Floats
    values: Floats
    of: Ints
    first: Ints
    some: Bools

    @classmethod
    def near(
        cls,
        darkness: NDArray[np.uint8],
        about: Ellipses,
        seen_px: Floats,
        clear: Sequence[tuple[Floats, Bools]],
        flank_px: float,
    ) -> "_Pixels":
        """Those where a line is seen alone; an ellipse without any has one, which says nothing."""
        height, width = darkness.shape
        points, some = [], np.zeros(len(seen_px), np.bool_)
        for which, (angles, alone) in enumerate(clear):
            reach = float(seen_px[which] / 2 + flank_px)
            low = np.maximum(np.floor(about.centre_px[which] - about.long_px[which] - reach), 0).astype(int)
            high = np.minimum(np.ceil(about.centre_px[which] + about.long_px[which] + reach) + 1, [width, height])
            x, y = np.arange(low[0], int(high[0])), np.arange(low[1], int(high[1]))
            dx, dy = x - about.centre_px[which, 0], (y - about.centre_px[which, 1])[:, None]
            rough = np.hypot(dx, dy)
            rows, columns = np.nonzero(
                (rough < about.long_px[which] + reach) & (rough > max(about.short_px[which] - reach, 0.0))
            )
            place = np.column_stack([x[columns], y[rows]]).astype(np.float64)
            off = about.spread(np.full(len(place), which)).off_px(place)
            near = np.abs(off) <= reach
            if not alone.all():
                order = np.argsort(angles)
                way = np.arctan2(place[:, 1] - about.centre_px[which, 1], place[:, 0] - about.centre_px[which, 0])
                near &= _nearest(angles[order], alone[order], way)
            place = place[near]
            place = place[:: 1 + len(place) // MOST_PIXELS]
            some[which] = len(place) > 3 * UNKNOWNS
            points.append(place if some[which] else np.zeros((1, 2)))
        number = np.array([len(place) for place in points])
        every = np.concatenate(points)
        values = darkness[every[:, 1].astype(int), every[:, 0].astype(int)].astype(np.float64)
        return cls(every, values, np.repeat(np.arange(len(number)), number), np.cumsum(number) - number, some)

    def darkest(self) -> Floats:
        """The darkness that the inner half of a line's pixels reach about, (E,)."""
        return np.maximum.reduceat(self.values, self.first)


def _nearest(angles: Floats, alone: Bools, way: Floats) -> Bools:
    """Whether the line is seen alone at the angle nearest to each way; the angles rise."""
    around = np.concatenate([angles[-1:] - 2 * np.pi, angles, angles[:1] + 2 * np.pi])
    told = np.concatenate([alone[-1:], alone, alone[:1]])
    way = (way - angles[0]) % (2 * np.pi) + angles[0]
    after = np.clip(np.searchsorted(around, way), 1, len(around) - 1)
    before = after - 1
    nearest: Bools = told[np.where(way - around[before] < around[after] - way, before, after)]
    return nearest


@dataclass(frozen=True, slots=True)
class _Fit:
    """The least-squares step of each line's unknowns (E, 9), their variances, and what pixels say of the line's place.

    `pull` (P,) is how a pixel's darkness changes as the line moves outward, `rest` (P,) what is left of it, `turn` (P,)
    where around it lies, and `noise2` (E,) the square of a pixel's noise.
    """

    step: Floats
    variance: Floats
    pull: Floats
    rest: Floats
    turn: Floats
    noise2: Floats

    @classmethod
    def of(cls, seen: _Pixels, now: _Lines, free: Bools, blur_px: float, known_px: float) -> "_Fit":
        of = seen.of
        long, short, tilt = now.ellipses.long_px[of], now.ellipses.short_px[of], now.ellipses.turn_rad[of]
        c, s = np.cos(tilt), np.sin(tilt)
        x, y = (seen.points - now.ellipses.centre_px[of]).T
        u, v = c * x + s * y, c * y - s * x
        level = np.maximum(np.hypot(u / long, v / short), 1e-6)
        a, b = u / long**2 / level, v / short**2 / level
        steep = np.maximum(np.hypot(a, b), 1e-9)
        a, b = a / steep, b / steep
        bend = 1 / (long**2 * short**2 * steep**3)
        width, blur, ink = now.width[of], now.blur[of], now.ink[of]
        away = (level - 1) / steep
        # Each edge is drawn inward by its own bend, seen from the pixel: the first term of a blurred disc's series.
        radius = 1 / bend
        here = np.maximum(radius + away, blur)
        outer, inner = (1 / np.sqrt(np.maximum(radius + side, blur) * here) for side in (width / 2, -width / 2))
        low = (width / 2 - away) / blur - blur / 2 * outer
        high = (width / 2 + away) / blur + blur / 2 * inner
        bell_low, bell_high = (np.exp(-0.5 * z * z) / np.sqrt(2 * np.pi) for z in (low, high))
        part = ndtr(low) + ndtr(high) - 1
        tight = radius < TIGHT_BLURS * blur
        if tight.any():
            part[tight] = _ring(*(each[tight] for each in (radius, away, width, blur)))
        rest = seen.values - now.paper[of] - ink * part
        pull = ink * (bell_low - bell_high) / blur
        change = np.empty((UNKNOWNS, len(of)))
        change[0], change[1], change[2] = pull * (c * a - s * b), pull * (s * a + c * b), pull
        change[3], change[4] = pull * (a * a - b * b), pull * 2 * a * b
        change[WIDTH] = ink * (bell_low + bell_high) / (2 * blur)
        change[BLUR] = -ink * ((low / blur + outer) * bell_low + (high / blur - inner) * bell_high)
        change[INK], change[PAPER] = part, 1
        change *= free.T[:, of]
        # Line by line: products of all pixels side by side would take three times as long.
        parts = [change[:, a:b] for a, b in pairwise([*seen.first.tolist(), len(of)])]
        square = np.stack([part @ part.T for part in parts])
        right = np.add.reduceat(change * rest, seen.first, axis=1).T
        number = np.diff(seen.first, append=len(of))
        noise2 = np.maximum(np.add.reduceat(rest**2, seen.first) / np.maximum(number - UNKNOWNS, 1), 1.0)
        known = noise2 / known_px**2
        square[:, BLUR, BLUR] += known
        right[:, BLUR] += known * (blur_px - now.blur)
        diagonal = np.arange(UNKNOWNS)
        # What is held, or what no pixel tells, stays.
        square[:, diagonal, diagonal] += np.where(free, 1e-9 * square[:, diagonal, diagonal], 1.0) + 1e-6
        inverse = np.linalg.inv(square)
        variance = inverse[:, diagonal, diagonal] * noise2[:, None] * ALIKE_PIXELS * free
        step = np.einsum("eij,ej->ei", inverse, right)
        return cls(step, variance, pull, rest, np.arctan2(v, u), noise2)

    def rougher(self, seen: _Pixels, now: _Lines) -> Floats:
        """How many times as far the ink leaves each line as noise would: stairs, or another shape."""
        off_px, noise_px = self.left(seen, now)
        return np.maximum(off_px / np.maximum(noise_px, 1e-6), 1.0)

    def left(self, seen: _Pixels, now: _Lines) -> tuple[Floats, Floats]:
        """How far the ink leaves each line over stretches of it, rms, and what noise would make of that, px."""
        around_px = 2 * np.pi * np.sqrt(now.ellipses.long_px * now.ellipses.short_px)
        bins = np.clip(around_px / np.maximum(now.width, LEAST_STRETCH_PX), *BINS).astype(np.int64)
        begin = np.cumsum(bins) - bins
        own = ((self.turn / (2 * np.pi) % 1) * bins[seen.of]).astype(np.int64)
        which = begin[seen.of] + np.minimum(own, bins[seen.of] - 1)
        total = int(bins.sum())
        firm = np.bincount(which, self.pull**2, minlength=total)
        off = np.bincount(which, self.pull * self.rest, minlength=total)
        of = np.repeat(np.arange(len(bins)), bins)
        told = firm > 0.1 * (np.bincount(of, firm) / bins)[of]
        firm = np.where(told, firm, 1.0)
        number = np.maximum(np.bincount(of, told), 1)
        off2 = np.bincount(of, np.where(told, (off / firm) ** 2, 0.0)) / number
        noise2 = np.bincount(of, np.where(told, ALIKE_PIXELS * self.noise2[of] / firm, 0.0)) / number
        return np.sqrt(off2), np.sqrt(noise2)


LEAST_HOLE_PX = 1.0
"""A hole that still shows is larger than this radius, px."""

TIGHT_BLURS = 6.0
"""A bend tighter than this many blurs draws the far edge of its hole along as well: the first term then is not enough
(at a radius of 3 px, by 6 % of the ink's darkness)."""


def _ring(radius: Floats, away: Floats, width: Floats, blur: Floats) -> Floats:
    """How dark blurred rings are at a distance outward of their middles, of 1: a disc less the one inside it.

    A disc blurred by the normal law is the distribution of the squared distance of a normal place from its centre: the
    noncentral chi-square law of two dimensions.
    """
    place = ((radius + away) / blur) ** 2
    outer, inner = (np.maximum((radius + side) / blur, 0) ** 2 for side in (width / 2, -width / 2))
    ring: Floats = chndtr(outer, 2, place) - chndtr(inner, 2, place)
    return ring


LEAST_STRETCH_PX, BINS = 3.0, (8, 64)
"""Stretches are as long as the line is wide, at least so long, and so many around: fewer would bend along with an
ellipse, and more tell no more."""


def _stepped(now: _Lines, step: Floats) -> tuple[_Lines, Bools]:
    """The lines a step on, and which of them still are ellipses."""
    count = len(step)
    shape = np.clip(step[:, SHAPE], -FARTHEST_STEP_PX, FARTHEST_STEP_PX)
    of = np.repeat(np.arange(count), SIDES)
    here = now.ellipses.spread(of)
    ways = np.tile(np.arange(SIDES) * 2 * np.pi / SIDES, count) + here.turn_rad
    normals = here.normals(ways)
    c, s = np.cos(here.turn_rad), np.sin(here.turn_rad)
    a, b = c * normals[:, 0] + s * normals[:, 1], c * normals[:, 1] - s * normals[:, 0]
    basis = np.stack([normals[:, 0], normals[:, 1], np.ones(len(of)), a * a - b * b, 2 * a * b])
    out = (basis * shape.T[:, of]).sum(axis=0)
    ellipses, is_ellipse = fit_ellipses(
        here.at(ways) + out[:, None] * normals, np.ones(len(of)), SIDES * np.arange(count)
    )
    # Width, blur and darkness trade for one another: a step too far for the first order to hold is taken in part.
    far = np.maximum(np.abs(step[:, WIDTH]) / (0.3 * now.width), np.abs(step[:, BLUR]) / (0.3 * now.blur))
    part = 1 / np.maximum(far, 1)
    blur = np.clip(now.blur + part * step[:, BLUR], *BLUR_PX)
    width = np.maximum(now.width + part * step[:, WIDTH], LEAST_WIDTH_PX)
    ink = np.clip(now.ink + part * step[:, INK], 0.7 * now.ink, 1.5 * now.ink)
    return _Lines(ellipses, width, blur, ink, now.paper + step[:, PAPER]), is_ellipse


BLUR_PX, LEAST_WIDTH_PX = (0.35, 4.0), 0.3
"""The sharpest picture and the most blurred one in which there are circles to measure, and the thinnest line."""


def _chosen(found: Bools, moved: _Lines, first: _Lines) -> _Lines:
    """The moved lines, those lost put back to where they were at first."""
    one, other = moved.ellipses, first.ellipses
    ellipses = Ellipses(
        np.where(found[:, None], one.centre_px, other.centre_px),
        np.where(found, one.long_px, other.long_px),
        np.where(found, one.short_px, other.short_px),
        np.where(found, one.turn_rad, other.turn_rad),
    )
    rest = [
        np.where(found, a, b)
        for a, b in (
            (moved.width, first.width),
            (moved.blur, first.blur),
            (moved.ink, first.ink),
            (moved.paper, first.paper),
        )
    ]
    return _Lines(ellipses, *rest)
