"""Where lines truly meet, turn and end: nodes at the crossing of the lines' extensions."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from digitize.arms import Arms, arm_samples, fit_arms, meeting_points
from digitize.blur import blur_variance
from digitize.centre_lines import Samples
from digitize.clean_graph import Graph
from digitize.cut_lines import Cut
from digitize.long_arms import LONG_REACH, fit_long_arms
from digitize.runs import Floats
from digitize.spoilt import clean_weights
from digitize.strokes import NodeKind
from digitize.through import join_through_arms
from digitize.tip_ink import tip_ink
from digitize.tip_joins import tip_places
from pictures.ink import STAIR_BLUR_PX, Ink
from pictures.ridge import profiles

END_SAMPLES = 72
"""Samples along a line's end: some five to a px on thin lines."""

FARTHEST_WIDTHS, FARTHEST_PX = 3.0, 4.0
"""A skeleton's node lies off the true one by up to this: lines at 30 deg share ink over two widths, and blur."""

TIP_INK = 0.5
"""How far ink must reach on from a tip, in half widths: a drawn tip's reaches one and a mitred one's more; none does
beyond a blunt nose, whose sides would meet farther on."""

TIP_SAMPLES = 24
"""Samples along a tip's sides that tell which way it points."""

SIDE_SAMPLES = 400
"""Samples of a tip's side that are looked at: merged ink, given up samples, and what tells how it runs."""

TIP_RAD = np.radians(40)
"""Sides at a smaller angle than this share ink for over a line width before they meet: a tip."""


@dataclass(frozen=True, slots=True)
class Placed:
    """Nodes in their true places, and the two arms of each link: arm 2 l at its start, 2 l + 1 at its end."""

    nodes_px: Floats
    kinds: NDArray[np.uint8]
    arms: Arms


def place_nodes(cut: Cut, graph: Graph, ink: Ink, *, sigma_px: float, whole: NDArray[np.uint8]) -> Placed:
    """Give every node its true place.

    Corners and junctions go to the crossing of the extensions of their lines; a line's end to the end of its
    ink less half the line's width; tips to where the amount of ink tells their sides meet. `whole` is the darkness with
    clefts as they were: paper taken out of them would count as less ink.
    """
    samples, links = cut.samples, len(cut.start)
    line = np.repeat(np.arange(links), 2)
    at_end = np.tile([False, True], links)
    at = np.where(at_end, samples.first[line + 1] - 1, samples.first[line])
    node = np.where(at_end, cut.end[line], cut.start[line])
    count = np.bincount(node, minlength=len(cut.nodes_px))
    skip = np.where(count[node] > 1, cut.skip.ravel(), cut.skip.ravel() - 1)
    far = samples.first[line + 1] - samples.first[line] - 1
    index = arm_samples(at, np.where(at_end, -1, 1), skip, far, samples.first, np.zeros(links, np.bool_))
    weights = clean_weights(samples, cut.width_px)
    arms = fit_arms(samples.points_px, weights, index, cut.nodes_px[node], sigma_px=sigma_px)
    if ink.bilevel:
        which = np.flatnonzero((count[node] == 2) & ~cut.loop[line] & ~np.isin(node, list(graph.tails)))
        way = np.where(at_end, -1, 1)[which]
        no_ring = np.zeros(links, np.bool_)
        long = arm_samples(at[which], way, skip[which], far[which], samples.first, no_ring, reach=LONG_REACH)
        arms = fit_long_arms(arms, samples.points_px, weights, long, which)
    other = np.where(at_end, cut.start[line], cut.end[line])
    arms = join_through_arms(
        arms,
        node,
        samples,
        weights,
        index,
        width_px=cut.width_px[line],
        broken=count[other] == 1,
        darkness=ink.darkness,
    )

    width = np.zeros(len(cut.nodes_px))
    np.maximum.at(width, node, cut.width_px[line])
    loop = np.zeros(len(cut.nodes_px), np.bool_)
    loop[cut.start[cut.loop]] = True
    begin = cut.nodes_px.copy()
    free = (count == 1)[node] & ~loop[node]
    begin[node[free]] = _ink_ends(arms, free, samples, index, cut.ink_px[line], ink.darkness)
    hold = np.where(count == 1, 1e-3, np.maximum(2 * width, 2.0))
    for tip, tail in graph.tails.items():
        begin[tip], hold[tip] = tail.tip_px, tail.sigma_px
    hold[loop] = 1e-3
    place = meeting_points(arms, node, begin, hold_px=hold)
    # A crossing far from its ink is a pair of nearly parallel arms: what was seen is then better.
    moved = np.hypot(*(place - begin).T)
    limit = FARTHEST_WIDTHS * width + FARTHEST_PX
    for tip, tail in graph.tails.items():
        limit[tip] = 3 * tail.sigma_px + np.hypot(*(tail.points_px[-1] - tail.points_px[0]))
    place = np.where((moved > limit)[:, None], begin, place)

    kinds = np.full(len(place), NodeKind.JUNCTION, np.uint8)
    kinds[count == 1] = NodeKind.END
    kinds[count == 2] = NodeKind.CORNER
    along = arms.local(place[node])[:, 0]
    directions = arms.direction(np.maximum(along, 0))
    pairs = np.argsort(node, kind="stable")
    pairs = pairs[(count == 2)[node[pairs]] & ~loop[node[pairs]]].reshape(-1, 2)
    cosine = (directions[pairs[:, 0]] * directions[pairs[:, 1]]).sum(axis=1)
    # An arm's axis is no guide where its samples lie about its node: they lead inward themselves.
    count_in = (index[:, :TIP_SAMPLES] >= 0).sum(axis=1)
    inner = samples.points_px[index[np.arange(len(index)), np.maximum(count_in - 1, 0)]]
    inward = inner - samples.points_px[index[:, 0]]
    inward /= np.maximum(np.hypot(inward[:, 0], inward[:, 1]), 1e-9)[:, None]
    askew = (np.abs(arms.fit[pairs, 1]) > 1).any(axis=1)
    cosine[askew] = (inward[pairs[askew, 0]] * inward[pairs[askew, 1]]).sum(axis=1)
    sharp = cosine > np.cos(TIP_RAD)
    tips = node[pairs[sharp, 0]]
    kinds[tips] = NodeKind.TIP
    # Where the sides' ink is one, an arm's axis may lead either way; its samples lead inward.
    back = (inner[pairs[sharp]] - place[tips][:, None]).sum(axis=1)
    alone = np.where((index >= 0) & (weights[np.maximum(index, 0)] > 0), samples.contrast[np.maximum(index, 0)], np.nan)
    one = alone[pairs[sharp]].reshape(len(tips), 2 * alone.shape[1])
    within = _within_ink(place[tips], back, cut.ink_px[line[pairs[sharp, 0]]], one, ink.darkness)
    sides = [
        [_side(samples, weights, int(line[arm]), at_end[arm], int(skip[arm])) for arm in pair] for pair in pairs[sharp]
    ]
    widths = cut.ink_px[line[pairs[sharp]]].mean(axis=1)
    blur_px = np.sqrt(blur_variance(ink, samples, weights, cut.width_px)) if len(tips) else 0.0
    measured = [
        tip_ink(
            whole,
            place[tip].copy(),
            (one_side, other_side),
            width_px=float(widths[number]),
            blur_px=float(blur_px) or STAIR_BLUR_PX,
            noise=ink.noise,
            sigma_px=sigma_px,
            bilevel=ink.bilevel,
        )
        for number, (tip, (one_side, other_side)) in enumerate(zip(tips.tolist(), sides, strict=True))
    ]
    seen = [number for number, one in enumerate(measured) if one is not None]
    found = tip_places([one for one in measured if one is not None], bilevel=ink.bilevel)
    for number, told in zip(seen, found, strict=True):
        if told is not None:
            within[number] = told.at_px
    place[tips] = within
    kinds[loop] = NodeKind.LOOP
    return Placed(place, kinds, arms)


