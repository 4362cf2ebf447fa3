"""Lines cut where they have corners: true ones, with straight sides and ink in the corner, not small radii."""

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from digitize.arms import FLOOR_PX, arm_samples, fit_arms, meeting_points
from digitize.blur import blur_variance
from digitize.centre_lines import Samples
from digitize.clean_graph import Graph
from digitize.corners import bends, kinked, stepped
from digitize.ink_widths import ink_widths
from digitize.runs import Floats, local_fits
from digitize.spoilt import (
    MOST_SPOILT_WIDTHS,
    SPOILT_PX,
    clean_weights,
    clear_px,
    local_widths,
    spoilt_ends,
    spoilt_samples,
)
from pictures.ink import STAIR_BLUR_PX, Ink
from pictures.ridge import profiles

LEAST_CORNER_RAD = np.radians(18)
"""Sides that meet at less are one smooth line: the error of two fits on short sides reaches some 10 deg."""

LOST_BLURS = 0.5
"""By how many sigma of the blur ink may fall short of half a line's width outward from a right-angled corner: drawn
round it does by 0.15 on wide lines and 0.5 on thin ones. Beyond a rounded bend none reaches out."""

LEAST_LOST = 0.5
"""Part of that which is lost beyond blunt corners too."""

CORNER_INK = 0.5
"""How far ink must reach in any case, in half widths: a thin blurred line's reaches 0.66 at a right angle."""

TIP_SINE, BEVEL_INK = float(np.sin(np.radians(20))), 0.7
"""How far at tips, whose half angle's sine is less, in parts of what a bevel leaves: half a width times that sine. Pens
bevel what a mitre would draw out too far, and an arc a fifth of a width in radius reaches less at 30 deg."""

CLEAR_SAMPLES = 3
"""Clean samples that must lie between a corner and the next node: with fewer, the bend is that node's own."""

LEANING_WIDTHS = 2.0
"""How far, in line widths, the middle of a tip's side leans to the other side where the two come apart: from half a
width, and blur, at blunt tips to some two widths at sharp ones."""

PHASE_PX = 0.2
"""How much less it may be, px, as a hairline's ink is shared out between two pixels."""

PHASE_SIGMAS = 3.0
"""... or in sigma of a sample, by which the crossing and the ink's end may both be off. By two a corner in ten of noisy
pictures would be lost."""

MISSING_PX = 0.1
"""... and in black and white by this more: a corner's whole pixel may be missing, 0.7 px along its diagonal."""

SLACK_PX = 2.0
"""What a bend's own place errs, px."""

SEEN_APART_PX = 2.5
"""How much farther apart than a line's width two lines must be to be seen apart, px: the blur of both edges."""

STILL_BENDING = 0.25
"""Sides that turn on by more than this part of the corner's turn, just outside of it, are an arc's: a small leading
edge."""

BENDING_PX, BENDING_WIDTHS = 6.0, 1.0
"""Over which length beside a corner that is looked at: what a short fit covers, and so far a wide line's middle is not
seen."""


@dataclass(frozen=True, slots=True)
class Cut:
    """Lines cut at every node: samples of each link, and its nodes.

    `width_px` (L,) is the ink's width at half its darkness, blur included, `ink_px` (L,) without the blur. `loop`
    (L,) tells
    smooth rings; `skip` (L, 2) how many samples at each link's start and end its nodes spoil.
    """

    samples: Samples
    start: NDArray[np.int64]
    end: NDArray[np.int64]
    width_px: Floats
    ink_px: Floats
    loop: NDArray[np.bool_]
    skip: NDArray[np.int64]
    nodes_px: Floats


def sample_noise(samples: Samples) -> float:
    """One-sigma scatter of samples across their lines, px, from how they lie about local parabolas."""
    if not samples.good.any():
        return FLOOR_PX
    place, _ = local_fits(samples.points_px, samples.good.astype(np.float64), samples.first, half=4, degree=2)
    miss = ((samples.points_px - place) * samples.normals).sum(axis=1)[samples.good]
    # A parabola over this window takes up 0.35 of a single sample's scatter (the smoother's own weight at its middle).
    return max(1.4826 * float(np.median(np.abs(miss))) / 0.72, FLOOR_PX)


