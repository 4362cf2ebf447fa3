"""Parts that other lines meet: dimensions with arrowheads, a chord along a notch, corners of nearly closed dashes."""

import math
from pathlib import Path

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray

from digitize.find_strokes import find_strokes
from digitize.lettering import lettering_links
from digitize.loop import Role
from digitize.loops import find_loops
from digitize.strokes import Link, NodeKind, Strokes
from pictures.ink import find_ink
from pictures.picture import Medium, Picture, Source
from sample_scans.curves import turned
from sample_scans.dimensions import line
from sample_scans.plan import plan_of
from sample_scans.rendered import rendered_scan
from sample_scans.sections import RibCuts, Section, notched_rib
from sample_scans.truth import InkStroke, PartTruth, Piece, joined
from sample_scans.wing import part

SAME = 0.97  # shared over joint area; a strip of 9 mm under a plate of 30 mm leaves 0.77


def shares(piece: Piece, *, dpi: float = 300) -> list[float]:
    """Shared over joint area of each part found and the one true part of a piece in a scan."""
    plan = plan_of("piece", joined([piece.at(30.0, 30.0)]), width_mm=160.0, height_mm=90.0)
    scan = rendered_scan(0, plan=plan, dpi=dpi)
    strokes = find_strokes(find_ink(Picture(scan.pixels, Source(Path("piece"), "", Medium.RASTER))))
    border_px = scan.camera.to_picture(plan.border_mm)
    found = find_loops(strokes, lettering=lettering_links(strokes), border_px=border_px)
    true = shapely.Polygon(scan.camera.to_picture(plan.parts[0].boundary_mm))
    parts = [loop.polygon for loop in found.loops if loop.role is Role.PART]
    return [float(shapely.area(one & true) / shapely.area(one | true)) for one in parts]


@pytest.mark.parametrize(("turn_deg", "past_mm"), [(2.5, 1.0), (-3.5, 1.0), (-3.5, 2.0)])
def test_arrowheads_that_bend_a_dimension_line_leave_the_part(turn_deg: float, past_mm: float) -> None:
    away_mm = 9.0
    extensions = [[(x, 0.0), (x, -away_mm - past_mm)] for x in (0.0, 60.0)]
    barbs = [[(x, -away_mm), (x + back, -away_mm + up)] for x, back in ((0, 2.5), (60, -2.5)) for up in (-0.4, 0.4)]
    lines = [*extensions, *barbs, [(0.0, -away_mm), (60.0, -away_mm)]]
    strokes = [InkStroke(turned(np.array(ends), turn_deg), 0.25, False, "dimension") for ends in lines]
    plate = turned(np.array([[0.0, 0.0], [60.0, 0.0], [60.0, 30.0], [0.0, 30.0]]), turn_deg)

    found = shares(part("PLATE", plate, width_mm=0.5) + Piece(tuple(strokes)))

    assert len(found) == 1
    assert found[0] > SAME


def test_a_thin_chord_along_the_floor_of_a_notch_leaves_the_rib_whole() -> None:
    section, chord_mm = Section.from_digits("2412"), 90.0
    low = section.surfaces()[1] * chord_mm
    depth_mm = -float(np.interp(0.3 * chord_mm + 1.5, low[:, 0], low[:, 1]))
    cuts = RibCuts(0.3 * chord_mm, 3.0, depth_mm, 3.0, 2.2)
    rib = part("RIB", notched_rib(section, chord_mm=chord_mm, cuts=cuts), width_mm=0.5)

    found = shares(rib + Piece((line((-5, 0), (chord_mm + 5, 0)),)))

    assert len(found) == 1
    assert found[0] > SAME


