import zlib
from pathlib import Path

import numpy as np
import pypdfium2
import pytest

from pictures.page_image import page_image
from pictures.read_pdf import _draw, _draw_small
from pictures.reading import Channels
from pictures.stored_image import stored_pixels
from tests.pictures.plans import plan, two_tone
from tests.pictures.test_read_pdf import placed, written

WIDE = (74.4, 50.4)


def both_routes(path: Path, channels: Channels) -> tuple[np.ndarray | None, np.ndarray]:
    """The stored pixels, and the page drawn by the renderer on the same grid."""
    with pypdfium2.PdfDocument(path) as document:
        sheet = document[0]
        image = page_image(sheet)
        assert image is not None
        small_bgr = _draw_small(sheet, image.grid)
        return stored_pixels(image, small_bgr=small_bgr, channels=channels), _draw(sheet, image.grid, channels)


# The renderer places by matrix, Rotate and CropBox; the stored route only turns an array: two ways to one picture.
@pytest.mark.parametrize("channels", Channels)
@pytest.mark.parametrize("rotation", [0, 90, 180, 270])
@pytest.mark.parametrize("crop_pt", [None, (24, 12, 60, 48)])
@pytest.mark.parametrize(
    "matrix",
    [
        (74.4, 0, 0, 50.4, 0, 0),
        (-74.4, 0, 0, 50.4, 74.4, 0),
        (74.4, 0, 0, -50.4, 0, 50.4),
        (-74.4, 0, 0, -50.4, 74.4, 50.4),
        (0, 50.4, 74.4, 0, 0, 0),
        (0, 50.4, -74.4, 0, 74.4, 0),
        (0, -50.4, 74.4, 0, 0, 50.4),
        (0, -50.4, -74.4, 0, 74.4, 50.4),
    ],
)
def test_stored_pixels_are_what_the_renderer_draws(
    tmp_path: Path,
    matrix: tuple[float, ...],
    rotation: int,
    crop_pt: tuple[float, ...] | None,
    channels: Channels,
) -> None:
    scan = plan(310, 210) if matrix[0] else plan(210, 310)
    path = placed(tmp_path, scan, matrix, size_pt=WIDE, rotation=rotation, crop_pt=crop_pt)

    stored, drawn = both_routes(path, channels)

    assert stored is not None
    assert np.array_equal(stored, drawn)


def one_image(tmp_path: Path, entries: bytes, data: bytes, *further: bytes) -> Path:
    content = b"q 74.4 0 0 50.4 0 0 cm 0 g /I Do Q"
    image = zlib.compress(data)
    return written(
        tmp_path,
        [
            b"<</Type/Catalog/Pages 2 0 R>>",
            b"<</Type/Pages/Kids[3 0 R]/Count 1>>",
            b"<</Type/Page/Parent 2 0 R/MediaBox[0 0 74.4 50.4]/Contents 4 0 R/Resources<</XObject<</I 5 0 R>>>>>>",
            b"<</Length %d>>stream\n%s\nendstream" % (len(content), content),
            b"<</Type/XObject/Subtype/Image/Width 310/Height 210" + entries
            + b"/Filter/FlateDecode/Length %d>>stream\n%s\nendstream" % (len(image), image),
            *further,
        ],
    )  # fmt: skip


def soft_mask() -> bytes:
    mask = zlib.compress(np.full((210, 310), 90, np.uint8).tobytes())
    return (
        b"<</Type/XObject/Subtype/Image/Width 310/Height 210/ColorSpace/DeviceGray/BitsPerComponent 8"
        b"/Filter/FlateDecode/Length %d>>stream\n%s\nendstream" % (len(mask), mask)
    )


# ISO 32000-1: 8.9.6.2 stencil masks, table 89 Decode, 11.6.5.3 soft masks, 8.9.6.4 colour keys, 8.6.6.3 palettes.
@pytest.mark.parametrize(
    ("entries", "data", "further"),
    [
        (b"/ImageMask true/BitsPerComponent 1", np.packbits(two_tone() > 0, axis=1).tobytes(), ()),
        (b"/ColorSpace/DeviceGray/BitsPerComponent 8/Decode[1 0]", (255 - plan()).tobytes(), ()),
        (b"/ColorSpace/DeviceGray/BitsPerComponent 8/Decode[0 0.5]", plan().tobytes(), ()),
        (b"/ColorSpace/DeviceGray/BitsPerComponent 8/SMask 6 0 R", plan().tobytes(), (soft_mask(),)),
        (b"/ColorSpace/DeviceGray/BitsPerComponent 8/Mask[0 80]", plan().tobytes(), ()),
        (b"/ColorSpace[/Indexed/DeviceRGB 1<101030f0e0d0>]/BitsPerComponent 8", (two_tone() // 255).tobytes(), ()),
        (b"/ColorSpace/DeviceCMYK/BitsPerComponent 8", np.dstack([255 - plan()] * 4).tobytes(), ()),
        (b"/ColorSpace/DeviceGray/BitsPerComponent 16", (plan().astype(">u2") * 257).tobytes(), ()),
    ],
)
@pytest.mark.parametrize("channels", Channels)
def test_odd_images_look_as_drawn_or_are_left_to_the_renderer(
    tmp_path: Path, entries: bytes, data: bytes, further: tuple[bytes, ...], channels: Channels
) -> None:
    path = one_image(tmp_path, entries, data, *further)

    stored, drawn = both_routes(path, channels)

    assert stored is None or np.abs(stored.astype(int) - drawn).max() <= 1


def test_what_does_not_look_like_the_page_is_left_to_the_renderer(tmp_path: Path) -> None:
    path = placed(tmp_path, plan(310, 210), (74.4, 0, 0, 50.4, 0, 0), size_pt=WIDE)

    with pypdfium2.PdfDocument(path) as document:
        sheet = document[0]
        image = page_image(sheet)
        assert image is not None
        small_bgr = _draw_small(sheet, image.grid)
        found = [
            stored_pixels(image, small_bgr=np.ascontiguousarray(other), channels=Channels.GREY)
            for other in (small_bgr, 255 - small_bgr, small_bgr[::-1], small_bgr[:, ::-1])
        ]

    assert [pixels is None for pixels in found] == [False, True, True, True]


@pytest.mark.parametrize("stamp", [b"5 5 10 10 re f", b"BT /F 6 Tf 5 5 Td (7) Tj ET"])
def test_scan_with_a_stamp_is_left_to_the_renderer(tmp_path: Path, stamp: bytes) -> None:
    path = placed(tmp_path, plan(310, 210), (74.4, 0, 0, 50.4, 0, 0), size_pt=WIDE, text=stamp)

    stored, drawn = both_routes(path, Channels.GREY)

    assert stored is None
    assert drawn.shape == (210, 310)
