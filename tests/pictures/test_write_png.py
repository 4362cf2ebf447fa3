"""The flat picture's file, read back with Pillow (not the library that wrote it)."""

from concurrent.futures import ThreadPoolExecutor
from io import BytesIO
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from pictures.flat import FlatPicture
from pictures.write_png import flat_png


def _noise(shape: tuple[int, ...]) -> np.ndarray:
    return np.random.default_rng(5).integers(0, 256, shape, dtype=np.uint8)


@pytest.mark.parametrize("shape", [(30, 50), (30, 50, 3)])
def test_a_flat_picture_comes_back_with_its_pixels_and_its_exact_size(tmp_path: Path, shape: tuple[int, ...]) -> None:
    flat = FlatPicture(_noise(shape), 5905, (0.0, 0.0))

    (tmp_path / "flat.png").write_bytes(flat_png(flat))

    with Image.open(tmp_path / "flat.png") as image:
        image.load()
        assert np.array_equal(np.asarray(image), flat.pixels)
        # Pillow gives pHYs as dots per inch; 1 in = 0.0254 m exactly (international yard and pound agreement, 1959).
        assert image.info["dpi"] == pytest.approx((5905 * 0.0254, 5905 * 0.0254), abs=1e-9)


def test_300_dpi_is_11811_px_per_metre_in_the_file() -> None:
    # PNG specification, pHYs: 300 dpi = 11811 px per metre; unit byte 1 = metre.
    data = flat_png(FlatPicture(_noise((4, 4)), 11811, (0.0, 0.0)))

    at = data.index(b"pHYs") + 4
    assert data[at : at + 9] == (11811).to_bytes(4, "big") * 2 + b"\x01"
    assert at < data.index(b"IDAT")


def test_a_flat_picture_can_be_packed_in_a_thread() -> None:
    flat = FlatPicture(_noise((300, 400, 3)), 4000, (0.0, 0.0))

    with ThreadPoolExecutor(max_workers=1) as beside:
        data = beside.submit(flat_png, flat).result()

    with Image.open(BytesIO(data)) as image:
        assert np.array_equal(np.asarray(image), flat.pixels)
