"""Where lines truly meet, turn and end: nodes at the crossing of the lines' extensions."""

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from digitize.arms import FLOOR_PX, REACH, Arms, fit_arms, meeting_points
from digitize.centre_lines import Samples
from digitize.clean_graph import NARROWEST, WIDEST, Graph
from digitize.corners import bends, kinked, stepped
from digitize.runs import Floats, local_fits
from digitize.strokes import NodeKind
from pictures.ridge import profiles

SPOILT_WIDTHS, SPOILT_PX = 0.6, 2.0
"""Samples nearer to a node than half a line width and the blur see the other line's ink as well."""

MOST_SPOILT_WIDTHS = 8.0
"""More samples are not given up than this many line widths: lines at 8 deg are clear of each other by then."""

LEAST_CORNER_RAD = np.radians(18)
"""Sides that meet at less are one smooth line: the error of two fits on short sides reaches some 10 deg."""

CORNER_INK = 0.5
"""How far ink must reach outward from the crossing of the sides, in half widths: a thin blurred line's reaches 0.66 at a right angle
and less at an acute one, a rounded corner's not at all."""

CLEAR_SAMPLES = 3
"""Clean samples that must lie between a corner and the next node: with fewer, the bend is that node's own."""

PHASE_PX = 0.2
"""How much less it may be, px, as a hairline's ink is shared out between two pixels."""

STILL_BENDING = 0.25
"""Sides that turn on by more than this part of the corner's turn, just outside of it, are an arc's: a small leading edge."""

BENDING_PX = 6.0
"""Over which length beside a corner that is looked at, px: what a short fit covers."""

FULL_INK_PERCENT = 90.0
"""Of the darkness where ink is wider than one line, and blur leaves its middle full: the darkest are noise."""

FEW_CROSSINGS = 20
"""Fewer such samples tell nothing, and widths stay as seen."""

PALEST = 1.8
"""A line as wide as the blur's sigma is 1 / 1.8 as dark as full ink: with the normal law, 2 Phi(1/2) - 1 = 0.38 at one sigma, 0.55 at
one and a half, where lines are still found whole."""

END_SAMPLES = 72
"""Samples along a line's end: some five to a px on thin lines."""

TIP_SIGMA_PX = 0.8
"""One-sigma error along the axis of where the ink's amount alone puts a tip, px (measured on drawn tips of 8 to 25 deg)."""

TIP_RAD = np.radians(40)
"""Sides at a smaller angle than this share ink for over a line width before they meet: a tip."""


@dataclass(frozen=True, slots=True)
class Cut:
    """Lines cut at every node: samples of each link, and its nodes.

    `width_px` (L,) is the ink's width at half its darkness, blur included, `ink_px` (L,) without the blur. `loop` (L,) tells
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


@dataclass(frozen=True, slots=True)
class Placed:
    """Nodes in their true places, and the two arms of each link: arm 2 l at its start, 2 l + 1 at its end."""

    nodes_px: Floats
    kinds: NDArray[np.uint8]
    arms: Arms


def sample_noise(samples: Samples) -> float:
    """One-sigma scatter of samples across their lines, px, from how they lie about local parabolas."""
    if not samples.good.any():
        return FLOOR_PX
    place, _ = local_fits(samples.points_px, samples.good.astype(np.float64), samples.first, half=4, degree=2)
    miss = ((samples.points_px - place) * samples.normals).sum(axis=1)[samples.good]
    # A parabola over this window takes up 0.35 of a single sample's scatter (the smoother's own weight at its middle).
    return max(1.4826 * float(np.median(np.abs(miss))) / 0.72, FLOOR_PX)


def cut_at_corners(graph: Graph, samples: Samples, darkness: NDArray[np.uint8], *, sigma_px: float) -> Cut:
    """Cut lines where they have corners.

    A bend is a corner if the two sides, fitted apart from it and extended, meet at an angle and in ink.

    Parameters
    ----------
    graph : Graph
        Clean lines.
    samples : Samples
        Measured along them, line for line.
    darkness : (H, W) uint8
        As in `Ink`.
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
    found = bends(samples.points_px, first, ring, width)
    starts, stops = np.array(graph.start, dtype=np.int64), np.array(graph.end, dtype=np.int64)
    skip = spoilt_ends(graph.nodes_px, starts, stops, samples, width, ring, graph.tails)
    found = found[_apart(found, first, weights, ring, width, skip)]
    found = found[kinked(found, samples.points_px, samples.good, first, ring, width, sigma_px=sigma_px)]
    # Judged once, all together: a bend that is none still bounds the sides of its neighbours, or one lost would lose the next.
    found = found[_corners(found, samples, weights, ring, width, darkness, sigma_px)]

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
        for number, (one, two) in enumerate(zip(cuts[:-1], cuts[1:], strict=True)):
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
    )
    return Cut(recut, a, b, wide, _ink_widths(recut, wide), loops, spoilt_ends(nodes_px, a, b, recut, wide, loops, graph.tails), nodes_px)


