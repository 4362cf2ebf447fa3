"""Skeletons: connected as the ink was, one pixel wide."""

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from digitize.stroke_graph import trace_chains
from digitize.thinning import local_widths, thin, without_blots


def drawn(pixels: NDArray[np.int32], shape: tuple[int, int]) -> NDArray[np.uint8]:
    mask = np.zeros(shape, np.uint8)
    mask[pixels[:, 1], pixels[:, 0]] = 1
    return mask


def pieces_and_holes(mask: NDArray[np.uint8]) -> tuple[int, int]:
    """Pieces of ink by 8-neighbours, and of paper by 4-neighbours: what thinning must not change."""
    return cv2.connectedComponents(mask, connectivity=8)[0] - 1, cv2.connectedComponents(1 - mask, connectivity=4)[
        0
    ] - 1


@pytest.mark.parametrize("seed", range(8))
def test_pieces_and_holes_stay(seed: int) -> None:
    random = np.random.default_rng(seed)
    mask = np.zeros((70, 110), np.uint8)
    for _ in range(7):
        ends = random.integers(8, [102, 62], (2, 2))
        cv2.line(mask, tuple(ends[0].tolist()), tuple(ends[1].tolist()), 1, int(random.integers(2, 8)))
    cv2.circle(mask, (55, 35), 18, 1, 3)

    skeleton = drawn(thin(mask), mask.shape)

    assert pieces_and_holes(skeleton) == pieces_and_holes(mask)
    assert (skeleton <= mask).all()


def test_a_bar_becomes_its_middle_row() -> None:
    mask = np.zeros((21, 60), np.uint8)
    mask[8:13, 5:55] = 1

    pixels = thin(mask)

    middle = pixels[(pixels[:, 0] > 10) & (pixels[:, 0] < 50)]
    assert set(middle[:, 1].tolist()) == {10}
    assert len(middle) == 39


def test_widths_are_the_runs_of_ink() -> None:
    mask = np.zeros((40, 90), np.uint8)
    mask[10:13, 5:85] = 1
    mask[22:34, 5:85] = 1

    widths = local_widths(mask, np.array([[40, 11], [40, 28]], np.int32))

    assert widths.tolist() == [3.0, 12.0]


def test_solid_areas_are_left_out_and_lines_stay() -> None:
    mask = np.zeros((400, 500), np.uint8)
    mask[50:350, 20:200] = 1
    mask[100:125, 260:480] = 1

    left = without_blots(mask)

    assert not left[150:250, 80:140].any()
    assert (left[:, 260:] == mask[:, 260:]).all()


def test_chains_of_a_ring_a_line_and_a_tee() -> None:
    mask = np.zeros((60, 120), np.uint8)
    cv2.circle(mask, (25, 30), 14, 1, 1)
    mask[10, 50:110] = 1
    mask[40, 50:111] = 1
    mask[40:56, 80] = 1

    chains = trace_chains(thin(mask))

    degree = np.bincount(np.concatenate([chains.start, chains.end]), minlength=len(chains.nodes_px))
    assert sorted(degree.tolist()) == [1, 1, 1, 1, 1, 2, 3]
    assert len(chains.start) == 5
    assert np.count_nonzero(chains.start == chains.end) == 1
    for number, points in enumerate(chains.split()):
        assert (points[0] == chains.nodes_px[chains.start[number]]).all()
        assert (points[-1] == chains.nodes_px[chains.end[number]]).all()
        assert np.abs(np.diff(points, axis=0)).max() == 1


def test_a_staircase_is_one_chain() -> None:
    steps = np.array([[10 + k // 2, 10 + (k + 1) // 2] for k in range(60)], np.int32)

    chains = trace_chains(steps)

    assert len(chains.start) == 1
    assert len(chains.points_px) == 60


def test_no_pixels_give_no_chains() -> None:
    assert len(trace_chains(np.empty((0, 2), np.int32)).start) == 0
    assert len(trace_chains(np.array([[4, 5]], np.int32)).start) == 0
