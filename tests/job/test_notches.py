"""Notches and slots by hand: squares cut into known shapes, read off again at any tilt and on either hand."""

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
import shapely

from drawing.drawing import Drawing
from drawing.paths import polyline
from job.notches import about_notches, notches_of
from tests.drawing.shapes import circle, letter_f, outline

TILTS_DEG = [0, 17, 90, 211]


def shape(region: shapely.Polygon, tilt_deg: float = 0):
    """A part bounded by lines, its boundary counter-clockwise and its holes clockwise, shapely's own doing."""
    turned = shapely.affinity.rotate(shapely.geometry.polygon.orient(region), tilt_deg, origin=(0, 0))
    rings = [np.asarray(ring.coords)[:-1] for ring in (turned.exterior, *turned.interiors)]
    return outline(1, *(polyline(ring, closed=True) for ring in rings))


PLATE = shapely.box(0, 0, 120, 30)


@pytest.mark.parametrize("tilt_deg", TILTS_DEG)
def test_a_square_notch_is_as_wide_as_what_was_cut_out(tilt_deg: float) -> None:
    cut = PLATE - shapely.box(40, 24, 46.5, 40) - shapely.box(80, -5, 83.2, 9)

    notches = sorted(notches_of(shape(cut, tilt_deg)), key=lambda notch: notch.width_mm)

    assert [(n.width_mm, n.depth_mm) for n in notches] == [pytest.approx((3.2, 9)), pytest.approx((6.5, 6))]


def test_a_notch_in_a_sloping_edge_is_as_deep_as_its_shorter_side() -> None:
    wedge = shapely.Polygon([(0, 0), (100, 0), (100, 20), (0, 40)]) - shapely.box(50, 20, 60, 60)

    (notch,) = notches_of(shape(wedge))

    # The edge falls 0.2 a mm: 30 high at 50, 28 at 60.
    assert (notch.width_mm, notch.depth_mm) == pytest.approx((10, 8))
    assert notch.at_mm == pytest.approx((55, 24))


@pytest.mark.parametrize("tilt_deg", TILTS_DEG)
def test_a_rectangular_hole_is_a_slot_as_wide_as_its_shorter_side(tilt_deg: float) -> None:
    (slot,) = notches_of(shape(PLATE - shapely.box(20, 10, 33, 14), tilt_deg))

    assert (slot.is_hole, slot.width_mm, slot.depth_mm) == (True, pytest.approx(4), pytest.approx(13))


def test_tabs_corners_rounds_and_slanting_sides_are_no_notches() -> None:
    tab = PLATE | shapely.box(40, 30, 50, 36)
    corner = PLATE - shapely.box(-1, 20, 12, 40)
    dovetail = PLATE - shapely.Polygon([(40, 40), (43, 20), (57, 20), (60, 40)])

    assert [notches_of(shape(one)) for one in (PLATE, tab, corner, dovetail)] == [(), (), (), ()]
    assert notches_of(outline(1, circle(0, 0, 20), circle(0, 0, 5))) == ()


def test_the_note_lists_widths_at_build_size_by_part() -> None:
    notched = shape(PLATE - shapely.box(40, 24, 46.5, 40) - shapely.box(20, 10, 33, 14))
    full = Drawing((notched, replace(outline(2, circle(0, 0, 5)), number=2)), ())

    (note,) = about_notches(full.scaled(Fraction(1, 2)))
    (mirrored,) = about_notches(full.scaled(Fraction(1, 2)).mirrored())

    assert note.text == (
        "Widths at build size, scaled with the plan: check your wood. Part 1: notch 3.25 mm, slot 2.00 mm."
    )
    assert mirrored.text == note.text


def test_nothing_is_said_where_there_is_nothing_to_say() -> None:
    assert about_notches(Drawing((outline(1, circle(0, 0, 5)),), ())) == []


# The F's two arms leave one bay, 15 mm high and open to the right.
def test_a_letter_f_has_one_bay() -> None:
    (bay,) = notches_of(outline(1, letter_f()))

    assert (bay.width_mm, bay.depth_mm) == pytest.approx((15, 15))
