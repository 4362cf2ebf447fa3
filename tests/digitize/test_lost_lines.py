"""Pictures that have lost stretches of their lines: told of, and what is found in them is in doubt."""

from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from benchmarks.fit_error import box
from benchmarks.vector_strokes import Inking, strokes_of
from digitize.draw_outlines import Drawn, draw_outlines
from digitize.find_strokes import find_strokes
from drawing.drawing import Kind
from pictures.ink import find_ink
from pictures.picture import Medium, Picture, Source
from sample_scans.plan import plan_of
from sample_scans.rendered import rendered_scan
from sample_scans.truth import InkStroke, Piece

Line = NDArray[np.float64]

HAIRLINE = Inking(width_px=1.1, seed=7)
CODE = "lines-lost"
FINE_MM, DPI = 0.25, 150  # 1.5 px: a scanner's threshold drops it where it lies astride two rows of pixels
BLACK_BELOW = 150
BOXES = [box(20 + 60 * column, 20 + 60 * row, 40, 40) for column in range(4) for row in range(3)]


def broken(outline: Line, *, lost_mm: float) -> list[Line]:
    """The four sides of a box, each without a stretch in its middle."""
    lines = []
    for a, b in pairwise(outline):
        middle, half = (a + b) / 2, lost_mm / 2 * (b - a) / np.hypot(*(b - a))
        lines += [np.array([a, middle - half]), np.array([middle + half, b])]
    return lines


def drawn(lines: list[Line], inking: Inking) -> Drawn:
    return draw_outlines(strokes_of(lines, inking).mapped(inking.to_plan))


def codes(found: Drawn) -> list[str]:
    return [finding.code for finding in found.findings]


def test_hairlines_that_stop_and_go_on_were_lost_and_what_is_left_is_in_doubt():
    whole = BOXES[:2]
    lines = [line for outline in BOXES[2:] for line in broken(outline, lost_mm=8.0)]

    found = drawn([*whole, *lines], HAIRLINE)

    (told,) = [finding for finding in found.findings if finding.code == CODE]
    assert told.text.startswith("Lines stop and go on farther along at 40 places")
    assert [outline.kind for outline in found.drawing.outlines] == [Kind.UNSURE, Kind.UNSURE]
    # One note for both, which have one reason.
    (unsure,) = [finding for finding in found.findings if finding.code == "outline-unsure"]
    assert unsure.text.startswith("Outlines 1 and 2 are each taken for a part: lines of this picture are lost")


def test_crumbs_of_squared_paper_say_nothing_of_wide_outlines():
    lines = [line for outline in BOXES[6:] for line in broken(outline, lost_mm=8.0)]
    crumbs = [np.array([[x, y], [x + 3, y]]) for y in range(10, 200, 4) for x in range(300, 400, 10)]
    strokes = strokes_of([*BOXES[:6], *lines, *crumbs], Inking(seed=7))
    long = [np.ptp(link.points_px, axis=0).max() * Inking().mm_per_px > 5 for link in strokes.links]
    finer = [
        link if is_long else replace(link, width_px=HAIRLINE.width_px)
        for link, is_long in zip(strokes.links, long, strict=True)
    ]
    assert np.median([link.width_px for link in finer]) == HAIRLINE.width_px

    found = draw_outlines(replace(strokes, links=tuple(finer)).mapped(Inking().to_plan))

    assert CODE not in codes(found)


def test_whole_hairlines_are_relied_on():
    found = drawn(BOXES, HAIRLINE)

    assert CODE not in codes(found)
    assert {outline.kind for outline in found.drawing.outlines} == {Kind.PART}


def test_wide_lines_that_stop_and_go_on_were_drawn_so():
    lines = [line for outline in BOXES[2:] for line in broken(outline, lost_mm=8.0)]

    assert CODE not in codes(drawn([*BOXES[:2], *lines], Inking(seed=7)))


@pytest.mark.parametrize("pitch_mm", [2.5, 4.0])
def test_dashed_hairlines_were_drawn_so(pitch_mm: float) -> None:
    dashes = [
        np.array([[x, y], [x + 0.7 * pitch_mm, y]])
        for y in np.arange(20, 200, 20).tolist()
        for x in np.arange(300, 400, pitch_mm).tolist()
    ]

    assert CODE not in codes(drawn([*BOXES, *dashes], HAIRLINE))


@pytest.mark.parametrize(("bilevel", "is_told"), [(True, True), (False, False)])
def test_a_fine_plan_scanned_at_150_dpi_has_lost_lines_in_black_and_white_and_not_in_grey(
    bilevel: bool, is_told: bool
) -> None:
    ink = Piece(tuple(InkStroke(outline, FINE_MM, False, "outline") for outline in BOXES))
    grey = rendered_scan(3, plan=plan_of("fine", ink, width_mm=280, height_mm=200), dpi=DPI).pixels
    seen = np.where(grey > BLACK_BELOW, 255, 0).astype(np.uint8) if bilevel else grey
    strokes = find_strokes(find_ink(Picture(seen, Source(Path("fine"), "", Medium.RASTER))))

    found = draw_outlines(strokes.mapped(lambda px: px * [1, -1]))

    assert (CODE in codes(found)) == is_told