def clean_weights(samples: Samples, width_px: Floats) -> Floats:
    """What samples count for: as much as they are worth where they see their own line alone, else 0."""
    usual = width_px[samples.line]
    alone = samples.good & (samples.width_px > NARROWEST * usual - 0.3) & (samples.width_px < WIDEST * usual + 0.3)
    return np.where(alone, samples.weight, 0.0)


def _ink_widths(samples: Samples, width_px: Floats) -> Floats:
    """The ink's width along each line without the blur, px: the amount of ink across it, which blur keeps, over full ink.

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

    A line that leaves at the angle phi is clear of another, w wide, when their centre-lines are w and the blur apart: after
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
    at: dict[int, list[tuple[int, int]]] = {}
    for line, nodes in enumerate(zip(start.tolist(), end.tolist(), strict=True)):
        if not loop[line]:
            for side, node in enumerate(nodes):
                at.setdefault(node, []).append((line, side))
    skip = np.repeat(spoilt_samples(width_px), 2).reshape(-1, 2)
    for node, arms in at.items():
        if len(arms) < 2:
            continue
        lines, sides = np.array(arms).T
        cosine = ways[lines, sides] @ ways[lines, sides].T
        np.fill_diagonal(cosine, -1)
        wide = width_px[lines]
        sharp = np.maximum(cosine.max(axis=1), 0)
        apart = wide if node in tails else np.zeros_like(wide)
        clear = _clear_px(wide, sharp, apart)
        most = np.minimum(MOST_SPOILT_WIDTHS * wide + SPOILT_PX, np.maximum(0.45 * size[lines], spoilt_samples(wide)))
        skip[lines, sides] = np.minimum(np.round(clear), most).astype(np.int64)
    return skip


def _clear_px(width_px: Floats, sharp: Floats, apart_px: Floats) -> Floats:
    """How far along a line is clear of another's ink, px: `sharp` is the cosine of the angle between (0 beyond a right one)."""
    sine = np.sqrt(np.maximum(1 - sharp**2, 0.01))
    clear: Floats = (SPOILT_WIDTHS * width_px + SPOILT_PX + 0.5 * width_px * sharp - apart_px) / sine
    return clear


