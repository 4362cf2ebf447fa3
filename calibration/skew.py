"""The turn and the shear of a scan, found in the drawing's own straight lines."""

import math

import numpy as np
from numpy.typing import NDArray

from calibration.line_runs import Run, join_runs, line_pieces, reduce_ink
from calibration.observations import Skew
from pictures.ink import Ink, ink_mask
from pictures.ridge import line_centres

Points = NDArray[np.float64]

BIN_DEG = 0.25
"""Width of the histogram of directions: pieces of one direction scatter by a tenth of a degree at reduced size."""

LEAST_SHARE = 0.2
"""Least part of the straight ink that must lie in one direction, or across it, within PEAK_DEG..."""

TIMES_EVEN = 4.0
"""... and at least this many times what evenly spread directions would put there."""

PEAK_DEG = 1.0
"""Half width of the peak within which lines are measured at full size."""

MOST_LINES = 40
"""Longest lines measured at full size."""

PLACES = 200
"""Places measured along a line."""

LEAST_LINES = 3
"""Lines that must agree: one straight line may be a part drawn aslant."""

AGREE_DEG = 0.25
"""Lines agree within this: drawn rectangles lean by 0.1 to 0.4 degrees, other directions lie further off."""

LEAST_AGREEING = 0.5
"""Least part of the measured length that must agree."""

DRAUGHT_RAD = 0.0003
"""One sigma of a long drawn line's own direction: 0.3 mm on a metre."""

INDEPENDENT_LINES = 4.0
"""Lines near one another share the paper's and the scanner's waves: the rows of one real scan fan out by 0.07 degrees
from its top to its bottom, so that many of them tell the mean no better than a few."""

SAME_PX = 6.0
"""Measured lines nearer than this beside each other, where they overlap, are one: its two edges made a run each."""


def find_skew(ink: Ink) -> Skew | None:
    """Find how far a scan lies turned, from the direction that most of its long straight lines run in or across.

    A histogram of the directions of straight pieces, weighted by length, gives the turn to a few tenths of a degree;
    the longest lines near it are then measured along their centres at full size.

    Parameters
    ----------
    ink : Ink
        The whole scan's ink.

    Returns
    -------
    Skew or None
        Plan +x from picture +x, clockwise as seen, within 45 degrees either way; None when no direction stands out.
        A plan laid a quarter or half turn round cannot be told from an upright one.
    """
    reduced = reduce_ink(ink_mask(ink, None))
    diagonal = reduced.diagonal_px
    pieces = line_pieces(reduced.ink, least_px=0.008 * diagonal)
    if len(pieces) < LEAST_LINES:
        return None
    peak_deg = _peak_deg(reduced.to_picture(pieces.reshape(-1, 2)).reshape(-1, 4))
    if peak_deg is None:
        return None
    runs = join_runs(
        _near(pieces, peak_deg, 2 * PEAK_DEG), diagonal_px=diagonal, least_px=0.03 * diagonal, most=MOST_LINES
    )
    measured = [line for run in runs if (line := _measured(ink, reduced.to_picture(_points(run)))) is not None]
    if not measured:
        return None
    return _agreed(_distinct(np.array(measured)), math.radians(peak_deg))


def _peak_deg(pieces: NDArray[np.float64]) -> float | None:
    """Give the direction, modulo 90 into -45..45 degrees, in which the straight ink runs; None if none stands out."""
    along = pieces[:, 2:] - pieces[:, :2]
    length = np.hypot(along[:, 0], along[:, 1])
    angle = np.degrees(np.arctan2(along[:, 1], along[:, 0])) % 90
    bins = round(90 / BIN_DEG)
    weight, _ = np.histogram(angle, bins=bins, range=(0, 90), weights=length)
    # Three bins smoothed, round the circle.
    smooth = weight + np.roll(weight, 1) + np.roll(weight, -1)
    best = (int(smooth.argmax()) + 0.5) * BIN_DEG
    off = (angle - best + 45) % 90 - 45
    near = np.abs(off) < PEAK_DEG
    share = length[near].sum() / length.sum()
    if share < LEAST_SHARE or share < TIMES_EVEN * 2 * PEAK_DEG / 90:
        return None
    best += float((off * length)[near].sum() / length[near].sum())
    return (best + 45) % 90 - 45


def _near(pieces: NDArray[np.float64], peak_deg: float, within_deg: float) -> NDArray[np.float64]:
    along = pieces[:, 2:] - pieces[:, :2]
    angle = np.degrees(np.arctan2(along[:, 1], along[:, 0]))
    return np.asarray(pieces[np.abs((angle - peak_deg + 45) % 90 - 45) < within_deg])


def _points(run: Run) -> Points:
    """Places along a run where it has ink, reduced px."""
    u = np.linspace(run.low, run.high, PLACES)
    covered = ((run.intervals[:, 0] <= u[:, None]) & (u[:, None] <= run.intervals[:, 1])).any(axis=1)
    return run.at(u[covered])


