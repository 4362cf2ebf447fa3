"""Where a line is heading as it leaves a node, and whether two lines are one that runs on there."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from digitize.runs import Floats
from digitize.straight_fit import straight_through

HEADING_SAMPLES = 16
"""Clear samples that tell where a line is heading: some eight line widths, over which most drawn curves are
straight."""

ONE_LINE_COSINE = np.cos(np.radians(15))
"""Two pieces of one line head apart by less than this, over a crossing."""

ACROSS_COSINE = np.cos(np.radians(40))
"""A rung stands at more than this to the lines it joins; lines whose ink merges meet at far less."""


@dataclass(frozen=True, slots=True)
class Heading:
    """The middle of a line's clear samples near a node, and its unit direction away from there."""

    middle_px: Floats
    way: Floats


def heading(points_px: Floats, clear: NDArray[np.bool_], width_px: float) -> Heading | None:
    """Give where a line is heading.

    Parameters
    ----------
    points_px : (M, 2) float
        Its samples, from the node outward.
    clear : (M,) bool
        Which of these see the line alone.
    width_px : float
        Its ink's width.

    Returns
    -------
    Heading or None
        None where too few samples are clear.
    """
    seen = np.flatnonzero(clear)
    # The first clear ones still lean towards the other line.
    spared = min(int(2 * width_px), len(seen) // 2)
    near = points_px[seen[spared : spared + HEADING_SAMPLES]]
    if len(near) < 4:
        return None
    line = straight_through(near)
    return Heading(line.at, line.along)


def is_one_line(one: Heading | None, other: Heading | None, gap_px: float, width_px: float) -> bool:
    """Whether two headings, each away from a link between them, are one line's: each points at the other's place."""
    if one is None or other is None:
        return False
    if one.way @ other.way > -ONE_LINE_COSINE:
        return False
    between = other.middle_px - one.middle_px
    aside = [abs(each.way[0] * between[1] - each.way[1] * between[0]) for each in (one, other)]
    return bool(max(aside) < 0.5 * width_px + 0.5 + 0.05 * gap_px)


def half_opening(one: Heading | None, other: Heading | None) -> float:
    """The tangent of half the angle between two lines leaving a node; infinite where it is not seen."""
    if one is None or other is None:
        return float(np.inf)
    return float(np.tan(np.arccos(np.clip(one.way @ other.way, -1, 1)) / 2))


def is_across(one: Heading | None, way: Floats) -> bool:
    """Whether a heading stands across a direction."""
    return one is not None and abs(float(one.way @ way)) < ACROSS_COSINE * float(np.hypot(*way))
