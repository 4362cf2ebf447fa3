"""From the ink of a picture to its strokes: the graph of drawn lines, in the picture's own px."""

from collections.abc import Callable, Mapping

import numpy as np
from numpy.typing import NDArray

from digitize.arms import Arms
from digitize.bridged_gaps import with_gaps_bridged
from digitize.centre_lines import clear_of_hidden, measure_lines
from digitize.clean_graph import clean_graph
from digitize.clefts import without_clefts
from digitize.crossed_rings import crossed_rings
from digitize.crossed_tips import with_crossed_tips
from digitize.cut_lines import Cut, cut_at_corners, sample_noise
from digitize.dash_corners import with_dash_corners
from digitize.dash_turns import with_dash_turns
from digitize.end_stubs import without_end_stubs
from digitize.gaps import bridges
from digitize.half_outlines import with_halves_closed
from digitize.hidden_gaps import with_hidden_bridges
from digitize.hooked_ends import with_hooked_ends
from digitize.lettering import lettering_links
from digitize.line_begins import passed_by
from digitize.nodes import Placed, place_nodes
from digitize.notch_hooks import with_notch_hooks
from digitize.open_outlines import with_outlines_closed
from digitize.over_folds import with_folds_bridged
from digitize.ring_strokes import with_rings, without_rings
from digitize.round_loops import RoundLoop, rings_in_ink, round_loops
from digitize.runs import Floats, parted
from digitize.small_rings import small_rings
from digitize.smooth_middles import Middles, smooth_middles
from digitize.solid_ink import solid_cells, solid_ink, with_solid_fields
from digitize.specks import without_specks
from digitize.straight_links import straightened
from digitize.stroke_graph import Chains, trace_chains
from digitize.strokes import Link, NodeKind, Strokes
from digitize.thinning import ink_edges, local_widths, thin, without_blots
from digitize.tips import with_tips
from pictures.ink import Ink, faint_ink_mask

BILEVEL_SIGMA_PX = 0.2
"""One-sigma error of the middle between two edges that each lie within half a px: 0.29 / sqrt 2. Neighbours share it
along a
stair, so their scatter does not show it."""

MOST_BULGE = 0.2
"""How far an extension may bow, in parts of its length: an arc of 85 deg does; more is a fit gone wild."""

LEAVING_SAMPLES = 10
"""So few clean samples beside a gap tell a direction no better than the smoothing of them has."""

Progress = Callable[[float], None]

WINDOW_WIDTHS, WINDOW_PX = 1.0, 3.0
"""How far to look across a line: its width, and what blur adds and a skeleton is off."""

GAP_STEP_PX = 1.8
"""Clean samples farther apart than this, px, have others between them that could not be used: they lie about 1 px
apart."""


def find_strokes(ink: Ink, *, within: NDArray[np.float64] | None = None, progress: Progress | None = None) -> Strokes:
    """Give every drawn line as sub-pixel centre-lines between true nodes.

    Ink is thinned to a graph, the graph cleaned of what thinning makes up, its lines moved to the middle of the
    ink, cut at corners, and their nodes put where the lines' extensions meet. Sizes are in measured line widths.

    Parameters
    ----------
    ink : Ink
        Darkness (H, W), its noise, and whether it is bilevel.
    within : (K, 2) float or None
        Polygon in picture px to look in: the sheet of paper.
    progress : callable or None
        Told the part done, 0..1.

    Returns
    -------
    Strokes
        Links run about 1 px from point to point; specks are left out. Empty where there is no ink.
    """
    tell = progress if progress is not None else _silent
    whole = ink.darkness
    mask = faint_ink_mask(ink, within)
    cells = solid_cells(mask)
    ink, mask = without_clefts(ink, without_blots(mask))
    tell(0.15)
    pixels = thin(mask)
    tell(0.4)
    nothing = Strokes(np.empty((0, 2)), np.empty(0, np.uint8), ())
    if len(pixels) == 0:
        return nothing
    blots, shut_in = ink_edges(mask)
    rings = [*small_rings(ink, blots), *crossed_rings(ink, mask, pixels, shut_in)]
    del blots, shut_in
    pixels = without_rings(pixels, rings)
    chains = trace_chains(pixels)
    under, ink = with_hidden_bridges(chains, pixels, mask, ink)
    if len(under):
        pixels = np.concatenate([pixels, under])
        chains = trace_chains(pixels)
    more = bridges(chains, pixels, mask)
    if len(more):
        chains = trace_chains(np.concatenate([pixels, more]))
    tell(0.5)
    chains, widths_px = without_specks(chains, _rough_widths(mask, chains))
    if len(chains.start) == 0:
        return with_rings(nothing, rings_in_ink(ink, rings, blur_px=0.0))
    look = WINDOW_WIDTHS * widths_px + WINDOW_PX
    solid = solid_ink(cells, widths_px, np.diff(chains.first).astype(np.float64))
    del mask
    samples = clear_of_hidden(measure_lines(ink.darkness, chains.split(), half_width_px=look), ink)
    graph = clean_graph(chains, samples, noise=ink.noise)
    tell(0.7)
    if not graph.lines:
        return with_rings(nothing, rings_in_ink(ink, rings, blur_px=0.0))
    look = WINDOW_WIDTHS * np.array(graph.width_px) + WINDOW_PX
    samples = clear_of_hidden(measure_lines(ink.darkness, graph.lines, half_width_px=look), ink)
    sigma_px = max(sample_noise(samples), BILEVEL_SIGMA_PX if ink.bilevel else 0.0)
    tell(0.85)
    cut = with_tips(cut_at_corners(graph, samples, ink, sigma_px=sigma_px), graph)
    placed = place_nodes(cut, graph, ink, sigma_px=sigma_px, whole=whole)
    middles = smooth_middles(cut, ink, sigma_px=sigma_px)
    loops = round_loops(ink, cut, middles)
    middles = straightened(cut, middles, ink)
    strokes = Strokes(placed.nodes_px, placed.kinds, _links(cut, placed, middles, loops, sigma_px))
    strokes = with_rings(with_crossed_tips(strokes, ink.darkness), rings_in_ink(ink, rings, blur_px=middles.blur_px))
    strokes = with_notch_hooks(strokes, ink.darkness)
    strokes = without_end_stubs(strokes)
    strokes = with_folds_bridged(strokes, lettering_links(strokes))
    strokes = with_dash_corners(strokes, lettering_links(strokes))
    strokes = with_hooked_ends(strokes, lettering_links(strokes), ink.darkness)
    strokes = with_dash_turns(strokes, lettering_links(strokes))
    strokes = with_halves_closed(strokes, lettering_links(strokes))
    strokes = with_gaps_bridged(strokes, lettering_links(strokes))
    strokes = with_outlines_closed(strokes, lettering_links(strokes))
    tell(1.0)
    return with_solid_fields(strokes, solid)


