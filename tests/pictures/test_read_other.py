from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from pictures.picture import PictureError
from pictures.read import read_picture
from tests.pictures.plans import plan, two_tone


@pytest.mark.parametrize("name", ["plan.bmp", "plan.gif", "plan.webp"])
def test_lossless_formats_are_read_as_stored(tmp_path: Path, name: str) -> None:
    path = tmp_path / name
    Image.fromarray(plan()).save(path, lossless=True)

    picture = read_picture(path)

    assert np.array_equal(picture.grey, plan())
    assert not picture.source.colour


def test_one_bit_bmp(tmp_path: Path) -> None:
    path = tmp_path / "plan.bmp"
    Image.fromarray(two_tone()).convert("1").save(path, dpi=(300, 300))

    picture = read_picture(path)

    assert picture.source.bilevel
    assert np.array_equal(picture.grey, two_tone())
    # BMP holds whole px per metre: 11811 for 300 dpi.
    assert picture.source.tag_dpi == pytest.approx((300, 300), abs=0.02)


@pytest.mark.parametrize("name", ["plan.bmp", "plan.gif", "plan.webp"])
def test_cut_short(tmp_path: Path, name: str) -> None:
    path = tmp_path / name
    Image.fromarray(plan()).save(path, lossless=True)
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])

    with pytest.raises(PictureError, match="damaged"):
        read_picture(path)


# ISO 14496-12: a box of type ftyp, brand heic (ISO 23008-12), then nothing that could be a picture.
def test_heic_without_a_picture(tmp_path: Path) -> None:
    path = tmp_path / "phone.heic"
    path.write_bytes(b"\0\0\0\x18ftypheic\0\0\0\0mif1heic" + bytes(500))

    with pytest.raises(PictureError, match="damaged HEIC"):
        read_picture(path)
