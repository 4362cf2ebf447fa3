"""Halves drawn on a centre line of dashes: which are closed along it, and where."""

from dataclasses import replace
from itertools import cycle
from pathlib import Path

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray

from calibration.sheet import find_sheet
from digitize.find_strokes import find_strokes
from digitize.lettering import lettering_links
from digitize.loop import Loop, Role
from digitize.loops import BRIDGED, find_loops
from pictures.ink import find_ink
from pictures.picture import Medium, Picture, Source
from pictures.read import read_picture
from sample_scans.files import sample_path
from sample_scans.hard_plan import hard_plan
from sample_scans.plan import plan_of
from sample_scans.rendered import Rendered, rendered_scan
from sample_scans.truth import InkStroke, Piece

Floats = NDArray[np.float64]
DPI = 300
OFF_MM = 0.25  # where the line stops on a gap, the last mm of its outline alone shows where
CHAIN_MM, TWO_DOTS_MM, DASHES_MM = (9.0, 1.5, 1.2, 1.5), (10.0, 1.4, 1.0, 1.4, 1.0, 1.4), (4.0, 1.6)
HALF_MM = np.array([(40, 20), (41.5, 20), (41.5, 14), (70, 35), (72, 68), (40, 72)], dtype=float)
"""A half former from a keel's slot to its top, on a centre line at x = 40 mm."""


def drawn(points_mm: Floats, *, closed: bool = False, width_mm: float = 0.4) -> InkStroke:
    return InkStroke(points_mm, width_mm, closed, "outline")


def centre_line(pattern_mm: tuple[float, ...], *, phase_mm: float) -> list[InkStroke]:
    strokes = []
    y = 6.0 - phase_mm
    for which, long in enumerate(cycle(pattern_mm)):
        if y >= 80:
            return strokes
        if which % len(pattern_mm) % 2 == 0 and y + long > 6:
            strokes.append(drawn(np.array([(40, max(y, 6)), (40, min(y + long, 80))], dtype=float), width_mm=0.3))
        y += long
    raise AssertionError


def parts_found(*strokes: InkStroke) -> tuple[list[Loop], Rendered]:
    scan = rendered_scan(5, plan=plan_of("half", Piece(strokes).at(5, 5), width_mm=100, height_mm=95), dpi=DPI)
    return parts_in(scan), scan


def parts_in(scan: Rendered) -> list[Loop]:
    found = find_strokes(find_ink(Picture(scan.pixels, Source(Path("half"), "", Medium.RASTER))))
    border = scan.camera.to_picture(scan.plan.border_mm)
    loops = find_loops(found, lettering=lettering_links(found), border_px=border).loops
    return [loop for loop in loops if loop.role is Role.PART]


@pytest.mark.parametrize("pattern_mm", [CHAIN_MM, TWO_DOTS_MM, DASHES_MM])
@pytest.mark.parametrize("phase_mm", [0.0, 9.2, 11.5])
def test_a_half_on_a_centre_line_of_dashes_is_closed_along_it(pattern_mm: tuple[float, ...], phase_mm: float) -> None:
    parts, scan = parts_found(drawn(HALF_MM), *centre_line(pattern_mm, phase_mm=phase_mm))

    true = shapely.Polygon(scan.camera.to_picture(HALF_MM + 5))
    assert len(parts) == 1
    assert shapely.hausdorff_distance(parts[0].polygon.exterior, true.exterior) < OFF_MM * DPI / 25.4


@pytest.mark.parametrize("phase_mm", [0.0, 4.6, 9.2])
def test_a_whole_part_across_a_centre_line_stays_whole(phase_mm: float) -> None:
    whole = np.concatenate([HALF_MM[1:-1], (HALF_MM[1:-1] * [-1, 1] + [80, 0])[::-1]])

    parts, scan = parts_found(drawn(whole, closed=True), *centre_line(CHAIN_MM, phase_mm=phase_mm))

    area = shapely.Polygon(scan.camera.to_picture(whole + 5)).area
    assert [part.polygon.area for part in parts] == pytest.approx([area], rel=0.01)
    assert parts[0].confidence > BRIDGED


@pytest.mark.parametrize("phase_mm", [0.0])
def test_halves_above_one_another_are_closed_each_where_a_dash_runs_from_one_to_the_next(phase_mm: float) -> None:
    halves = [np.array([(40, low), (72, low), (70, low + 29), (40, low + 31)], dtype=float) for low in (10, 46)]
    openings = [np.array([(40, y + 9), (52, y + 9), (52, y + 19), (40, y + 19)], dtype=float) for y in (10, 46)]

    parts, scan = parts_found(*(drawn(one) for one in (*halves, *openings)), *centre_line(CHAIN_MM, phase_mm=phase_mm))

    rings = [
        (scan.camera.to_picture(half + 5), scan.camera.to_picture(opening + 5))
        for half, opening in zip(halves, openings, strict=True)
    ]
    true = [shapely.Polygon(outer).area - shapely.Polygon(inner).area for outer, inner in rings]
    assert sorted(part.polygon.area for part in parts)[-2:] == pytest.approx(sorted(true), rel=0.01)


