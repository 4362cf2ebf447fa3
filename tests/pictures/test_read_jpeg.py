from io import BytesIO
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from PIL import Image

from drawing.findings import Level
from pictures.picture import PictureError
from pictures.read import read_colour, read_picture
from tests.pictures.plans import plan, real, real_file

JPEG_LEVELS = 3
"""Grey levels by which two right decodings of a JPEG may differ where a turn moves its 8 x 8 blocks."""


def jpeg(pixels: np.ndarray, **options: Any) -> bytes:
    stored = BytesIO()
    Image.fromarray(pixels).save(stored, "JPEG", quality=95, **options)
    return stored.getvalue()


def written(tmp_path: Path, data: bytes) -> Path:
    path = tmp_path / "plan.jpg"
    path.write_bytes(data)
    return path


def test_grey_is_what_the_plain_decoder_gives(tmp_path: Path) -> None:
    data = jpeg(np.dstack([plan(), plan(seed=6), plan()]))

    picture = read_picture(written(tmp_path, data))

    assert np.array_equal(picture.grey, cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_GRAYSCALE))
    assert (picture.width_px, picture.height_px) == (310, 210)


# EXIF 2.3, tag 274: value and the turn or mirror that stores an upright picture so (its inverse).
@pytest.mark.parametrize(
    ("orientation", "stores"),
    [
        (1, lambda upright: upright),
        (2, lambda upright: upright[:, ::-1]),
        (3, lambda upright: upright[::-1, ::-1]),
        (4, lambda upright: upright[::-1]),
        (5, lambda upright: upright.T),
        (6, lambda upright: np.rot90(upright)),
        (7, lambda upright: upright[::-1, ::-1].T),
        (8, lambda upright: np.rot90(upright, -1)),
    ],
)
def test_all_orientations_show_the_same_upright_picture(tmp_path: Path, orientation: int, stores: Any) -> None:
    upright = plan()
    exif = Image.Exif()
    exif[274] = orientation
    path = written(tmp_path, jpeg(np.ascontiguousarray(stores(upright)), exif=exif, dpi=(300, 200)))

    picture = read_picture(path)

    assert picture.grey.shape == upright.shape
    assert np.abs(picture.grey.astype(int) - upright).mean() < JPEG_LEVELS
    assert picture.source.tag_dpi == ((300, 200) if orientation < 5 else (200, 300))
    colour = read_colour(picture.source)
    assert colour.shape == (*upright.shape, 3)
    assert np.abs(colour[..., 0].astype(int) - upright).mean() < JPEG_LEVELS


# The collection's truth: every file of it, made by another program, shows the same 1800 x 1200 picture upright.
@real
@pytest.mark.parametrize("orientation", [3, 6, 8])
def test_real_orientations_show_what_the_upright_file_shows(orientation: int) -> None:
    upright = read_picture(real_file("orientation/Landscape_1.jpg"))

    turned = read_picture(real_file(f"orientation/Landscape_{orientation}.jpg"))

    assert (turned.width_px, turned.height_px) == (1800, 1200)
    # These files were photographed text drawn anew: the label names the orientation, all else is one picture.
    difference = cv2.blur(cv2.absdiff(turned.grey, upright.grey), (15, 15))
    assert float(np.mean(difference > 40)) < 0.02
    mirrored = cv2.blur(cv2.absdiff(turned.grey[::-1, ::-1].copy(), upright.grey), (15, 15))
    assert float(np.mean(mirrored > 40)) > 0.2


@pytest.mark.parametrize("part", [0.1, 0.5, 0.9, 0.999])
@pytest.mark.parametrize("progressive", [0, 1])
@pytest.mark.parametrize("tail", [b"", b"\xff\xd9"])
def test_cut_short_is_refused_even_with_an_end_mark(tmp_path: Path, part: float, progressive: int, tail: bytes) -> None:
    data = jpeg(plan(900, 700), progressive=bool(progressive))

    with pytest.raises(PictureError, match="damaged JPEG"):
        read_picture(written(tmp_path, data[: int(part * len(data))] + tail))


def test_cut_short_with_its_preview_whole_is_refused(tmp_path: Path) -> None:
    exif = Image.Exif()
    exif[0x9286] = b"preview " + jpeg(plan(80, 70))
    data = jpeg(plan(900, 700), exif=exif)

    with pytest.raises(PictureError, match="damaged JPEG"):
        read_picture(written(tmp_path, data[: int(0.97 * len(data))]))


def test_what_phones_append_does_no_harm(tmp_path: Path) -> None:
    data = jpeg(plan())

    picture = read_picture(written(tmp_path, data + b"video data " * 1000))

    assert picture.findings == ()


def test_bytes_skipped_before_the_end_are_told(tmp_path: Path) -> None:
    data = jpeg(plan())

    picture = read_picture(written(tmp_path, data[:-2] + b"\x12\x34\x56\x78" * 20 + data[-2:]))

    assert [(finding.code, finding.level) for finding in picture.findings] == [("picture-damaged", Level.DECIDE)]


def test_nothing_reaches_the_terminal(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    data = jpeg(plan(900, 700))

    with pytest.raises(PictureError):
        read_picture(written(tmp_path, data[: len(data) // 2] + b"\xff\xd9"))

    assert capfd.readouterr() == ("", "")


# Adobe Photoshop stores CMYK JPEGs inverted (Adobe technical note 5116): paper white must come out white.
def test_four_inks(tmp_path: Path) -> None:
    rgb = Image.fromarray(np.dstack([plan()] * 3))
    stored = BytesIO()
    rgb.convert("CMYK").save(stored, "JPEG", quality=95)

    picture = read_picture(written(tmp_path, stored.getvalue()))

    assert np.abs(picture.grey.astype(int) - plan()).mean() < JPEG_LEVELS


def test_file_of_two_pictures_gives_the_first(tmp_path: Path) -> None:
    path = tmp_path / "phone.jpg"
    Image.fromarray(plan()).save(
        path, "MPO", quality=95, save_all=True, append_images=[Image.fromarray(plan(100, 80, seed=8))]
    )

    picture = read_picture(path)

    assert np.abs(picture.grey.astype(int) - plan()).mean() < JPEG_LEVELS
    assert picture.source.pages == 1


def test_size_is_refused_from_the_header(tmp_path: Path) -> None:
    data = jpeg(plan())
    at = data.index(b"\xff\xc0") + 5

    with pytest.raises(PictureError, match="60000 x 60000 px, 3600 megapixels"):
        read_picture(written(tmp_path, data[:at] + (60000).to_bytes(2, "big") * 2 + data[at + 4 :]))


@real
@pytest.mark.parametrize(
    "name",
    [
        "broken-bogus-data-prepended-real-jfif-start-at-4801.jpg",
        "broken-bogus-segment-length.jpg",
        "broken-no-sof-ascii-transfer-mode.jpg",
        "broken-sos-before-sof.jpg",
    ],
)
def test_real_broken_files_are_refused_in_a_sentence(name: str, capfd: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(PictureError, match=r"damaged JPEG file.*was needed: "):
        read_picture(real_file(f"broken/{name}"))

    assert capfd.readouterr().err == ""
