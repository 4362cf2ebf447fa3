"""The tail that the two sides of a sharp tip leave where their ink has merged."""

from dataclasses import dataclass

import numpy as np

from digitize.runs import Floats

LEAST_APART = 0.25
"""Half the distance of two merged lines in line widths, at its widest: 0.5 where they merge, less some for blur."""


@dataclass(frozen=True, slots=True)
class Tail:
    """Where a sharp tip's two sides have merged, px.

    `points_px` (M, 2) run from where they merge to the end of the skeleton, `apart_px` (M,) is half the distance of
    the two
    centre-lines there, as the ink is wider than one line's; it falls to 0 at `tip_px`, which along them is sure to
    `sigma_px`, one sigma.
    """

    points_px: Floats
    apart_px: Floats
    tip_px: Floats
    sigma_px: float


CLOSED = 0.05
"""Nearer to their meeting than this half distance, in line widths, the sides' end shows through the blur."""

MERGED = 0.8
"""Sides this part of the tail's widest half distance apart have no paper between them any more."""

LEAST_OPENING = 0.026
"""Tangent of half the angle of the most slender tip: thinner than 3 degrees no pen draws two sides."""

FEWEST = 6
"""Samples of a short tail that are used whatever they show."""


def merged_tail(
    points_px: Floats,
    normals: Floats,
    amount: Floats,
    dark: Floats,
    *,
    single: float,
    width_px: float,
    opening: float,
) -> Tail | None:
    """Give the merged part of a tip, if the ink along a branch narrows from two lines' to one's and then ends.

    Two lines at a distance s under their width cover that much more than one, whatever the blur: the amount of ink
    across them tells s all the way to where they meet.

    Parameters
    ----------
    points_px, normals : (M, 2) float
        The branch from the node outward, and its unit normals; M >= 4.
    amount, dark : (M,) float
        Ink across it, darkness times px, and its peak darkness.
    single : float
        The amount across one of the sides, where it runs alone.
    width_px : float
        A side's width, blur included.
    opening : float
        Tangent of half the angle between the sides where they are apart; infinite where that is not known.

    Returns
    -------
    Tail or None
        None where the ink does not narrow, or where a line goes on.
    """
    points = points_px
    # A normal askew to the tail crosses more ink.
    _, _, axes = np.linalg.svd(points - points.mean(axis=0), full_matrices=False)
    amount = amount * np.abs(normals @ axes[1])
    full = float(np.percentile(dark, 90))
    apart = (np.convolve(np.pad(amount, 1, mode="edge"), [0.25, 0.5, 0.25], mode="valid") - single) / (2 * full)
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    ink = single / full
    open_ = apart > CLOSED * ink
    # From its widest on it narrows evenly; before, the skeleton's node lies beside the merged ink.
    widest = int(np.argmax(apart))
    until = len(apart) if open_[widest:].all() else widest + int(np.argmin(open_[widest:]))
    if apart[widest] < LEAST_APART * ink or until - widest < 3:
        return None
    # Where paper shows between the sides a profile holds less than both.
    merged = until - int(np.argmax(apart[widest:until][::-1] > MERGED * apart[widest]))
    begin = max(widest, min(merged, until - FEWEST))
    falling = _falling(along[begin:until], apart[begin:until])
    if falling is None:
        return None
    meet, rate, sigma = falling.meet_px, falling.rate, falling.sigma_px
    # The end of a black bar, or two sides drawn along each other: they may as well meet beyond the sheet.
    if sigma > along[-1]:
        return None
    # Each side crosses the tail's normal at the angle whose tangent is the rate, and shows more ink than square to
    # itself.
    extra = single * (np.sqrt(1 + rate**2) - 1) / (2 * full)
    meet += extra / rate
    # Ink as wide as one line for a few widths beyond the tip is a line that goes on.
    # A mitred tip goes on too, thinning out over ink / (2 tan) from there; in black and white its ink falls by stairs,
    # as steep as they come, and the sides themselves tell better how slender it is.
    beyond = along > meet + width_px + MEET_SIGMAS * sigma
    slender = max(min(-rate, opening), LEAST_OPENING)
    if np.count_nonzero(beyond & (amount > 0.75 * single)) > 2 * width_px + 0.25 * ink / (2 * slender):
        return None
    tip = np.array([np.interp(meet, along, points[:, axis]) for axis in (0, 1)])
    # What a slanted side shows more is known to its first order; blunt tips tell as much worse where they are.
    sigma_px = float(np.sqrt(sigma**2 + SYSTEMATIC_PX**2 + (extra / rate) ** 2))
    # As fitted: its noise would turn the sides about.
    sides = np.maximum(falling.apart_px(along[begin:until]) - extra, 0)
    return Tail(points[begin:until], sides, tip, sigma_px)


