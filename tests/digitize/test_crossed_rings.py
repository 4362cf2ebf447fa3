"""Small circles that lines cross, against where they were drawn: closed form, a circle's centre and radius."""

import math
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from benchmarks.render_lines import Camera, TrueLine, photograph
from digitize.ellipse_fit import Ellipse, fit_ellipses
from digitize.find_strokes import find_strokes
from digitize.lettering import lettering_links
from digitize.loop import Role
from digitize.loops import find_loops
from digitize.strokes import Link, NodeKind
from pictures.ink import find_ink
from pictures.picture import Medium, Picture, Source

Floats = NDArray[np.float64]

SCAN = Camera(blur_px=0.7, noise=2.0)
MIDDLE_PX = np.array([100.3, 79.6])
PLATE_PX = np.array([[20.0, 10.0], [180.0, 10.0], [180.0, 150.0], [20.0, 150.0]])
OFF_PX = 0.12
"""Farthest that a ring found may lie from the circle drawn; the crossing of one thick line pulls by 0.1 px."""


def _circle(radius_px: float, turn: float = 0.0, to: float = 2 * np.pi, at: Floats = MIDDLE_PX) -> Floats:
    angles = np.linspace(turn, to, 240, endpoint=False)
    return at + radius_px * np.column_stack([np.cos(angles), np.sin(angles)])


def _through(turn_deg: float, reach_px: float, gaps: tuple[float, ...] = (), beside_px: float = 0.0) -> list[TrueLine]:
    """A line through the circle's middle, drawn in pieces: `gaps` are where, along it, pieces end and begin in turn."""
    way = np.array([math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))])
    start = MIDDLE_PX + beside_px * np.array([-way[1], way[0]])
    ends = [-reach_px, *gaps, reach_px]
    return [
        TrueLine(np.array([start + a * way, start + b * way]), 1.7, False, "round", "round")
        for a, b in zip(ends[::2], ends[1::2], strict=True)
    ]


def _holes(lines: list[TrueLine], camera: Camera = SCAN) -> list[Floats]:
    """Holes found in a square plate with these lines drawn in it."""
    drawn = [TrueLine(PLATE_PX, 2.4, True, "mitre"), *lines]
    grey = photograph(drawn, camera, width=200, height=160)
    strokes = find_strokes(find_ink(Picture(grey, Source(Path("drawn.png"), "", Medium.RASTER))))
    found = find_loops(strokes, lettering=lettering_links(strokes), border_px=None)
    assert any(loop.role is Role.PART and loop.area_px2 > 20_000 for loop in found.loops)
    return [loop.points_px for loop in found.loops if loop.role is Role.HOLE]


@pytest.mark.parametrize("radius_px", [7.0, 9.0, 13.0, 26.0])
@pytest.mark.parametrize("turn_deg", [0.0, 31.0, 72.0])
@pytest.mark.parametrize(
    "gaps", [(), (-14.0, -9.0, -2.0, 3.0), (2.0, 6.0)], ids=["solid", "chain", "a gap beside the middle"]
)
def test_a_small_hole_that_two_lines_cross_is_one_hole(
    radius_px: float, turn_deg: float, gaps: tuple[float, ...]
) -> None:
    lines = [TrueLine(_circle(radius_px), 2.4, True), *_through(turn_deg, 36, gaps), *_through(turn_deg + 83, 30)]

    holes = _holes(lines)

    assert len(holes) == 1
    far = np.hypot(*(holes[0] - MIDDLE_PX).T)
    assert np.abs(far - radius_px).max() < OFF_PX


def test_a_line_beside_the_middle_crosses_a_hole_too() -> None:
    holes = _holes([TrueLine(_circle(11.0), 3.0, True), *_through(20.0, 33, beside_px=2.5)])

    assert len(holes) == 1
    assert np.abs(np.hypot(*(holes[0] - MIDDLE_PX).T) - 11.0).max() < OFF_PX


def test_lines_that_cross_without_a_circle_make_no_hole() -> None:
    assert not _holes([*_through(10, 30), *_through(75, 30), *_through(130, 30, beside_px=1.0)])


