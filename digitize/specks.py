"""What is no drawn line: specks, and short pieces no darker than noise."""

import numpy as np
from numpy.typing import NDArray

from digitize.centre_lines import Samples
from digitize.runs import Floats
from digitize.stroke_graph import Chains

SPECK_WIDTHS = 2.0
"""A piece whose lines are shorter than this many line widths in all is a speck."""

SHORT_WIDTHS = 10.0
"""A piece shorter than this must be firm ink; noise never makes longer lines."""

FIRM_SIGMAS = 4.0
"""Of the noise, for the darkness along a short piece: the darkest of some 20 samples of noise reaches about 2."""


LEAST_LINE_DARKNESS = 10.0
"""Darkness (of 255) that a line reaches in the mean along it, however clean the picture: creases, smudges and what
shines through from the back are fainter. Single pixels of a faint line are, too."""


def without_specks(chains: Chains, widths_px: Floats) -> tuple[Chains, Floats]:
    """Leave out pieces whose lines are shorter than SPECK_WIDTHS of the picture's usual width, the middle of (C,)
    widths.

    Gives the other chains and their widths.
    """
    lengths = np.diff(chains.first) - 1
    if len(lengths) == 0:
        return chains, widths_px
    order = np.argsort(widths_px)
    total = np.cumsum(lengths[order])
    usual = float(widths_px[order][np.searchsorted(total, total[-1] / 2)])
    piece = chains.piece[chains.start]
    kept = np.bincount(piece, weights=lengths)[piece] >= SPECK_WIDTHS * usual
    points = np.repeat(kept, np.diff(chains.first))
    first = np.concatenate([[0], np.cumsum(np.diff(chains.first)[kept])]).astype(np.int64)
    left = Chains(chains.nodes_px, chains.piece, chains.start[kept], chains.end[kept], chains.points_px[points], first)
    return left, widths_px[kept]


def faint_lines(chains: Chains, samples: Samples, usual: float, noise: float) -> NDArray[np.bool_]:
    """Lines that are too faint in the mean, and short pieces none of which is firm ink."""
    if len(chains.start) == 0:
        return np.empty(0, np.bool_)
    piece = chains.piece[chains.start]
    lengths = np.diff(samples.first)
    total = np.bincount(piece, weights=lengths)[piece]
    mean = np.add.reduceat(samples.contrast, samples.first[:-1]) / lengths
    darkest = np.zeros(int(piece.max()) + 1)
    np.maximum.at(darkest, piece, mean)
    faint: NDArray[np.bool_] = (total < SHORT_WIDTHS * usual) & (darkest[piece] < FIRM_SIGMAS * noise)
    return faint | (mean < LEAST_LINE_DARKNESS)
