"""Where a line goes over into another of a finer pen at its free end: a dash that begins where an outline stops."""

import numpy as np
from numpy.typing import NDArray

from digitize.runs import Floats

FINER = 1.5
"""A line is so many times as wide as the finer one that it goes over into: pens differ by 1.4 or 2 (ISO 128)."""

LEAST_WIDTHS = 2.0
"""The finer line is at least so long, in widths of the wider: a line's own end is faded over less."""

STEP_WIDTHS = 1.5
"""From one width to the other it goes within this of the wider: a pencil's line that tapers takes far longer."""

OF_A_WIDTH = 1.2
"""Samples within this factor of a width are of a line of that width."""

EVEN = 1.1
"""One half of it is no more than so many times as wide as the other: the ink of a mitred tip widens steadily."""

MOST_OTHERS = 0.2
"""Part of the finer line's samples that may be of another width: noise, and what its end leaves."""


def finer_end(ink_px: Floats, good: NDArray[np.bool_], width_px: float) -> int | None:
    """Give how many samples of a line, from its free end on, are of a finer line that it goes over into.

    Parameters
    ----------
    ink_px : (M,) float
        The ink's width at samples about 1 px apart.
    good : (M,) bool
        Which of them could be measured.
    width_px : float
        The width of the line as a whole.

    Returns
    -------
    int or None
        None where its end is of its own width, or narrows slowly.
    """
    least = int(np.ceil(LEAST_WIDTHS * width_px))
    if len(ink_px) < 3 * least:
        return None
    end = ink_px[:least][good[:least]]
    if len(end) < least / 2:
        return None
    finer_px = float(np.median(end))
    if finer_px * FINER > width_px:
        return None
    wide = good & (ink_px > width_px / OF_A_WIDTH)
    first = int(np.argmax(wide)) if wide.any() else len(ink_px)
    finer = good & (ink_px < finer_px * OF_A_WIDTH)
    last = int(np.flatnonzero(finer[:first])[-1]) + 1 if finer[:first].any() else 0
    if last < least or first - last > STEP_WIDTHS * width_px or first == len(ink_px):
        return None
    others = np.count_nonzero(good[:last] & ~finer[:last])
    if others > MOST_OTHERS * last:
        return None
    seen = ink_px[:last][finer[:last]]
    before_px, after_px = (float(np.median(half)) for half in (seen[: len(seen) // 2], seen[len(seen) // 2 :]))
    return (first + last) // 2 if after_px < EVEN * before_px else None
