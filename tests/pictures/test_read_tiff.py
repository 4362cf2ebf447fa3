import struct
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from PIL import Image, TiffImagePlugin

from drawing.findings import Level
from pictures.picture import PictureError
from pictures.read import read_colour, read_picture
from tests.pictures.plans import plan, real, real_file, two_tone

COMPRESSIONS = [None, "group3", "group4", "tiff_lzw", "packbits", "tiff_adobe_deflate"]


def saved(tmp_path: Path, image: Image.Image, tags: dict[int, Any] | None = None, **options: Any) -> Path:
    path = tmp_path / "scan.tif"
    directory = TiffImagePlugin.ImageFileDirectory_v2()
    for tag, value in (tags or {}).items():
        directory[tag] = value
    image.save(path, tiffinfo=directory, **options)
    return path


# TIFF 6.0: tag 262 is 0 for white-is-zero, 1 for black-is-zero.
@pytest.mark.parametrize("compression", COMPRESSIONS)
@pytest.mark.parametrize("photometric", [0, 1])
def test_one_bit_in_every_compression(tmp_path: Path, compression: str | None, photometric: int) -> None:
    image = Image.fromarray(two_tone()).convert("1")

    picture = read_picture(saved(tmp_path, image, {262: photometric}, compression=compression))

    assert np.array_equal(picture.grey, two_tone())
    assert picture.source.bilevel
    assert not picture.source.inverted


@pytest.mark.parametrize("compression", [None, "group4"])
@pytest.mark.parametrize(
    ("orientation", "stores"),
    [
        (2, lambda upright: upright[:, ::-1]),
        (3, lambda upright: upright[::-1, ::-1]),
        (4, lambda upright: upright[::-1]),
        (5, lambda upright: upright.T),
        (6, lambda upright: np.rot90(upright)),
        (7, lambda upright: upright[::-1, ::-1].T),
        (8, lambda upright: np.rot90(upright, -1)),
    ],
)
def test_orientations_and_unequal_resolution(
    tmp_path: Path, orientation: int, stores: Any, compression: str | None
) -> None:
    stored = Image.fromarray(np.ascontiguousarray(stores(two_tone()))).convert("1")
    path = saved(tmp_path, stored, {274: orientation, 282: 204.0, 283: 98.0}, compression=compression)

    picture = read_picture(path)

    assert np.array_equal(picture.grey, two_tone())
    assert picture.source.tag_dpi == ((204, 98) if orientation < 5 else (98, 204))


@pytest.mark.parametrize("compression", [None, "tiff_lzw"])
def test_16_bits_white_is_zero(tmp_path: Path, compression: str | None) -> None:
    stored = Image.fromarray((65535 - plan().astype(np.uint16) * 257).astype(np.uint16))

    picture = read_picture(saved(tmp_path, stored, {262: 0}, compression=compression))

    assert np.array_equal(picture.grey, plan())


def test_16_bit_colour(tmp_path: Path) -> None:
    rgb = np.dstack([plan(), plan(seed=6), plan(seed=7)])
    path = tmp_path / "deep.tif"
    cv2.imwrite(str(path), rgb[..., ::-1].astype(np.uint16) * 257)

    picture = read_picture(path)

    assert picture.source.colour
    assert np.array_equal(read_colour(picture.source), rgb)


def test_float_samples_that_are_no_numbers(tmp_path: Path) -> None:
    samples = plan().astype(np.float32)
    samples[10, 20] = np.nan

    with pytest.raises(PictureError, match="not numbers"):
        read_picture(saved(tmp_path, Image.fromarray(samples)))


def test_palette_and_four_inks(tmp_path: Path) -> None:
    grey = Image.fromarray(plan())
    palette = grey.convert("P")

    assert np.array_equal(read_picture(saved(tmp_path, palette)).grey, plan())
    assert np.array_equal(read_picture(saved(tmp_path, grey.convert("RGB").convert("CMYK"))).grey, plan())


def test_pages(tmp_path: Path) -> None:
    path = tmp_path / "pages.tif"
    sheets = [Image.fromarray(plan(300 + 10 * number, 200, seed=number)) for number in range(3)]
    sheets[0].save(path, save_all=True, append_images=sheets[1:], compression="tiff_lzw")

    second = read_picture(path, page=2)

    assert (second.source.page, second.source.pages) == (2, 3)
    assert np.array_equal(second.grey, plan(310, 200, seed=1))
    with pytest.raises(PictureError, match="has 3 pages, page 5 was asked"):
        read_picture(path, page=5)


@pytest.mark.parametrize("page", [1, 2])
def test_fax_pages(tmp_path: Path, page: int) -> None:
    path = tmp_path / "pages.tif"
    sheets = [Image.fromarray(two_tone(300 + number, 200)).convert("1") for number in range(3)]
    sheets[0].save(path, save_all=True, append_images=sheets[1:], compression="group4")

    assert np.array_equal(read_picture(path, page=page).grey, two_tone(299 + page, 200))


