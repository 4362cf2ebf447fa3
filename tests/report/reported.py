"""A small run, made by hand, for the tests of the report."""

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from calibration.adjust import adjust
from calibration.calibration import Calibration
from calibration.kind import Kind
from calibration.observations import CheckLength, KnownDistance
from drawing.drawing import Drawing
from drawing.findings import Finding, Level
from drawing.papers import PAPERS
from pictures.flat import FlatPicture
from pictures.picture import Medium, Picture, Source
from printing.plan_pages import plan_pages
from printing.setup import PageSetup
from report.facts import OverallSize, ReportFacts
from tests.drawing.shapes import HALF, circle, letter_f, outline

# The picture: 10 px to a mm of the plan, whose lower-left corner is the picture's; the F stands 30 right and 20 up.
WIDTH_PX, HEIGHT_PX, PX_PER_MM = 1500, 1000, 10
F_AT_MM = (30.0, 20.0)
FLAT_PX_PER_M = 5000

NOTE = Finding("lens-not-solved", Level.NOTE, "lens", "It may move ends by ± 1.2 mm & more.")
DECIDE = Finding("check-length-off", Level.DECIDE, "check length 1", "It comes out −2.6 mm away.")


def plan() -> Drawing:
    """An F, and a disc with a hole, at full size."""
    return Drawing(
        (
            outline(1, letter_f(x_mm=F_AT_MM[0], y_mm=F_AT_MM[1]), name="bracket"),
            outline(2, circle(100, 50, 20), circle(100, 50, 10, bulge=-HALF)),
        ),
        (),
    )


def picture() -> Picture:
    grey = np.full((HEIGHT_PX, WIDTH_PX), 235, np.uint8)
    grey[200:210, 300:650] = 20
    source = Source(Path("some/where/plan <1>.png"), "ab" * 32, Medium.RASTER)
    return Picture(grey, source)


def calibration(*, check_mm: float = 50.0) -> Calibration:
    """100 mm along the foot of the picture is known; 50 mm up its side is compared."""
    return adjust(
        [
            KnownDistance((200.0, 900.0), (1200.0, 900.0), 100.0, 0.01, "100 mm", "known distance 1", 0.05),
            CheckLength((100.0, 800.0), (100.0, 300.0), check_mm, 0.01, f"{check_mm:g} mm", "check length 1", 0.05),
        ],
        width_px=WIDTH_PX,
        height_px=HEIGHT_PX,
        kind=Kind.SCAN,
    )


def facts(*, fraction: Fraction = Fraction(1, 2), check_mm: float = 50.0) -> ReportFacts:
    build = plan().scaled(fraction)
    return ReportFacts(
        name="Test <plan> & more",
        date="2031-02-03",
        picture=picture(),
        calibration=calibration(check_mm=check_mm),
        rests_on="known distance 1 (100 mm)",
        build=build,
        fraction=fraction,
        overall=OverallSize(90 * float(fraction), 60 * float(fraction), 0.21),
        pages=plan_pages(build, PageSetup(PAPERS["a4"])),
        findings=(NOTE,),
        flat_mm_per_px=1000 / FLAT_PX_PER_M,
        flat_origin_mm=(0.0, 0.0),
        line_width_mm=0.5,
    )


def unsettled(given: ReportFacts) -> ReportFacts:
    return replace(given, findings=(NOTE, DECIDE), stamp="SCALE NOT SETTLED")


def flat() -> FlatPicture:
    """The plan's true shape, 5 px to a mm, with the F in ink: black where the F is."""
    pixels: NDArray[np.uint8] = np.full((500, 750), 255, np.uint8)
    for x0, y0, x1, y1 in ((0, 0, 10, 60), (10, 25, 25, 35), (10, 50, 35, 60)):
        left, right = ((F_AT_MM[0] + x) * 5 for x in (x0, x1))
        top, bottom = (500 - (F_AT_MM[1] + y) * 5 for y in (y1, y0))
        pixels[int(top) : int(bottom), int(left) : int(right)] = 0
    return FlatPicture(pixels, FLAT_PX_PER_M, (0.0, 0.0))