def cut_at_corners(graph: Graph, samples: Samples, ink: Ink, *, sigma_px: float) -> Cut:
    """Cut lines where they have corners.

    A bend is a corner if the two sides, fitted apart from it and extended, meet at an angle and in ink.

    Parameters
    ----------
    graph : Graph
        Clean lines.
    samples : Samples
        Measured along them, line for line.
    ink : Ink
        Of the picture.
    sigma_px : float
        One-sigma noise of a sample.
    """
    width = np.array(graph.width_px)
    ends = np.bincount(np.array(graph.start + graph.end, dtype=np.int64), minlength=len(graph.nodes_px))
    ring = np.array(
        [a == b and ends[a] == 2 and a not in graph.tails for a, b in zip(graph.start, graph.end, strict=True)],
        dtype=np.bool_,
    )
    first = samples.first
    weights = clean_weights(samples, width)
    # Where other ink is seen as well, its middle leads to and fro.
    measured = samples.points_px
    samples = replace(samples, points_px=np.where(weights[:, None] > 0, measured, samples.thought_px))
    found = bends(samples.points_px, first, ring, width)
    starts, stops = np.array(graph.start, dtype=np.int64), np.array(graph.end, dtype=np.int64)
    skip = spoilt_ends(graph.nodes_px, starts, stops, samples, width, ring, graph.tails)
    # Where sides come out of a tip's merged ink the middle of each still leans to the other's.
    leaning = (
        np.isin(np.column_stack([starts, stops]), list(graph.tails))
        * np.ceil(LEANING_WIDTHS * width).astype(np.int64)[:, None]
    )
    found = found[_apart(found, first, weights, ring, width, np.maximum(skip, leaning))]
    found = found[kinked(found, samples.points_px, samples.good, first, ring, width, sigma_px=sigma_px)]
    blur_px = (np.sqrt(blur_variance(ink, samples, weights, width)) if len(found) else 0.0) or STAIR_BLUR_PX
    # Judged once, all together: a bend that is none still bounds the sides of its neighbours, or one lost would lose
    # the next.
    single = _one_of_close(found, first, width)
    if len(single) < len(found):
        is_one = _corners(single, samples, weights, ring, width, ink, float(blur_px), sigma_px)
        found = _with_single(found, single, is_one, first, width)
    found = found[_corners(found, samples, weights, ring, width, ink, float(blur_px), sigma_px)]

    order: list[NDArray[np.int64]] = []
    start, end, links_width, loop = [], [], [], []
    nodes = [tuple(node) for node in graph.nodes_px]
    line_of = np.searchsorted(first, found, side="right") - 1
    for line in range(len(first) - 1):
        inner = found[line_of == line] if len(found) else found
        begin, last = int(first[line]), int(first[line + 1]) - 1
        if ring[line] and len(inner):
            turned = np.concatenate([np.arange(inner[0], last), np.arange(begin, inner[0] + 1)])
            cuts = [0, *(inner[1:] - inner[0]).tolist(), len(turned) - 1]
            nodes[graph.start[line]] = tuple(samples.points_px[inner[0]])
        else:
            turned = np.arange(begin, last + 1)
            cuts = [0, *(inner - begin).tolist(), len(turned) - 1]
        at = [graph.start[line]]
        for cut in cuts[1:-1]:
            nodes.append(tuple(samples.points_px[turned[cut]]))
            at.append(len(nodes) - 1)
        at.append(graph.end[line])
        for number, (one, two) in enumerate(pairwise(cuts)):
            order.append(turned[one : two + 1])
            start.append(at[number])
            end.append(at[number + 1])
            links_width.append(graph.width_px[line])
            loop.append(bool(ring[line]) and len(inner) == 0)
    lengths = np.array([len(one) for one in order], dtype=np.int64)
    wide = np.array(links_width, dtype=np.float64)
    a, b = np.array(start, dtype=np.int64), np.array(end, dtype=np.int64)
    loops = np.array(loop, dtype=np.bool_)
    nodes_px = np.array(nodes, dtype=np.float64).reshape(-1, 2)
    flat = np.concatenate(order) if order else np.empty(0, np.int64)
    recut = Samples(
        samples.points_px[flat],
        samples.normals[flat],
        samples.width_px[flat],
        samples.contrast[flat],
        samples.amount[flat],
        samples.good[flat],
        samples.weight[flat],
        np.concatenate([[0], np.cumsum(lengths)]).astype(np.int64),
        samples.thought_px[flat],
    )
    return Cut(
        recut,
        a,
        b,
        wide,
        ink_widths(recut, wide),
        loops,
        spoilt_ends(nodes_px, a, b, recut, wide, loops, graph.tails),
        nodes_px,
    )


def _close(at: NDArray[np.int64], first: NDArray[np.int64], width_px: Floats) -> NDArray[np.int64]:
    """Number the groups of bends, (K,): with no clean samples between them two bends may be one corner."""
    line = np.searchsorted(first, at, side="right") - 1
    near = (line[1:] == line[:-1]) & (np.diff(at) < 2 * spoilt_samples(width_px)[line[1:]] + CLEAR_SAMPLES)
    return np.concatenate([[0], np.cumsum(~near)])[: len(at)]


