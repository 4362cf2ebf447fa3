import zlib
from pathlib import Path

import numpy as np
import pypdfium2
import pytest
from PIL import Image
from reportlab.lib.pdfencrypt import StandardEncryption
from reportlab.lib.utils import ImageReader
from reportlab.pdfgen.canvas import Canvas

from drawing.findings import Level
from pictures.claimed_size import claimed_size_mm
from pictures.picture import Medium, PictureError
from pictures.read import read_colour, read_picture
from tests.pictures.pdfs import DPI_ROUNDING, drawn, placed, written
from tests.pictures.plans import plan, real, real_file

MM_PER_INCH = 25.4


def test_drawn_page_is_300_dpi_and_its_corner_is_at_minus_half_a_pixel(tmp_path: Path) -> None:
    path = drawn(tmp_path, lambda canvas: canvas.rect(36, 30, 216, 120, stroke=0, fill=1))

    picture = read_picture(path)

    assert picture.grey.shape == (834, 1250)
    assert (picture.source.medium, picture.source.render_dpi) == (Medium.PDF_PAGE, 300)
    rows, columns = np.nonzero(picture.grey < 128)
    assert (columns.min(), columns.max() + 1) == (36 / 72 * 300, 252 / 72 * 300)
    assert (rows.min(), rows.max() + 1) == ((200 - 150) / 72 * 300 // 1, round((200 - 30) / 72 * 300))
    assert claimed_size_mm(picture) == pytest.approx((300 / 72 * MM_PER_INCH, 834 / 300 * MM_PER_INCH))


PX = 300 / 72


# A page is seldom a whole number of points: A3 is 1190.55 wide. Rounding it to 1190 would be 0.05 % of scale.
def test_page_of_a_broken_size_keeps_its_scale(tmp_path: Path) -> None:
    path = drawn(tmp_path, lambda canvas: canvas.rect(24, 24, 1080, 720, stroke=0, fill=1), size_pt=(1190.55, 841.89))

    picture = read_picture(path)

    rows, columns = np.nonzero(picture.grey < 128)
    assert (columns.min(), columns.max() + 1) == (100, 4600)
    assert rows.max() + 1 - rows.min() == 3000
    assert rows.max() + 1 == round((841.89 - 24) * PX)


def test_pages(tmp_path: Path) -> None:
    def draw(canvas: Canvas) -> None:
        for number in range(3):
            canvas.line(10, 10, 100 + 50 * number, 150)
            if number < 2:
                canvas.showPage()

    path = drawn(tmp_path, draw)

    picture = read_picture(path, page=2)

    assert (picture.source.page, picture.source.pages) == (2, 3)
    assert np.nonzero(picture.grey < 128)[1].max() == pytest.approx(150 * PX, abs=3)
    with pytest.raises(PictureError, match="has 3 pages, page 5 was asked for"):
        read_picture(path, page=5)


def test_blank_page_is_named(tmp_path: Path) -> None:
    path = drawn(tmp_path, lambda canvas: canvas.showPage())

    with pytest.raises(PictureError, match=r"Page 2 of plan\.pdf is blank"):
        read_picture(path, page=2)


def test_colour_of_a_drawn_page(tmp_path: Path) -> None:
    def draw(canvas: Canvas) -> None:
        canvas.setStrokeColorRGB(1, 0, 0)
        canvas.setLineWidth(4)
        canvas.line(20, 20, 280, 180)

    picture = read_picture(drawn(tmp_path, draw))

    colour = read_colour(picture.source)
    assert picture.source.colour
    assert colour.shape == (*picture.grey.shape, 3)
    assert colour[picture.grey < 100].mean(axis=0) == pytest.approx((255, 0, 0), abs=2)


def test_password_is_asked_for_in_words(tmp_path: Path) -> None:
    path = drawn(tmp_path, lambda canvas: canvas.line(10, 10, 200, 150), encrypt=StandardEncryption("secret"))

    with pytest.raises(PictureError, match="needs a password"):
        read_picture(path)


def test_no_pages(tmp_path: Path) -> None:
    path = written(tmp_path, [b"<</Type/Catalog/Pages 2 0 R>>", b"<</Type/Pages/Kids[]/Count 0>>"])

    with pytest.raises(PictureError, match="has no pages"):
        read_picture(path)


def test_large_page_is_drawn_coarser_and_said(tmp_path: Path) -> None:
    # 2000 x 2000 mm at 300 dpi are 558 MP: over the limit, at 250 dpi 387 MP.
    side_pt = 2000 / MM_PER_INCH * 72
    path = drawn(tmp_path, lambda canvas: canvas.rect(500, 500, 3000, 2000), size_pt=(side_pt, side_pt))

    picture = read_picture(path)

    assert picture.source.render_dpi == 250
    assert [finding.code for finding in picture.findings] == ["coarse-page"]


def test_page_too_large_at_any_useful_resolution(tmp_path: Path) -> None:
    # ISO 32000-1, annex C: at most 14 400 units, 5080 mm; at 100 dpi 400 MP and a little.
    path = drawn(tmp_path, lambda canvas: canvas.rect(500, 500, 3000, 2000), size_pt=(14_400, 14_400))

    with pytest.raises(PictureError, match=r"Page 1 of plan\.pdf is 5080 x 5080 mm"):
        read_picture(path)


# ISO 32000-1, table 30: UserUnit is the size of a unit in multiples of 1/72 inch.
@pytest.mark.parametrize("packed", ["plain", "in an object stream"])
def test_user_unit_makes_the_page_larger(tmp_path: Path, packed: str) -> None:
    content = b"20 20 100 60 re S"
    page = b"<</Type/Page/Parent 2 0 R/MediaBox[0 0 144 108]/UserUnit 2.5/Contents 4 0 R>>"
    objects = [
        b"<</Type/Catalog/Pages 2 0 R>>",
        b"<</Type/Pages/Kids[3 0 R]/Count 1>>",
        page,
        b"<</Length %d>>stream\n%s\nendstream" % (len(content), content),
    ]
    path = written(tmp_path, objects) if packed == "plain" else with_object_stream(tmp_path, objects)

    picture = read_picture(path)

    # 144 units of 2.5 / 72 inch are 5 inches.
    assert (picture.width_px, picture.height_px) == (1500, 1125)
    assert claimed_size_mm(picture) == pytest.approx((127.0, 95.25))
    assert [(finding.code, finding.level) for finding in picture.findings] == [("pdf-user-unit", Level.NOTE)]


def with_object_stream(tmp_path: Path, objects: list[bytes]) -> Path:
    """The first three objects in a compressed stream, found by a cross-reference stream (ISO 32000-1, 7.5.7, 7.5.8)."""
    places, bodies = b"", b""
    for number, body in enumerate(objects[:3], 1):
        places += b"%d %d " % (number, len(bodies))
        bodies += body + b" "
    packed = zlib.compress(places + bodies)
    data = b"%PDF-1.6\n"
    content_at = len(data)
    data += b"4 0 obj" + objects[3] + b"endobj\n"
    stream_at = len(data)
    data += b"5 0 obj<</Type/ObjStm/N 3/First %d/Filter/FlateDecode/Length %d>>stream\n%s\nendstream endobj\n" % (
        len(places),
        len(packed),
        packed,
    )
    table_at = len(data)
    rows = [(0, 0, 65535), (2, 5, 0), (2, 5, 1), (2, 5, 2), (1, content_at, 0), (1, stream_at, 0), (1, table_at, 0)]
    table = b"".join(
        bytes([kind]) + first.to_bytes(4, "big") + second.to_bytes(2, "big") for kind, first, second in rows
    )
    data += b"6 0 obj<</Type/XRef/Size 7/W[1 4 2]/Root 1 0 R/Length %d>>stream\n%s\nendstream endobj\n" % (
        len(table),
        table,
    )
    path = tmp_path / "packed.pdf"
    path.write_bytes(data + b"startxref\n%d\n%%%%EOF\n" % table_at)
    return path


@pytest.mark.parametrize("part", [0.02, 0.5, 0.9])
def test_cut_short_is_refused_or_told(tmp_path: Path, part: float) -> None:
    path = placed(tmp_path, plan(310, 210), (74.4, 0, 0, 50.4, 0, 0), size_pt=(74.4, 50.4))
    path.write_bytes(path.read_bytes()[: int(part * path.stat().st_size)])

    try:
        levels = [finding.level for finding in read_picture(path).findings]
    except PictureError:
        levels = [Level.DECIDE]

    assert Level.DECIDE in levels


LINE_MIDDLE_MM = 0.03
"""A third of a 300 dpi pixel: a hairline is drawn one or two pixels wide, its middle known to a fraction of that."""

SHEET_ERROR = 7e-4
"""The file's own lines are 0.065 % over the 254.000 x 125.730 mm of its maker's DXF, as if its page had grown."""


@real
def test_real_panel_has_its_outline_at_300_dpi() -> None:
    path = real_file("panel_life_size.pdf")

    picture = read_picture(path)

    # The sides are the straight lines longer than the 67 mm slots, 791 px.
    sides_px = [line_middles(picture.grey, axis=axis, longer_px=1000) for axis in (0, 1)]
    found_mm = [np.ptp(side) / 300 * MM_PER_INCH for side in sides_px]
    assert found_mm == pytest.approx(sides_stated_mm(path), abs=LINE_MIDDLE_MM)
    assert found_mm == pytest.approx([254.000, 125.730], rel=SHEET_ERROR)


def line_middles(grey: np.ndarray, *, axis: int, longer_px: int) -> list[float]:
    """Darkness-weighted middles of the first and the last straight line along an axis."""
    at = np.flatnonzero((grey < 250).sum(axis=axis) > longer_px)
    middles = []
    for near in (np.arange(at[0] - 1, at[0] + 3), np.arange(at[-1] - 2, at[-1] + 2)):
        # The middle stretch of the line only: corners are round.
        part = np.moveaxis(255.0 - grey, axis, 0)[len(grey) // 10 : len(grey) // 4, near].sum(axis=0)
        middles.append(float((near * part).sum() / part.sum()))
    return middles


def sides_stated_mm(path: Path) -> list[float]:
    """Distances of the outline's opposite sides as the page's own objects state them."""
    with pypdfium2.PdfDocument(path) as document:
        boxes = np.array([item.get_bounds() for item in document[0].get_objects()])
    size = boxes[:, 2:] - boxes[:, :2]
    upright = boxes[(size[:, 1] > 300) & (size[:, 0] < 1)]
    level = boxes[(size[:, 0] > 300) & (size[:, 1] < 1)]
    return [float(np.ptp(upright[:, 0])) / 72 * MM_PER_INCH, float(np.ptp(level[:, 1])) / 72 * MM_PER_INCH]


# The grey route and the colour route draw one page alike; lines may not move between them.
@real
def test_real_panel_in_grey_and_in_colour_agree() -> None:
    picture = read_picture(real_file("panel_life_size.pdf"))

    colour = read_colour(picture.source)

    weighted = colour @ np.array([0.299, 0.587, 0.114])
    assert np.abs(weighted - picture.grey).max() < 4


def test_renderers_page_size_agrees(tmp_path: Path) -> None:
    path = drawn(tmp_path, lambda canvas: canvas.drawImage(ImageReader(Image.fromarray(plan())), 0, 0, 300, 200))

    with pypdfium2.PdfDocument(path) as document:
        size_pt = document[0].get_size()
    size_mm = claimed_size_mm(read_picture(path))

    assert size_mm == pytest.approx([value / 72 * MM_PER_INCH for value in size_pt], rel=DPI_ROUNDING)