def _measured(ink: Ink, points_px: Points) -> tuple[float, ...] | None:
    """Give a line's direction (rad), its sigma, its length and middle px, from its centres at full size."""
    if len(points_px) < 12:
        return None
    chord = points_px[-1] - points_px[0]
    length = math.hypot(*chord)
    along = chord / length
    across = np.array([-along[1], along[0]])
    # The run is placed to a reduced px or so, and lies on an edge of the line as often as on its middle.
    reach = max(6.0, 3.0 * max(ink.darkness.shape) / 1600)
    for half_width in (reach, 0.6 * reach):
        found = line_centres(
            ink.darkness, points_px, np.broadcast_to(across, points_px.shape), half_width_px=half_width
        )
        u, v = (points_px - points_px[0]) @ along, (points_px - points_px[0]) @ across + found.offset_px
        good = found.good & (found.contrast > 0.5 * np.median(found.contrast))
        fit = np.zeros(2)
        for _ in range(8):
            if good.sum() < 12:
                return None
            fit = np.asarray(np.polynomial.polynomial.polyfit(u[good], v[good], 1), dtype=np.float64)
            off = np.abs(v - fit[0] - fit[1] * u)
            again = found.good & (off < max(3.5 * 1.4826 * float(np.median(off[good])), 0.1))
            if (again == good).all():
                break
            good = again
        points_px = points_px + ((fit[0] + fit[1] * u) - (points_px - points_px[0]) @ across)[:, None] * across
    if np.ptp(u[good]) < 0.5 * length:
        return None
    spread = float(np.sqrt(np.mean((v - fit[0] - fit[1] * u)[good] ** 2)))
    # A gentle curve, a rib's flat underside, is straight to nobody's eye but the histogram's.
    if spread > max(0.8, 0.0008 * length):
        return None
    # A quarter of the places count as independent: paper and blur go together over some tens of px.
    sigma = max(spread, 0.05) / (np.std(u[good]) * math.sqrt(good.sum() / 4))
    middle = points_px[good].mean(axis=0)
    return math.atan2(along[1], along[0]) + math.atan(fit[1]), float(sigma), float(length), *middle.tolist()


def _distinct(lines: NDArray[np.float64]) -> NDArray[np.float64]:
    """Leave out lines measured twice; the surer one stays."""
    kept: list[NDArray[np.float64]] = []
    for line in lines[np.argsort(lines[:, 1])]:
        angle, _, length, x, y = line
        along = np.array([math.cos(angle), math.sin(angle)])
        for other in kept:
            away = np.array([x - other[3], y - other[4]])
            turned = abs(math.remainder(angle - other[0], math.pi)) < math.radians(PEAK_DEG)
            beside = abs(away[0] * along[1] - away[1] * along[0]) < SAME_PX
            if turned and beside and abs(away @ along) < (length + other[2]) / 2:
                break
        else:
            kept.append(line)
    return np.array(kept)


def _agreed(lines: NDArray[np.float64], peak: float) -> Skew | None:
    """Give the directions of the lines along and of those across, with their sigmas; one where only one stands out."""
    quarter = math.pi / 2
    off = (lines[:, 0] - peak + quarter / 2) % quarter - quarter / 2
    steep = np.abs(np.sin(lines[:, 0])) > math.sqrt(0.5)
    sigma, length = np.hypot(lines[:, 1], DRAUGHT_RAD), lines[:, 2]
    agree_rad = math.radians(AGREE_DEG)
    inside = np.abs(off[:, None] - off[None, :]) < agree_rad
    centre = off[int((inside * length).sum(axis=1).argmax())]
    agree = np.abs(off - centre) < agree_rad
    if agree.sum() < LEAST_LINES or length[agree].sum() < LEAST_AGREEING * length.sum():
        return None

    def mean(group: NDArray[np.bool_]) -> tuple[float, float]:
        at, own = _mean(off[group], sigma[group], length[group])
        return (peak + at + quarter / 2) % quarter - quarter / 2, own

    along, across = agree & ~steep, agree & steep
    if min(along.sum(), across.sum()) < LEAST_LINES:
        # Too few of one family to tell a shear from a line that leans.
        return Skew(*mean(agree))
    first, second = mean(along), mean(across)
    return Skew(*first, first[0] + math.remainder(second[0] - first[0], quarter), second[1])


def _mean(off: Points, sigma: Points, length: Points) -> tuple[float, float]:
    """Give a mean with Tukey's weights, so that a line that leans is let go and not averaged in, and its sigma."""
    weight = length / sigma
    mean, spread = float(np.median(off)), math.radians(AGREE_DEG)
    w = weight
    for _ in range(10):
        reach = np.clip((off - mean) / (4 * max(spread, DRAUGHT_RAD)), -1, 1)
        w = weight * (1 - reach**2) ** 2
        mean = float((w * off).sum() / w.sum())
        spread = float(np.sqrt((w * (off - mean) ** 2).sum() / w.sum()))
    count = float(w.sum() ** 2 / (w**2).sum())
    within = math.sqrt(float((w**2 * sigma**2).sum())) / float(w.sum())
    return mean, max(spread / math.sqrt(min(max(count, 1.0), INDEPENDENT_LINES)), within)
