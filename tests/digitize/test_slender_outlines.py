"""Outlines so slender that the ink of their sides merges towards a tip, and little paper shows between them."""

from pathlib import Path

import numpy as np

from benchmarks.many_outlines import plan_of
from digitize.find_strokes import find_strokes
from digitize.lettering import lettering_links
from digitize.loop import Role
from digitize.loops import find_loops
from pictures.ink import find_ink
from pictures.picture import Medium, Picture, Source

OUTLINES = 60


def test_every_outline_of_many_small_ones_is_found_slender_sections_too() -> None:
    grey = plan_of(OUTLINES, np.random.default_rng([5, OUTLINES]))
    strokes = find_strokes(find_ink(Picture(grey, Source(Path("many"), "", Medium.RASTER))))

    found = find_loops(strokes, lettering=lettering_links(strokes), border_px=None)

    assert sum(loop.role is Role.PART for loop in found.loops) == OUTLINES
