"""A vector page's runs as strokes: nodes where they meet, links between them that keep the page's own curves."""

import math
from collections import defaultdict
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from digitize.own_curve import Floats, OwnCurve, joined, leaving
from digitize.strokes import Link, NodeKind, Strokes
from digitize.vector_cuts import Cuts
from digitize.vector_runs import CORNER_RAD, SAME_PX, Runs

SIGMA_PX = 0.005
"""One-sigma error of a point: the page's numbers are written to some thousandths of a point."""

LEAST_WIDTH_PX = 2.0
"""Width taken for a hairline and anything thinner: what 0.18 mm, the thinnest pen, is at 300 dpi."""

STEP_PX = 1.0
"""Points of a link lie about this far apart, as those of a line found in ink do."""

TWICE_PX = 0.1
"""Pieces between the same nodes whose middles lie this near were drawn twice."""


@dataclass(frozen=True, slots=True)
class _Piece:
    """A run between two places along it; its ends' nodes."""

    run: int
    start_px: float
    end_px: float
    start: int
    end: int


@dataclass(frozen=True, slots=True)
class NodedRuns:
    """The strokes of runs, and how many pieces between nodes the page does not show."""

    strokes: Strokes
    unseen: int


SHOWN = 0.5
"""A piece of whose points fewer than this share lie on ink is not shown."""


def strokes_of_runs(runs: Runs, cuts: Cuts, *, shown: NDArray[np.uint8]) -> NodedRuns:
    """Give the strokes of runs cut where they meet.

    Pieces drawn twice count once. Where just two pieces meet without a corner, or one meets itself, they are one link.
    What the page does not show, because it is covered by something drawn later, belongs to a layer that is switched
    off, or is as light as the paper, is left out.

    Parameters
    ----------
    runs : Runs
    cuts : Cuts
    shown : (H, W) uint8
        Above 0 where the drawn page shows ink.

    Returns
    -------
    NodedRuns
        Every link has its own curve.
    """
    pieces, nodes_px = _pieces(runs, cuts)
    every = len(pieces)
    pieces = _shown(runs, pieces, shown)
    unseen = every - len(pieces)
    pieces = _once(runs, pieces)
    chains = _chains(runs, pieces, len(nodes_px))
    links = _links(runs, chains, nodes_px)
    degree = np.bincount(
        np.array([n for link in links for n in (link.start, link.end)], dtype=int), minlength=len(nodes_px)
    )
    kinds = np.where(degree == 1, NodeKind.END, np.where(degree == 2, NodeKind.CORNER, NodeKind.JUNCTION))
    for link in links:
        if (
            link.start == link.end
            and degree[link.start] == 2
            and link.own is not None
            and _turn_rad(link.own, link.own) <= CORNER_RAD
        ):
            kinds[link.start] = NodeKind.LOOP
    used = np.flatnonzero(degree)
    number = np.full(len(nodes_px), -1)
    number[used] = np.arange(len(used))
    renamed = tuple(
        Link(int(number[k.start]), int(number[k.end]), k.points_px, k.sigma_px, k.width_px, k.own) for k in links
    )
    return NodedRuns(Strokes(nodes_px[used], kinds[used].astype(np.uint8), renamed), unseen)


def _pieces(runs: Runs, cuts: Cuts) -> tuple[list[_Piece], Floats]:
    """The runs between their cuts, and the nodes (N, 2) px that they end at."""
    lengths = runs.lengths_px
    every = np.arange(len(runs))
    run = np.concatenate([every, every, cuts.run])
    along = np.concatenate([np.zeros(len(runs)), lengths, cuts.along_px])
    order = np.lexsort((along, run))
    run, along = run[order], along[order]
    # Cuts at one place are one cut; those at a run's ends are its ends.
    ends = np.zeros(len(run), dtype=np.bool_)
    first = np.searchsorted(run, every, side="left")
    last = np.searchsorted(run, every, side="right") - 1
    ends[first] = ends[last] = True
    inner = ~ends & (along > SAME_PX) & (along < lengths[run] - SAME_PX)
    keep = ends.copy()
    before = -math.inf
    before_run = -1
    for at in np.flatnonzero(inner).tolist():
        if run[at] != before_run or along[at] - before > SAME_PX:
            keep[at] = True
            before, before_run = float(along[at]), int(run[at])
    run, along = run[keep], along[keep]
    places = _places(runs, run, along)
    head = np.flatnonzero(np.concatenate([[True], run[1:] != run[:-1]]))
    tail = np.concatenate([head[1:], [len(run)]]) - 1
    for which, end, to in zip(cuts.moved_run, cuts.moved_end, cuts.moved_to_px, strict=True):
        places[(head, tail)[int(end)][which]] = to
    node = _clusters(places)
    count = int(node.max()) + 1 if len(node) else 0
    size = np.maximum(np.bincount(node, minlength=count), 1)
    middles = np.column_stack([np.bincount(node, weights=places[:, axis], minlength=count) / size for axis in (0, 1)])
    same = np.flatnonzero(run[1:] == run[:-1])
    pieces = [
        _Piece(int(run[k]), float(along[k]), float(along[k + 1]), int(node[k]), int(node[k + 1])) for k in same.tolist()
    ]
    # What is no longer than a place is wide has vanished into its node.
    return [p for p in pieces if p.start != p.end or p.end_px - p.start_px > 4 * SAME_PX], middles


