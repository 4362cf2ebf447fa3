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
    centre-lines there, as the ink is wider than one line's; it falls to 0 at `tip_px`.
    """

    points_px: Floats
    apart_px: Floats
    tip_px: Floats


def merged_tail(
    points_px: Floats, normals: Floats, amount: Floats, dark: Floats, *, single: float, width_px: float
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
    open_ = apart > 0.1 * ink
    # From its widest on it narrows evenly; before, the skeleton's node lies beside the merged ink.
    widest = int(np.argmax(apart))
    until = len(apart) if open_[widest:].all() else widest + int(np.argmin(open_[widest:]))
    if apart[widest] < LEAST_APART * ink or until - widest < 3:
        return None
    rate, level = np.polyfit(along[widest:until], apart[widest:until], 1)
    if rate >= 0:
        return None
    # Each side crosses the tail's normal at the angle whose tangent is the rate, and shows more ink than square to
    # itself.
    extra = single * (np.sqrt(1 + rate**2) - 1) / (2 * full)
    apart = np.maximum(apart - extra, 0)
    meet = -(level - extra) / rate
    # Ink as wide as one line for a few widths beyond the tip is a line that goes on.
    # A mitred tip goes on too, thinning out over ink / (2 tan) from there.
    beyond = along > meet + width_px
    if np.count_nonzero(beyond & (amount > 0.75 * single)) > 2 * width_px + 0.25 * ink / (2 * -rate):
        return None
    tip = np.array([np.interp(meet, along, points[:, axis]) for axis in (0, 1)])
    return Tail(points[widest:until], apart[widest:until], tip)


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
    return Tail(tail.points_px[kept], np.minimum(tail.apart_px[kept], falling), start + onward * ahead)