MEET_SIGMAS = 3.0
"""How many sigma beyond where the sides seem to meet they may do so."""

BENT_SIGMAS = 2.0
"""A bend of the sides must stand this far above its error, or they are straight: a needless one costs accuracy."""

SYSTEMATIC_PX = 0.2
"""What a tip's place errs besides noise, one sigma, px (measured on drawn tips of 4 to 20 deg)."""

ALIKE = 3.0
"""Neighbours' amounts err alike over some three samples: their profiles share ink, and they are averaged."""


@dataclass(frozen=True, slots=True)
class _Falling:
    """How the half distance of two sides falls along their tail: to 0 at `meet_px`, at `rate` there, one sigma of that
    place, and its polynomial from `origin_px` on, the highest power first."""

    meet_px: float
    rate: float
    sigma_px: float
    origin_px: float
    fit: Floats

    def apart_px(self, along_px: Floats) -> Floats:
        """Half distances at places along the tail."""
        apart: Floats = np.asarray(np.polyval(self.fit, along_px - self.origin_px), dtype=np.float64)
        return apart


def _falling(along: Floats, apart: Floats) -> _Falling | None:
    """How the half distance of two sides falls, bent where that shows; None where it does not."""
    middle = float(along.mean())
    x = along - middle
    degrees = (2, 1) if len(x) >= 3 * ALIKE else (1,)
    for degree in degrees:
        fit, covariance = np.polyfit(x, apart, degree, cov=True)
        covariance = ALIKE * covariance
        bend, slope, level = (0.0, *fit.tolist()) if degree == 1 else fit.tolist()
        if degree == 2 and abs(bend) < BENT_SIGMAS * np.sqrt(covariance[0, 0]):
            continue
        inner = slope**2 - 4 * bend * level
        # Sides that bend away from each other before they meet touch nowhere: then they are as good as straight.
        if inner <= 0 or slope - np.sqrt(inner) >= 0:
            continue
        meet, rate = 2 * level / (np.sqrt(inner) - slope), -np.sqrt(inner)
        powers = meet ** np.arange(degree, -1, -1)
        sigma = float(np.sqrt(powers @ covariance @ powers) / -rate)
        return _Falling(middle + float(meet), float(rate), sigma, middle, fit)
    return None


CROSSING_SINE = float(np.sin(np.radians(8)))
"""Sides that close at less than 8 degrees have their straight crossing anywhere."""

RUNS_ON_WIDTHS = 3.0
"""A tip this many line widths beyond its sides' crossing is a line's end; a mitre and the sides' bend take less."""


def shortened_tail(
    tail: Tail, one: tuple[Floats, Floats], other: tuple[Floats, Floats], *, onward: Floats, width_px: float
) -> Tail:
    """Give the tail cut off where its sides' straight extensions have met well before: a line runs on from its tip.

    Parameters
    ----------
    tail : Tail
    one, other : pair of (2,) float
        A place on each side, px, and the side's direction away from the tail.
    onward : (2,) float
        The tail's direction.
    width_px : float
        A side's width, blur included.
    """
    (place, way), (other_place, other_way) = one, other
    cross = float(way[0] * other_way[1] - way[1] * other_way[0])
    if abs(cross) < CROSSING_SINE:
        return tail
    gap = other_place - place
    met = place + way * float(gap[0] * other_way[1] - gap[1] * other_way[0]) / cross
    start = tail.points_px[0]
    ahead = float((met - start) @ onward)
    along = (tail.points_px - start) @ onward
    kept = along < ahead
    if float((tail.tip_px - met) @ onward) <= RUNS_ON_WIDTHS * width_px or np.count_nonzero(kept) < 3:
        return tail
    falling = tail.apart_px[0] * np.clip(1 - along[kept] / ahead, 0, 1)
    return Tail(tail.points_px[kept], np.minimum(tail.apart_px[kept], falling), start + onward * ahead, tail.sigma_px)
