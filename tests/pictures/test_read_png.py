import struct
import zlib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from pictures.picture import PictureError
from pictures.read import read_colour, read_picture
from tests.pictures.plans import plan, png, two_tone

ROUNDING_LEVELS = 1
"""Grey levels by which weights of red, green and blue may round."""


def saved(tmp_path: Path, image: Image.Image, **options: Any) -> Path:
    path = tmp_path / "plan.png"
    image.save(path, **options)
    return path


def test_grey_is_read_as_stored(tmp_path: Path) -> None:
    picture = read_picture(saved(tmp_path, Image.fromarray(plan()), dpi=(300, 150)))

    assert np.array_equal(picture.grey, plan())
    assert not picture.source.colour
    assert picture.source.tag_dpi == pytest.approx((300, 150), abs=0.02)


def test_one_bit(tmp_path: Path) -> None:
    picture = read_picture(saved(tmp_path, Image.fromarray(two_tone()).convert("1")))

    assert np.array_equal(picture.grey, two_tone())
    assert picture.source.bilevel


def test_palette_of_two_colours_becomes_black_and_white(tmp_path: Path) -> None:
    indices = Image.fromarray((two_tone() // 255).astype(np.uint8), "P")
    indices.putpalette([30, 30, 90, 250, 240, 210])

    picture = read_picture(saved(tmp_path, indices))

    assert np.array_equal(picture.grey, two_tone())
    assert picture.source.bilevel


# PNG 1.2, 11.3.2.1: tRNS gives palette entries an alpha.
def test_transparent_palette_entry_lies_over_white(tmp_path: Path) -> None:
    indices = Image.fromarray((two_tone() // 255).astype(np.uint8), "P")
    indices.putpalette([20, 20, 20, 0, 0, 0])

    picture = read_picture(saved(tmp_path, indices, transparency=b"\xff\x00"))

    assert np.array_equal(picture.grey, two_tone())


@pytest.mark.parametrize("mode", ["RGBA", "LA"])
def test_transparent_paper_is_white(tmp_path: Path, mode: str) -> None:
    ink = Image.new("L", (310, 210), 0)
    layered = Image.merge(mode, [*[ink] * (len(mode) - 1), Image.fromarray(255 - plan(paper=255, ink=60))])

    picture = read_picture(saved(tmp_path, layered))

    assert np.abs(picture.grey.astype(int) - plan(paper=255, ink=60)).max() <= ROUNDING_LEVELS


def test_16_bit_grey(tmp_path: Path) -> None:
    picture = read_picture(saved(tmp_path, Image.fromarray(plan().astype(np.uint16) * 257)))

    assert np.array_equal(picture.grey, plan())


@pytest.mark.parametrize(("colour_type", "count"), [(2, 3), (4, 2), (6, 4)])
@pytest.mark.parametrize("factor", [257, 16])
def test_16_bit_colour_and_alpha_keep_their_low_bits(tmp_path: Path, colour_type: int, count: int, factor: int) -> None:
    samples = np.repeat(plan(paper=255, ink=0)[..., None], count, 2).astype(np.uint16) * np.uint16(factor)
    if count in (2, 4):
        samples[..., -1] = 65535
    rows = b"".join(b"\0" + row.astype(">u2").tobytes() for row in samples)
    header = struct.pack(">IIBBBBB", 310, 210, 16, colour_type, 0, 0, 0)
    path = tmp_path / "deep.png"
    path.write_bytes(png(header, (b"IDAT", zlib.compress(rows))))

    picture = read_picture(path)

    assert np.array_equal(picture.grey, plan(paper=255, ink=0))
    assert [finding.code for finding in picture.findings] == ([] if factor == 257 else ["tones-stretched"])


def test_orientation_in_an_exif_chunk(tmp_path: Path) -> None:
    exif = Image.Exif()
    exif[274] = 6

    picture = read_picture(saved(tmp_path, Image.fromarray(np.rot90(plan()).copy()), exif=exif))

    assert np.array_equal(picture.grey, plan())


def test_colour_is_red_first(tmp_path: Path) -> None:
    rgb = np.dstack([plan(), plan(seed=6), plan(seed=7)])

    picture = read_picture(saved(tmp_path, Image.fromarray(rgb)))

    assert picture.source.colour
    assert np.array_equal(read_colour(picture.source), rgb)


def test_header_of_a_bomb_is_refused_before_decoding(tmp_path: Path) -> None:
    header = struct.pack(">IIBBBBB", 2**31 - 1, 2**31 - 1, 8, 6, 0, 0, 0)
    path = tmp_path / "bomb.png"
    path.write_bytes(png(header, (b"IDAT", zlib.compress(bytes(1_000_000)))))

    with pytest.raises(PictureError, match="at most 400 megapixels"):
        read_picture(path)


# PNG 1.2, 8.1: interlaced files hold seven passes; the reader must count them to know that all are there.
@pytest.mark.parametrize("mode", ["1", "L", "P", "RGB"])
def test_interlaced_by_another_writer(tmp_path: Path, mode: str) -> None:
    sheet = plan(311, 213)
    stored = {"1": sheet > 128, "L": sheet, "P": sheet // 16, "RGB": np.dstack([sheet] * 3)}[mode]
    bits = {"1": 1, "L": 8, "P": 4, "RGB": 8}[mode]
    data = b""
    # First row, first column, step of rows, step of columns of each pass.
    for row, column, down, across in (
        (0, 0, 8, 8),
        (0, 4, 8, 8),
        (4, 0, 8, 4),
        (0, 2, 4, 4),
        (2, 0, 4, 2),
        (0, 1, 2, 2),
        (1, 0, 2, 1),
    ):
        for line in stored[row::down, column::across]:
            if bits == 1:
                packed = np.packbits(line)
            elif bits == 4:
                even = np.pad(line, (0, len(line) % 2))
                packed = even[::2] * 16 + even[1::2]
            else:
                packed = line
            data += b"\0" + packed.astype(np.uint8).tobytes()
    colour_type = {"1": 0, "L": 0, "P": 3, "RGB": 2}[mode]
    chunks = [(b"IDAT", zlib.compress(data))]
    if mode == "P":
        chunks.insert(0, (b"PLTE", bytes(np.repeat(np.arange(16) * 17, 3).astype(np.uint8))))
    path = tmp_path / "interlaced.png"
    path.write_bytes(png(struct.pack(">IIBBBBB", 311, 213, bits, colour_type, 0, 0, 1), *chunks))

    picture = read_picture(path)

    shown = {"1": np.where(stored, 255, 0), "P": stored.astype(int) * 17}.get(mode, sheet)
    assert np.array_equal(picture.grey, shown)

    path.write_bytes(
        png(
            struct.pack(">IIBBBBB", 311, 213, bits, colour_type, 0, 0, 1),
            *chunks[:-1],
            (b"IDAT", zlib.compress(data[:-9])),
        )
    )
    with pytest.raises(PictureError, match="damaged PNG"):
        read_picture(path)


@pytest.mark.parametrize("rows", [0, 1, 150, 209])
def test_fewer_rows_than_the_header_says(tmp_path: Path, rows: int) -> None:
    data = b"".join(b"\0" + row.tobytes() for row in plan()[:rows])
    path = tmp_path / "short.png"
    path.write_bytes(png(struct.pack(">IIBBBBB", 310, 210, 8, 0, 0, 0, 0), (b"IDAT", zlib.compress(data))))

    with pytest.raises(PictureError, match="damaged PNG"):
        read_picture(path)


@pytest.mark.parametrize("rows", [0, 1, 150, 209])
def test_fewer_rows_of_deep_colour(tmp_path: Path, rows: int) -> None:
    samples = np.dstack([plan()] * 3).astype(">u2") * np.uint16(257)
    data = b"".join(b"\0" + row.tobytes() for row in samples[:rows])
    path = tmp_path / "short.png"
    path.write_bytes(png(struct.pack(">IIBBBBB", 310, 210, 16, 2, 0, 0, 0), (b"IDAT", zlib.compress(data))))

    with pytest.raises(PictureError, match="damaged PNG"):
        read_picture(path)


@pytest.mark.parametrize("part", [0.02, 0.4, 0.99])
def test_cut_short(tmp_path: Path, part: float) -> None:
    path = saved(tmp_path, Image.fromarray(plan()))
    path.write_bytes(path.read_bytes()[: int(part * path.stat().st_size)])

    with pytest.raises(PictureError, match="ends too early"):
        read_picture(path)


def test_one_wrong_bit_in_the_data(tmp_path: Path) -> None:
    path = saved(tmp_path, Image.fromarray(plan()))
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 1
    path.write_bytes(data)

    with pytest.raises(PictureError, match="a checksum is wrong"):
        read_picture(path)
