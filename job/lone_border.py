"""A rectangle taken for the sheet's border that may be a part itself."""

from collections.abc import Iterator

import shapely

from digitize.draw_outlines import Drawn
from drawing.findings import Finding, Level
from job.see import Seen

LITTLE = 0.15
"""Share of a border's area below which the parts in it are few: a plate with its holes has less, a plan mostly more."""


def about_border(drawn: Drawn, seen: Seen) -> Iterator[Finding]:
    """Say that a rectangle which holds little was taken for the border, and is no part."""
    if seen.border is None:
        return
    held_px2 = sum(outline.area_px2 for outline in drawn.drawing.outlines)
    if held_px2 < LITTLE * shapely.Polygon(seen.border.corners_px).area:
        yield Finding(
            "border-or-part",
            Level.NOTE,
            "the drawn border",
            "The outermost rectangle was taken for the border drawn round the plan, so it is no part, and little is "
            'drawn inside it. If it is a part itself, give found = "drawn border" under [[ignore]] in job.toml.',
        )