@pytest.mark.parametrize(
    ("dpi", "turn_deg", "share", "tilt_mm"),
    [(130, 2.248, 0.5665, -0.8924), (110, -2.1812, 0.4361, 0.5573)],
)
def test_a_dimension_inside_a_rib_cuts_nothing_off_it(
    dpi: float, turn_deg: float, share: float, tilt_mm: float
) -> None:
    chord_mm = 120.0
    rib = notched_rib(Section.from_digits("4412"), chord_mm=chord_mm, cuts=RibCuts(0.35 * chord_mm, 3.0, 1.5, 3.0, 2.2))
    y_mm = share * float(rib[:, 1].max())
    across = shapely.LineString([(-5.0, y_mm - tilt_mm), (chord_mm + 5.0, y_mm + tilt_mm)])
    start, end = np.array(shapely.intersection(shapely.Polygon(rib), across).coords)
    along = (end - start) / np.hypot(*(end - start))
    aside = 0.6 * np.array([-along[1], along[0]])
    tips = [(start, 2.5 * along), (end, -2.5 * along)]
    barbs = [np.array([tip, tip + back + sign * aside]) for tip, back in tips for sign in (-1, 1)]
    strokes = [InkStroke(turned(ends, turn_deg), 0.4, False, "dimension") for ends in (np.array([start, end]), *barbs)]

    found = shares(part("RIB", turned(rib, turn_deg), width_mm=0.5) + Piece(tuple(strokes)), dpi=dpi)

    assert len(found) == 1
    assert found[0] > SAME


def test_a_thick_rib_with_a_stub_on_it_is_no_lettering() -> None:
    """Of many short lines and no higher than a letter for its width, but its back is one long line."""
    width_px, long_px, high_px, step_px = 5.0, 700.0, 80.0, 50.0
    low = [(x + aside, y) for x in np.arange(0, long_px, step_px) for aside, y in ((0.0, 0.0), (20.0, -12.0))]
    nodes = np.array([*low, (long_px, 0.0), (-40.0, 0.0)])
    ends = [(n, n + 1) for n in range(len(low))] + [(0, len(low) + 1)]
    links = [Link(a, b, np.linspace(nodes[a], nodes[b], 30), 0.1, width_px) for a, b in ends]
    part_of_way = np.linspace(0, 1, 900)
    back = np.column_stack([long_px * part_of_way, -high_px * np.sin(math.pi * part_of_way)])
    links.append(Link(0, len(low), back, 0.1, width_px))
    kinds = np.array([NodeKind.JUNCTION] + len(low) * [NodeKind.CORNER] + [NodeKind.END], dtype=np.uint8)

    assert not lettering_links(Strokes(nodes, kinds, tuple(links))).any()


CORNERS = np.array([[0.0, 0.0], [51.0, 0.0], [38.0, 20.0], [6.0, 24.0]])


def dashes(a: NDArray[np.float64], b: NDArray[np.float64], *, dash_mm: float, gap_mm: float) -> list[InkStroke]:
    """A side that begins and ends with half a dash."""
    length = float(np.hypot(*(b - a)))
    count = round(length / (dash_mm + gap_mm))
    period = length / count
    half = (period - gap_mm) / 2
    ends = [(max(k * period - half, 0), min(k * period + half, length)) for k in range(count + 1)]
    way = (b - a) / length
    return [
        line(tuple((a + way * s).tolist()), tuple((a + way * e).tolist()), width_mm=0.5, role="outline")
        for s, e in ends
    ]


@pytest.mark.parametrize(("dash_mm", "gap_mm", "dpi"), [(2.0, 0.8, 150), (3.0, 1.0, 150)])
def test_dashes_whose_gaps_are_nearly_closed_are_one_outline(dash_mm: float, gap_mm: float, dpi: float) -> None:
    sides = zip(CORNERS, np.roll(CORNERS, -1, axis=0), strict=True)
    strokes = [one for a, b in sides for one in dashes(a, b, dash_mm=dash_mm, gap_mm=gap_mm)]

    found = shares(Piece(tuple(strokes), (PartTruth("PLATE", CORNERS),)), dpi=dpi)

    assert len(found) == 1
    assert found[0] > SAME
