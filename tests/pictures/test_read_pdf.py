import zlib
from io import BytesIO
from pathlib import Path
from typing import Any

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
from tests.pictures.plans import plan, real, real_file, two_tone

MM_PER_INCH = 25.4
DPI_ROUNDING = 1e-4
"""Relative error that 32-bit page coordinates leave in a dpi figure."""


def drawn(tmp_path: Path, draw: Any, *, size_pt: tuple[float, float] = (300, 200), **options: Any) -> Path:
    path = tmp_path / "plan.pdf"
    canvas = Canvas(str(path), pagesize=size_pt, **options)
    draw(canvas)
    canvas.showPage()
    canvas.save()
    return path


def placed(
    tmp_path: Path,
    pixels: np.ndarray,
    matrix: tuple[float, ...],
    *,
    size_pt: tuple[float, float],
    rotation: int = 0,
    crop_pt: tuple[float, ...] | None = None,
    text: bytes = b"",
) -> Path:
    """A page with one grey image, written by hand (ISO 32000-1, 7.7.3.3 and 8.9): the matrix maps the unit square."""
    height, width = pixels.shape
    image = zlib.compress(pixels.tobytes())
    content = b"q " + b" ".join(b"%g" % value for value in matrix) + b" cm /I Do Q " + text
    crop = b"" if crop_pt is None else b"/CropBox[" + b" ".join(b"%g" % value for value in crop_pt) + b"]"
    objects = [
        b"<</Type/Catalog/Pages 2 0 R>>",
        b"<</Type/Pages/Kids[3 0 R]/Count 1>>",
        b"<</Type/Page/Parent 2 0 R/MediaBox[0 0 %g %g]/Rotate %d%s/Contents 4 0 R" % (*size_pt, rotation, crop)
        + b"/Resources<</XObject<</I 5 0 R>>/Font<</F<</Type/Font/Subtype/Type1/BaseFont/Helvetica>>>>>>>>",
        b"<</Length %d>>stream\n%s\nendstream" % (len(content), content),
        b"<</Type/XObject/Subtype/Image/Width %d/Height %d/ColorSpace/DeviceGray/BitsPerComponent 8" % (width, height)
        + b"/Filter/FlateDecode/Length %d>>stream\n%s\nendstream" % (len(image), image),
    ]
    return written(tmp_path, objects)


def written(tmp_path: Path, objects: list[bytes], *, version: bytes = b"1.6") -> Path:
    data, starts = b"%PDF-" + version + b"\n", []
    for number, body in enumerate(objects, 1):
        starts.append(len(data))
        data += b"%d 0 obj" % number + body + b"endobj\n"
    table = len(data)
    data += b"xref\n0 %d\n0000000000 65535 f \n" % (len(objects) + 1)
    data += b"".join(b"%010d 00000 n \n" % start for start in starts)
    data += b"trailer<</Root 1 0 R/Size %d>>\nstartxref\n%d\n%%%%EOF\n" % (len(objects) + 1, table)
    path = tmp_path / "hand.pdf"
    path.write_bytes(data)
    return path


# ISO 32000-1, 8.3.2.3: the unit is 1/72 inch. A box over 36 to 252 pt and 30 to 150 pt has these edges at 300 dpi.
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


@pytest.mark.parametrize(
    ("matrix", "rotation", "seen"),
    [
        ((74.4, 0, 0, 50.4, 0, 0), 0, lambda image: image),
        ((74.4, 0, 0, 50.4, 0, 0), 90, lambda image: np.rot90(image, -1)),
        ((74.4, 0, 0, 50.4, 0, 0), 180, lambda image: np.rot90(image, 2)),
        ((74.4, 0, 0, 50.4, 0, 0), 270, np.rot90),
        ((-74.4, 0, 0, 50.4, 74.4, 0), 0, lambda image: image[:, ::-1]),
        ((74.4, 0, 0, -50.4, 0, 50.4), 0, lambda image: image[::-1]),
        ((0, 50.4, -74.4, 0, 74.4, 0), 0, np.rot90),
        ((0, 50.4, 74.4, 0, 0, 0), 90, lambda image: np.rot90(np.rot90(image)[:, ::-1], -1)),
    ],
)
def test_scanned_page_is_read_at_the_scans_own_pixels(
    tmp_path: Path, matrix: tuple[float, ...], rotation: int, seen: Any
) -> None:
    # ISO 32000-1, 8.9.5.1: the image's upper left is at (0, 1) of the unit square; Rotate turns clockwise (table 30).
    size_pt = (74.4, 50.4)
    scan = plan(310, 210) if matrix[0] else plan(210, 310)
    path = placed(tmp_path, scan, matrix, size_pt=size_pt, rotation=rotation)

    picture = read_picture(path)

    assert picture.source.medium is Medium.PDF_IMAGE
    assert np.array_equal(picture.grey, seen(scan))
    assert picture.source.tag_dpi == pytest.approx((300, 300), rel=DPI_ROUNDING)


