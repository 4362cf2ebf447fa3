import hashlib
import json
from pathlib import Path

import cv2
import numpy as np
import pypdfium2
import pytest
from PIL import Image

from sample_scans.files import sample_path
from sample_scans.generate import PAGE, PHOTO, SCAN, TRUTH, cameras, generate
from sample_scans.plan import school_plan
from sample_scans.rendered import Levels, rendered_photo, rendered_scan

PART = 0.4
# Centroid of a line's darkness in a noisy JPEG against where it was put; a biased renderer would show as a mean.
MEAN_TOLERANCE_PX = 0.02
EACH_TOLERANCE_PX = 0.25


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    made = tmp_path_factory.mktemp("sample")
    generate(made, part=PART)
    return made


def line_offsets_px(grey: np.ndarray, to_picture, start_mm, end_mm, *, reach_px: int) -> np.ndarray:
    """How far the darkness of a straight line lies from where it was drawn, square to it, at 60 places, px."""
    t = np.linspace(0.03, 0.97, 60)[:, None]
    at = to_picture(np.array(start_mm) * (1 - t) + np.array(end_mm) * t)
    way = np.gradient(at, axis=0)
    way /= np.hypot(*way.T)[:, None]
    normal = np.column_stack([-way[:, 1], way[:, 0]])
    step = np.arange(-reach_px, reach_px + 0.01, 0.25)
    where = (at[:, None] + step[:, None] * normal[:, None]).astype(np.float32)
    levels = cv2.remap(grey, where[..., 0], where[..., 1], cv2.INTER_LINEAR).astype(np.float64)
    # The paper's own slope across the line is taken off.
    ends = levels[:, [0, 1, 2, -3, -2, -1]]
    paper = np.stack([np.polyval(np.polyfit(step[[0, 1, 2, -3, -2, -1]], row, 1), step) for row in ends])
    dark = np.clip(paper - levels, 0, None)
    dark[dark < 0.15 * dark.max(axis=1, keepdims=True)] = 0
    return (dark * step).sum(axis=1) / dark.sum(axis=1)


@pytest.mark.parametrize("side", [0, 1, 2, 3])
@pytest.mark.parametrize("name", [PHOTO, SCAN])
def test_the_borders_ink_lies_where_the_truth_says(folder, name, side):
    plan = school_plan()
    by = cameras(plan, part=PART)
    camera = by.photo if name == PHOTO else by.scan
    with Image.open(folder / name) as picture:
        grey = np.array(picture.convert("L"))
    corners = plan.border_mm
    # Clear of the title block, which stands on the lower and right sides.
    start, end = corners[side], corners[(side + 1) % 4]
    if side == 1:
        end = np.array([end[0], 60.0])
    if side == 2:
        start = np.array([390.0, 0.0])

    offsets = line_offsets_px(grey, camera.to_picture, start, end, reach_px=5)

    assert abs(offsets.mean()) < MEAN_TOLERANCE_PX
    assert np.abs(offsets).max() < EACH_TOLERANCE_PX


def test_truth_holds_every_known_length_in_every_picture(folder):
    truth = json.loads((folder / TRUTH).read_text())
    plan = school_plan()

    assert [known["length_mm"] for known in truth["known"]] == pytest.approx(
        [known.length_mm for known in plan.known], abs=1e-3
    )
    for known in truth["known"]:
        assert np.hypot(*np.subtract(known["end_mm"], known["start_mm"])) == pytest.approx(known["length_mm"], abs=1e-3)
        # On the page, 300 px are an inch whatever the camera.
        start, end = known["marks_px"][PAGE]
        assert np.hypot(*np.subtract(end, start)) == pytest.approx(known["length_mm"] * 300 / 25.4, abs=0.01)
    assert len(truth["parts"]) == len(plan.parts) == 17


