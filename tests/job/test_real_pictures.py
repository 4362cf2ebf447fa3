"""The whole program on real pictures whose geometry is known (found through SCANTLING_REAL)."""

import os
from pathlib import Path

import numpy as np
import pytest

from benchmarks.real_pictures import SIZE_WITHIN_MM, SLOT_MM, _size, _width, graph_paper, panel, ruler

pytestmark = pytest.mark.skipif("SCANTLING_REAL" not in os.environ, reason="SCANTLING_REAL names no folder")


def _real() -> Path:
    return Path(os.environ["SCANTLING_REAL"])


# 0.2 in squares, printed; the smooth curves of its lines, measured apart from the program, are off by 0.06 % (95 %).
def test_graph_paper_agrees_with_one_length_each_way() -> None:
    grid = graph_paper(_real())

    off = np.abs(grid.percent)
    assert grid.crossings > 1300
    assert np.median(off) < 0.035
    assert np.percentile(off, 95) < 0.14
    assert np.percentile(off[grid.squares >= 20], 95) < 0.12
    assert off[grid.squares >= 30].max() < 0.1
    assert grid.off_px[2] < 0.6
    assert np.percentile(np.abs(grid.paper_percent), 95) < 0.08


# Printed mm rulers at 299.7 dpi; the files' tags say 96.
@pytest.mark.parametrize("name", ["ruler_target_colour.tif", "ruler_target_g3.tif"])
def test_a_wrong_tag_is_named_and_not_believed(name: str) -> None:
    off_mm, said = ruler(_real(), name)

    assert abs(off_mm) < 0.1
    assert "96 dpi" in said
    assert "3.12 times" in said


# The panel's DXF: 254.000 x 125.730 mm, 16 slots of 4 x 67 mm. The PDF's own vectors are 0.065 % larger than that.
def test_the_panel_comes_out_by_its_width() -> None:
    trusted = panel(_real(), "panel_life_size.pdf", ())

    made = panel(_real(), "panel_life_size.pdf", (_width(trusted),))

    sizes = [_size(path) for outline in made.build.outlines for path in (outline.boundary, *outline.holes)]
    assert max(sizes) == pytest.approx((254.0, 125.73), abs=0.1)
    assert max(_size(o.boundary) for o in trusted.build.outlines) == pytest.approx((254.166, 125.809), abs=0.1)
    slots = [s for s in sizes if np.allclose(s, SLOT_MM, atol=SIZE_WITHIN_MM)]
    assert len(slots) == 16
