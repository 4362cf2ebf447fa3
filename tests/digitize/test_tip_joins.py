"""Tips are found where their sides meet however the pen joined them; the truth is the outline drawn."""

import math
from dataclasses import replace
from pathlib import Path
from typing import Literal

import numpy as np
import pytest
from numpy.typing import NDArray

from benchmarks.render_lines import Camera, TrueLine, photograph
from digitize.find_strokes import find_strokes
from digitize.strokes import NodeKind, Strokes
from digitize.tip_ink import TipInk, tip_ink
from digitize.tip_joins import tip_places
from pictures.ink import Ink, find_ink
from pictures.picture import Medium, Picture, Source

Floats = NDArray[np.float64]
Joined = Literal["round", "mitre", "bevel"]

TIP = np.array([80.4, 110.7])
LONG_PX = 320.0
WIDTH_PX = 4.0

GREY_PX = 0.4
"""A tip of a clean grey scan: noise leaves 0.15 px rms; joins taken for one another would miss by 1.5 px or more."""

BLACK_PX = 0.9
"""The same in black and white, two sigma of a mitre, of which the amount of ink alone tells."""


def blade(opening_deg: float, turn_deg: float, bow: float = 0.0) -> Floats:
    along = np.linspace(0, LONG_PX, 200)
    half = along * math.tan(math.radians(opening_deg / 2)) * (1 - bow * along / LONG_PX)
    ring = np.concatenate([np.column_stack([along, half]), np.column_stack([along, -half])[:0:-1]])
    c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    return np.asarray(ring @ np.array([[c, s], [-s, c]]) + TIP)


def ink_of(ring: Floats, join: Joined, camera: Camera) -> Ink:
    grey = photograph([TrueLine(ring, WIDTH_PX, True, join)], camera, width=460, height=260)
    return find_ink(Picture(grey, Source(Path("drawn.png"), "", Medium.RASTER)))


def off_px(strokes: Strokes) -> float:
    return float(np.hypot(*(strokes.nodes_px[strokes.kinds == NodeKind.TIP] - TIP).T).min(initial=np.inf))


@pytest.mark.parametrize("join", ["round", "mitre", "bevel"])
@pytest.mark.parametrize("opening_deg", [8.0, 14.0, 22.0])
@pytest.mark.parametrize("bow", [0.0, 0.3])
def test_a_tip_is_where_its_sides_meet_whatever_joins_them(join: Joined, opening_deg: float, bow: float) -> None:
    ink = ink_of(blade(opening_deg, 6.0, bow), join, Camera(blur_px=0.7, noise=3.0, seed=3))

    assert off_px(find_strokes(ink)) < GREY_PX


@pytest.mark.parametrize("join", ["round", "mitre", "bevel"])
@pytest.mark.parametrize("opening_deg", [12.0, 20.0])
def test_so_it_is_in_black_and_white(join: Joined, opening_deg: float) -> None:
    ink = ink_of(blade(opening_deg, 6.0), join, Camera(blur_px=0.6, noise=8.0, bilevel=True, seed=3))

    assert off_px(find_strokes(ink)) < BLACK_PX


@pytest.mark.parametrize("bow", [0.0, 0.3])
@pytest.mark.parametrize("turn_deg", [6.0, 51.0, 97.0])
def test_a_bevelled_tip_of_30_degrees_is_not_taken_for_a_rounded_end(turn_deg: float, bow: float) -> None:
    ring = blade(30.0, turn_deg, bow)
    ring = ring - ring.min(axis=0) + 40
    grey = photograph([TrueLine(ring, WIDTH_PX, True, "bevel")], Camera(blur_px=0.7, noise=3.0), width=460, height=460)

    strokes = find_strokes(find_ink(Picture(grey, Source(Path("drawn.png"), "", Medium.RASTER))))

    assert float(np.hypot(*(strokes.nodes_px - ring[0]).T).min()) < GREY_PX


def sides_of(ring: Floats) -> tuple[Floats, Floats]:
    """Both sides as seen alone: from 60 px of the tip on, every px."""
    far = np.arange(60, 300)[:, None]
    ways = [(ring[which] - TIP) / np.hypot(*(ring[which] - TIP)) for which in (1, -1)]
    return TIP + far * ways[0], TIP + far * ways[1]


@pytest.mark.parametrize("join", ["round", "mitre", "bevel"])
def test_the_join_is_told_and_how_sure_the_tip_is(join: Joined) -> None:
    ring = blade(12.0, 6.0)
    ink = ink_of(ring, join, Camera(blur_px=0.7, noise=3.0, seed=5))

    seen = tip_ink(
        ink.darkness,
        TIP + np.array([1.5, 0.2]),
        sides_of(ring),
        width_px=4.1,
        blur_px=0.9,
        noise=ink.noise,
        sigma_px=0.05,
        bilevel=False,
    )
    assert seen is not None
    (place,) = tip_places([seen], bilevel=False)

    assert place is not None
    assert place.join == join
    assert place.sure > 0.9
    assert float(np.hypot(*(place.at_px - TIP))) < 3 * place.sigma_px + 0.1
    assert place.sigma_px < GREY_PX