def _side(samples: Samples, weights: Floats, link: int, at_end: bool, skip: int) -> Floats:
    """The measured samples of a tip's side where it is seen alone, from the tip on."""
    part = slice(int(samples.first[link]), int(samples.first[link + 1]))
    points, seen = samples.points_px[part], (weights[part] > 0) & (samples.weight[part] == 1)
    if at_end:
        points, seen = points[::-1], seen[::-1]
    points = points[skip : skip + SIDE_SAMPLES]
    side: Floats = points[seen[skip : skip + SIDE_SAMPLES]]
    return side


def _within_ink(tips_px: Floats, back: Floats, width_px: Floats, alone: Floats, darkness: NDArray[np.uint8]) -> Floats:
    """Give tips, those beyond their ink half a width before the ink's end.

    `back` (N, 2) lead in between their sides, `alone` (N, K) is how dark these are where they run alone, or NaN.
    """
    if len(tips_px) == 0:
        return tips_px
    back = back / np.maximum(np.hypot(back[:, 0], back[:, 1]), 1e-9)[:, None]
    behind, ahead = FARTHEST_WIDTHS * width_px + FARTHEST_PX, width_px + 2.0
    part = np.arange(END_SAMPLES) / (END_SAMPLES - 1)
    # From well within, where both sides' ink is one, outward.
    along = behind[:, None] - (behind + ahead)[:, None] * part
    x, y = (tips_px[:, axis, None] + along * back[:, axis, None] for axis in (0, 1))
    dark = profiles(darkness, x.astype(np.float32), y.astype(np.float32))
    darkest = dark.argmax(axis=1)
    rows = np.arange(len(dark))
    # Where both sides' ink is one it is darker than either; at the tip it is as dark as one.
    full = np.maximum(dark[rows, darkest], 1)
    seen = ~np.isnan(alone).all(axis=1)
    full[seen] = np.minimum(full[seen], np.maximum(np.nanmedian(alone[seen], axis=1), 1))
    outward = np.arange(END_SAMPLES) >= darkest[:, None]
    falling = np.minimum.accumulate(np.where(outward, dark / full[:, None], 1.0), axis=1)
    step = (behind + ahead) / (END_SAMPLES - 1)
    ink = (np.clip((falling - 0.25) * 2, 0, 1).sum(axis=1) - 0.5) * step
    end = behind - ink
    beyond = end > -TIP_INK * width_px / 2
    moved: Floats = np.where(beyond[:, None], tips_px + (end + width_px / 2)[:, None] * back, tips_px)
    return moved


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
    one = Arms(arms.origin_px[which], arms.axis[which], arms.fit[which], arms.variance[which], begin, arms.known[which])
    ends: Floats = one.at(begin - ink + width / 2)
    return ends
