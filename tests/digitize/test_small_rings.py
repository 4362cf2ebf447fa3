"""Pin holes of a few px, against the circles drawn: their radii in closed form."""

import math
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from benchmarks.render_lines import Camera, TrueLine, photograph
from digitize.find_strokes import find_strokes
from pictures.ink import find_ink
from pictures.picture import Medium, Picture, Source

Floats = NDArray[np.float64]

SCAN = Camera(blur_px=0.7, noise=3, seed=31)
PHOTO = Camera(blur_px=0.9, noise=5, shade=0.4, jpeg=88, seed=32)
BILEVEL = Camera(blur_px=0.6, noise=8, bilevel=True, seed=33)

BIAS_PX = 0.05
"""How far the mean radius of twelve may come out: their own scatter is up to 0.06 px in black and white."""


def circle(radius_px: float, middle: Floats) -> Floats:
    """A closed line around a place."""
    angles = np.linspace(0, 2 * np.pi, 180, endpoint=False)
    return middle + radius_px * np.column_stack([np.cos(angles), np.sin(angles)])


def pictured(lines: list[TrueLine], camera: Camera) -> Picture:
    """The picture of lines within 400 x 300 px."""
    grey = photograph(lines, camera, width=400, height=300)
    return Picture(grey, Source(Path("drawn.png"), "", Medium.RASTER))


def places(radius_px: float) -> Floats:
    """A dozen middles, none on a pixel's."""
    rng = np.random.default_rng(round(10 * radius_px))
    x, y = np.meshgrid(50 + 80 * np.arange(4), 60 + 80 * np.arange(3))
    return np.column_stack([x.ravel(), y.ravel()]) + rng.uniform(0, 1, (12, 2))


@pytest.mark.parametrize("camera", [SCAN, PHOTO, BILEVEL], ids=["scan", "photo", "bilevel"])
@pytest.mark.parametrize(("radius_px", "width_px"), [(3.0, 1.6), (3.0, 3.0), (3.5, 2.5), (4.5, 2.0)])
def test_pin_holes_keep_their_radius(radius_px: float, width_px: float, camera: Camera) -> None:
    middles = places(radius_px)
    lines = [TrueLine(circle(radius_px, middle), width_px, True, "mitre") for middle in middles]
    # Other lines, as every plan has them, tell the picture's blur.
    lines.append(TrueLine(np.array([[15.3, 14.2], [386.1, 22.4], [384.6, 284.7]]), width_px, False, "mitre"))

    strokes = find_strokes(find_ink(pictured(lines, camera)))

    rings = [link.points_px for link in strokes.links if link.start == link.end]
    found = []
    for middle in middles:
        around = [ring for ring in rings if np.hypot(*(ring[:-1].mean(axis=0) - middle)) < 0.3]
        assert len(around) == 1
        x, y = (around[0] - middle).T
        area = abs(float(x[:-1] @ y[1:] - y[:-1] @ x[1:])) / 2
        found.append(math.sqrt(area / math.pi))
    assert np.mean(found) == pytest.approx(radius_px, abs=BIAS_PX)


@pytest.mark.parametrize("camera", [SCAN, PHOTO, BILEVEL], ids=["scan", "photo", "bilevel"])
@pytest.mark.parametrize("radius_px", [3.0, 4.0, 5.0])
def test_dots_are_no_rings(radius_px: float, camera: Camera) -> None:
    # A line as wide as its circle is a disc.
    lines = [TrueLine(circle(radius_px / 2, middle), radius_px, True, "mitre") for middle in places(radius_px)]

    strokes = find_strokes(find_ink(pictured(lines, camera)))

    assert not [link for link in strokes.links if link.start == link.end]


def test_a_hole_a_line_touches_is_no_ring_of_its_own() -> None:
    # A letter's bowl and stem: what stands alone is the whole letter.
    bowl = TrueLine(circle(3.0, np.array([100.4, 100.3])), 1.6, True, "mitre")
    stem = TrueLine(np.array([[103.4, 90.0], [103.4, 104.0]]), 1.6, False, "mitre")
    alone = find_strokes(find_ink(pictured([bowl], SCAN)))
    letter = find_strokes(find_ink(pictured([bowl, stem], SCAN)))

    is_round = [len(s.links) == 1 and s.links[0].start == s.links[0].end for s in (alone, letter)]
    assert is_round == [True, False]