def test_unequal_resolution_is_kept(tmp_path: Path) -> None:
    path = placed(tmp_path, plan(310, 210), (310 * 72 / 204, 0, 0, 210 * 72 / 98, 0, 0), size_pt=(109.4, 154.2))

    picture = read_picture(path)

    assert np.array_equal(picture.grey, plan(310, 210))
    assert picture.source.tag_dpi == pytest.approx((204, 98), rel=DPI_ROUNDING)


@pytest.mark.parametrize("rotation", [0, 90])
def test_crop_box_shows_a_part_of_the_scan(tmp_path: Path, rotation: int) -> None:
    # 24, 12, 60, 48 pt are 100, 50, 250, 200 px of 300 dpi from the scan's lower left; 210 rows.
    crop_pt = (24, 12, 60, 48)
    path = placed(
        tmp_path, plan(310, 210), (74.4, 0, 0, 50.4, 0, 0), size_pt=(74.4, 50.4), rotation=rotation, crop_pt=crop_pt
    )

    picture = read_picture(path)

    shown = plan(310, 210)[10:160, 100:250]
    assert np.array_equal(picture.grey, shown if rotation == 0 else np.rot90(shown, -1))


def test_scan_beyond_the_page_and_within_a_margin(tmp_path: Path) -> None:
    over = placed(tmp_path, plan(310, 210), (74.4, 0, 0, 50.4, -2.4, -4.8), size_pt=(60, 40.8))

    assert np.array_equal(read_picture(over).grey, plan(310, 210)[20:190, 10:260])

    within = placed(tmp_path, plan(310, 210), (74.4, 0, 0, 50.4, 5, 7), size_pt=(90, 60))

    assert np.array_equal(read_picture(within).grey, plan(310, 210))


def test_scans_placed_anywhere_at_any_scale_come_out_pixel_by_pixel(tmp_path: Path) -> None:
    rng = np.random.default_rng(0)
    for _ in range(40):
        width, height = (int(side) for side in rng.integers(100, 400, 2))
        dpi_x, dpi_y = rng.uniform(60, 400, 2)
        left_pt, bottom_pt = rng.uniform(0, 8, 2)
        across_pt, down_pt = width * 72 / dpi_x, height * 72 / dpi_y
        scan = plan(width, height)
        path = placed(
            tmp_path,
            scan,
            (across_pt, 0, 0, down_pt, left_pt, bottom_pt),
            size_pt=(across_pt + left_pt + 3, down_pt + bottom_pt + 5),
        )

        picture = read_picture(path)

        assert np.array_equal(picture.grey, scan)
        assert picture.source.tag_dpi == pytest.approx((dpi_x, dpi_y), rel=DPI_ROUNDING)


def test_tilted_scan_is_drawn(tmp_path: Path) -> None:
    path = placed(tmp_path, plan(310, 210), (74.3, 3, -2, 50.3, 1, 0), size_pt=(74.4, 50.4))

    assert read_picture(path).source.medium is Medium.PDF_PAGE


# ISO 32000-1, 9.3.6: text rendering mode 3 is neither filled nor stroked; text recognition writes so.
@pytest.mark.parametrize(("mode", "medium"), [(3, Medium.PDF_IMAGE), (0, Medium.PDF_IMAGE)])
def test_hidden_text_and_a_stamp_leave_a_scan_a_scan(tmp_path: Path, mode: int, medium: Medium) -> None:
    text = b"BT /F 6 Tf %d Tr 5 5 Td (PLAN 7) Tj ET" % mode
    path = placed(tmp_path, plan(310, 210), (74.4, 0, 0, 50.4, 0, 0), size_pt=(74.4, 50.4), text=text)

    picture = read_picture(path)

    assert picture.source.medium is medium
    assert np.array_equal(picture.grey, plan(310, 210)) == (mode == 3)


