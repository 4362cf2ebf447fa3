"""Strokes found in drawn lines, against where those lines were drawn."""

import math
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from benchmarks.render_lines import Camera, TrueLine, photograph
from digitize.find_strokes import find_strokes
from digitize.strokes import NodeKind, Strokes
from pictures.ink import Ink, find_ink
from pictures.picture import Medium, Picture, Source

Floats = NDArray[np.float64]

CLEAN = Camera(blur_px=0.7, noise=2.0)
POINT_RMS_PX = 0.05
"""A grey scan's centre-lines, one sigma."""
CORNER_PX = 0.2
"""Right corners of a grey scan."""


def ink_of(grey: NDArray[np.uint8]) -> Ink:
    return find_ink(Picture(grey, Source(Path("drawn.png"), "", Medium.RASTER)))


def strokes_of(lines: list[TrueLine], *, camera: Camera = CLEAN, width: int = 300, height: int = 220) -> Strokes:
    return find_strokes(ink_of(photograph(lines, camera, width=width, height=height)))


def line(*points: tuple[float, float], width: float = 2.5) -> TrueLine:
    return TrueLine(np.array(points, dtype=float), width, False, "round", "round")


def closed(points: Floats, width: float = 2.5, join: str = "mitre") -> TrueLine:
    return TrueLine(points, width, True, join)


def circle(x: float, y: float, radius: float) -> Floats:
    turn = np.linspace(0, 2 * np.pi, 360, endpoint=False)
    return np.column_stack([x + radius * np.cos(turn), y + radius * np.sin(turn)])


def kinds(strokes: Strokes) -> dict[NodeKind, int]:
    return {kind: int(np.count_nonzero(strokes.kinds == kind)) for kind in NodeKind if (strokes.kinds == kind).any()}


def nearest(strokes: Strokes, place: tuple[float, float]) -> float:
    return float(np.hypot(*(strokes.nodes_px - place).T).min())


@pytest.mark.parametrize("angle_deg", [0.0, 3.0, 27.0, 45.0, 80.0, 90.0])
def test_a_straight_line_is_one_link_on_the_line(angle_deg: float) -> None:
    along = np.array([math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))])
    middle = np.array([150.3, 110.6])
    a, b = middle - 80 * along, middle + 80 * along

    strokes = strokes_of([line(tuple(a), tuple(b))])

    assert kinds(strokes) == {NodeKind.END: 2}
    (link,) = strokes.links
    away = (link.points_px - middle) @ np.array([-along[1], along[0]])
    assert np.sqrt(np.mean(away**2)) < POINT_RMS_PX
    assert nearest(strokes, tuple(a)) < 0.5
    assert nearest(strokes, tuple(b)) < 0.5
    assert link.width_px == pytest.approx(2.5, abs=0.5)


@pytest.mark.parametrize("radius", [8.0, 20.0, 50.0, 90.0])
def test_a_circle_is_one_loop_of_its_radius(radius: float) -> None:
    strokes = strokes_of([closed(circle(150.4, 110.3, radius))])

    assert kinds(strokes) == {NodeKind.LOOP: 1}
    (link,) = strokes.links
    assert link.start == link.end
    assert (link.points_px[0] == link.points_px[-1]).all()
    away = np.hypot(*(link.points_px - [150.4, 110.3]).T) - radius
    # Blur moves a ring's middle inward by blur^2 / (2 R); a parabola over some px does the rest.
    assert abs(away.mean()) < 0.02 + 0.5 / radius
    assert away.std() < POINT_RMS_PX


def test_a_square_has_four_right_corners() -> None:
    corners = np.array([[60.3, 50.2], [220.3, 50.2], [220.3, 160.7], [60.3, 160.7]])

    strokes = strokes_of([closed(corners)])

    assert kinds(strokes) == {NodeKind.CORNER: 4}
    assert len(strokes.links) == 4
    assert max(nearest(strokes, tuple(corner)) for corner in corners) < CORNER_PX


def test_an_ell_has_one_corner_and_two_ends() -> None:
    strokes = strokes_of([line((50, 60), (50, 170), (200, 170))])

    assert kinds(strokes) == {NodeKind.END: 2, NodeKind.CORNER: 1}
    assert nearest(strokes, (50, 170)) < CORNER_PX


def test_a_tee_has_a_junction_of_three() -> None:
    strokes = strokes_of([line((40, 80.4), (250, 80.4)), line((140.3, 80.4), (140.3, 190))])

    assert kinds(strokes) == {NodeKind.END: 3, NodeKind.JUNCTION: 1}
    assert nearest(strokes, (140.3, 80.4)) < CORNER_PX