PHOTO_PX = 0.4
"""Tips of a photo's thin lines: noise leaves 0.1 px rms, points and bevels taken for each other miss by 0.7 px."""


@pytest.mark.parametrize("join", ["round", "bevel"])
def test_tips_of_one_pen_tell_each_other_how_it_joins_lines(join: Joined) -> None:
    places = [np.array([60.3, 60.0 + 90 * row + 0.37 * row]) - TIP for row in range(8)]
    lines = [TrueLine(blade(6.0 + 2 * row, 4.0) + place, 2.0, True, join) for row, place in enumerate(places)]
    camera = Camera(blur_px=0.9, noise=5.0, jpeg=88, seed=3)
    grey = photograph(lines, camera, width=440, height=820)

    strokes = find_strokes(find_ink(Picture(grey, Source(Path("drawn.jpg"), "", Medium.RASTER))))

    off = [float(np.hypot(*(strokes.nodes_px - TIP - place).T).min()) for place in places]
    assert max(off) < PHOTO_PX


@pytest.mark.parametrize("join", ["mitre", "bevel"])
def test_the_ink_is_found_where_wide_lines_of_a_slender_tip_come_apart_far_from_it(join: Joined) -> None:
    ring = blade(6.0, 6.0, 0.3)
    ring = TIP + 1.25 * (ring - TIP) + [50.0, -40.0]
    camera = Camera(blur_px=0.6, noise=8.0, bilevel=True, seed=4)
    grey = photograph([TrueLine(ring, 8.0, True, join)], camera, width=620, height=240)

    strokes = find_strokes(find_ink(Picture(grey, Source(Path("drawn.png"), "", Medium.RASTER))))

    assert float(np.hypot(*(strokes.nodes_px - ring[0]).T).min()) < BLACK_PX


def test_a_tip_that_a_line_runs_on_from_is_not_told_by_where_its_ink_ends() -> None:
    ring = blade(12.0, 0.0)
    on = TrueLine(np.array([TIP, [-40.0, TIP[1]]]), WIDTH_PX)
    grey = photograph([TrueLine(ring, WIDTH_PX, True), on], Camera(noise=2.0), width=460, height=260)
    ink = find_ink(Picture(grey, Source(Path("drawn.png"), "", Medium.RASTER)))

    seen = tip_ink(
        ink.darkness, TIP, sides_of(ring), width_px=4.0, blur_px=0.9, noise=ink.noise, sigma_px=0.05, bilevel=False
    )

    assert seen is None


def test_sides_too_short_to_tell_how_they_run_tell_nothing() -> None:
    ring = blade(12.0, 0.0)
    ink = ink_of(ring, "round", Camera(noise=2.0))
    one, other = sides_of(ring)

    seen = tip_ink(
        ink.darkness,
        TIP,
        (one[:5], other),
        width_px=4.0,
        blur_px=0.9,
        noise=ink.noise,
        sigma_px=0.05,
        bilevel=False,
    )

    assert seen is None


def barely_seen() -> TipInk:
    # A notch's corner beside a gap in the line, of a black-and-white scan: one place alone holds half a line's ink.
    covariance = np.array(
        [
            [6.981337e02, -4.327661e01, 6.440594e-01, -7.194616e-06],
            [-4.327661e01, 2.718386e00, -4.088107e-02, 7.053478e-07],
            [6.440594e-01, -4.088107e-02, 6.209747e-04, -2.229395e-08],
            [-7.194616e-06, 7.053478e-07, -2.229395e-08, 2.278798e-10],
        ]
    )
    return TipInk(
        origin_px=np.array([2964.904645, 1823.388933]),
        axis=np.array([0.966877, 0.255244]),
        along_px=np.array([16.524409, 15.524409, 14.524409, 13.524409, 12.524409, 11.524409, 6.524409, 5.524409]),
        times=np.array([0.75498, 0.201493, 0.015763, -0.003479, 0.016165, 0.157213, -0.003801, -0.003801]),
        sigma=np.full(8, 0.063542),
        aside_px=np.array([-3.94866, -4.723365, -5.760676, -2.949009, -1.973845, -3.242574, -13.262976, -14.733333]),
        opening=np.array([-22.72777, 1.9757, -0.02517616, 6.077064e-08]),
        covariance=covariance,
        lean=1.78848643,
        width_px=6.088857,
        width_sigma_px=0.110163,
        blur_px=0.839594,
    )


def test_a_tip_of_which_hardly_any_ink_is_seen_is_told_by_nothing() -> None:
    assert tip_places([barely_seen()], bilevel=True) == [None]


def test_a_tip_whose_sides_are_seen_only_far_from_it_ends_no_run() -> None:
    # All that rounding leaves of how such a parabola errs at the tip: one way.
    far = np.array([26.4, -1.64, 0.0249, -1e-7])
    covariance = np.outer(far, far)

    assert len(tip_places([replace(barely_seen(), covariance=covariance)], bilevel=True)) == 1


def test_a_tip_with_no_ink_seen_near_it_is_told_by_nothing() -> None:
    seen = barely_seen()
    far = replace(seen, along_px=seen.along_px + 60.0)

    assert tip_places([far], bilevel=True) == [None]