def _one_of_close(at: NDArray[np.int64], first: NDArray[np.int64], width_px: Floats) -> NDArray[np.int64]:
    """Give bends with the middle of each group of close ones in their place."""
    group = _close(at, first, width_px)
    ends = np.flatnonzero(np.diff(group, prepend=-1, append=-1))
    return (at[ends[:-1]] + at[ends[1:] - 1]) // 2


def _with_single(
    at: NDArray[np.int64],
    single: NDArray[np.int64],
    is_one: NDArray[np.bool_],
    first: NDArray[np.int64],
    width_px: Floats,
) -> NDArray[np.int64]:
    """Give bends with those groups replaced whose outer sides meet in one corner."""
    group = _close(at, first, width_px)
    return np.sort(np.concatenate([at[~is_one[group]], single[is_one]]))


def _apart(
    at: NDArray[np.int64],
    first: NDArray[np.int64],
    weights: Floats,
    ring: NDArray[np.bool_],
    width_px: Floats,
    skip: NDArray[np.int64],
) -> NDArray[np.bool_]:
    """Which bends have clean samples between them and the ends of their line: nearer, they belong to the node there."""
    line = np.searchsorted(first, at, side="right") - 1
    clean = np.concatenate([[0], np.cumsum(weights > 0)])
    spoilt = spoilt_samples(width_px)[line]
    inner_low = np.minimum(first[line] + skip[line, 0], first[line + 1])
    inner_high = np.maximum(first[line + 1] - skip[line, 1], first[line])
    low = clean[np.maximum(at - spoilt // 2, first[line])] - clean[np.minimum(inner_low, at)]
    high = clean[np.maximum(inner_high, at)] - clean[np.minimum(at + spoilt // 2, first[line + 1])]
    apart: NDArray[np.bool_] = ring[line] | ((low >= CLEAR_SAMPLES) & (high >= CLEAR_SAMPLES))
    return apart


def _corners(
    at: NDArray[np.int64],
    samples: Samples,
    weights: Floats,
    ring: NDArray[np.bool_],
    width_px: Floats,
    ink: Ink,
    blur_px: float,
    sigma_px: float,
) -> NDArray[np.bool_]:
    """Which bends are corners, each with its sides reaching to the next bend or the line's end."""
    first = samples.first
    line = np.searchsorted(first, at, side="right") - 1
    size = first[line + 1] - first[line] - 1
    begin = first[line]
    before, after = at - begin, begin + size - at
    if len(at) == 0:
        return np.empty(0, np.bool_)
    same = line[1:] == line[:-1]
    before[1:][same] = (at[1:] - at[:-1])[same]
    after[:-1][same] = (at[1:] - at[:-1])[same]
    is_first = np.concatenate([[True], ~same])
    is_last = np.concatenate([~same, [True]])
    # Around a ring the first bend follows the last.
    lowest, highest = np.flatnonzero(is_first), np.flatnonzero(is_last)
    around = at[lowest] + size[lowest] - at[highest]
    rings = ring[line[lowest]]
    before[lowest[rings]] = around[rings]
    after[highest[rings]] = around[rings]

    both = np.repeat(np.arange(len(at)), 2)
    way = np.tile([-1, 1], len(at))
    far = np.column_stack([before, after]).ravel()
    wide = local_widths(samples, width_px)[at]
    chord = np.minimum(np.round(3 * wide + 6).astype(np.int64)[both], far)
    ends = samples.points_px[stepped(at[both], way * chord, first, ring)] - samples.points_px[at][both]
    ends /= np.maximum(np.hypot(ends[:, 0], ends[:, 1]), 1e-9)[:, None]
    sharp = np.maximum((ends[0::2] * ends[1::2]).sum(axis=1), 0)
    clear = np.minimum(clear_px(wide, sharp, np.zeros_like(wide)), MOST_SPOILT_WIDTHS * wide + SPOILT_PX)
    skip = np.minimum(np.round(clear).astype(np.int64)[both], np.maximum(far // 3, spoilt_samples(wide)[both]))
    index = arm_samples(at[both], way, skip, far, first, ring)
    arms = fit_arms(samples.points_px, weights, index, samples.points_px[at][both], sigma_px=sigma_px)
    hold = np.maximum(3 * width_px[line], 4.0)
    place = meeting_points(arms, both, samples.points_px[at], hold_px=hold)
    along = arms.local(place[both])[:, 0]
    away = arms.direction(along)
    cosine = (away[0::2] * away[1::2]).sum(axis=1)
    turn = np.pi - np.arccos(np.clip(cosine, -1, 1))
    dark = np.where(index >= 0, samples.contrast[np.maximum(index, 0)], np.nan)[:, :12].reshape(len(at), -1)
    has = ~np.isnan(dark).all(axis=1)
    contrast = samples.contrast[at].copy()
    contrast[has] = np.nanmedian(dark[has], axis=1)
    # The way the line was seen to turn: a bent side carried on to where it was not seen may have turned past it.
    sense = np.sign(ends[0::2, 1] * ends[1::2, 0] - ends[0::2, 0] * ends[1::2, 1])
    bend = 2 * np.maximum(BENDING_PX, BENDING_WIDTHS * wide)[both] * arms.fit[:, 2]
    on = np.maximum(bend[1::2] * sense, 0) + np.maximum(-bend[0::2] * sense, 0)
    outward = -(away[0::2] + away[1::2])
    outward /= np.maximum(np.hypot(outward[:, 0], outward[:, 1]), 1e-9)[:, None]
    reach = _ink_reach(ink.darkness, place, outward, wide, contrast)
    sine = np.sin((np.pi - turn) / 2)
    lost = LOST_BLURS * blur_px * np.maximum(np.sqrt(2) * np.sin(turn / 2), LEAST_LOST)
    least = np.maximum(wide / 2 - lost, CORNER_INK * wide / 2)
    wanted = np.where(sine < TIP_SINE, BEVEL_INK * sine * wide / 2, least)
    full = reach > wanted - max(PHASE_PX, PHASE_SIGMAS * sigma_px) - MISSING_PX * ink.bilevel
    full |= _is_broken(at, wide, contrast, samples, ring)
    # The crossing lies outside of the bend by the half width over the sine of half the angle, blur included.
    blunt = np.maximum(sine, 0.15)
    near = np.hypot(*(place - samples.points_px[at]).T) < wide / 2 / blunt + np.maximum(
        SLACK_PX, SEEN_APART_PX / 2 / blunt
    )
    known = arms.known[0::2] & arms.known[1::2]
    true: NDArray[np.bool_] = known & near & (turn > LEAST_CORNER_RAD) & full & (on < STILL_BENDING * turn)
    # A side without clean samples of its own looks straight in any case: where the next bend on it is an arc that turns
    # the same way, so is it, and the one after that.
    unclear = np.column_stack([before, after]) < (2 * spoilt_samples(wide) + CLEAR_SAMPLES)[:, None]
    number = np.arange(len(at))
    last, next_ = number - 1, number + 1
    last[lowest], next_[highest] = np.where(rings, highest, lowest), np.where(rings, lowest, highest)
    alike = unclear & np.column_stack([sense[last] == sense, sense[next_] == sense])
    arc = ~true & (turn > LEAST_CORNER_RAD)
    while (rounded := true & ((alike[:, 0] & arc[last]) | (alike[:, 1] & arc[next_]))).any():
        true &= ~rounded
        arc |= rounded
    return true


def _is_broken(
    at: NDArray[np.int64], wide: Floats, contrast: Floats, samples: Samples, ring: NDArray[np.bool_]
) -> NDArray[np.bool_]:
    """Whether a tiny gap in the ink, bridged by now, lies in a bend: the end of one line and the side of another."""
    around = np.arange(-int(np.ceil(wide.max(initial=0.0))), int(np.ceil(wide.max(initial=0.0))) + 1)
    line = np.searchsorted(samples.first, at, side="right") - 1
    index = at[:, None] + around
    size = samples.first[line + 1] - samples.first[line] - 1
    turned = samples.first[line][:, None] + (index - samples.first[line][:, None]) % np.maximum(size, 1)[:, None]
    held = np.clip(index, samples.first[line][:, None], samples.first[line + 1][:, None] - 1)
    seen = samples.contrast[np.where(ring[line][:, None], turned, held)]
    seen = np.where(np.abs(around) <= np.ceil(wide)[:, None], seen, np.inf)
    return np.asarray(seen.min(axis=1) < BROKEN * contrast, np.bool_)


BROKEN = 0.5
"""In a gap there is less than this part of the darkness beside it: beyond where ink ends."""


def _ink_reach(
    darkness: NDArray[np.uint8], places_px: Floats, ways: Floats, width_px: Floats, contrast: Floats
) -> Floats:
    """How far ink reaches from places (K, 2) along unit directions, px: to half the line's darkness, softly counted."""
    step = 0.25
    reach = np.arange(-4, int(np.ceil(2 * float(width_px.max()) / step)) + 13) * step
    x = places_px[:, :1] + ways[:, :1] * reach
    y = places_px[:, 1:] + ways[:, 1:] * reach
    dark = profiles(darkness, x.astype(np.float32), y.astype(np.float32)) / np.maximum(contrast, 1)[:, None]
    falling = np.minimum.accumulate(np.minimum(dark, 1), axis=1)
    counted: Floats = np.clip((falling - 0.25) * 2, 0, 1).sum(axis=1) * step + reach[0] - step / 2
    return counted