@pytest.mark.parametrize("angle_deg", [90.0, 60.0, 35.0])
def test_two_crossing_lines_are_one_junction_of_four(angle_deg: float) -> None:
    half = math.radians(angle_deg / 2)
    lines = [
        line(
            (150.2 - 90 * math.cos(half), 110.7 - sign * 90 * math.sin(half)),
            (150.2 + 90 * math.cos(half), 110.7 + sign * 90 * math.sin(half)),
        )
        for sign in (1, -1)
    ]

    strokes = strokes_of(lines)

    assert kinds(strokes) == {NodeKind.END: 4, NodeKind.JUNCTION: 1}
    assert len(strokes.links) == 4
    assert nearest(strokes, (150.2, 110.7)) < 0.3


def test_a_small_reference_cross_is_kept() -> None:
    strokes = strokes_of([line((100, 90.3), (124, 90.3)), line((112.2, 78), (112.2, 102))])

    assert kinds(strokes) == {NodeKind.END: 4, NodeKind.JUNCTION: 1}
    assert nearest(strokes, (112.2, 90.3)) < CORNER_PX


def test_a_square_notch_has_all_its_corners() -> None:
    outline = np.array(
        [[40, 60.3], [120.2, 60.3], [120.2, 74.3], [136.2, 74.3], [136.2, 60.3], [250, 60.3], [250, 150], [40, 150]]
    )

    strokes = strokes_of([closed(outline)])

    assert kinds(strokes) == {NodeKind.CORNER: 8}
    assert max(nearest(strokes, tuple(corner)) for corner in outline) < 0.35


def test_a_section_has_a_tip_and_a_smooth_nose() -> None:
    # NACA 4-digit thickness, NACA Report 460: y = 5t(0.2969 sqrt x - 0.1260 x - 0.3516 x^2 + 0.2843 x^3 - 0.1036 x^4).
    x = 0.5 * (1 - np.cos(np.linspace(0, np.pi, 200)))
    y = 0.6 * (0.2969 * np.sqrt(x) - 0.1260 * x - 0.3516 * x**2 + 0.2843 * x**3 - 0.1036 * x**4)
    outline = np.vstack([np.column_stack([x, y])[::-1], np.column_stack([x, -y])[1:-1]]) * 400 + [40.2, 80.4]

    strokes = strokes_of([closed(outline, 2.5, "round")], width=480, height=160)

    assert kinds(strokes) == {NodeKind.TIP: 1}
    # Tips err most; a fifteenth of a millimetre at 0.18 mm a px.
    assert nearest(strokes, (440.2, 80.4)) < 0.7
    (link,) = strokes.links
    points = link.points_px - [40.2, 80.4]
    middle = (points[:, 0] > 4) & (points[:, 0] < 380)
    at = points[middle, 0] / 400
    true = 240 * (0.2969 * np.sqrt(at) - 0.1260 * at - 0.3516 * at**2 + 0.2843 * at**3 - 0.1036 * at**4)
    assert np.sqrt(np.mean((np.abs(points[middle, 1]) - true) ** 2)) < 2 * POINT_RMS_PX


def test_specks_are_left_out() -> None:
    lines = [line((50, 60), (250, 170))]
    grey = photograph(lines, CLEAN, width=300, height=220)
    grey[30:33, 200:203] = 30
    grey[150, 60:62] = 20

    strokes = find_strokes(ink_of(grey))

    assert len(strokes.links) == 1


def test_a_gap_of_two_pixels_is_bridged_and_one_of_nine_is_not() -> None:
    # Round ends reach half a width beyond their centre-lines' ends.
    near = strokes_of([line((40, 60), (140, 70)), line((144.5, 70.45), (250, 81))])
    far = strokes_of([line((40, 60), (140, 70)), line((151.5, 71.15), (250, 81))])

    assert kinds(near) == {NodeKind.END: 2}
    assert kinds(far) == {NodeKind.END: 4}


def test_nothing_outside_of_the_sheet_is_found() -> None:
    grey = photograph([line((30, 40), (270, 40)), line((30, 180), (270, 180))], CLEAN, width=300, height=220)
    sheet = np.array([[10.0, 10.0], [290.0, 10.0], [290.0, 100.0], [10.0, 100.0]])

    strokes = find_strokes(ink_of(grey), within=sheet)

    assert len(strokes.links) == 1
    assert strokes.links[0].points_px[:, 1].max() < 50


def test_blank_paper_has_no_strokes() -> None:
    strokes = find_strokes(ink_of(np.full((90, 140), 240, np.uint8)))

    assert strokes.links == ()
    assert strokes.nodes_px.shape == (0, 2)


def test_links_run_from_node_to_node_and_progress_ends_at_one() -> None:
    told: list[float] = []
    grey = photograph([closed(circle(90, 90, 40)), line((40, 90), (250, 100))], CLEAN, width=300, height=220)

    strokes = find_strokes(ink_of(grey), progress=told.append)

    assert told == sorted(told)
    assert told[-1] == 1.0
    for link in strokes.links:
        assert (link.points_px[0] == strokes.nodes_px[link.start]).all()
        assert (link.points_px[-1] == strokes.nodes_px[link.end]).all()
        assert np.hypot(*np.diff(link.points_px, axis=0).T).max() < 4
    assert kinds(strokes) == {NodeKind.END: 2, NodeKind.JUNCTION: 2}


