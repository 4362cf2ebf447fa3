"""Drawn ribs from picture to path: few nodes, true tips, nothing that crosses itself."""

import math

import numpy as np
import pytest
import shapely

from benchmarks.nodes_error import in_px, joints, off_px, outlines_in, pictured, placed, sharp_places, strokes_in, views
from benchmarks.stroke_error import section

VIEWS = {view.name.split(",")[0]: view for view in views(5)}


# Truth: the four-digit formula (NACA Report 460), a section of 6 % whose sides merge 40 px before they meet.
def test_a_thin_ribs_tip_lies_where_its_sides_meet_not_where_they_merge() -> None:
    view = VIEWS["grey scan 300 dpi"]
    true = placed(section(chord=1, thickness=0.06, camber=0.05, at=0.3), chord_mm=150, tilt_rad=-2.6, view=view)

    (rib,) = outlines_in(strokes_in(pictured([true], view)), view, 0.05)

    (tip,), _ = sharp_places(true)
    assert np.hypot(*(joints(rib.boundary, view) - tip).T).min() < 1.0
    assert len(rib.boundary.segments) <= 12


# Truth: the same formula; rms and nodes as asked, also of a picture where noise is larger than the tolerance.
@pytest.mark.parametrize(
    ("name", "tolerance_mm", "most"),
    [
        ("grey scan 300 dpi", 0.02, 20),
        ("noisy photo 0.18 mm/px", 0.02, 20),
        ("grey scan 300 dpi", 0.05, 12),
        ("bilevel 300 dpi", 0.05, 12),
    ],
)
def test_a_rib_of_150_mm_needs_few_curves(name: str, tolerance_mm: float, most: int) -> None:
    view = VIEWS[name]
    true = placed(section(chord=1, thickness=0.12, camber=0.02, at=0.4), chord_mm=150, tilt_rad=0.7, view=view)

    (rib,) = outlines_in(strokes_in(pictured([true], view)), view, tolerance_mm)

    path_px = in_px(rib.boundary, view)
    assert len(rib.boundary.segments) <= most
    assert math.sqrt((off_px(path_px, true) ** 2).mean()) < 0.15
    assert shapely.is_valid(shapely.Polygon(path_px))
