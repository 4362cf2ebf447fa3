"""The two sides of a sharp tip followed through their shared ink to where they meet."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from digitize.centre_lines import Samples, across
from digitize.clean_graph import Graph
from digitize.cut_lines import SEEN_APART_PX, Cut
from digitize.runs import Floats
from digitize.spoilt import MOST_SPOILT_WIDTHS
from digitize.tails import Tail

INFERRED_WEIGHT = 0.1
"""A side's place told by the amount of ink errs some three times as much as one seen, and alike from sample to
sample."""


def with_tips(cut: Cut, graph: Graph) -> Cut:
    """Give the links with the merged part of each tip added to both its sides.

    There the sides lie to both sides of the ink's middle by half the distance that the amount of ink tells.
    """
    if not graph.tails:
        return cut
    samples = cut.samples
    lead: dict[int, tuple[Floats, Floats]] = {}
    trail: dict[int, tuple[Floats, Floats]] = {}
    skip, good = cut.skip.copy(), samples.good.copy()
    for node, tail in graph.tails.items():
        ends = [(link, 0) for link in np.flatnonzero(cut.start == node).tolist()]
        ends += [(link, 1) for link in np.flatnonzero(cut.end == node).tolist()]
        if len(ends) != 2:
            continue
        where = [_beginning(samples, link, end) for link, end in ends]
        slope = np.gradient(tail.points_px, axis=0)
        normals = across(np.tile(slope.mean(axis=0), (len(slope), 1)))
        height = [float((points - tail.points_px[0]).mean(axis=0) @ normals[0]) for points in where]
        for (link, end), sign in zip(ends, (1, -1) if height[0] > height[1] else (-1, 1), strict=True):
            side = tail.points_px + (sign * tail.apart_px)[:, None] * normals
            points = np.concatenate([side, tail.tip_px[None, :]])
            if end == 0:
                lead[link] = points[::-1], normals[0]
            else:
                trail[link] = points, normals[0]
            skip[link, end] = 1
            _spoil(good, samples, link, end, float(cut.width_px[link]), tail)
    samples = replace(samples, good=good)
    cut = replace(cut, samples=samples)
    return replace(cut, samples=_spliced(cut, lead, trail), skip=skip)


def _spoil(good: NDArray[np.bool_], samples: Samples, link: int, end: int, width_px: float, tail: Tail) -> None:
    """Mark the samples where the two sides are apart, but blur still joins them."""
    fall = max(float(tail.apart_px[0] - tail.apart_px[-1]), 0.1) / max(len(tail.apart_px) - 1, 1)
    # The tail begins where its sides are no longer told by the amount of ink, which is before they come apart.
    ahead = max((width_px + SEEN_APART_PX) / 2 - float(tail.apart_px[0]), SEEN_APART_PX / 2) / fall
    count = int(np.clip(ahead, width_px, MOST_SPOILT_WIDTHS * width_px)) + 1
    part = slice(int(samples.first[link]), int(samples.first[link + 1]))
    count = min(count, (part.stop - part.start) // 2)
    if end == 0:
        good[part.start : part.start + count] = False
    else:
        good[part.stop - count : part.stop] = False


def _beginning(samples: Samples, link: int, end: int) -> Floats:
    """A link's samples nearest to one of its ends."""
    part = samples.points_px[samples.first[link] : samples.first[link + 1]]
    return part[:20] if end == 0 else part[-20:]


def _spliced(cut: Cut, lead: dict[int, tuple[Floats, Floats]], trail: dict[int, tuple[Floats, Floats]]) -> Samples:
    """Samples with more before and after those of some links."""
    samples = cut.samples
    runs: list[tuple[Floats, ...]] = []
    for link in range(len(cut.start)):
        part = slice(int(samples.first[link]), int(samples.first[link + 1]))
        own: tuple[Floats, ...] = (
            samples.points_px[part],
            samples.normals[part],
            samples.width_px[part],
            samples.contrast[part],
            samples.amount[part],
            samples.good[part].astype(np.float64),
            samples.weight[part],
            samples.thought_px[part],
        )
        for more, ahead in ((lead.get(link), True), (trail.get(link), False)):
            if more is None:
                continue
            points, normal = more
            count = len(points)
            added = (
                points,
                np.tile(normal, (count, 1)),
                np.full(count, cut.width_px[link]),
                np.full(count, float(np.median(own[3]))),
                np.full(count, float(np.median(own[4]))),
                np.ones(count),
                np.full(count, INFERRED_WEIGHT),
                points,
            )
            both = (added, own) if ahead else (own, added)
            own = tuple(np.concatenate(pair) for pair in zip(*both, strict=True))
        runs.append(own)
    points, normals, width, contrast, amount, good, weight, thought = (
        np.concatenate(one) for one in zip(*runs, strict=True)
    )
    lengths = [len(run[0]) for run in runs]
    first = np.concatenate([[0], np.cumsum(lengths)]).astype(np.int64)
    return Samples(points, normals, width, contrast, amount, good > 0, weight, first, thought)