def place_nodes(cut: Cut, graph: Graph, darkness: NDArray[np.uint8], *, sigma_px: float) -> Placed:
    """Give every node its true place.

    Corners and junctions go to the crossing of the extensions of their lines; a line's end to the end of its
    ink less half the line's width.
    """
    samples, links = cut.samples, len(cut.start)
    line = np.repeat(np.arange(links), 2)
    at_end = np.tile([False, True], links)
    at = np.where(at_end, samples.first[line + 1] - 1, samples.first[line])
    node = np.where(at_end, cut.end[line], cut.start[line])
    count = np.bincount(node, minlength=len(cut.nodes_px))
    skip = np.where(count[node] > 1, cut.skip.ravel(), cut.skip.ravel() - 1)
    far = samples.first[line + 1] - samples.first[line] - 1
    index = _arm_samples(at, np.where(at_end, -1, 1), skip, far, samples.first, np.zeros(links, np.bool_))
    weights = clean_weights(samples, cut.width_px)
    arms = fit_arms(samples.points_px, weights, index, cut.nodes_px[node], sigma_px=sigma_px)

    width = np.zeros(len(cut.nodes_px))
    np.maximum.at(width, node, cut.width_px[line])
    loop = np.zeros(len(cut.nodes_px), np.bool_)
    loop[cut.start[cut.loop]] = True
    begin = cut.nodes_px.copy()
    free = (count == 1)[node] & ~loop[node]
    begin[node[free]] = _ink_ends(arms, free, samples, index, cut.ink_px[line], darkness)
    hold = np.where(count == 1, 1e-3, np.maximum(2 * width, 2.0))
    for tip, tail in graph.tails.items():
        begin[tip], hold[tip] = tail.tip_px, TIP_SIGMA_PX
    hold[loop] = 1e-3
    place = meeting_points(arms, node, begin, hold_px=hold)
    # A crossing far from its ink is a pair of nearly parallel arms: what was seen is then better.
    moved = np.hypot(*(place - begin).T)
    limit = np.maximum(3 * width, 4.0)
    for tip, tail in graph.tails.items():
        limit[tip] = 3 * TIP_SIGMA_PX + np.hypot(*(tail.points_px[-1] - tail.points_px[0]))
    place = np.where((moved > limit)[:, None], begin, place)

    kinds = np.full(len(place), NodeKind.JUNCTION, np.uint8)
    kinds[count == 1] = NodeKind.END
    kinds[count == 2] = NodeKind.CORNER
    along = arms.local(place[node])[:, 0]
    directions = arms.direction(np.maximum(along, 0))
    pairs = np.argsort(node, kind="stable")
    pairs = pairs[(count == 2)[node[pairs]] & ~loop[node[pairs]]].reshape(-1, 2)
    cosine = (directions[pairs[:, 0]] * directions[pairs[:, 1]]).sum(axis=1)
    kinds[node[pairs[:, 0]][cosine > np.cos(TIP_RAD)]] = NodeKind.TIP
    kinds[loop] = NodeKind.LOOP
    return Placed(place, kinds, arms)


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
    darkness: NDArray[np.uint8],
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
    wide = width_px[line]
    chord = np.minimum(np.round(3 * wide + 6).astype(np.int64)[both], far)
    ends = samples.points_px[stepped(at[both], way * chord, first, ring)] - samples.points_px[at][both]
    ends /= np.maximum(np.hypot(ends[:, 0], ends[:, 1]), 1e-9)[:, None]
    sharp = np.maximum((ends[0::2] * ends[1::2]).sum(axis=1), 0)
    clear = np.minimum(_clear_px(wide, sharp, np.zeros_like(wide)), MOST_SPOILT_WIDTHS * wide + SPOILT_PX)
    skip = np.minimum(np.round(clear).astype(np.int64)[both], np.maximum(far // 3, spoilt_samples(wide)[both]))
    index = _arm_samples(at[both], way, skip, far, first, ring)
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
    sense = np.sign(away[0::2, 1] * away[1::2, 0] - away[0::2, 0] * away[1::2, 1])
    bend = 2 * BENDING_PX * arms.fit[:, 2]
    on = np.maximum(bend[1::2] * sense, 0) + np.maximum(-bend[0::2] * sense, 0)
    outward = -(away[0::2] + away[1::2])
    outward /= np.maximum(np.hypot(outward[:, 0], outward[:, 1]), 1e-9)[:, None]
    reach = _ink_reach(darkness, place, outward, width_px[line], contrast)
    full = reach > CORNER_INK * width_px[line] / 2 - PHASE_PX
    # The crossing lies outside of the bend by the half width over the sine of half the angle, blur included.
    half_angle = np.maximum(np.sin((np.pi - turn) / 2), 0.15)
    near = np.hypot(*(place - samples.points_px[at]).T) < 0.5 * width_px[line] / half_angle + 2
    known = arms.known[0::2] & arms.known[1::2]
    true: NDArray[np.bool_] = known & near & (turn > LEAST_CORNER_RAD) & full & (on < STILL_BENDING * turn)
    return true


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


def _arm_samples(
    at: NDArray[np.int64],
    way: NDArray[np.int64],
    skip: NDArray[np.int64],
    far: NDArray[np.int64],
    first: NDArray[np.int64],
    ring: NDArray[np.bool_],
) -> NDArray[np.int64]:
    """Samples (A, REACH) from each node outward, -1 where spoilt by it or by the node at the other end."""
    # A side too short to keep clear of both its nodes is measured about its middle.
    begin = np.minimum(skip, np.maximum((far - 2) // 2, 0))
    finish = np.maximum(far - skip, np.minimum(far, (far + 3) // 2))
    steps = begin[:, None] + np.arange(REACH)[None, :]
    rows = np.repeat(at, REACH)
    index = stepped(rows, (way[:, None] * steps).ravel(), first, ring).reshape(-1, REACH)
    return np.where(steps <= finish[:, None], index, -1)


def _ink_ends(
    arms: Arms,
    free: NDArray[np.bool_],
    samples: Samples,
    index: NDArray[np.int64],
    width_px: Floats,
    darkness: NDArray[np.uint8],
) -> Floats:
    """Where single lines end: half their width before the end of the ink along their extensions."""
    which = np.flatnonzero(free)
    if len(which) == 0:
        return np.empty((0, 2))
    width = width_px[which]
    # From the first clean sample outward, where the line is as dark as it gets.
    begin = np.maximum(arms.nearest_px[which], 0.0)
    reach = begin + 1.5 * width + 6
    part = np.arange(END_SAMPLES) / (END_SAMPLES - 1)
    step = reach / (END_SAMPLES - 1)
    flat = (begin[:, None] - reach[:, None] * part).ravel()
    rows = np.repeat(which, END_SAMPLES)
    few = Arms(arms.origin_px[rows], arms.axis[rows], arms.fit[rows], arms.variance[rows], flat, arms.known[rows])
    places = few.at(flat)
    x, y = (places[:, axis].astype(np.float32).reshape(-1, END_SAMPLES) for axis in (0, 1))
    dark = profiles(darkness, x, y)
    full = np.median(dark[:, :4], axis=1)
    full = np.where(full > 0, full, 1)
    falling = np.minimum.accumulate(np.minimum(dark / full[:, None], 1), axis=1)
    ink = (np.clip((falling - 0.25) * 2, 0, 1).sum(axis=1) - 0.5) * step
    one = Arms(
        arms.origin_px[which], arms.axis[which], arms.fit[which], arms.variance[which], begin, arms.known[which]
    )
    ends: Floats = one.at(begin - ink + width / 2)
    return ends