def _rough_widths(mask: NDArray[np.uint8], chains: Chains) -> Floats:
    """The ink's width along each chain, px: the middle of what some of its pixels show."""
    size = np.diff(chains.first)
    some = np.minimum(np.maximum(size // 4, 1), 25)
    chain = np.repeat(np.arange(len(size)), some)
    begin = np.concatenate([[0], np.cumsum(some)])
    part = (np.arange(begin[-1]) - begin[chain] + 0.5) / some[chain]
    at = chains.first[chain] + (part * size[chain]).astype(np.int64)
    widths = local_widths(mask, chains.points_px[at].astype(np.int32))
    order = np.lexsort((widths, chain))
    middle: Floats = widths[order][(begin[:-1] + begin[1:] - 1) // 2]
    return middle


def _links(
    cut: Cut, placed: Placed, middles: Middles, loops: Mapping[int, RoundLoop], sigma_px: float
) -> tuple[Link, ...]:
    """Each link's smooth samples between its nodes, extended to the nodes, and their scatter."""
    samples, arms = cut.samples, placed.arms
    place, slope, weights, miss, half = middles.points_px, middles.slope, middles.weights, middles.miss_px, middles.half
    # Nodes and first clean samples in the arms' frames, all at once.
    at_node = arms.local(placed.nodes_px[np.column_stack([cut.start, cut.end]).ravel()])
    clean = np.flatnonzero(weights > 0)
    low = np.searchsorted(clean, samples.first[:-1])
    high = np.searchsorted(clean, samples.first[1:]) - 1
    some = np.minimum(np.column_stack([low, np.maximum(high, 0)]).ravel(), max(len(clean) - 1, 0))
    at_sample = arms.local(place[clean[some]]) if len(clean) else at_node
    extensions = _extensions(arms, at_node, at_sample, np.repeat((low <= high) & ~cut.loop, 2))
    # What the clean samples of each link show, of all links at once.
    line, shown, ways = samples.line[clean], place[clean], slope[clean]
    apart = (np.hypot(*np.diff(shown, axis=0).T) > GAP_STEP_PX) & (line[1:] == line[:-1])
    is_broken = np.bincount(line[1:][apart], minlength=len(cut.start)) > 0
    number = high - low + 1
    scatter = np.sqrt(np.bincount(line, miss[clean] ** 2, minlength=len(cut.start)) / np.maximum(number, 1))
    rest = np.where(number > 2 * half, scatter, sigma_px)
    # Averaging over a window leaves about 1.5 / sqrt(window) of a sample's scatter to a local parabola.
    sigmas = np.hypot(np.maximum(rest, 0.01) * 1.5 / np.sqrt(2 * half + 1), middles.systematic_px).tolist()
    links: list[Link] = []
    behind = (at_sample[:, 0] < at_node[:, 0]) & np.repeat((low <= high) & ~cut.loop, 2)
    for link in range(len(cut.start)):
        start, end = int(cut.start[link]), int(cut.end[link])
        nodes = placed.nodes_px[[start, end]]
        if link in loops:
            points, sigmas[link] = loops[link].points_px, loops[link].sigma_px
            nodes = points[[0, -1]]
            placed.nodes_px[start], placed.kinds[start] = points[0], NodeKind.LOOP
        elif cut.loop[link]:
            points = _closed(place[int(samples.first[link]) : int(samples.first[link + 1])])
            nodes = points[[0, -1]]
            placed.nodes_px[start] = points[0]
        elif number[link] == 0:
            if start == end:
                # A ring too small to measure is a blot in the line, not a line.
                continue
            points = nodes
        else:
            first, last = int(low[link]), int(high[link]) + 1
            if behind[2 * link]:
                first += passed_by(shown[first:last], nodes[0], width_px=cut.width_px[link])
            if behind[2 * link + 1] and last > first:
                last -= passed_by(shown[first:last][::-1], nodes[1], width_px=cut.width_px[link])
            used = slice(first, last)
            middle = _filled(shown[used], ways[used]) if is_broken[link] else shown[used]
            lead, trail = extensions[2 * link], extensions[2 * link + 1]
            points = np.concatenate([nodes[:1], lead, middle, trail[::-1], nodes[1:]])
        links.append(Link(start, end, points, sigmas[link], float(cut.ink_px[link])))
    return tuple(links)


def _filled(points: Floats, slopes: Floats) -> Floats:
    """Points with the gaps between them bridged about every px, by Hermite's cubics along their directions."""
    steps = np.hypot(*np.diff(points, axis=0).T)
    gaps = np.flatnonzero(steps > GAP_STEP_PX)
    along = np.concatenate([[0.0], np.cumsum(steps)])
    runs, done = [], 0
    for gap in gaps.tolist():
        runs.append(points[done : gap + 1])
        done = gap + 1
        length = steps[gap]
        ends = points[[gap, gap + 1]]
        speeds = np.stack(
            [
                -_leaving(points[gap::-1], along[gap::-1], -slopes[gap], length),
                _leaving(points[gap + 1 :], along[gap + 1 :], slopes[gap + 1], length),
            ]
        )
        speeds = length * speeds / np.maximum(np.hypot(speeds[:, 0], speeds[:, 1]), 1e-9)[:, None]
        t = (np.arange(1, int(np.ceil(length))) / np.ceil(length))[:, None]
        runs.append(
            (1 + 2 * t) * (1 - t) ** 2 * ends[0]
            + t**2 * (3 - 2 * t) * ends[1]
            + t * (1 - t) ** 2 * speeds[0]
            - t**2 * (1 - t) * speeds[1]
        )
    runs.append(points[done:])
    return np.concatenate(runs)


def _leaving(points: Floats, along: Floats, slope: Floats, reach_px: float) -> Floats:
    """Which way points leave the first of them: by a parabola through those within a reach, as a gap is bridged the
    better the farther its sides are seen; `slope`, as found there, where they are few. They lie `along` their line."""
    x = np.abs(along[: int(reach_px) + 1] - along[0]) / (2 * reach_px)
    count = int(np.searchsorted(x, 1.0))
    if count < LEAVING_SAMPLES:
        return slope
    x = x[:count]
    powers = np.array([np.ones(count), x, x * x])
    way: Floats = np.linalg.solve(powers @ powers.T, powers @ points[:count])[1]
    return way


def _extensions(arms: Arms, at_node: Floats, at_sample: Floats, wanted: NDArray[np.bool_]) -> list[Floats]:
    """Points about 1 px apart on each arm between its node and its first clean sample, both left out.

    `at_node` and `at_sample` (A, 2) are these in the arms' frames; none are given of arms that are not wanted.
    """
    length = at_sample[:, 0] - at_node[:, 0]
    count = np.where(wanted, np.maximum(length, 0), 0).astype(np.int64)
    of = np.repeat(np.arange(len(count)), count)
    end = np.cumsum(count)
    part = (np.arange(len(of)) - (end - count)[of] + 1) / (count + 1)[of]
    # The node is where several arms agree: what this one misses it by is shared out over the extension.
    bend, slope, level = arms.fit[:, 2], arms.fit[:, 1], arms.fit[:, 0]
    missed = [at[:, 1] - (level + at[:, 0] * (slope + at[:, 0] * bend)) for at in (at_node, at_sample)]
    x = at_node[of, 0] + part * length[of]
    y = level[of] + x * (slope[of] + x * bend[of])
    y = y + missed[0][of] * (1 - part) + missed[1][of] * part
    straight = at_node[of, 1] + part * (at_sample[:, 1] - at_node[:, 1])[of]
    # A bend that was fitted elsewhere means nothing far beyond.
    wild = np.zeros(len(count), dtype=np.bool_)
    some = np.flatnonzero(count)
    if len(some):
        wild[some] = np.maximum.reduceat(np.abs(y - straight), (end - count)[some]) > MOST_BULGE * length[some]
    y = np.where(wild[of], straight, y)
    along, across = arms.axis[of], np.column_stack([-arms.axis[:, 1], arms.axis[:, 0]])[of]
    places = arms.origin_px[of] + x[:, None] * along + y[:, None] * across
    return parted(places, np.append(0, end))


def _closed(points: Floats) -> Floats:
    """A ring's points with its last exactly on its first."""
    ring = points.copy()
    ring[0] = ring[-1] = (points[0] + points[-1]) / 2
    return ring


def _silent(_: float) -> None:
    """Nobody asked to be told."""
