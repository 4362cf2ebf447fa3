"""A picture kept on disk in halves of halves, so that any part at any zoom is at hand without decoding it again."""

import functools
import hashlib
import json
import os
import shutil
import tempfile
import time
from dataclasses import asdict, dataclass, replace
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from drawing.errors import ScantlingError
from drawing.findings import Finding, Level
from pictures.picture import Medium, Picture, Source
from pictures.read import read_colour
from tracing.level_sizes import level_sizes

CACHE_BYTES = 6 << 30
"""What all kept pictures may take on disk. The largest size read takes 2.1 GB in colour, a phone's photo 65 MB."""

STRIP_ROWS = 2048
"""Rows halved at a time; even, so that strips meet between whole pairs of rows."""

META, GREY = "picture.json", "grey.raw"

DECODERS = ("numpy", "opencv-python-headless", "Pillow", "pi-heif", "pypdfium2")
"""Libraries that a pixel passes through."""


class PyramidError(ScantlingError):
    """A picture that cannot be kept on disk."""


@dataclass(frozen=True, slots=True)
class Pyramid:
    """A kept picture: `picture.grey` and every level are mapped from disk, not held in memory.

    `levels[k]` is (H, W) grey or (H, W, 3) RGB uint8; its pixel (i, j) covers 2**k by 2**k pixels of the picture.
    """

    folder: Path
    picture: Picture
    levels: tuple[NDArray[np.uint8], ...]


def pyramid_name(sha256: str, page: int, name: str) -> str:
    """Give the name a picture is kept under: its bytes, page, file name, and what reads it."""
    key = f"{sha256}\n{page}\n{name}\n{reader_version()}"
    return hashlib.sha256(key.encode()).hexdigest()[:40]


@functools.cache
def reader_version() -> str:
    """Tell which reader makes the pixels: pictures read by another one are read again."""
    import pictures

    digest = hashlib.sha256()
    for folder in pictures.__path__:
        for path in sorted(Path(folder).glob("*.py")):
            digest.update(path.name.encode() + path.read_bytes())
    for library in DECODERS:
        try:
            digest.update(f"{library} {version(library)}".encode())
        except PackageNotFoundError:
            digest.update(library.encode())
    return digest.hexdigest()[:16]


def kept_pyramid(cache: Path, sha256: str, page: int, path: Path) -> Pyramid | None:
    """Give a picture as it was kept, now at `path`; None when it is not kept, or not whole."""
    folder = cache / pyramid_name(sha256, page, path.name)
    try:
        meta = json.loads((folder / META).read_text(encoding="utf-8"))
        grey = _mapped(folder / GREY, tuple(meta["grey"]))
        # What is measured in must be what was read, whatever happened to the disk.
        if _hash(grey) != meta["grey_sha256"]:
            return None
        levels = tuple(
            grey if shape is None else _mapped(folder / _level_name(level), tuple(shape))
            for level, shape in enumerate(meta["levels"])
        )
        picture = Picture(grey, _source(meta["source"], path), tuple(_finding(item) for item in meta["findings"]))
        # When it was last of use decides what goes first.
        os.utime(folder)
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return None
    return Pyramid(folder, picture, levels)


def keep_pyramid(cache: Path, picture: Picture) -> Pyramid:
    """Write a picture's pyramid beside its place and rename it into place whole; give it as mapped from disk.

    Raises
    ------
    ScantlingError
        When the cache cannot be written; the disk may be full.
    """
    source = picture.source
    folder = cache / pyramid_name(source.sha256, source.page, source.path.name)
    try:
        cache.mkdir(mode=0o700, parents=True, exist_ok=True)
        _drop_oldest(cache, room_for=_bytes(picture), spare=folder)
        with tempfile.TemporaryDirectory(prefix=".filling-", dir=cache, ignore_cleanup_errors=True) as name:
            beside = Path(name)
            _fill(beside, picture)
            # Another server may have kept the same picture meanwhile: either will do, but a damaged one gives way.
            shutil.rmtree(folder, ignore_errors=True)
            try:
                beside.rename(folder)
            except OSError:
                if not (folder / META).exists():
                    raise
    except OSError as error:
        why = (error.strerror or str(error)).lower()
        raise PyramidError(
            f"The picture cannot be kept in {cache} ({why}); some room there is needed to show it: "
            "free some space and open it again."
        ) from error
    kept = kept_pyramid(cache, source.sha256, source.page, source.path)
    if kept is None:
        raise PyramidError(f"What was just kept in {folder} cannot be read back; a sound disk was needed: check it.")
    return kept


