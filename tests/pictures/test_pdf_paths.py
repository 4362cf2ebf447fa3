"""A PDF page's own paths: where they lie, what they are, and what is left out."""

import ctypes
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pypdfium2
import pypdfium2.raw as pdfium
import pytest
from numpy.typing import NDArray
from reportlab.pdfgen.canvas import Canvas

from benchmarks.vector_pages import vector_page
from pictures.page_paths import PageDrawing, TooManyPaths
from pictures.pdf_paths import MOST_SEGMENTS, read_page_paths
from pictures.read import read_picture
from sample_scans.page import PT_PER_MM

PLACE_PX = 0.01
"""PDF numbers are written to some thousandths of a point; at 300 dpi a thousandth is 0.004 px."""


def _page(path: Path, draw: Callable[[Canvas], None], **options: object) -> Path:
    canvas = Canvas(str(path), pagesize=(200, 150), invariant=1, pageCompression=0, **options)
    draw(canvas)
    canvas.showPage()
    canvas.save()
    return path


def _paths(path: Path) -> PageDrawing:
    page = read_page_paths(read_picture(path).source)
    assert isinstance(page, PageDrawing)
    return page


def _placed(path: Path, points_pt: list[tuple[float, float]]) -> NDArray[np.float64]:
    """Page units to px at 300 dpi by PDFium's FPDF_PageToDevice, asked for a screen of small px."""
    page = pypdfium2.PdfDocument(path)[0]
    width, height = page.get_size()
    fine = 1000 * 300 / 72
    x, y = ctypes.c_int(), ctypes.c_int()
    placed = []
    for point in points_pt:
        pdfium.FPDF_PageToDevice(page, 0, 0, round(width * fine), round(height * fine), 0, *point, x, y)
        placed.append((x.value / 1000 - 0.5, y.value / 1000 - 0.5))
    return np.array(placed)


# Source of truth: PDFium's own page-to-screen map.
@pytest.mark.parametrize("turn", [0, 90, 180, 270])
def test_a_path_lies_where_the_pdf_library_puts_it_however_the_page_is_turned_and_cropped(
    tmp_path: Path, turn: int
) -> None:
    def draw(canvas: Canvas) -> None:
        canvas.setPageRotation(turn)
        canvas.setCropBox((20, 12, 190, 140))
        canvas.line(30, 20, 150, 101.5)

    path = _page(tmp_path / "page.pdf", draw)

    page = _paths(path)

    assert len(page.strokes) == 1
    assert page.strokes[0].controls_px[0, [0, 3]] == pytest.approx(
        _placed(path, [(30, 20), (150, 101.5)]), abs=PLACE_PX
    )


def test_a_drawing_within_a_drawing_lies_where_both_transforms_put_it(tmp_path: Path) -> None:
    def draw(canvas: Canvas) -> None:
        canvas.beginForm("inner", -100, -100, 100, 100)
        canvas.setLineWidth(2)
        canvas.line(0, 0, 10, 0)
        canvas.endForm()
        canvas.beginForm("outer", -100, -100, 100, 100)
        canvas.translate(5, 0)
        canvas.rotate(90)
        canvas.doForm("inner")
        canvas.endForm()
        canvas.translate(50, 40)
        canvas.scale(3, 3)
        canvas.doForm("outer")

    path = _page(tmp_path / "page.pdf", draw)

    stroke = _paths(path).strokes[0]

    # By hand: (0, 0) and (10, 0) turned to (0, 10), moved by 5, times 3, moved by (50, 40).
    assert stroke.controls_px[0, [0, 3]] == pytest.approx(_placed(path, [(65, 40), (65, 70)]), abs=PLACE_PX)
    assert stroke.width_px == pytest.approx(2 * 3 * 300 / 72, rel=1e-4)


def test_curves_stay_cubics_hairlines_thin_and_dashes_whole(tmp_path: Path) -> None:
    def draw(canvas: Canvas) -> None:
        canvas.setLineWidth(0)
        canvas.bezier(20, 20, 40, 90, 80, 90, 100, 20)
        canvas.setDash([4, 2])
        canvas.line(20, 10, 120, 10)
        canvas.drawString(20, 120, "words")

    path = _page(tmp_path / "page.pdf", draw)

    page = _paths(path)

    curve, dashed = page.strokes
    assert curve.controls_px[0] == pytest.approx(_placed(path, [(20, 20), (40, 90), (80, 90), (100, 20)]), abs=PLACE_PX)
    assert curve.width_px == 0
    assert not curve.straight[0]
    assert not curve.dashed
    assert dashed.dashed
    assert len(dashed.controls_px) == 1
    assert len(page.text_boxes_px) == 1


def test_paths_without_length_are_no_lines_and_broken_numbers_are_counted(tmp_path: Path) -> None:
    def draw(canvas: Canvas) -> None:
        canvas.line(20, 20, 20, 20)
        canvas.line(20, 20, 60, 20)
        canvas._code.append("q 100000 0 0 100000 0 0 cm 100000 0 0 100000 0 0 cm 0 0 m 5 5 l S Q")

    page = _paths(_page(tmp_path / "page.pdf", draw))

    assert len(page.strokes) == 1
    assert page.broken == 1


def test_a_page_of_more_pieces_than_are_taken_says_so(tmp_path: Path) -> None:
    def draw(canvas: Canvas) -> None:
        canvas._code.append("10 10 m " + "20 20 l 10 10 l " * (MOST_SEGMENTS // 2) + "S")

    page = read_page_paths(read_picture(_page(tmp_path / "page.pdf", draw)).source)

    assert isinstance(page, TooManyPaths)
    assert page.segments > MOST_SEGMENTS


def test_a_unit_of_two_points_doubles_the_page(tmp_path: Path) -> None:
    pages = [vector_page(tmp_path / f"{kind}.pdf", seed=3, kind=kind) for kind in ("plain", "units")]

    plain, doubled = (_paths(page.path) for page in pages)

    # 0.001 of a unit is 0.008 px here.
    assert len(plain.strokes) == len(doubled.strokes)
    for one, other in zip(plain.strokes[:50], doubled.strokes[:50], strict=True):
        assert one.controls_px[0, 0] == pytest.approx(other.controls_px[0, 0], abs=2 * PLACE_PX)


def test_the_page_of_the_small_drawing_is_the_size_its_lines_say(tmp_path: Path) -> None:
    path = _page(tmp_path / "page.pdf", lambda canvas: canvas.line(10, 10, 10 + 50 * PT_PER_MM, 10))

    start, end = _paths(path).strokes[0].controls_px[0, [0, 3]]

    # 50 mm at 300 dpi, 25.4 mm to an inch.
    assert np.hypot(*(end - start)) == pytest.approx(50 / 25.4 * 300, abs=PLACE_PX)
