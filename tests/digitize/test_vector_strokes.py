"""A vector page's lines as strokes, and the outlines drawn from them."""

from collections.abc import Callable
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
import shapely
from PIL import Image
from reportlab.lib.utils import ImageReader
from reportlab.pdfgen.canvas import Canvas

from benchmarks.vector_error import compared, to_mm
from benchmarks.vector_pages import vector_page
from digitize.draw_outlines import draw_outlines
from digitize.strokes import NodeKind, Strokes
from digitize.vector_strokes import VectorStrokes, vector_strokes
from drawing.paths import Arc, Cubic, Line, sampled
from pictures.ink import find_ink
from pictures.pdf_paths import read_page_paths
from pictures.read import read_picture
from sample_scans.page import PT_PER_MM

DPI = 300
OFF_MM = 0.01
"""What a vector page is held to."""


def _looked(path: Path) -> VectorStrokes:
    picture = read_picture(path)
    return vector_strokes(read_page_paths(picture.source), find_ink(picture), render_dpi=DPI)


def _strokes(tmp_path: Path, draw: Callable[[Canvas], None]) -> Strokes:
    found = _page_of(tmp_path, draw)
    assert found.strokes is not None
    return found.strokes


def _page_of(tmp_path: Path, draw: Callable[[Canvas], None]) -> VectorStrokes:
    path = tmp_path / "page.pdf"
    canvas = Canvas(str(path), pagesize=(260, 200), invariant=1, pageCompression=0)
    draw(canvas)
    canvas.showPage()
    canvas.save()
    return _looked(path)


# Truth: the plan's own parts, taken to the picture by PDFium's FPDF_PageToDevice.
@pytest.mark.parametrize(("kind", "seed"), [("curves", 1), ("turned", 5), ("dashed", 6)])
def test_every_part_of_a_vector_page_lies_within_a_hundredth_of_a_millimetre(
    tmp_path: Path, kind: str, seed: int
) -> None:
    page = vector_page(tmp_path / "page.pdf", seed=seed, kind=kind)
    found = _looked(page.path)
    assert found.strokes is not None

    drawn = draw_outlines(found.strokes.mapped(to_mm))

    result = compared(drawn, page.parts_px(DPI))
    assert result.found == result.parts
    assert result.others == 0
    assert result.worst_mm <= OFF_MM + 0.001  # gaps of 0.01 mm are drawn into the page of curves
    for outline in drawn.drawing.outlines:
        # Shapely: no outline crosses itself.
        assert shapely.is_valid(shapely.Polygon(sampled(outline.boundary, tolerance_mm=0.001)))


def test_a_round_plate_keeps_its_lines_and_its_circle(tmp_path: Path) -> None:
    def draw(canvas: Canvas) -> None:
        canvas.roundRect(30, 30, 150, 100, 12)
        canvas.circle(100, 80, 15)

    drawn = draw_outlines(_strokes(tmp_path, draw).mapped(to_mm)).drawing

    plate = drawn.outlines[0]
    kinds = [type(segment) for segment in plate.boundary.segments]
    assert sorted(kinds.count(kind) for kind in (Line, Arc, Cubic)) == [0, 4, 4]
    assert [type(segment) for segment in plate.holes[0].segments] == [Arc, Arc]
    # Radius 15/72 inch.
    hole = shapely.Polygon(sampled(plate.holes[0], tolerance_mm=0.0001))
    assert hole.area == pytest.approx(np.pi * (15 / 72 * 25.4) ** 2, rel=1e-3)


def test_a_line_drawn_twice_and_partly_again_is_one(tmp_path: Path) -> None:
    def draw(canvas: Canvas) -> None:
        canvas.line(20, 50, 200, 50)
        canvas.line(200, 50, 20, 50)
        canvas.line(80, 50, 120, 50)

    strokes = _strokes(tmp_path, draw)

    assert len(strokes.links) == 1


def test_a_lone_circle_drawn_in_ever_so_short_separate_lines_is_whole(tmp_path: Path) -> None:
    # Each step is 0.2 px long at 300 dpi: shorter than what two lines drawn twice may differ by.
    steps, radius = 3200, 25.0
    angles = np.arange(steps + 1) * 2 * np.pi / steps
    at = np.column_stack([130 + radius * np.cos(angles), 100 + radius * np.sin(angles)])
    at[-1] = at[0]

    def draw(canvas: Canvas) -> None:
        for a, b in pairwise(at.tolist()):
            canvas.line(*a, *b)

    drawn = draw_outlines(_strokes(tmp_path, draw).mapped(to_mm)).drawing

    assert len(drawn.outlines) == 1
    radius_mm = radius / PT_PER_MM
    # Pi r^2, within a rim of OFF_MM.
    area_mm2 = shapely.Polygon(sampled(drawn.outlines[0].boundary, tolerance_mm=0.001)).area
    assert area_mm2 == pytest.approx(np.pi * radius_mm**2, abs=2 * np.pi * radius_mm * OFF_MM)


