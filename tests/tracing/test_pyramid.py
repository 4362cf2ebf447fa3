"""A picture kept on disk: what is mapped is what was read, and what is not whole is read again."""

import itertools
import json
import os
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from pictures.read import read_colour, read_picture
from tests.small_plan import SmallPlan
from tracing import pyramid as pyramid_module
from tracing.level_sizes import TILE_PX, level_sizes
from tracing.pyramid import PyramidError, keep_pyramid, kept_pyramid
from tracing.tiles import Tiles


def test_a_kept_picture_is_the_one_that_was_read(small_plan: SmallPlan, tmp_path: Path) -> None:
    picture = read_picture(small_plan.path)
    keep_pyramid(tmp_path / "cache", picture)

    kept = kept_pyramid(tmp_path / "cache", picture.source.sha256, 1, small_plan.path)

    assert kept is not None
    assert np.array_equal(kept.picture.grey, picture.grey)
    assert kept.picture.source == picture.source
    assert kept.picture.findings == picture.findings
    assert [level.shape for level in kept.levels] == [(1040, 1520), (520, 760), (260, 380)]


def test_colour_is_kept_beside_the_grey(tmp_path: Path) -> None:
    path = _coloured(tmp_path, 801, 1203)
    picture = read_picture(path)
    assert picture.source.colour

    kept = keep_pyramid(tmp_path / "cache", picture)

    assert np.array_equal(kept.levels[0], read_colour(picture.source))
    assert np.array_equal(kept.picture.grey, picture.grey)