def _places(runs: Runs, run: NDArray[np.int64], along: Floats) -> Floats:
    """Places (N, 2) px so far along runs."""
    # A gap between the runs in the common measure keeps np.interp from mixing them.
    offset = np.concatenate([[0.0], np.cumsum(runs.lengths_px + 1.0)])
    of_point = np.repeat(np.arange(len(runs)), np.diff(runs.first))
    far = runs.along_px + offset[of_point]
    at = along + offset[run]
    return np.column_stack([np.interp(at, far, runs.points_px[:, axis]) for axis in (0, 1)])


def _clusters(places: Floats) -> NDArray[np.int64]:
    """The number of the node each place belongs to."""
    if not len(places):
        return np.empty(0, np.int64)
    pairs = cKDTree(places).query_pairs(SAME_PX, output_type="ndarray")
    count = len(places)
    near = coo_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(count, count))
    return np.asarray(connected_components(near, directed=False)[1], dtype=np.int64)


def _shown(runs: Runs, pieces: list[_Piece], shown: NDArray[np.uint8]) -> list[_Piece]:
    """The pieces under which there is ink."""
    if not pieces:
        return pieces
    long = np.array([piece.end_px - piece.start_px for piece in pieces])
    counts = np.ceil(long / STEP_PX).astype(np.int64) + 1
    which = np.repeat(np.arange(len(pieces)), counts)
    number = np.arange(len(which)) - np.repeat(np.cumsum(counts) - counts, counts)
    # Between the ends: there other lines' ink would speak for this one.
    along = np.array([piece.start_px for piece in pieces])[which] + long[which] * (number + 0.5) / counts[which]
    at = np.rint(_places(runs, np.array([piece.run for piece in pieces])[which], along)).astype(np.int64)
    height, width = shown.shape
    inked = shown[np.clip(at[:, 1], 0, height - 1), np.clip(at[:, 0], 0, width - 1)] > 0
    share = np.bincount(which, weights=inked) / counts
    return [piece for piece, part in zip(pieces, share.tolist(), strict=True) if part >= SHOWN]


def _once(runs: Runs, pieces: list[_Piece]) -> list[_Piece]:
    """The pieces without those that lie on another between the same nodes."""
    between: dict[tuple[int, int], list[tuple[_Piece, Floats]]] = defaultdict(list)
    kept: list[_Piece] = []
    if not pieces:
        return kept
    run = np.repeat([p.run for p in pieces], 3)
    along = np.array([p.start_px + (p.end_px - p.start_px) * k / 4 for p in pieces for k in (1, 2, 3)])
    inner = _places(runs, run, along).reshape(-1, 3, 2)
    for piece, points in zip(pieces, inner, strict=True):
        key = (min(piece.start, piece.end), max(piece.start, piece.end))
        turned = points if piece.start <= piece.end else points[::-1]
        others = between[key]
        if any(_alike(turned, other, closed=piece.start == piece.end) for _, other in others):
            continue
        others.append((piece, turned))
        kept.append(piece)
    return kept


def _alike(points: Floats, other: Floats, *, closed: bool) -> bool:
    far = np.hypot(*(points - other).T).max()
    if closed:
        far = min(far, np.hypot(*(points[::-1] - other).T).max())
    return bool(far <= TWICE_PX)


_Step = tuple[_Piece, bool]
"""A piece, and whether it is run backwards."""