def test_drawing_over_a_picture_is_drawn(tmp_path: Path) -> None:
    lines = b"".join(b"%d 0 m %d 50 l S " % (column, column) for column in range(40))
    path = placed(tmp_path, plan(310, 210), (74.4, 0, 0, 50.4, 0, 0), size_pt=(74.4, 50.4), text=lines)

    assert read_picture(path).source.medium is Medium.PDF_PAGE


def test_coarse_background_is_no_scan(tmp_path: Path) -> None:
    path = placed(tmp_path, plan(80, 70), (800, 0, 0, 700, 0, 0), size_pt=(800, 700))

    assert read_picture(path).source.medium is Medium.PDF_PAGE


@pytest.mark.parametrize("mask", [b"/ImageMask true", b"/ColorSpace/DeviceGray", b"/ColorSpace/DeviceGray/Decode[1 0]"])
def test_one_bit_images_and_masks_come_out_as_they_look(tmp_path: Path, mask: bytes) -> None:
    # ISO 32000-1, 8.9.6.2: where a stencil mask is 0 the page is painted; Decode [1 0] exchanges 0 and 1.
    paper = two_tone() > 0
    bits = ~paper if b"Decode" in mask else paper
    image = zlib.compress(np.packbits(bits, axis=1).tobytes())
    content = b"q 74.4 0 0 50.4 0 0 cm /I Do Q"
    path = written(
        tmp_path,
        [
            b"<</Type/Catalog/Pages 2 0 R>>",
            b"<</Type/Pages/Kids[3 0 R]/Count 1>>",
            b"<</Type/Page/Parent 2 0 R/MediaBox[0 0 74.4 50.4]/Contents 4 0 R/Resources<</XObject<</I 5 0 R>>>>>>",
            b"<</Length %d>>stream\n%s\nendstream" % (len(content), content),
            b"<</Type/XObject/Subtype/Image/Width 310/Height 210/BitsPerComponent 1" + mask
            + b"/Filter/FlateDecode/Length %d>>stream\n%s\nendstream" % (len(image), image),
        ],
    )  # fmt: skip

    picture = read_picture(path)

    assert picture.source.medium is Medium.PDF_IMAGE
    assert picture.source.bilevel
    assert np.array_equal(picture.grey, two_tone())


# Written by another library, whose image-to-PDF route states its own placement.
def test_scan_by_another_writer(tmp_path: Path) -> None:
    path = tmp_path / "scan.pdf"
    rgb = np.dstack([plan(1240, 870), plan(1240, 870, seed=6), plan(1240, 870)])
    Image.fromarray(rgb).save(path, resolution=200)

    picture = read_picture(path)

    assert picture.grey.shape == (870, 1240)
    assert picture.source.tag_dpi == pytest.approx((200, 200), rel=1e-3)
    assert picture.source.colour
    # Stored as JPEG: near, not equal; red and blue are not exchanged.
    assert np.abs(read_colour(picture.source).astype(int) - rgb).mean() < 8


def test_image_cut_short_in_a_whole_pdf_is_refused(tmp_path: Path) -> None:
    stored = BytesIO()
    Image.fromarray(plan(900, 700)).save(stored, "JPEG")
    cut = stored.getvalue()[: len(stored.getvalue()) // 2]
    content = b"q 216 0 0 168 0 0 cm /I Do Q"
    path = written(
        tmp_path,
        [
            b"<</Type/Catalog/Pages 2 0 R>>",
            b"<</Type/Pages/Kids[3 0 R]/Count 1>>",
            b"<</Type/Page/Parent 2 0 R/MediaBox[0 0 216 168]/Contents 4 0 R/Resources<</XObject<</I 5 0 R>>>>>>",
            b"<</Length %d>>stream\n%s\nendstream" % (len(content), content),
            b"<</Type/XObject/Subtype/Image/Width 900/Height 700/BitsPerComponent 8/ColorSpace/DeviceGray"
            b"/Filter/DCTDecode/Length %d>>stream\n%s\nendstream" % (len(cut), cut),
        ],
    )

    with pytest.raises(PictureError, match="picture on page 1 ends too early"):
        read_picture(path)


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