# TIFF 6.0, section 15: tiles of 32 x 48 px, the last ones filled up beyond the picture.
def test_tiles(tmp_path: Path) -> None:
    sheet = plan(310, 210)
    padded = np.zeros((240, 320), np.uint8)
    padded[:210, :310] = sheet
    tiles = [padded[row : row + 48, column : column + 32] for row in range(0, 240, 48) for column in range(0, 320, 32)]
    path = tmp_path / "tiles.tif"
    data = b"".join(tile.tobytes() for tile in tiles)
    count = len(tiles)
    first_tile = 8
    offsets_at = first_tile + len(data)
    sizes_at = offsets_at + 4 * count
    directory_at = sizes_at + 4 * count
    entries = [
        (256, 4, 1, 310),
        (257, 4, 1, 210),
        (258, 3, 1, 8),
        (259, 3, 1, 1),
        (262, 3, 1, 1),
        (277, 3, 1, 1),
        (322, 4, 1, 32),
        (323, 4, 1, 48),
        (324, 4, count, offsets_at),
        (325, 4, count, sizes_at),
    ]
    tile_bytes = 32 * 48
    body = b"II*\0" + directory_at.to_bytes(4, "little") + data
    body += b"".join((first_tile + tile_bytes * number).to_bytes(4, "little") for number in range(count))
    body += tile_bytes.to_bytes(4, "little") * count
    body += len(entries).to_bytes(2, "little")
    for tag, kind, items, value in entries:
        body += struct.pack("<HHII", tag, kind, items, value)
    path.write_bytes(body + bytes(4))

    assert np.array_equal(read_picture(path).grey, sheet)


@pytest.mark.parametrize("compression", COMPRESSIONS)
@pytest.mark.parametrize("part", [0.3, 0.9])
def test_cut_short(tmp_path: Path, compression: str | None, part: float) -> None:
    path = saved(tmp_path, Image.fromarray(two_tone()).convert("1"), compression=compression)
    data = path.read_bytes()
    # The directory goes before the data here, as scanners write it: only picture data is missing.
    path.write_bytes(directory_first(data)[: int(len(data) * part)])

    with pytest.raises(PictureError, match="damaged TIFF"):
        read_picture(path)


def directory_first(data: bytes) -> bytes:
    """Move the directory of a one-strip little-endian TIFF before its strip (TIFF 6.0, section 2)."""
    at = int.from_bytes(data[4:8], "little")
    if at == 8:
        return data
    count = int.from_bytes(data[at : at + 2], "little")
    size = 2 + 12 * count + 4
    directory = bytearray(data[at : at + size])
    tail = data[at + size :]
    for number in range(count):
        entry = 2 + 12 * number
        tag, kind = (int.from_bytes(directory[entry + k : entry + k + 2], "little") for k in (0, 2))
        items = int.from_bytes(directory[entry + 4 : entry + 8], "little")
        value = int.from_bytes(directory[entry + 8 : entry + 12], "little")
        wide = items * {3: 2, 4: 4, 5: 8}.get(kind, 1) > 4
        if tag == 273 and items == 1:
            value += size + len(tail)
        elif wide:
            value = 8 + size + value - (at + size)
        directory[entry + 8 : entry + 12] = value.to_bytes(4, "little")
    return b"II*\0" + (8).to_bytes(4, "little") + bytes(directory) + tail + data[8:at]


def test_directory_first_is_the_same_picture(tmp_path: Path) -> None:
    path = saved(tmp_path, Image.fromarray(two_tone()).convert("1"), compression="group4")
    path.write_bytes(directory_first(path.read_bytes()))

    assert np.array_equal(read_picture(path).grey, two_tone())


@pytest.mark.parametrize("compression", ["group3", "group4"])
def test_damaged_fax_data_is_told(tmp_path: Path, compression: str, capfd: pytest.CaptureFixture[str]) -> None:
    path = saved(tmp_path, Image.fromarray(two_tone()).convert("1"), compression=compression)
    data = bytearray(path.read_bytes())
    with Image.open(path) as image:
        start, length = image.tag_v2[273][0], image.tag_v2[279][0]
    data[start + length // 2 : start + length // 2 + 12] = b"\x5a" * 12
    path.write_bytes(data)

    picture = read_picture(path)

    assert [(finding.code, finding.level) for finding in picture.findings] == [("picture-damaged", Level.DECIDE)]
    assert capfd.readouterr().err == ""


# Both files show one sheet, the G3 one made from the other by another program; their tag claims 96 dpi, while 10 mm on
# the printed ruler are 117.99 px: 299.7 dpi.
@real
def test_real_g3_is_the_colour_file_thresholded(capfd: pytest.CaptureFixture[str]) -> None:
    colour = read_picture(real_file("ruler_target_colour.tif"))

    fax = read_picture(real_file("ruler_target_g3.tif"))

    assert colour.grey.shape == fax.grey.shape == (1313, 801)
    assert fax.source.bilevel
    assert colour.source.tag_dpi == fax.source.tag_dpi == (96, 96)
    agree = (cv2.GaussianBlur(colour.grey, (5, 5), 0) > 128) == (cv2.GaussianBlur(fax.grey, (5, 5), 0) > 128)
    assert agree.mean() > 0.9
    assert capfd.readouterr().err == ""


# The tag 274 of this file is 6; the library that keeps it as a test shows it 590 wide and 88 high.
@real
def test_real_fax_with_an_orientation() -> None:
    picture = read_picture(real_file("orientation/pil_g4_orientation_6.tif"))

    assert (picture.width_px, picture.height_px) == (590, 88)