def _fill(folder: Path, picture: Picture) -> None:
    grey = picture.grey
    grey.tofile(folder / GREY)
    full = read_colour(picture.source) if picture.source.colour else grey
    shapes: list[tuple[int, ...] | None] = [None]
    if full is not grey:
        full.tofile(folder / _level_name(0))
        shapes = [full.shape]
    above = full
    for level, (width, height) in enumerate(level_sizes(picture.width_px, picture.height_px)[1:], 1):
        above = _halved(above, width, height)
        above.tofile(folder / _level_name(level))
        shapes.append(above.shape)
    meta = {
        "source": {**asdict(picture.source), "path": picture.source.path.name},
        "findings": [asdict(finding) for finding in picture.findings],
        "grey": grey.shape,
        "grey_sha256": _hash(grey),
        "levels": shapes,
    }
    (folder / META).write_text(json.dumps(meta), encoding="utf-8")


def _halved(pixels: NDArray[np.uint8], width: int, height: int) -> NDArray[np.uint8]:
    """The mean of every 2 by 2 pixels; an odd last row or column counts twice, so that every pixel covers its own."""
    half = np.empty((height, width, *pixels.shape[2:]), np.uint8)
    for top in range(0, pixels.shape[0], STRIP_ROWS):
        strip = pixels[top : top + STRIP_ROWS]
        odd_rows, odd_columns = strip.shape[0] % 2, strip.shape[1] % 2
        if odd_rows or odd_columns:
            strip = cv2.copyMakeBorder(strip, 0, odd_rows, 0, odd_columns, cv2.BORDER_REPLICATE)  # type: ignore[assignment]
        rows = strip.shape[0] // 2
        half[top // 2 : top // 2 + rows] = cv2.resize(strip, (width, rows), interpolation=cv2.INTER_AREA)
    return half


def _drop_oldest(cache: Path, *, room_for: int, spare: Path) -> None:
    """Take away pictures not used for longest until all fit; what another server shows stays mapped until it ends."""
    kept = []
    for folder in cache.iterdir():
        if not folder.is_dir() or folder == spare:
            continue
        used = folder.stat().st_mtime
        if folder.name.startswith("."):
            # Left by a run that was killed while it wrote; one that still writes is younger.
            if time.time() - used > 3600:
                shutil.rmtree(folder, ignore_errors=True)
            continue
        kept.append((used, sum(path.stat().st_size for path in folder.iterdir()), folder))
    total = room_for + sum(size for _, size, _ in kept)
    for _, size, folder in sorted(kept):
        if total <= CACHE_BYTES:
            break
        shutil.rmtree(folder, ignore_errors=True)
        total -= size


def _bytes(picture: Picture) -> int:
    channels = 4 if picture.source.colour else 1
    return picture.width_px * picture.height_px * channels * 4 // 3


def _mapped(path: Path, shape: tuple[int, ...]) -> NDArray[np.uint8]:
    """Map a raw file; one of another size than it should be is refused with ValueError."""
    if path.stat().st_size != int(np.prod(shape, dtype=np.int64)):
        raise ValueError(f"{path} is cut short")
    return np.asarray(np.memmap(path, dtype=np.uint8, mode="r", shape=shape))


def _hash(grey: NDArray[np.uint8]) -> str:
    return hashlib.sha256(np.ascontiguousarray(grey).data).hexdigest()


def _level_name(level: int) -> str:
    return f"level-{level}.raw"


def _source(values: dict[str, Any], path: Path) -> Source:
    source = Source(**{**values, "path": path, "medium": Medium(values["medium"])})
    tag = source.tag_dpi
    return source if tag is None else replace(source, tag_dpi=(float(tag[0]), float(tag[1])))


def _finding(values: dict[str, Any]) -> Finding:
    return Finding(values["code"], Level(values["level"]), values["about"], values["text"])