def test_a_line_that_stops_on_a_centre_line_at_one_end_alone_bounds_nothing() -> None:
    parts, _ = parts_found(drawn(HALF_MM[2:]), *centre_line(CHAIN_MM, phase_mm=0.0))

    assert parts == []


def test_a_part_whose_notches_have_a_side_on_a_dashed_line_across_it_stays_whole() -> None:
    right = np.array([(40, 15), (70, 15), (70, 45), (60, 45), (60, 48), (70, 48), (70, 75), (40, 75)], dtype=float)
    whole = np.concatenate([right[1:-1], (right[1:-1] * [-1, 1] + [80, 0])[::-1]])
    dashes = [drawn(np.array([(x, 48), (x + 4, 48)]), width_mm=0.3) for x in (2.0, *np.arange(22.4, 56.0, 5.2), 73.0)]

    parts, scan = parts_found(drawn(whole, closed=True), *dashes)

    area = shapely.Polygon(scan.camera.to_picture(whole + 5)).area
    assert [part.polygon.area for part in parts] == pytest.approx([area], rel=0.01)
    assert parts[0].confidence > BRIDGED


def test_a_rib_on_a_dashed_chord_is_not_cut_off_along_it() -> None:
    # From the floor of its notch, which lies on the chord, its underside leads back to the chord at the tip.
    plan = hard_plan(700)
    part = next(one for one in plan.parts if one.name == "P8")
    low, high = part.boundary_mm.min(axis=0) - 8, part.boundary_mm.max(axis=0) + 8
    near = [k for k in plan.strokes if (k.points_mm > low).all() and (k.points_mm < high).all()]
    scan = rendered_scan(700, plan=replace(plan, strokes=(*near, plan.strokes[-1])), dpi=DPI)

    parts = parts_in(scan)

    assert len(parts) == 1
    area = shapely.Polygon(scan.camera.to_picture(part.boundary_mm)).area
    assert parts[0].polygon.area == pytest.approx(area, rel=0.01)


def test_an_edge_that_is_full_is_not_said_to_be_bridged() -> None:
    # A straight edge of the sample's photo is found in two pieces, as a dashed line is.
    picture = read_picture(sample_path("plan_photo.jpg"))

    found = find_strokes(find_ink(picture), within=find_sheet(picture))

    assert not any(link.bridged for link in found.links)


def dashed_between(a: tuple[float, float], b: tuple[float, float], pattern_mm: tuple[float, ...]) -> list[InkStroke]:
    """A fold from one place to another, in dashes that begin and end on both."""
    start, way = np.array(a), np.subtract(b, a)
    long = float(np.hypot(*way))
    lengths = [next_mm for next_mm, _ in zip(cycle(pattern_mm), range(99), strict=False)]
    ends = np.cumsum(lengths)
    count = int(np.searchsorted(ends, long)) // 2 * 2 + 1
    places = np.concatenate([[0.0], ends[:count]]) * long / ends[count - 1]
    return [drawn(start + np.outer(places[n : n + 2], way / long), width_mm=0.3) for n in range(0, len(places) - 1, 2)]


@pytest.mark.parametrize("pattern_mm", [CHAIN_MM, DASHES_MM])
@pytest.mark.parametrize("tuck_mm", [0.0, 2.0])
def test_a_box_net_is_not_cut_along_its_folds(pattern_mm: tuple[float, ...], tuck_mm: float) -> None:
    net = np.array(
        [
            (10, 30),
            (34, 30),
            (34 + tuck_mm, 20),
            (54 - tuck_mm, 20),
            (54, 30),
            (80, 30),
            (80, 60),
            (34, 60),
            (34 - tuck_mm, 72),
            (10 + tuck_mm, 72),
            (10, 60),
        ],
        dtype=float,
    )
    folds = [((34, 30), (34, 60)), ((54, 30), (54, 60)), ((34, 30), (54, 30)), ((10, 60), (34, 60))]

    parts, scan = parts_found(
        drawn(net, closed=True), *(dash for a, b in folds for dash in dashed_between(a, b, pattern_mm))
    )

    area = shapely.Polygon(scan.camera.to_picture(net + 5)).area
    assert [part.polygon.area for part in parts] == pytest.approx([area], rel=0.01)