def test_each_level_is_the_mean_of_four_and_an_odd_edge_of_what_is_there(tmp_path: Path) -> None:
    """The mean is written out in whole numbers, beside OpenCV's area resampling that makes the levels."""
    path = tmp_path / "odd.png"
    rng = np.random.default_rng(1)
    Image.fromarray(rng.integers(0, 256, (1301, 2051), np.uint8)).save(path)
    picture = read_picture(path)

    levels = keep_pyramid(tmp_path / "cache", picture).levels

    assert [level.shape for level in levels] == [(1301, 2051), (651, 1026), (326, 513), (163, 257)]
    for fine, coarse in itertools.pairwise(levels):
        even = np.pad(fine.astype(int), ((0, fine.shape[0] % 2), (0, fine.shape[1] % 2)), mode="edge")
        mean = even.reshape(even.shape[0] // 2, 2, even.shape[1] // 2, 2).sum(axis=(1, 3)) / 4
        assert np.abs(mean - coarse).max() <= 0.5


def test_levels_end_with_one_tile() -> None:
    assert level_sizes(100, 64) == [(100, 64)]
    assert level_sizes(513, 64) == [(513, 64), (257, 32)]
    assert level_sizes(20_000, 14_000)[-1] == (313, 219)
    assert max(level_sizes(20_000, 14_000)[-2]) > TILE_PX


@pytest.mark.parametrize("harm", ["cut short", "one pixel", "no levels", "other reader", "no json", "huge"])
def test_what_is_not_whole_is_not_used(
    small_plan: SmallPlan, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, harm: str
) -> None:
    picture = read_picture(small_plan.path)
    folder = keep_pyramid(tmp_path, picture).folder
    meta = json.loads((folder / "picture.json").read_text())
    match harm:
        case "cut short":
            os.truncate(folder / "level-1.raw", 1000)
        case "one pixel":
            with (folder / "grey.raw").open("r+b") as file:
                file.write(b"\x07")
        case "no levels":
            (folder / "level-1.raw").unlink()
        case "other reader":
            monkeypatch.setattr(pyramid_module, "reader_version", lambda: "another")
        case "no json":
            (folder / "picture.json").write_text("{")
        case "huge":
            (folder / "picture.json").write_text(json.dumps({**meta, "grey": [10**9, 10**9]}))

    assert kept_pyramid(tmp_path, picture.source.sha256, 1, small_plan.path) is None


def test_another_page_name_or_content_is_another_picture(small_plan: SmallPlan, tmp_path: Path) -> None:
    picture = read_picture(small_plan.path)
    keep_pyramid(tmp_path, picture)

    sha256 = picture.source.sha256
    assert kept_pyramid(tmp_path, sha256, 2, small_plan.path) is None
    assert kept_pyramid(tmp_path, sha256[::-1], 1, small_plan.path) is None
    assert kept_pyramid(tmp_path, sha256, 1, small_plan.path.with_name("other.png")) is None
    # Moved under its name it is the same one, found at its new place.
    moved = kept_pyramid(tmp_path, sha256, 1, tmp_path / small_plan.path.name)
    assert moved is not None
    assert moved.picture.source.path == tmp_path / small_plan.path.name


def test_the_cache_drops_what_was_used_longest_ago(
    small_plan: SmallPlan, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    picture = read_picture(small_plan.path)
    size = 1520 * 1040 * 4 / 3
    monkeypatch.setattr(pyramid_module, "CACHE_BYTES", int(2.5 * size))
    pictures = [replace(picture, source=replace(picture.source, sha256=f"{n}" * 64)) for n in range(3)]
    folders = [keep_pyramid(tmp_path, one).folder for one in pictures[:2]]
    for folder, used in zip(folders, (2_000_000_000, 1_000_000_000), strict=True):
        os.utime(folder, (used, used))

    keep_pyramid(tmp_path, pictures[2])

    assert folders[0].exists()
    assert not folders[1].exists()


def test_a_cache_that_cannot_be_written_is_one_sentence(small_plan: SmallPlan, tmp_path: Path) -> None:
    (tmp_path / "cache").write_text("a file where the folder should be")

    with pytest.raises(PyramidError, match=r"cannot be kept in .*: free some space"):
        keep_pyramid(tmp_path / "cache", read_picture(small_plan.path))


def test_tiles_at_full_size_put_together_are_the_picture(tmp_path: Path) -> None:
    """Decoded with Pillow, which had no part in encoding them."""
    path = _coloured(tmp_path, 801, 1203)
    kept = keep_pyramid(tmp_path / "cache", read_picture(path))
    tiles = Tiles(kept)

    whole = np.zeros((801, 1203, 3), np.uint8)
    for y in range(2):
        for x in range(3):
            found = tiles.tile(0, x, y)
            assert found is not None
            content, kind = found
            assert kind == "image/png"
            (tmp_path / "tile").write_bytes(content)
            pixels = np.asarray(Image.open(tmp_path / "tile"))
            whole[y * TILE_PX : y * TILE_PX + len(pixels), x * TILE_PX : x * TILE_PX + pixels.shape[1]] = pixels

    assert np.array_equal(whole, read_colour(kept.picture.source))


def test_coarser_tiles_are_near_the_level_they_show(tmp_path: Path) -> None:
    kept = keep_pyramid(tmp_path / "cache", read_picture(_coloured(tmp_path, 801, 1203)))
    found = Tiles(kept).tile(1, 1, 0)
    assert found is not None
    assert found[1] == "image/jpeg"
    (tmp_path / "tile").write_bytes(found[0])
    pixels = np.asarray(Image.open(tmp_path / "tile"))
    off = np.abs(pixels.astype(int) - kept.levels[1][:512, 512:1024])
    assert np.percentile(off, 99) <= 12


@pytest.mark.parametrize("at", [(0, 3, 0), (0, 0, 2), (3, 0, 0), (99, 0, 0), (0, 10**30, 0)])
def test_a_tile_that_is_not_there_is_none(tmp_path: Path, at: tuple[int, int, int]) -> None:
    kept = keep_pyramid(tmp_path / "cache", read_picture(_coloured(tmp_path, 801, 1203)))

    assert Tiles(kept).tile(*at) is None


def test_a_panned_screen_is_not_encoded_twice(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    tiles = Tiles(keep_pyramid(tmp_path / "cache", read_picture(_coloured(tmp_path, 801, 1203))))
    first = tiles.tile(0, 0, 0)
    monkeypatch.setattr(cv2, "imencode", None)

    assert tiles.tile(0, 0, 0) is first


def _coloured(folder: Path, height: int, width: int) -> Path:
    """A sheet of soft colours with lines, as a phone takes it."""
    y, x = np.mgrid[:height, :width]
    pixels = np.stack([200 + 40 * np.sin(x / 90), 190 + 30 * np.cos(y / 70), 120 + 20 * np.sin((x + y) / 110)], axis=2)
    pixels[::97] = pixels[:, ::89] = 20
    path = folder / "coloured.png"
    Image.fromarray(pixels.astype(np.uint8)).save(path)
    return path
