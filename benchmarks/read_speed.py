"""How fast and in how much memory plan files are read, beside the plainest route of the library that decodes them.

Run from the repository's root: python -m benchmarks.read_speed
"""

import argparse
import math
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from pictures.read import read_picture

MEMORY_OF_ONE = """
import re, sys
from pathlib import Path
import cv2, numpy, PIL.Image
import pictures.read_jpeg, pictures.read_other, pictures.read_pdf, pictures.read_png, pictures.read_tiff
from pictures.read import read_picture
peak_kb = lambda: int(re.search(r"VmHWM:\\s*(\\d+)", Path("/proc/self/status").read_text())[1])
before = peak_kb()
picture = read_picture(Path(sys.argv[1]))
print((peak_kb() - before) * 1024 / picture.grey.size)
"""


@dataclass(frozen=True, slots=True)
class Case:
    """A file to read, and the plain route: decode it to grey pixels with one call of a library."""

    name: str
    path: Path
    plain: Callable[[Path], NDArray[Any]]


def main() -> None:
    """Print milliseconds, the ratio to the plain route, the error beside it and bytes a pixel, for each format."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--width", type=int, default=4000, help="px; the height is three quarters of it")
    arguments.add_argument("--times", type=int, default=7, help="readings, of which the fastest counts")
    given = arguments.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        print(f"{'file':<22}{'ms':>8}{'plain ms':>10}{'ratio':>7}{'largest error':>15}{'bytes/px':>10}")
        for case in _cases(Path(folder), given.width):
            ours_s = _fastest_s(lambda path=case.path: read_picture(path), times=given.times)  # type: ignore[misc]
            plain_s = _fastest_s(lambda case=case: case.plain(case.path), times=given.times)  # type: ignore[misc]
            difference = read_picture(case.path).grey.astype(np.int16) - case.plain(case.path)
            print(
                f"{case.name:<22}{ours_s * 1e3:>8.0f}{plain_s * 1e3:>10.0f}{ours_s / plain_s:>7.2f}"
                f"{np.abs(difference).max():>9} levels{_bytes_per_px(case.path):>10.2f}"
            )


def _cases(folder: Path, width: int) -> list[Case]:
    """Write one plan in every format."""
    grey = _plan(width, width * 3 // 4)
    colour = np.dstack([grey, grey - grey // 16, grey - grey // 8])
    cv2.line(colour, (100, 100), (width // 2, width // 3), (40, 40, 200), 5)
    two_tone = Image.fromarray(grey).point(lambda level: 255 * (level > 128)).convert("1")
    image = Image.fromarray(grey)
    names = {name: folder / name for name in ("grey.jpg", "colour.jpg", "grey.png", "bits.tif", "grey.tif", "scan.pdf")}
    cv2.imwrite(str(names["grey.jpg"]), grey, [cv2.IMWRITE_JPEG_QUALITY, 92])
    cv2.imwrite(str(names["colour.jpg"]), colour, [cv2.IMWRITE_JPEG_QUALITY, 92])
    image.save(names["grey.png"])
    two_tone.save(names["bits.tif"], compression="group4")
    image.save(names["grey.tif"], compression="tiff_lzw")
    image.save(names["scan.pdf"], resolution=300)
    routes = {".jpg": _opencv, ".png": _opencv, ".tif": _pillow, ".pdf": _pdfium}
    return [Case(name, path, routes[path.suffix]) for name, path in names.items()]


def _plan(width: int, height: int) -> NDArray[np.uint8]:
    """An invented sheet: paper with a camera's noise, lines at chance."""
    rng = np.random.default_rng(1)
    grey = np.full((height, width), 228, np.uint8)
    for _ in range(200):
        ends = [(int(rng.integers(width)), int(rng.integers(height))) for _ in range(2)]
        cv2.line(grey, ends[0], ends[1], 40, 3, cv2.LINE_AA)
    grey -= rng.integers(0, 12, grey.shape, dtype=np.uint8)
    return grey


def _opencv(path: Path) -> NDArray[Any]:
    pixels = cv2.imdecode(np.fromfile(path, np.uint8), cv2.IMREAD_GRAYSCALE | cv2.IMREAD_IGNORE_ORIENTATION)
    assert pixels is not None
    return np.asarray(pixels)


def _pillow(path: Path) -> NDArray[Any]:
    with Image.open(path) as image:
        return np.asarray(image.convert("L"))


def _pdfium(path: Path) -> NDArray[Any]:
    import pypdfium2

    with pypdfium2.PdfDocument(path) as document:
        image = next(iter(document[0].get_objects()))
        stored: NDArray[Any] = image.get_bitmap().to_numpy()
        return stored.reshape(stored.shape[:2]).copy()


def _fastest_s(run: Callable[[], object], *, times: int) -> float:
    """Shortest of several runs: other work on the machine only ever adds."""
    taken = []
    for _ in range(times):
        begun = time.perf_counter()
        run()
        taken.append(time.perf_counter() - begun)
    return min(taken)


def _bytes_per_px(path: Path) -> float:
    """Peak memory of reading in a process of its own, above its libraries; where the system does not tell it, NaN."""
    if not Path("/proc/self/status").exists():
        return math.nan
    done = subprocess.run([sys.executable, "-c", MEMORY_OF_ONE, str(path)], check=True, capture_output=True, text=True)
    return float(done.stdout)


if __name__ == "__main__":
    main()
