"""How wide the ink of each line is, without the blur of the picture."""

import numpy as np

from digitize.centre_lines import Samples
from digitize.clean_graph import WIDEST
from digitize.runs import Floats
from digitize.spoilt import clean_weights

FULL_INK_PERCENT = 90.0
"""Of the darkness where ink is wider than one line, and blur leaves its middle full: the darkest are noise."""

FEW_CROSSINGS = 20
"""Fewer such samples tell nothing, and widths stay as seen."""

PALEST = 1.8
"""A line as wide as the blur's sigma is 1 / 1.8 as dark as full ink: with the normal law, 2 Phi(1/2) - 1 = 0.38 at
one sigma, 0.55 at
one and a half, where lines are still found whole."""


def ink_widths(samples: Samples, width_px: Floats) -> Floats:
    """The ink's width along each line without the blur, px: the amount of ink across it, which blur keeps, over full
    ink.

    Blur makes thin lines pale, so full ink is what the picture's darkest lines and crossings show, but no more than
    PALEST times as dark as the line itself: beyond that it was drawn pale.
    """
    weights = clean_weights(samples, width_px)
    clean = np.flatnonzero(weights > 0)
    widths = width_px.copy()
    if len(clean) == 0:
        return widths
    crossing = samples.contrast[(samples.width_px > WIDEST * width_px[samples.line]) & (samples.contrast > 0)]
    full = float(np.percentile(crossing, FULL_INK_PERCENT)) if len(crossing) >= FEW_CROSSINGS else 0.0
    line = samples.line[clean]
    count = np.bincount(line, minlength=len(width_px))
    has = count > 0
    amount = np.bincount(line, samples.amount[clean], minlength=len(width_px))[has] / count[has]
    dark = np.bincount(line, samples.contrast[clean], minlength=len(width_px))[has] / count[has]
    widths[has] = np.minimum(amount / np.clip(full, dark, PALEST * dark), width_px[has])
    return widths