def test_crossing_lines_share_a_node_where_they_cross(tmp_path: Path) -> None:
    def draw(canvas: Canvas) -> None:
        canvas.line(20, 50, 200, 50)
        canvas.line(70, 20, 70, 150)

    strokes = _strokes(tmp_path, draw)

    junction = strokes.nodes_px[strokes.kinds == NodeKind.JUNCTION]
    # By hand: 70 pt from the left and 150 from the top of a page 200 high.
    assert junction == pytest.approx(np.array([[70, 150]]) * DPI / 72 - 0.5, abs=0.01)
    assert len(strokes.links) == 4


def test_ends_a_hair_apart_are_joined_and_it_is_said(tmp_path: Path) -> None:
    gap = 0.03 * PT_PER_MM

    def draw(canvas: Canvas) -> None:
        canvas.line(20, 20, 120, 20)
        canvas.line(120 + gap, 20, 120, 120)
        canvas.line(120, 120 + gap, 20, 20 + gap)

    found = _page_of(tmp_path, draw)

    assert found.strokes is not None
    assert len(draw_outlines(found.strokes.mapped(to_mm)).drawing.outlines) == 1
    assert "ends within 0.05 mm of another line were moved onto it" in found.findings[0].text


def test_dashes_drawn_one_by_one_are_one_line(tmp_path: Path) -> None:
    def draw(canvas: Canvas) -> None:
        for index in range(9):
            canvas.line(20 + 20 * index, 60, 32 + 20 * index, 60)
        canvas.rect(30, 80, 100, 60)

    strokes = _strokes(tmp_path, draw)

    dashed = [link for link in strokes.links if link.dashed]
    assert len(dashed) == 1
    assert dashed[0].points_px[[0, -1], 0] == pytest.approx(np.array([20, 192]) * DPI / 72 - 0.5, abs=0.01)


def test_thin_filled_bars_are_lines_down_their_middle(tmp_path: Path) -> None:
    def draw(canvas: Canvas) -> None:
        for x, y, width, height in ((20, 20, 151, 1), (20, 120, 151, 1), (20, 20, 1, 101), (170, 20, 1, 101)):
            canvas.rect(x, y, width, height, stroke=0, fill=1)

    drawn = draw_outlines(_strokes(tmp_path, draw).mapped(to_mm)).drawing

    ring = shapely.Polygon(sampled(drawn.outlines[0].boundary, tolerance_mm=0.001))
    size_mm = np.array([150, 100]) / 72 * 25.4
    assert np.ptp(np.array(ring.exterior.coords), axis=0) == pytest.approx(size_mm, abs=OFF_MM)


def test_what_a_later_area_covers_is_no_line(tmp_path: Path) -> None:
    def draw(canvas: Canvas) -> None:
        canvas.line(20, 50, 220, 50)
        canvas.setFillColorRGB(1, 1, 1)
        canvas.rect(80, 20, 60, 60, stroke=1, fill=1)

    strokes = _strokes(tmp_path, draw)

    middle = np.array([110, 150]) * DPI / 72
    nearest = min(np.hypot(*(link.points_px - middle).T).min() for link in strokes.links)
    assert nearest > 25 * DPI / 72


def test_a_line_ends_where_its_clip_does_even_a_round_one(tmp_path: Path) -> None:
    def draw(canvas: Canvas) -> None:
        canvas.saveState()
        window = canvas.beginPath()
        window.circle(120, 100, 50)
        canvas.clipPath(window, stroke=0, fill=0)
        canvas.line(10, 100, 250, 100)
        canvas.restoreState()

    strokes = _strokes(tmp_path, draw)

    (link,) = strokes.links
    ends = np.sort(link.points_px[[0, -1], 0])
    # A clip's curve is taken in straight steps, within 0.1 % of its size.
    assert ends == pytest.approx(np.array([70, 170]) * DPI / 72 - 0.5, abs=0.3)


def test_a_page_that_is_mostly_an_image_is_looked_at_as_a_picture(tmp_path: Path) -> None:
    grey = np.full((300, 400), 255, np.uint8)
    grey[40:260:30] = 0
    grey[40:260, 60:340:40] = 0

    def draw(canvas: Canvas) -> None:
        canvas.drawImage(ImageReader(Image.fromarray(grey)), 20, 20, 220, 160)
        canvas.rect(5, 5, 250, 190)

    found = _page_of(tmp_path, draw)

    assert found.strokes is None
    assert "was looked at" in found.findings[0].text


def test_a_page_of_text_alone_has_no_lines_of_its_own(tmp_path: Path) -> None:
    found = _page_of(tmp_path, lambda canvas: canvas.drawString(30, 100, "Nothing is drawn here"))

    assert found.strokes is None
