"""The flat picture's file, read back with Pillow (not the library that wrote it)."""

import threading
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from pictures.flat import FlatPicture
from pictures.picture import PictureError
from pictures.write_png import write_flat


def _noise(shape: tuple[int, ...]) -> np.ndarray:
    return np.random.default_rng(5).integers(0, 256, shape, dtype=np.uint8)


@pytest.mark.parametrize("shape", [(30, 50), (30, 50, 3)])
def test_a_flat_picture_comes_back_with_its_pixels_and_its_exact_size(tmp_path: Path, shape: tuple[int, ...]) -> None:
    flat = FlatPicture(_noise(shape), 5905, (0.0, 0.0))

    write_flat(tmp_path / "flat.png", flat)

    with Image.open(tmp_path / "flat.png") as image:
        image.load()
        assert np.array_equal(np.asarray(image), flat.pixels)
        # Pillow gives pHYs as dots per inch; 1 in = 0.0254 m exactly (international yard and pound agreement, 1959).
        assert image.info["dpi"] == pytest.approx((5905 * 0.0254, 5905 * 0.0254), abs=1e-9)


def test_300_dpi_is_11811_px_per_metre_in_the_file(tmp_path: Path) -> None:
    # PNG specification, pHYs: 300 dpi = 11811 px per metre; unit byte 1 = metre.
    write_flat(tmp_path / "flat.png", FlatPicture(_noise((4, 4)), 11811, (0.0, 0.0)))

    data = (tmp_path / "flat.png").read_bytes()

    at = data.index(b"pHYs") + 4
    assert data[at : at + 9] == (11811).to_bytes(4, "big") * 2 + b"\x01"
    assert at < data.index(b"IDAT")


def test_a_flat_picture_can_be_written_from_a_thread(tmp_path: Path) -> None:
    flat = FlatPicture(_noise((300, 400, 3)), 4000, (0.0, 0.0))
    writer = threading.Thread(target=write_flat, args=(tmp_path / "flat.png", flat))

    writer.start()
    writer.join()

    with Image.open(tmp_path / "flat.png") as image:
        assert np.array_equal(np.asarray(image), flat.pixels)


def test_a_place_that_cannot_be_written_is_said_in_one_sentence(tmp_path: Path) -> None:
    with pytest.raises(PictureError, match="could not be written"):
        write_flat(tmp_path / "missing" / "flat.png", FlatPicture(_noise((4, 4)), 1000, (0.0, 0.0)))
