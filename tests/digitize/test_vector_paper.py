"""Squared and ruled paper that a vector page draws under its plan is left out; a lattice of the plan is not."""

from collections.abc import Callable
from pathlib import Path

import pytest
from reportlab.pdfgen.canvas import Canvas

from digitize.draw_outlines import draw_outlines
from digitize.vector_strokes import VectorStrokes, vector_strokes
from pictures.ink import find_ink
from pictures.pdf_paths import read_page_paths
from pictures.read import read_picture

DPI = 300
PT = 72 / 25.4
WIDE_MM, HIGH_MM = 120, 90


def _looked(tmp_path: Path, draw: Callable[[Canvas], None], *, keep_paper: bool = False) -> VectorStrokes:
    path = tmp_path / "page.pdf"
    canvas = Canvas(str(path), pagesize=(WIDE_MM * PT, HIGH_MM * PT), invariant=1)
    canvas.scale(PT, PT)
    draw(canvas)
    canvas.showPage()
    canvas.save()
    picture = read_picture(path)
    return vector_strokes(read_page_paths(picture.source), find_ink(picture), render_dpi=DPI, keep_paper=keep_paper)


def _squares(canvas: Canvas, *, x0: int, y0: int, x1: int, y1: int, pitch_mm: int, heavier: int = 0) -> None:
    """Every `heavier`-th line is drawn with a wider pen."""
    for at, (low, high) in ((0, (x0, x1)), (1, (y0, y1))):
        for number, place in enumerate(range(low, high + 1, pitch_mm)):
            canvas.setLineWidth(0.3 if heavier and number % heavier == 0 else 0.1)
            canvas.line(place, y0, place, y1) if at == 0 else canvas.line(x0, place, x1, place)


def _plan(canvas: Canvas) -> None:
    """A plate with one side along a line of 5 mm paper, and a disc."""
    canvas.setStrokeGray(0)
    canvas.setLineWidth(0.35)
    canvas.rect(20, 20, 40, 33)
    canvas.circle(85, 45, 18)


def _areas_mm2(found: VectorStrokes) -> list[int]:
    assert found.strokes is not None
    drawing = draw_outlines(found.strokes.mapped(lambda points: points * (25.4 / DPI) * [1, -1])).drawing
    return sorted(round(outline.area_px2 * (25.4 / DPI) ** 2) for outline in drawing.outlines)


@pytest.mark.parametrize("shade", [0.75, 0.0])
@pytest.mark.parametrize(("pitch_mm", "heavier"), [(5, 0), (2, 5), (1, 10)])
def test_squared_paper_is_left_out_and_said(tmp_path: Path, shade: float, pitch_mm: int, heavier: int) -> None:
    def draw(canvas: Canvas) -> None:
        canvas.setStrokeGray(shade)
        _squares(canvas, x0=5, y0=5, x1=115, y1=85, pitch_mm=pitch_mm, heavier=heavier)
        _plan(canvas)

    found = _looked(tmp_path, draw)

    # Closed forms: 40 x 33 mm, and pi x 18² mm².
    assert _areas_mm2(found) == [1018, 1320]
    (told,) = [finding.text for finding in found.findings if finding.code == "squared-paper"]
    assert f"{pitch_mm:.2f}" in told


def test_ruled_paper_is_told_by_its_paleness(tmp_path: Path) -> None:
    def draw(canvas: Canvas) -> None:
        canvas.setStrokeGray(0.7)
        canvas.setLineWidth(0.1)
        for y in range(5, 86, 5):
            canvas.line(5, y, 115, y)
        _plan(canvas)

    assert _areas_mm2(_looked(tmp_path, draw)) == [1018, 1320]


def test_a_ladder_of_ribs_is_no_paper(tmp_path: Path) -> None:
    def draw(canvas: Canvas) -> None:
        canvas.setLineWidth(0.35)
        canvas.rect(5, 20, 110, 50)
        for x in range(10, 111, 5):
            canvas.line(x, 20, x, 70)

    found = _looked(tmp_path, draw)

    assert [finding.code for finding in found.findings] == ["page-lines"]


def test_a_lattice_smaller_than_the_sheet_is_drawn(tmp_path: Path) -> None:
    def draw(canvas: Canvas) -> None:
        _squares(canvas, x0=10, y0=10, x1=60, y1=60, pitch_mm=5)
        _plan(canvas)

    assert [finding.code for finding in _looked(tmp_path, draw).findings] == ["page-lines"]


def test_squares_that_belong_to_the_drawing_are_kept_where_asked(tmp_path: Path) -> None:
    def draw(canvas: Canvas) -> None:
        _squares(canvas, x0=5, y0=5, x1=115, y1=85, pitch_mm=5)

    kept = _looked(tmp_path, draw, keep_paper=True)

    assert kept.strokes is not None
    # 23 lines down and 17 across: each is cut at every other one it meets.
    assert len(kept.strokes.links) == 23 * 16 + 17 * 22


def test_squares_and_nothing_else_are_what_is_drawn(tmp_path: Path) -> None:
    found = _looked(tmp_path, lambda canvas: _squares(canvas, x0=5, y0=5, x1=115, y1=85, pitch_mm=5))

    assert [finding.code for finding in found.findings] == ["page-lines"]
    assert found.strokes is not None
    assert len(found.strokes.links) == 23 * 16 + 17 * 22
