"""Rings of ink fitted to their pixels, against the circles and ellipses drawn: closed form, centre and axes."""

import math
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from benchmarks.render_lines import Camera, TrueLine, photograph
from digitize.ellipse_fit import Ellipse, many
from digitize.find_strokes import find_strokes
from digitize.round_lines import RoundLines, fit_round_lines
from digitize.strokes import Link, NodeKind
from pictures.ink import Ink, find_ink
from pictures.picture import Medium, Picture, Source

Floats = NDArray[np.float64]

MIDDLE_PX = np.array([80.37, 79.71])
PIXEL_PX = 0.29
"""What a pixel's own square adds to blur, one sigma."""

BIAS_PX = 0.02
"""How far a clean picture's radius may come out from the true one: levels are whole numbers, edges drawn to 1/16 px."""


def ellipse_points(long_px: float, short_px: float, turn_rad: float) -> Floats:
    """A closed line about MIDDLE_PX."""
    angles = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    x, y = long_px * np.cos(angles), short_px * np.sin(angles)
    c, s = math.cos(turn_rad), math.sin(turn_rad)
    return MIDDLE_PX + np.column_stack([c * x - s * y, s * x + c * y])


def ink_of(points: Floats, width_px: float, camera: Camera) -> Ink:
    """The ink of one closed line."""
    grey = photograph([TrueLine(points, width_px, True, "mitre")], camera, width=160, height=160)
    return find_ink(Picture(grey, Source(Path("drawn.png"), "", Medium.RASTER)))


def fitted(ink: Ink, about: Ellipse, width_px: float, blur_px: float) -> RoundLines:
    """The fit of one line seen all around."""
    return fit_round_lines(
        ink.darkness,
        many([about]),
        seen_px=np.array([math.hypot(width_px, 1.5 * blur_px)]),
        clear=[(np.linspace(-3, 3, 60), np.ones(60, np.bool_))],
        blur_px=blur_px,
        oval_px=np.full(1, 0.01),
    )


@pytest.mark.parametrize("blur_px", [0.6, 0.9, 1.2])
@pytest.mark.parametrize(("radius_px", "width_px"), [(4.0, 1.9), (6.0, 2.8), (12.0, 1.7), (30.0, 8.0), (50.0, 3.0)])
def test_a_circle_has_its_own_radius_however_small_and_blurred(
    radius_px: float, width_px: float, blur_px: float
) -> None:
    ink = ink_of(ellipse_points(radius_px, radius_px, 0), width_px, Camera(blur_px=blur_px))
    about = Ellipse(MIDDLE_PX + np.array([0.2, -0.1]), radius_px + 0.2, radius_px - 0.1, 0.3)

    fit = fitted(ink, about, width_px, math.hypot(blur_px, PIXEL_PX))

    assert fit.found[0]
    assert fit.ellipses.long_px[0] == pytest.approx(fit.ellipses.short_px[0], abs=1e-4)
    assert fit.ellipses.long_px[0] == pytest.approx(radius_px, abs=BIAS_PX)
    assert np.hypot(*(fit.ellipses.centre_px[0] - MIDDLE_PX)) < BIAS_PX


def test_an_ellipse_keeps_its_axes() -> None:
    ink = ink_of(ellipse_points(20, 16, 0.7), 2.5, Camera(blur_px=0.8, noise=3, seed=3))

    fit = fitted(ink, Ellipse(MIDDLE_PX, 19.8, 16.3, 0.65), 2.5, math.hypot(0.8, PIXEL_PX))

    # Offset curves of ellipses are none: what the line's width adds to the misfit is of its square.
    assert fit.ellipses.long_px[0] == pytest.approx(20, abs=0.03)
    assert fit.ellipses.short_px[0] == pytest.approx(16, abs=0.03)
    assert math.sin(fit.ellipses.turn_rad[0] - 0.7) == pytest.approx(0, abs=0.01)


def test_the_stated_error_is_that_of_many_noisy_circles() -> None:
    off, said = [], []
    for seed in range(12):
        ink = ink_of(ellipse_points(9, 9, 0), 2.2, Camera(blur_px=0.8, noise=15, seed=seed))
        fit = fitted(ink, Ellipse(MIDDLE_PX, 9.1, 8.9, 0), 2.2, math.hypot(0.8, PIXEL_PX))
        ellipse = fit.ellipses.one(0)
        off.append(float(np.hypot(*(ellipse.centre_px - MIDDLE_PX))))
        said.append(float(fit.sigma_px[0]))

    # A point errs by the centre's shift along one of two axes, and by the radius.
    assert 0.4 < np.sqrt(np.mean(np.square(off))) / np.mean(said) < 2.0


def rings(ink: Ink) -> list[Link]:
    """Smooth closed lines found."""
    strokes = find_strokes(ink)
    return [link for link in strokes.links if link.start == link.end and strokes.kinds[link.start] == NodeKind.LOOP]


@pytest.mark.parametrize("radius_px", [5.0, 9.0, 20.0, 45.0])
def test_a_black_and_white_circle_is_round_without_stairs(radius_px: float) -> None:
    sizes = []
    for seed in range(6):
        points = ellipse_points(radius_px, radius_px, 0) + np.random.default_rng(seed).uniform(0, 1, 2)
        (ring,) = rings(ink_of(points, 2.4, Camera(blur_px=0.6, noise=8, bilevel=True, seed=seed)))
        far = np.hypot(*(ring.points_px - points.mean(axis=0)).T)
        sizes.append(far.mean())
        assert far.max() - far.min() < 0.35

    # Six circles' places in the grid average most of what the stairs of one add, some 0.05 px at 5 px.
    assert np.mean(sizes) == pytest.approx(radius_px, abs=0.035)


def test_a_rounded_square_is_not_taken_for_a_circle() -> None:
    angles = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    # A superellipse that leaves its circle by 0.4 px.
    far = 20 * (np.abs(np.cos(angles)) ** 2.1 + np.abs(np.sin(angles)) ** 2.1) ** (-1 / 2.1)
    points = MIDDLE_PX + far[:, None] * np.column_stack([np.cos(angles), np.sin(angles)])

    (ring,) = rings(ink_of(points, 2.4, Camera(blur_px=0.7, noise=2, seed=1)))

    out = np.hypot(*(ring.points_px - MIDDLE_PX).T)
    assert out.max() - out.min() > 0.2


def test_circles_alone_on_a_picture_are_found_though_lines_cross_them() -> None:
    # A spur of noise makes a circle one that a line crosses; the rest is then no line at all.
    points = ellipse_points(20, 20, 0)
    for seed in range(6):
        camera = Camera(blur_px=1.2, noise=12, shade=0.5, jpeg=80, seed=seed)

        assert len(rings(ink_of(points, 2.8, camera))) == 1