def _chains(runs: Runs, pieces: list[_Piece], nodes: int) -> list[list[_Step]]:
    """Pieces end to end wherever just two meet and go on without a corner."""
    at: dict[int, list[tuple[int, int]]] = defaultdict(list)
    for which, piece in enumerate(pieces):
        at[piece.start].append((which, 0))
        at[piece.end].append((which, 1))
    goes_on: dict[tuple[int, int], tuple[int, int]] = {}
    for here in at.values():
        if len(here) != 2:
            continue
        first, second = here
        ways = [_way_out(runs, pieces[which], side) for which, side in here]
        turn = math.pi - abs(math.atan2(ways[0][0] * ways[1][1] - ways[0][1] * ways[1][0], float(ways[0] @ ways[1])))
        if turn <= CORNER_RAD:
            goes_on[first], goes_on[second] = second, first
    used = [False] * len(pieces)
    chains: list[list[_Step]] = []

    def walk(which: int, side: int) -> list[_Step]:
        run: list[_Step] = []
        while not used[which]:
            used[which] = True
            run.append((pieces[which], side == 1))
            onward = goes_on.get((which, 1 - side))
            if onward is None:
                break
            which, side = onward
        return run

    heads = [(which, side) for which in range(len(pieces)) for side in (0, 1) if (which, side) not in goes_on]
    chains += [walk(which, side) for which, side in heads if not used[which]]
    chains += [walk(which, 0) for which in range(len(pieces)) if not used[which]]
    return chains


def _way_out(runs: Runs, piece: _Piece, side: int) -> Floats:
    """The direction in which a piece leaves its start (0) or its end (1)."""
    own = runs.part(piece.run, piece.start_px, piece.end_px)
    return leaving((own.reversed() if side else own).pieces_px()[0])


def _turn_rad(into: OwnCurve, out: OwnCurve) -> float:
    """How far a line turns from the end of one curve to the start of another."""
    back, on = leaving(into.reversed().pieces_px()[0]), leaving(out.pieces_px()[0])
    return math.pi - abs(math.atan2(float(back[0] * on[1] - back[1] * on[0]), float(back @ on)))


def _links(runs: Runs, chains: list[list[_Step]], nodes_px: Floats) -> list[Link]:
    """The chains as links; all their points are placed at once."""
    widths_px = np.maximum(runs.width_px, LEAST_WIDTH_PX).tolist()
    links = []
    for chain, points in zip(chains, _points(runs, chains), strict=True):
        (first, first_back), (last, last_back) = chain[0], chain[-1]
        start, end = first.end if first_back else first.start, last.start if last_back else last.end
        points[0], points[-1] = nodes_px[start], nodes_px[end]
        long_px = sum(piece.end_px - piece.start_px for piece, _ in chain)
        width_px = sum(widths_px[piece.run] * (piece.end_px - piece.start_px) for piece, _ in chain) / long_px
        curves = [runs.part(piece.run, piece.start_px, piece.end_px) for piece, _ in chain]
        curves = [own.reversed() if back else own for own, (_, back) in zip(curves, chain, strict=True)]
        links.append(Link(start, end, points, SIGMA_PX, width_px, joined(curves)))
    return links


def _points(runs: Runs, chains: list[list[_Step]]) -> list[Floats]:
    """Points about STEP_PX apart along each chain, its ends included."""
    if not chains:
        return []
    steps = [step for chain in chains for step in chain]
    chain_of = np.repeat(np.arange(len(chains)), [len(chain) for chain in chains])
    run, start_px, end_px = (np.array([getattr(p, name) for p, _ in steps]) for name in ("run", "start_px", "end_px"))
    back = np.array([is_back for _, is_back in steps])
    ends = np.cumsum(end_px - start_px)
    heads = np.searchsorted(chain_of, np.arange(len(chains)))
    tails = np.append(heads[1:], len(steps)) - 1
    begin, finish = ends[heads] - (end_px - start_px)[heads], ends[tails]
    counts = np.maximum(np.ceil((finish - begin) / STEP_PX).astype(np.int64) + 1, 2)
    which = np.repeat(np.arange(len(chains)), counts)
    number = np.arange(len(which)) - np.repeat(np.cumsum(counts) - counts, counts)
    at = begin[which] + (finish - begin)[which] * number / (counts[which] - 1)
    step = np.clip(np.searchsorted(ends, at, side="left"), heads[which], tails[which])
    into = np.clip(at - (ends - (end_px - start_px))[step], 0, (end_px - start_px)[step])
    along = np.where(back[step], end_px[step] - into, start_px[step] + into)
    return np.split(_places(runs, run[step], along), np.cumsum(counts)[:-1])
