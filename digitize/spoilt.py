"""Which samples see their own line alone, and which the ink of others at a node."""

from collections.abc import Collection
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from digitize.centre_lines import Samples, line_widths
from digitize.clean_graph import NARROWEST, WIDEST
from digitize.runs import Floats

SPOILT_WIDTHS, SPOILT_PX = 0.6, 2.0
"""Samples nearer to a node than half a line width and the blur see the other line's ink as well."""

MOST_SPOILT_WIDTHS = 8.0
"""More samples are not given up than this many line widths: lines at 8 deg are clear of each other by then."""


LOCAL_SAMPLES = 120
"""Samples of a line that show its width thereabouts: many times what a node spoils. A border seen aslant is three times
as wide at its near end as at its far one."""


def clean_weights(samples: Samples, width_px: Floats) -> Floats:
    """What samples count for: as much as they are worth where they see their own line alone, else 0."""
    usual = local_widths(samples, width_px)
    alone = samples.good & (samples.width_px > NARROWEST * usual - 0.3) & (samples.width_px < WIDEST * usual + 0.3)
    return np.where(alone, samples.weight, 0.0)


def local_widths(samples: Samples, width_px: Floats) -> Floats:
    """Give the line's width (T,) at each sample: lines long enough have one for each of their stretches, and between
    the middles of these it runs evenly."""
    size = np.diff(samples.first)
    parts = np.maximum(size // LOCAL_SAMPLES, 1)
    usual = width_px[samples.line]
    if parts.max(initial=1) == 1:
        return usual
    own = np.repeat(np.arange(len(size)), parts)
    nth = np.arange(len(own)) - np.repeat(np.cumsum(parts) - parts, parts)
    first = np.append(samples.first[:-1][own] + nth * size[own] // parts[own], samples.first[-1])
    local = line_widths(replace(samples, first=first))
    local = np.where(np.isnan(local), width_px[own], local)
    middle = (first[:-1] + first[1:] - 1) / 2
    for line in np.flatnonzero(parts > 1).tolist():
        at = np.arange(samples.first[line], samples.first[line + 1])
        usual[at] = np.interp(at, middle[own == line], local[own == line])
    return usual


def spoilt_samples(width_px: Floats) -> NDArray[np.int64]:
    """How many samples beside a node are not to be used."""
    return np.round(SPOILT_WIDTHS * width_px + SPOILT_PX).astype(np.int64)


def spoilt_ends(
    nodes_px: Floats,
    start: NDArray[np.int64],
    end: NDArray[np.int64],
    samples: Samples,
    width_px: Floats,
    loop: NDArray[np.bool_],
    tails: Collection[int],
) -> NDArray[np.int64]:
    """How many samples at each line's start and end, (L, 2), see the ink of other lines at the node there.

    A line that leaves at the angle phi is clear of another, w wide, when their centre-lines are w and the blur apart:
    after
    (w/2 + blur + w/2 cos phi) / sin phi, which is half a width and the blur at a right angle.
    At a node whose `tails` hold the merged ink of a tip, the lines are a width apart already.
    """
    count = len(start)
    size = np.diff(samples.first)
    # Nearer by, a crossing's lines still lean towards each other.
    look = np.minimum(np.round(5 * width_px + 10).astype(np.int64), size - 1)
    near = look // 2
    ways = np.empty((count, 2, 2))
    for side, (begin, sign) in enumerate(((samples.first[:-1], 1), (samples.first[1:] - 1, -1))):
        away = samples.points_px[begin + sign * look] - samples.points_px[begin + sign * near]
        ways[:, side] = away / np.maximum(np.hypot(away[:, 0], away[:, 1]), 1e-9)[:, None]
    usual = spoilt_samples(width_px)
    skip = np.repeat(usual, 2).reshape(-1, 2)
    arm = np.flatnonzero(~np.repeat(loop, 2))
    node = np.column_stack([start, end]).ravel()[arm]
    arm = arm[np.argsort(node, kind="stable")]
    nodes, first, number = np.unique(np.sort(node), return_index=True, return_counts=True)
    told = np.isin(nodes, list(tails))
    for degree in np.unique(number[number > 1]).tolist():
        alike = number == degree
        lines, sides = np.divmod(arm[first[alike][:, None] + np.arange(degree)], 2)
        way = ways[lines, sides]
        cosine = np.einsum("nik,njk->nij", way, way)
        cosine[:, np.arange(degree), np.arange(degree)] = -1
        wide = width_px[lines]
        sharp = np.maximum(cosine.max(axis=2), 0)
        apart = np.where(told[alike][:, None], wide, 0.0)
        clear = clear_px(wide, sharp, apart)
        most = np.minimum(MOST_SPOILT_WIDTHS * wide + SPOILT_PX, np.maximum(0.45 * size[lines], usual[lines]))
        # Thick lines that are a width apart already are clear before they meet: none of their samples is spoilt.
        given = np.clip(np.round(clear), 0, most).astype(np.int64)
        bent = given > usual[lines] + CURVED_SAMPLES
        for here in np.flatnonzero(bent.any(axis=1)).tolist():
            arms = list(zip(lines[here].tolist(), sides[here].tolist(), most[here].tolist(), strict=True))
            runs = [_run(samples, line, side, int(count)) for line, side, count in arms]
            for row in np.flatnonzero(bent[here]).tolist():
                others = np.concatenate([run for other, run in enumerate(runs) if other != row])
                need = SPOILT_WIDTHS * wide[here, row] + SPOILT_PX + 0.5 * wide[here, row] * sharp[here, row]
                free = _free_from(runs[row], others, float(need - apart[here, row]))
                given[here, row] = min(given[here, row], free)
        skip[lines, sides] = given
    return skip


CURVED_SAMPLES = 3
"""Fewer samples than this are not worth looking for where a line bends away."""


def _run(samples: Samples, line: int, side: int, count: int) -> Floats:
    """A line's first samples from one of its ends."""
    points = samples.points_px[samples.first[line] : samples.first[line + 1]]
    return points[::-1][: count + 1] if side else points[: count + 1]


def _free_from(run: Floats, others: Floats, need_px: float) -> int:
    """How many samples lie nearer to other lines than they need: those of a nose are clear of a line across it at once,
    where a straight line that leads to the same place is not."""
    near = cKDTree(others).query(run[1:], distance_upper_bound=need_px)[0] < need_px
    return int(np.flatnonzero(near)[-1]) + 2 if near.any() else 1


def clear_px(width_px: Floats, sharp: Floats, apart_px: Floats) -> Floats:
    """How far along a line is clear of another's ink, px: `sharp` is the cosine of the angle between (0 beyond a
    right one)."""
    sine = np.sqrt(np.maximum(1 - sharp**2, 0.01))
    clear: Floats = (SPOILT_WIDTHS * width_px + SPOILT_PX + 0.5 * width_px * sharp - apart_px) / sine
    return clear
