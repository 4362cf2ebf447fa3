"""Short links that run along merged ink and back again."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from digitize.folded_links import without_folded_links
from digitize.strokes import Link, NodeKind, PlanStrokes, Strokes

WIDTH_PX = 3.0
FOLD_PX = 8.0  # how far the middle link runs out before it comes back


def straight(a: NDArray[np.float64], b: NDArray[np.float64]) -> NDArray[np.float64]:
    count = int(np.hypot(*(b - a))) + 1
    return a + np.linspace(0, 1, count)[:, None] * (b - a)


def meeting(middle: NDArray[np.float64]) -> Strokes:
    """Two lines that come in from the left, two that leave to the right, and a link between where they meet."""
    far = np.array([[0.0, -20], [0, 20], [100, -20], [100, 20]])
    nodes = np.vstack([far, middle[0], middle[-1]])
    kinds = np.array([NodeKind.END] * 4 + [NodeKind.JUNCTION] * 2, dtype=np.uint8)
    links = [Link(n, 4 + n // 2, straight(far[n], nodes[4 + n // 2]), 0.1, WIDTH_PX) for n in range(4)]
    return Strokes(nodes, kinds, (*links, Link(4, 5, middle, 0.1, WIDTH_PX)))


def drawn(middle: NDArray[np.float64]) -> PlanStrokes:
    """The same on a plan of a mm a pixel."""
    return meeting(middle).mapped(lambda px: px)


def unfolded(plan: PlanStrokes) -> PlanStrokes:
    mended, lettering = without_folded_links(plan, np.zeros(len(plan.links_mm), dtype=np.bool_))
    assert len(lettering) == len(mended.links_mm)
    return mended


def out_and_back(apart_px: float) -> NDArray[np.float64]:
    there = np.arange(0, FOLD_PX + apart_px, 1.0)
    back = np.arange(FOLD_PX + apart_px, apart_px, -1.0)
    x = np.concatenate([there, back, [apart_px]])
    return np.column_stack([50 + x, np.zeros(len(x))])


def test_junctions_side_by_side_are_one():
    mended = unfolded(drawn(out_and_back(2.0))).strokes

    assert len(mended.links) == 4
    assert np.count_nonzero(mended.kinds == NodeKind.JUNCTION) == 1
    (at,) = np.flatnonzero(mended.kinds == NodeKind.JUNCTION)
    assert all(at in (link.start, link.end) for link in mended.links)
    for link in mended.links:
        assert (link.points_px[[0, -1]] == mended.nodes_px[[link.start, link.end]]).all()


def test_between_junctions_that_are_apart_it_runs_straight():
    plan = unfolded(drawn(out_and_back(6.0)))

    middle = plan.links_mm[-1]
    assert len(plan.strokes.links) == 5
    assert (plan.strokes.links[-1].points_px == middle).all()
    assert np.hypot(*np.diff(middle, axis=0).T).sum() == np.hypot(*(middle[-1] - middle[0]))


def test_a_bow_between_junctions_stays():
    t = np.linspace(0, np.pi, 13)
    bow = np.column_stack([54 - 4 * np.cos(t), 4 * np.sin(t)])
    plan = drawn(bow)

    assert unfolded(plan) is plan


def test_a_link_beside_the_fold_goes_with_it():
    beside = meeting(out_and_back(2.0))
    short = Link(4, 5, beside.nodes_px[[4, 5]], 0.1, WIDTH_PX)

    mended = unfolded(replace(beside, links=(*beside.links, short)).mapped(lambda px: px)).strokes

    assert len(mended.links) == 4
    assert all(np.hypot(*np.diff(link.points_px, axis=0).T).sum() > WIDTH_PX for link in mended.links)


def test_a_ring_beside_the_fold_stays():
    beside = meeting(out_and_back(2.0))
    turn = np.linspace(np.arcsin(1 / 8), 2 * np.pi - np.arcsin(1 / 8), 61)[:, None]
    middle = beside.nodes_px[[4, 5]].mean(axis=0)
    ring = middle + np.hstack([-8 * np.sin(turn), 8 * (np.cos(np.arcsin(1 / 8)) - np.cos(turn))])

    mended = unfolded(
        replace(beside, links=(*beside.links, Link(4, 5, ring, 0.1, WIDTH_PX))).mapped(lambda px: px)
    ).strokes

    assert len(mended.links) == 5