def test_a_bilevel_scan_keeps_its_corners() -> None:
    corners = np.array([[60.3, 50.2], [220.3, 70.2], [205.3, 170.7], [50.3, 150.7]])

    strokes = strokes_of([closed(corners, 3.0)], camera=Camera(blur_px=0.6, noise=8, bilevel=True))

    assert kinds(strokes) == {NodeKind.CORNER: 4}
    assert max(nearest(strokes, tuple(corner)) for corner in corners) < 0.6


SCENE = [
    closed(np.array([[40.3, 40.2], [130.1, 40.2], [130.1, 100.6], [40.3, 100.6]])),
    closed(circle(210.2, 80.3, 35)),
    line((30, 150.3), (270, 165.1)),
    line((150.2, 130), (140.7, 200)),
]


@pytest.mark.parametrize(
    ("turned", "place"),
    [
        (np.rot90, lambda p: np.column_stack([p[:, 1], 299 - p[:, 0]])),
        (np.fliplr, lambda p: np.column_stack([299 - p[:, 0], p[:, 1]])),
        (np.flipud, lambda p: np.column_stack([p[:, 0], 219 - p[:, 1]])),
    ],
    ids=["quarter turn", "mirror", "upside down"],
)
def test_turning_and_mirroring_the_picture_does_so_to_the_nodes(
    turned: Callable[[NDArray[np.uint8]], NDArray[np.uint8]], place: Callable[[Floats], Floats]
) -> None:
    grey = photograph(SCENE, CLEAN, width=300, height=220)

    upright = find_strokes(ink_of(grey))
    other = find_strokes(ink_of(np.ascontiguousarray(turned(grey))))

    assert kinds(other) == kinds(upright)
    solid = upright.kinds != NodeKind.LOOP
    for node in place(upright.nodes_px[solid]):
        assert nearest(other, tuple(node)) < 0.15


def test_a_shift_by_whole_pixels_shifts_the_strokes() -> None:
    grey = photograph(SCENE, CLEAN, width=300, height=220)
    moved = cv2.copyMakeBorder(grey, 16, 0, 24, 0, cv2.BORDER_REPLICATE)

    here = find_strokes(ink_of(grey))
    there = find_strokes(ink_of(moved))

    assert len(there.links) == len(here.links)
    solid = here.kinds != NodeKind.LOOP
    for node in here.nodes_px[solid]:
        assert nearest(there, (node[0] + 24, node[1] + 16)) < 0.1


@pytest.mark.parametrize("width", [1.5, 2.5, 4.0])
@pytest.mark.parametrize("turn_deg", [0.0, 35.0])
def test_a_blunt_nose_whose_sides_would_meet_farther_on_ends_in_its_ink(width: float, turn_deg: float) -> None:
    """Sides of a parabola: their straight continuations meet some px beyond the nose, where nothing is drawn."""
    x = 180 * np.linspace(-1, 1, 121) ** 2
    nose = np.column_stack([x, np.sign(np.linspace(-1, 1, 121)) * 0.45 * np.sqrt(x)])
    c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    place = np.array([40.3, 60.7])
    drawn = nose @ np.array([[c, s], [-s, c]]) + place

    strokes = strokes_of([TrueLine(drawn, width, True, "round")])

    assert np.hypot(*(strokes.nodes_px - place).T).min() < 1.0


def test_a_border_seen_aslant_keeps_to_its_ink_though_its_near_side_is_thrice_as_wide() -> None:
    """One line whose width changes on the way: nothing is drawn across the sheet from one end of it to the other."""
    corners = np.array([(60.0, 50.0), (450.0, 50.0), (580.0, 460.0), (30.0, 460.0)])
    half = np.array([1.5, 1.5, 4.5, 4.5])[:, None]
    out = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)])
    big = np.full((500 * 4, 620 * 4), 235, np.uint8)
    for ring, level in ((corners + half * out, 45), (corners - half * out, 235)):
        cv2.fillPoly(big, [np.round((ring * 4 + 1.5) * 256).astype(np.int32)], level, shift=8)
    grey = np.asarray(cv2.resize(big, (620, 500), interpolation=cv2.INTER_AREA), dtype=np.uint8)

    strokes = find_strokes(ink_of(grey))

    points = np.concatenate([link.points_px for link in strokes.links])
    dark = grey[np.round(points[:, 1]).astype(int), np.round(points[:, 0]).astype(int)]
    assert (dark < 140).all()
    for corner in corners:
        assert np.hypot(*(strokes.nodes_px - corner).T).min() < 0.5
