"""Ribs drawn one inside another, whose undersides lie so close that their ink merges."""

from pathlib import Path

import numpy as np
import pytest
import shapely

from digitize.find_strokes import find_strokes
from digitize.lettering import lettering_links
from digitize.loop import Role
from digitize.loops import find_loops
from digitize.nesting import has_tip
from digitize.strokes import Link, NodeKind, Strokes
from pictures.ink import find_ink
from pictures.picture import Medium, Picture, Source
from sample_scans.plan import plan_of
from sample_scans.rendered import rendered_scan
from sample_scans.sections import Section
from sample_scans.truth import joined
from sample_scans.wing import nested_ribs

SAME = 0.9  # shared over joint area of a rib and its truth; of neighbours in the nest it is 0.64
ONE_STROKE = 0.85  # the same where three undersides are one stroke that all lend: its middle is none of theirs


def best_shares(digits: str, chords_mm: tuple[float, float, float], *, width_mm: float, dpi: float) -> list[float]:
    """Shared over joint area of each rib of a nest with the part found that agrees best; three parts are found."""
    nest = nested_ribs(("A", "B", "C"), Section.from_digits(digits), chords_mm=chords_mm, width_mm=width_mm)
    plan = plan_of("nest", joined([nest.at(50.0, 30.0)]), width_mm=170.0, height_mm=60.0)
    scan = rendered_scan(0, plan=plan, dpi=dpi)
    strokes = find_strokes(find_ink(Picture(scan.pixels, Source(Path("nest"), "", Medium.RASTER))))
    border_px = scan.camera.to_picture(plan.border_mm)
    found = find_loops(strokes, lettering=lettering_links(strokes), border_px=border_px)
    parts = [loop.polygon for loop in found.loops if loop.role is Role.PART]
    true = [shapely.Polygon(scan.camera.to_picture(part.boundary_mm)) for part in plan.parts]
    assert len(parts) == 3
    return [max(shapely.area(one & two) / shapely.area(one | two) for two in parts) for one in true]


@pytest.mark.parametrize(
    ("digits", "largest_mm", "width_mm", "dpi"),
    [
        pytest.param("2412", 100.0, 0.35, 150, id="undersides beside each other"),
        pytest.param("4412", 110.0, 0.5, 200, id="undersides that merge from the nose on"),
        pytest.param("4409", 110.0, 0.35, 200, id="a nose that merges with the neighbour's underside"),
        pytest.param("0012", 100.0, 0.35, 200, id="tips blunted by the datum"),
    ],
)
def test_every_rib_of_a_nest_is_a_part_where_undersides_run_together(
    digits: str, largest_mm: float, width_mm: float, dpi: int
) -> None:
    chords_mm = (largest_mm, 0.8 * largest_mm, 0.6 * largest_mm)
    best = best_shares(digits, chords_mm, width_mm=width_mm, dpi=dpi)

    assert min(best) > SAME


def test_the_nose_of_a_rib_that_runs_into_an_arched_underside_leads_along_it() -> None:
    chords_mm = (110.0, 88.0, 66.0)
    best = best_shares("6409", chords_mm, width_mm=0.5, dpi=200)

    assert min(best) > ONE_STROKE


@pytest.mark.parametrize("blunt_px", [0.0, 3.0, 3.5])
def test_a_tip_that_a_line_has_blunted_is_a_tip(blunt_px: float) -> None:
    width_px = 4.0
    corners = np.array(
        [(0.0, 0.0), (60, -40), (300 - 3 * blunt_px, -blunt_px), (300 - 3 * blunt_px, blunt_px), (60, 20)]
    )

    assert has_tip(shapely.Polygon(corners), width_px)
    assert not has_tip(shapely.box(0, 0, 300, 60), width_px)
    assert not has_tip(shapely.buffer(shapely.LineString([(0, 0), (300, 0)]), 1.75 * width_px), width_px)


def test_a_rib_at_an_even_distance_inside_another_is_a_rib_where_nothing_joins_them() -> None:
    at = np.linspace(0, np.pi, 60)
    along = (1 - np.cos(at)) / 2
    thick = 0.3 * np.sqrt(along) - 0.13 * along - 0.35 * along**2 + 0.18 * along**3
    ring = np.vstack([np.column_stack([along, thick]), np.column_stack([along, -thick])[-2:0:-1]])
    outer = 800 * ring * [1, 0.8]
    inner = shapely.get_coordinates(shapely.buffer(shapely.Polygon(outer), -14, join_style="mitre", mitre_limit=20))[
        :-1
    ]
    links = tuple(
        Link(n, n, np.vstack([points, points[:1]]), 0.1, 3.0)
        for n, points in enumerate(np.round(shape, 3) for shape in (outer, inner))
    )
    strokes = Strokes(np.array([outer[0], inner[0]]), np.array([NodeKind.LOOP] * 2, dtype=np.uint8), links)

    found = find_loops(strokes, lettering=np.zeros(2, dtype=np.bool_), border_px=None)

    assert [loop.role for loop in found.loops] == [Role.PART, Role.PART]