def test_the_page_has_its_size_and_its_strokes_their_places(folder):
    # pdfium reads the page back.
    page = pypdfium2.PdfDocument(folder / PAGE)[0]

    assert page.get_size() == pytest.approx((594 * 72 / 25.4, 420 * 72 / 25.4), abs=1e-3)
    objects = list(page.get_objects())
    assert len(objects) == len(school_plan().strokes)


@pytest.mark.parametrize("side", [0, 3])
def test_the_page_rendered_by_pdfium_has_its_border_where_the_truth_says(folder, side):
    page = pypdfium2.PdfDocument(folder / PAGE)[0]
    grey = page.render(scale=300 / 72, grayscale=True).to_numpy().reshape(4961, 7016)
    plan = school_plan()

    offsets = line_offsets_px(
        np.ascontiguousarray(grey),
        cameras(plan).page.to_picture,
        plan.border_mm[side],
        plan.border_mm[(side + 1) % 4],
        reach_px=12,
    )

    # pdfium stretches the page to whole px (4960.63 to 4961), which moves a line by up to 0.4 px at the far end alone;
    # near the upper-left corner by 0.02.
    assert np.abs(offsets).max() < 0.05


def test_the_page_is_the_same_bytes_as_the_bundled_one(folder):
    assert (folder / PAGE).read_bytes() == sample_path(PAGE).read_bytes()


def test_the_bundled_files_are_those_that_the_notes_name():
    truth = json.loads(sample_path(TRUTH).read_text())
    notes = sample_path("README.md").read_text()

    for name in (PHOTO, SCAN, PAGE):
        found = hashlib.sha256(sample_path(name).read_bytes()).hexdigest()
        assert truth["pictures"][name]["sha256"] == found
        assert found in notes


def test_the_bundled_pictures_have_the_bundled_truths_size_and_tags():
    truth = json.loads(sample_path(TRUTH).read_text())

    with Image.open(sample_path(PHOTO)) as photo, Image.open(sample_path(SCAN)) as scan:
        for name, picture in ((PHOTO, photo), (SCAN, scan)):
            told = truth["pictures"][name]
            assert picture.size == (told["width_px"], told["height_px"])
        exif = photo.getexif()
        assert exif[0x010F] == "Rendered"
        assert exif.get_ifd(0x8769)[0xA405] == 26
        assert scan.info["dpi"] == pytest.approx((200, 200), abs=0.02)


def test_bundled_files_stay_small():
    assert sum(sample_path(name).stat().st_size for name in (PHOTO, SCAN, PAGE, TRUTH)) < 8_000_000


def test_an_unknown_file_is_named():
    with pytest.raises(FileNotFoundError, match=r"no bundled file plan\.xyz"):
        sample_path("plan.xyz")


def test_the_same_seed_gives_the_same_photo_and_a_lens_can_be_taken_off():
    one = rendered_photo(3, size_px=(800, 600))
    two = rendered_photo(3, size_px=(800, 600))
    flat = rendered_photo(3, size_px=(800, 600), lens=(0.0, 0.0))

    assert np.array_equal(one.pixels, two.pixels)
    assert one.pixels.shape == (600, 800, 3)
    row_mm = np.column_stack([np.linspace(0, 564, 9), np.full(9, 400.0)])
    row = flat.camera.to_picture(row_mm)
    # Straight stays straight without a lens.
    chord = row[-1] - row[0]
    assert np.abs((row - row[0]) @ [-chord[1], chord[0]]).max() / np.hypot(*chord) < 1e-6


def test_a_two_level_scan_has_two_levels_and_about_the_ink_of_the_grey_one():
    grey = rendered_scan(4, dpi=100)
    two = rendered_scan(4, dpi=100, levels=Levels.BILEVEL)

    assert set(np.unique(two.pixels)) == {0, 255}
    assert two.pixels.shape == grey.pixels.shape
    # Threshold at half darkness of sRGB keeps thin lines; the lid stays white.
    assert 0.003 < (two.pixels == 0).mean() < 0.03
