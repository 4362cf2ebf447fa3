from dataclasses import replace

import cv2
import numpy as np
import pytest

from digitize.crossed_tips import with_crossed_tips
from digitize.strokes import Link, NodeKind, Strokes

WIDTH_PX = 3.0


def _line(start: tuple[float, float], end: tuple[float, float]) -> np.ndarray:
    count = int(np.hypot(end[0] - start[0], end[1] - start[1])) + 1
    return np.linspace(start, end, count)


def _merged(half_angle_deg: float) -> tuple[Strokes, np.ndarray]:
    """A rib's tail on a datum from left to right; its sides are drawn into the datum 12 px before the tip."""
    tip = np.array([200.0, 80.0])
    slope = np.tan(np.radians(half_angle_deg))
    node = tip - (12.0, 0.0)
    links = []
    for sign in (1.0, -1.0):
        free = _line((80.0, 80.0 + sign * slope * 120.0), (200.0 - 8.0 / slope, 80.0 + sign * 8.0))
        links.append(Link(0, 1 if sign > 0 else 2, np.vstack([node, free[::-1]]), 0.05, WIDTH_PX))
    links.append(Link(0, 3, _line(tuple(node), (100.0, 80.0)), 0.05, WIDTH_PX))
    links.append(Link(0, 4, _line(tuple(node), (260.0, 80.0)), 0.05, WIDTH_PX))
    ends = [links[0].points_px[-1], links[1].points_px[-1], links[2].points_px[-1], links[3].points_px[-1]]
    kinds = np.array([NodeKind.JUNCTION] + [NodeKind.END] * 4, dtype=np.uint8)
    return Strokes(np.vstack([node, *ends]), kinds, tuple(links)), tip


def _ink(strokes: Strokes, *tips: np.ndarray) -> np.ndarray:
    """The strokes' ink, and that of straight lines from both sides' free ends to each tip."""
    picture = np.zeros((300, 400), np.uint8)
    lines = [link.points_px for link in strokes.links]
    lines += [np.array([strokes.links[side].points_px[1], tip]) for tip in tips for side in (0, 1)]
    for line in lines:
        places = np.round(line * 16).astype(np.int32)
        cv2.polylines(picture, [places], False, 200, int(WIDTH_PX), cv2.LINE_AA, shift=4)
    return picture


@pytest.mark.parametrize("half_angle_deg", [8.0, 12.0, 18.0])
def test_the_sides_of_a_tip_on_a_datum_meet_at_the_tip(half_angle_deg: float) -> None:
    strokes, tip = _merged(half_angle_deg)

    mended = with_crossed_tips(strokes, _ink(strokes, tip))

    at = mended.nodes_px[-1]
    assert len(mended.nodes_px) == len(strokes.nodes_px) + 1
    assert np.hypot(*(at - tip)) < 0.3
    meeting = [link for link in mended.links if len(mended.nodes_px) - 1 in (link.start, link.end)]
    assert len(meeting) == 4
    for link in mended.links:
        assert (link.points_px[0] == mended.nodes_px[link.start]).all()
        assert (link.points_px[-1] == mended.nodes_px[link.end]).all()


def test_the_halves_of_a_circle_on_a_line_are_left_alone() -> None:
    angles = np.linspace(0, np.pi, 60)
    ring = np.column_stack([100 + 18 * np.cos(angles), 80 + 18 * np.sin(angles)])
    left, right = ring[-1], ring[0]
    links = (
        Link(0, 1, ring, 0.05, WIDTH_PX),
        Link(0, 1, ring * (1, -1) + (0, 160), 0.05, WIDTH_PX),
        Link(0, 2, _line(tuple(right), (160.0, 80.0)), 0.05, WIDTH_PX),
        Link(0, 1, _line(tuple(right), tuple(left)), 0.05, WIDTH_PX),
        Link(1, 3, _line(tuple(left), (40.0, 80.0)), 0.05, WIDTH_PX),
    )
    kinds = np.array([NodeKind.JUNCTION, NodeKind.JUNCTION, NodeKind.END, NodeKind.END], dtype=np.uint8)
    strokes = Strokes(np.array([right, left, (160.0, 80.0), (40.0, 80.0)]), kinds, links)

    assert with_crossed_tips(strokes, _ink(strokes)) is strokes


def test_a_side_that_comes_round_to_ahead_of_its_tip_is_carried_on_all_the_same() -> None:
    strokes, tip = _merged(12.0)
    side = strokes.links[0]
    round_about = [_line(tuple(side.points_px[-1]), (60.0, 260.0)), _line((60.0, 260.0), (320.0, 260.0))]
    around = np.vstack([side.points_px, round_about[0][1:], round_about[1][1:]])
    nodes = strokes.nodes_px.copy()
    nodes[side.end] = around[-1]
    strokes = Strokes(nodes, strokes.kinds, (replace(side, points_px=around), *strokes.links[1:]))

    mended = with_crossed_tips(strokes, _ink(strokes, tip))

    assert np.hypot(*(mended.nodes_px[-1] - tip)) < 0.3
    (carried,) = [link for link in mended.links if side.end in (link.start, link.end)]
    along = carried.points_px if carried.end == side.end else carried.points_px[::-1]
    assert (along[-len(round_about[1]) :] == around[-len(round_about[1]) :]).all()


def test_sides_whose_straight_lines_meet_over_bare_paper_are_no_tip() -> None:
    strokes, _ = _merged(12.0)
    bare = np.zeros((300, 400), np.uint8)
    for side in strokes.links[:2]:
        places = np.round(side.points_px[1:] * 16).astype(np.int32)
        cv2.polylines(bare, [places], False, 200, int(WIDTH_PX), cv2.LINE_AA, shift=4)

    assert with_crossed_tips(strokes, bare) is strokes


def test_the_ink_of_two_lines_that_run_together_is_no_side_of_a_tip() -> None:
    strokes, tip = _merged(12.0)
    wide = replace(strokes.links[1], width_px=2 * WIDTH_PX)
    strokes = replace(strokes, links=(strokes.links[0], wide, *strokes.links[2:]))

    assert with_crossed_tips(strokes, _ink(strokes, tip)) is strokes


@pytest.mark.parametrize("tilt_deg", [-1.5, 1.5])
def test_the_line_that_comes_in_between_the_sides_is_none_of_them(tilt_deg: float) -> None:
    strokes, tip = _merged(12.0)
    datum = strokes.links[2]
    fall = np.tan(np.radians(tilt_deg)) * np.maximum(180.0 - datum.points_px[:, 0], 0.0)
    tilted = datum.points_px + np.column_stack([np.zeros(len(fall)), fall])
    nodes = strokes.nodes_px.copy()
    nodes[datum.end] = tilted[-1]
    links = (strokes.links[0], replace(datum, points_px=tilted), *strokes.links[3:], strokes.links[1])
    strokes = Strokes(nodes, strokes.kinds, links)
    picture = _ink(strokes)
    for side in (links[0], links[-1]):
        places = np.round(np.array([side.points_px[1], tip]) * 16).astype(np.int32)
        cv2.polylines(picture, [places], False, 200, int(WIDTH_PX), cv2.LINE_AA, shift=4)

    mended = with_crossed_tips(strokes, picture)

    assert np.hypot(*(mended.nodes_px[-1] - tip)) < 0.5
    assert {mended.links[0].start, mended.links[3].start} == {len(mended.nodes_px) - 1}
