"""Where the sides of sharp tips meet, told from ink that is one there; each tip's truth is the outline drawn."""

import math
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from benchmarks.render_lines import Camera, TrueLine, photograph
from benchmarks.stroke_error import section
from digitize.find_strokes import find_strokes
from digitize.strokes import NodeKind, Strokes
from pictures.ink import find_ink
from pictures.picture import Medium, Picture, Source

Floats = NDArray[np.float64]

TIP = np.array([30.4, 60.7])
LONG_PX = 420.0
TURN_RAD = math.radians(7)

STRAIGHT_PX = 0.7
"""A grey tip with straight sides, two sigma: half a grey level of ink moves a tip of 6 degrees by 0.3 px."""
BENT_PX = 1.5
"""The same where how they bend must be told too; straight sides laid through them miss by up to 10 px."""
PLAIN_PX = 1.0
"""A black-and-white tip: its ink is counted in whole pixels."""


def wedge(half_px: Floats) -> Floats:
    """A closed outline whose sides stand `half_px` off its axis, from its tip on, and end in a straight back."""
    along = np.linspace(0, LONG_PX, len(half_px))
    ring = np.concatenate([np.column_stack([along, half_px]), np.column_stack([along, -half_px])[:0:-1]])
    c, s = math.cos(TURN_RAD), math.sin(TURN_RAD)
    return ring @ np.array([[c, s], [-s, c]]) + TIP


def straight(opening_deg: float) -> Floats:
    return np.linspace(0, LONG_PX, 200) * math.tan(math.radians(opening_deg / 2))


def seen(grey: NDArray[np.uint8]) -> Strokes:
    return find_strokes(find_ink(Picture(grey, Source(Path("drawn.png"), "", Medium.RASTER))))


def pictured(half_px: Floats, width_px: float, camera: Camera) -> NDArray[np.uint8]:
    return photograph([TrueLine(wedge(half_px), width_px, True, "round")], camera, width=500, height=240)


def off_px(strokes: Strokes) -> float:
    return float(np.hypot(*(strokes.nodes_px[strokes.kinds == NodeKind.TIP] - TIP).T).min(initial=np.inf))


@pytest.mark.parametrize("width_px", [2.0, 4.0, 9.0])
@pytest.mark.parametrize("opening_deg", [6.0, 11.0, 18.0])
def test_a_tip_lies_where_its_straight_sides_meet(opening_deg: float, width_px: float) -> None:
    grey = pictured(straight(opening_deg), width_px, Camera(blur_px=0.8, noise=3.0, seed=8))

    strokes = seen(grey)

    assert off_px(strokes) < STRAIGHT_PX


@pytest.mark.parametrize("width_px", [4.0, 9.0])
def test_a_tip_lies_where_sides_meet_that_bend_towards_each_other(width_px: float) -> None:
    along = np.linspace(0, LONG_PX, 400)
    half = along * math.tan(math.radians(1.6)) + 9e-5 * along**2

    strokes = seen(pictured(half, width_px, Camera(blur_px=0.7, noise=2.0, seed=8)))

    assert off_px(strokes) < BENT_PX


@pytest.mark.parametrize("camera", [Camera(noise=2.0), Camera(blur_px=0.6, noise=8.0, bilevel=True)])
@pytest.mark.parametrize("bridge_widths", [0.6, 2.5])
def test_a_spot_that_joins_the_sides_before_they_meet_opens_no_ring_at_a_tip(
    camera: Camera, bridge_widths: float
) -> None:
    """The paper left between spot and tip is a hole in ink that is one, not what a line runs around."""
    width, opening_deg = 5.0, 9.0
    grey = pictured(straight(opening_deg), width, camera)
    merged = width / (2 * math.tan(math.radians(opening_deg / 2)))
    y, x = np.mgrid[: grey.shape[0], : grey.shape[1]]
    at = TIP + (merged + bridge_widths * width) * np.array([math.cos(TURN_RAD), math.sin(TURN_RAD)])
    grey[np.hypot(x - at[0], y - at[1]) < 1.6] = grey.min()

    strokes = seen(grey)

    assert {int(kind) for kind in strokes.kinds} <= {NodeKind.TIP, NodeKind.CORNER}
    assert off_px(strokes) < PLAIN_PX


def test_a_small_drawn_ring_on_the_end_of_a_line_stays() -> None:
    turn = np.linspace(0, 2 * np.pi, 90, endpoint=False)
    ring = np.column_stack([200 + 9 * np.cos(turn), 100 + 9 * np.sin(turn)])
    stem = TrueLine(np.array([(209.0, 100.0), (300.0, 100.0)]), 3.0, False, "round", "round")

    strokes = seen(photograph([TrueLine(ring, 3.0, True), stem], Camera(noise=2.0), width=360, height=200))

    assert sum(link.start == link.end for link in strokes.links) == 1


@pytest.mark.parametrize("turn_deg", [0.0, 32.0, 72.0, 88.0, 120.0, 152.0])
def test_where_the_sides_of_a_cambered_tip_come_apart_is_no_corner(turn_deg: float) -> None:
    ring = section(chord=600.0, thickness=0.16, camber=0.05, at=0.3)
    c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    ring = ring @ np.array([[c, s], [-s, c]])
    ring = ring - ring.min(axis=0) + [40.3, 40.6]
    side = np.ceil(ring.max(axis=0)).astype(int) + 40
    grey = photograph([TrueLine(ring, 11.0, True)], Camera(noise=3.0), width=int(side[0]), height=int(side[1]))

    strokes = seen(grey)

    assert strokes.kinds.tolist() == [NodeKind.TIP]
