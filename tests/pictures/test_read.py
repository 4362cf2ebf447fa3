import dataclasses
import hashlib
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from drawing.findings import Level
from pictures.claimed_size import claimed_size_mm
from pictures.picture import Medium, PictureError
from pictures.read import read_colour, read_picture
from tests.pictures.plans import plan, real, real_file, two_tone


def saved(tmp_path: Path, pixels: np.ndarray, **options: object) -> Path:
    path = tmp_path / "plan.png"
    Image.fromarray(pixels).save(path, **options)
    return path


def test_source_says_where_it_came_from(tmp_path: Path) -> None:
    path = saved(tmp_path, plan())

    source = read_picture(str(path)).source

    assert source.path == path
    assert source.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert (source.medium, source.page, source.pages) == (Medium.RASTER, 1, 1)
    assert source.tag_dpi is None


def test_blueprint_is_turned_dark_on_light_and_said(tmp_path: Path) -> None:
    sheet = plan(900, 700, paper=50, ink=215)
    rgb = np.dstack([sheet // 2, sheet, 255 - (255 - sheet) // 2])

    picture = read_picture(saved(tmp_path, rgb))

    assert picture.source.inverted
    assert [(finding.code, finding.level) for finding in picture.findings] == [("blueprint", Level.NOTE)]
    assert np.median(picture.grey) > 150
    assert picture.grey[30, 20] < 100
    assert not picture.source.colour
    assert np.array_equal(read_colour(picture.source), 255 - rgb)


def test_one_bit_blueprint(tmp_path: Path) -> None:
    picture = read_picture(saved(tmp_path, 255 - two_tone(900, 700)))

    assert picture.source.inverted
    assert picture.source.bilevel
    assert np.array_equal(picture.grey, two_tone(900, 700))


@pytest.mark.parametrize("level", [0, 128, 255])
def test_blank_is_refused(tmp_path: Path, level: int) -> None:
    sheet = np.full((90, 120), level, np.uint8)
    sheet[5, 6] = level + 3 if level < 200 else level - 3

    with pytest.raises(PictureError, match=r"is blank .*was needed: "):
        read_picture(saved(tmp_path, sheet))


def test_page_two_of_a_single_picture(tmp_path: Path) -> None:
    with pytest.raises(PictureError, match="has 1 page, page 2 was asked for"):
        read_picture(saved(tmp_path, plan()), page=2)


def test_progress_rises_to_one(tmp_path: Path) -> None:
    told: list[float] = []

    read_picture(saved(tmp_path, plan()), progress=told.append)

    assert told == sorted(told)
    assert told[-1] == 1


def test_colour_of_a_file_that_changed_is_refused(tmp_path: Path) -> None:
    path = saved(tmp_path, plan())
    source = read_picture(path).source
    saved(tmp_path, plan(seed=9))

    with pytest.raises(PictureError, match="has changed since it was read"):
        read_colour(source)


def test_colour_of_a_file_that_is_gone_is_refused(tmp_path: Path) -> None:
    source = read_picture(saved(tmp_path, plan())).source

    with pytest.raises(PictureError, match="There is no file"):
        read_colour(dataclasses.replace(source, path=tmp_path / "gone.png"))


def test_claimed_size(tmp_path: Path) -> None:
    picture = read_picture(saved(tmp_path, plan(310, 210), dpi=(254, 127)))

    # One inch is 25.4 mm: 254 dpi are 10 px per mm; the tag holds whole px per metre.
    assert claimed_size_mm(picture) == pytest.approx((31.0, 42.0), rel=1e-4)


MEMORY_OF_ONE = """
import re, sys
from pathlib import Path
import cv2, numpy, PIL.Image
import pictures.read_jpeg, pictures.read_pdf, pictures.read_png, pictures.read_tiff
from pictures.read import read_picture
peak_kb = lambda: int(re.search(r"VmHWM:\\s*(\\d+)", Path("/proc/self/status").read_text())[1])
before = peak_kb()
picture = read_picture(Path(sys.argv[1]))
print((peak_kb() - before) * 1024 / picture.grey.size)
"""

MOST_BYTES_PER_PX = 2.9
"""Two copies of the grey pixels (the decoder's and ours), the file itself, and strips; a third copy would show."""


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="this system does not tell a process's peak memory")
@pytest.mark.parametrize("name", ["plan.png", "plan.jpg", "plan.tif", "fax.tif", "scan.pdf"])
def test_large_grey_pictures_take_two_bytes_a_pixel(tmp_path: Path, name: str) -> None:
    sheet = Image.fromarray(plan(7000, 5000))
    path = tmp_path / name
    packed = {"plan.tif": "tiff_lzw", "fax.tif": "group4"}.get(name)
    (sheet.convert("1") if name == "fax.tif" else sheet).save(path, **({"compression": packed} if packed else {}))

    done = subprocess.run([sys.executable, "-c", MEMORY_OF_ONE, str(path)], check=True, capture_output=True, text=True)

    assert float(done.stdout) < MOST_BYTES_PER_PX


# The camera's maker sells it as wide-angle; its EXIF says 15 mm. Corners were listed by the collection: 27 x 20.
@real
def test_real_photo_tells_its_camera() -> None:
    source = read_picture(real_file("wide_lens_grid.jpg")).source

    assert source.focal_35mm == 15
    assert source.camera.startswith("GoPro")
    assert not source.inverted


# 0.2 in grid; pitch 59.93 px in x and 60.04 in y were measured by the collection.
@real
def test_real_scan_holds_its_grid_at_the_measured_pitch() -> None:
    picture = read_picture(real_file("graph_paper_scan.jpg"))

    assert (picture.width_px, picture.height_px) == (2536, 3299)
    assert picture.source.tag_dpi == pytest.approx((299.72, 299.72), abs=0.01)
    assert not picture.source.inverted
