"""Pages of a PDF that hold a scan."""

import zlib
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from pictures.picture import Medium, PictureError
from pictures.read import read_colour, read_picture
from tests.pictures.pdfs import DPI_ROUNDING, placed, written
from tests.pictures.plans import plan, two_tone


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
