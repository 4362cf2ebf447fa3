from io import BytesIO
from typing import Any

import numpy as np
import pytest
from PIL import Image, TiffImagePlugin

from pictures.claims import Claims, read_claims
from tests.pictures.plans import plan


def claims(kind: str, **options: Any) -> Claims:
    stored = BytesIO()
    Image.fromarray(plan()).save(stored, kind, **options)
    with Image.open(BytesIO(stored.getvalue())) as image:
        return read_claims(image)


def exif(values: dict[int, Any], inner: dict[int, Any] | None = None) -> Image.Exif:
    block = Image.Exif()
    block.update(values)
    block.get_ifd(0x8769).update(inner or {})
    return block


# Tag numbers and meanings: EXIF 2.3, tables 4 to 8.
def test_camera_and_focal_length() -> None:
    found = claims("JPEG", exif=exif({271: "Invented", 272: "Invented P7", 274: 6}, {0xA405: 26}))

    assert (found.camera, found.focal_35mm, found.orientation) == ("Invented P7", 26, 6)


def test_focal_length_of_zero_means_unknown() -> None:
    assert claims("JPEG", exif=exif({271: "Maker\0", 272: "P7 "}, {0xA405: 0})) == Claims(camera="Maker P7")


@pytest.mark.parametrize("orientation", [0, 9, 65535])
def test_senseless_orientation_is_none(orientation: int) -> None:
    assert claims("JPEG", exif=exif({274: orientation})).orientation == 1


def test_jfif_density() -> None:
    assert claims("JPEG", dpi=(300, 150)).tag_dpi == (300, 150)
    assert claims("JPEG").tag_dpi is None


def test_exif_resolution_in_centimetres_where_jfif_says_nothing() -> None:
    found = claims("JPEG", exif=exif({282: 118.11, 283: 59.055, 296: 3}))

    assert found.tag_dpi == pytest.approx((300, 150), rel=1e-4)


# PNG 1.2, 11.3.5.3: pHYs is px per metre; 300 dpi is 11811, which is 299.9994 dpi; 600 is 23622.
def test_png_phys() -> None:
    assert claims("PNG", dpi=(300, 600)).tag_dpi == pytest.approx((299.9994, 599.9988), abs=1e-3)


def test_tiff_of_unequal_resolution_and_its_unit() -> None:
    tags = TiffImagePlugin.ImageFileDirectory_v2()
    tags[282], tags[283], tags[296] = 204.0, 98.0, 2

    assert claims("TIFF", tiffinfo=tags).tag_dpi == (204, 98)

    tags[296] = 1

    assert claims("TIFF", tiffinfo=tags).tag_dpi is None


def test_resolution_over_zero_claims_nothing() -> None:
    tags = TiffImagePlugin.ImageFileDirectory_v2()
    tags[282], tags[283] = TiffImagePlugin.IFDRational(300, 0), 300

    assert claims("TIFF", tiffinfo=tags).tag_dpi is None


def test_turned_picture_swaps_its_resolutions() -> None:
    assert Claims(tag_dpi=(300, 150), orientation=6).upright_dpi == (150, 300)
    assert Claims(tag_dpi=(300, 150), orientation=3).upright_dpi == (300, 150)


@pytest.mark.filterwarnings("ignore:.*EXIF:UserWarning")
def test_nonsense_in_exif_claims_nothing() -> None:
    rng = np.random.default_rng(2)
    for _ in range(50):
        stored = BytesIO()
        Image.fromarray(plan()).save(stored, "JPEG", exif=b"Exif\0\0II*\0" + rng.bytes(60))
        with Image.open(BytesIO(stored.getvalue())) as image:
            assert read_claims(image).orientation in range(1, 9)