def test_an_outline_that_runs_into_a_circle_keeps_its_arc() -> None:
    """A lug: two lines leave a circle as tangents, and the outline runs round its far side; its inside is drawn too."""
    radius = 14.0
    sides = [
        TrueLine(MIDDLE_PX + np.array([[0.0, s * radius], [-60.0, s * radius]]), 2.4, False, "round", "round")
        for s in (-1.0, 1.0)
    ]
    end = TrueLine(MIDDLE_PX + np.array([[-60.0, -radius], [-60.0, radius]]), 2.4, False, "round", "round")
    grey = photograph(
        [TrueLine(_circle(radius), 2.4, True), *sides, end, *_through(0, 24)], SCAN, width=200, height=160
    )

    strokes = find_strokes(find_ink(Picture(grey, Source(Path("drawn.png"), "", Medium.RASTER))))

    on_circle = [
        link
        for link in strokes.links
        if np.abs(np.hypot(*(link.points_px - MIDDLE_PX).T) - radius).max() < 1.0 and len(link.points_px) > 8
    ]
    assert on_circle
    assert all(link.start != link.end for link in on_circle)


def test_a_figure_in_a_balloon_makes_it_no_hole() -> None:
    seven = MIDDLE_PX + np.array([[-5.0, -9.0], [6.0, -9.0], [-2.0, 9.0]])

    assert not _holes([TrueLine(_circle(21.0), 2.0, True), TrueLine(seven, 2.4, False, "round", "round")])


def test_two_letters_that_touch_make_no_hole() -> None:
    """R and 7, the bar of the one drawn into the bowl of the other."""
    right = _circle(4.0, -np.pi / 2, np.pi / 2, at=np.array([95.0, 74.0]))
    r = np.vstack([[88.0, 86.0], [88.0, 70.0], right, [88.0, 78.0]])
    leg, seven = np.array([[95.0, 78.0], [99.0, 86.0]]), np.array([[99.0, 73.0], [108.0, 71.0], [103.0, 86.0]])

    assert not _holes([TrueLine(points, 1.8, False, "round", "round") for points in (r, leg, seven)])


def test_a_chain_lines_pieces_in_a_hole_are_no_lettering() -> None:
    holes = _holes([TrueLine(_circle(24.0), 2.4, True), *_through(15, 44, (-30.0, -12.0, 12.0, 30.0))])

    assert len(holes) == 1


def test_the_lines_through_a_ring_run_straight_on() -> None:
    lines = [TrueLine(_circle(9.0), 2.4, True), *_through(25, 40), *_through(115, 40)]
    grey = photograph(lines, SCAN, width=200, height=160)

    strokes = find_strokes(find_ink(Picture(grey, Source(Path("drawn.png"), "", Medium.RASTER))))

    def long(link: Link) -> float:
        return float(np.hypot(*np.ptp(link.points_px, axis=0)))

    assert np.count_nonzero(strokes.kinds == NodeKind.LOOP) == 1
    assert sorted(round(long(link), -1) for link in strokes.links if link.start != link.end) == [40.0] * 4
    for link in strokes.links:
        if link.start != link.end:
            away = link.points_px - MIDDLE_PX
            off = [abs(away @ [-math.sin(a), math.cos(a)]).max() for a in np.radians([25.0, 115.0])]
            assert min(off) < 0.4


def test_ellipses_are_fitted_to_three_fifths_of_each_and_to_no_five_points() -> None:
    truths = [Ellipse(np.array([50.0, 40.0]), 12.0, 9.0, 0.7), Ellipse(np.array([80.0, 20.0]), 30.0, 29.0, -0.4)]
    angles = np.concatenate([np.linspace(0, 1.6, 30), np.linspace(2.4, 4.0, 30), np.linspace(4.9, 5.5, 12)])
    noise = np.random.default_rng(3).normal(0, 0.05, (2, len(angles), 2))
    points = [truths[0].at(angles) + noise[0], truths[0].at(angles)[:5], truths[1].at(angles) + noise[1]]
    first = np.cumsum([0, *(len(some) for some in points[:-1])])

    fitted, found = fit_ellipses(np.concatenate(points), np.ones(sum(map(len, points))), first)

    assert found.tolist() == [True, False, True]
    for truth, which in zip(truths, (0, 2), strict=True):
        assert np.abs(truth.off_px(fitted.one(which).at(np.linspace(0, 6.28, 100)))).max() < 0.1


def test_an_ellipse_s_normals_stand_on_it() -> None:
    ellipse = Ellipse(np.array([50.0, 40.0]), 12.0, 9.0, 0.7)
    angles = np.linspace(0, 2 * np.pi, 50)

    normals = ellipse.normals(angles)

    along = ellipse.at(angles + 1e-5) - ellipse.at(angles - 1e-5)
    assert np.abs((normals * along).sum(axis=1)).max() < 1e-8
    assert ((ellipse.at(angles) - ellipse.centre_px) * normals).sum(axis=1).min() > 0
    assert np.hypot(*normals.T) == pytest.approx(1)
