"""The bundled plan in pictures as people have them: blueprints, small downloads, blur, faint pencil, turned phones.

Run as `python -m benchmarks.spoilt_pictures`; `--only WORD` keeps those with that word in their name. Each picture is
the bundled scan or photo with one thing done to it; known distances are marked half a px off, as by hand. Printed for
each: what was found by the whole chain, and how the same with the true map. What a picture cannot carry (holes of
three px, lines a third of a px wide) counts as missed all the same.
"""

import argparse
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from benchmarks.main_job import Trial, print_in_program
from drawing.errors import ScantlingError
from sample_scans.camera import Picturing
from sample_scans.files import sample_path
from sample_scans.generate import PHOTO, SCAN, cameras
from sample_scans.plan import school_plan
from sample_scans.truth import Points

SEED = 5
Pixels = NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class Moved:
    """A camera whose picture was resized or turned: px go through a 2 x 3 map."""

    before: Picturing
    matrix: NDArray[np.float64]
    width_px: int
    height_px: int

    def to_picture(self, points_mm: Points, /) -> Points:
        """Give px of plan mm, as `Picturing` says."""
        moved: Points = self.before.to_picture(points_mm) @ self.matrix[:, :2].T + self.matrix[:, 2]
        return moved


def resized(pixels: Pixels, camera: Picturing, share: float) -> tuple[Pixels, Picturing]:
    """Make a picture smaller, as a download is: every px the mean of those it covers."""
    small = cv2.resize(pixels, None, fx=share, fy=share, interpolation=cv2.INTER_AREA)
    height, width = small.shape[:2]
    sx, sy = width / pixels.shape[1], height / pixels.shape[0]
    matrix = np.array([[sx, 0, (sx - 1) / 2], [0, sy, (sy - 1) / 2]])
    return np.asarray(small, np.uint8), Moved(camera, matrix, width, height)


def turned(pixels: Pixels, camera: Picturing, quarters: int) -> tuple[Pixels, Picturing]:
    """Turn a picture by quarter turns, anticlockwise."""
    height, width = pixels.shape[:2]
    matrix = {
        1: np.array([[0, 1, 0], [-1, 0, width - 1]]),
        2: np.array([[-1, 0, width - 1], [0, -1, height - 1]]),
        3: np.array([[0, -1, height - 1], [1, 0, 0]]),
    }[quarters].astype(float)
    out = np.ascontiguousarray(np.rot90(pixels, quarters))
    return out, Moved(camera, matrix, out.shape[1], out.shape[0])


def blueprint(pixels: Pixels) -> Pixels:
    """White lines on blue, unevenly exposed."""
    ink = 1 - pixels.astype(float) / 255
    height, width = pixels.shape
    uneven = 1 + 0.25 * np.sin(np.linspace(0, 3, width))[None, :] * np.cos(np.linspace(0, 2, height))[:, None]
    ground = np.array([110.0, 62.0, 28.0]) * uneven[..., None]
    colour = ground + (np.array([238.0, 232.0, 220.0]) - ground) * np.clip(1.25 * ink, 0, 1)[..., None]
    return np.asarray(np.clip(colour, 0, 255), np.uint8)


def pencil(pixels: Pixels) -> Pixels:
    """Lines of a fifth of the contrast, on grainy paper."""
    grain = cv2.GaussianBlur(np.random.default_rng(SEED).normal(0, 6, pixels.shape), (0, 0), 0.8)
    return np.clip(205 + 0.2 * (pixels.astype(float) - 255) + grain, 0, 255).astype(np.uint8)


def noisy(pixels: Pixels) -> Pixels:
    """A phone's noise in a dim room."""
    return np.clip(pixels + np.random.default_rng(SEED).normal(0, 18, pixels.shape), 0, 255).astype(np.uint8)


def folded(pixels: Pixels) -> Pixels:
    """Four folds each way, dark on one side and light on the other, and a yellowed band."""
    height, width = pixels.shape
    out = pixels.astype(float)
    x, y = np.arange(width), np.arange(height)
    for share in (0.2, 0.4, 0.6, 0.8):
        for at, axis in ((x - share * width, 0), (y - share * height, 1)):
            crease = -45 * np.exp(-((at / 3) ** 2)) + 20 * np.exp(-(((at - 9) / 6) ** 2))
            out += crease[None, :] if axis == 0 else crease[:, None]
    out *= 1 - 0.2 * np.exp(-(((x - 0.3 * width) / (0.1 * width)) ** 2))[None, :]
    return np.asarray(np.clip(out, 0, 255), np.uint8)


def bilevel(pixels: Pixels) -> Pixels:
    """Black and white at one threshold, as a copier's scan."""
    return np.asarray(np.where(pixels < 160, 0, 255), np.uint8)


def squeezed(pixels: Pixels) -> Pixels:
    """Saved as a JPEG of quality 18, as web pages do."""
    done, packed = cv2.imencode(".jpg", pixels, [cv2.IMWRITE_JPEG_QUALITY, 18])
    assert done
    return np.asarray(cv2.imdecode(packed, cv2.IMREAD_UNCHANGED), np.uint8)


def spoilt(folder: Path, only: str) -> Iterator[Trial]:
    """Give each trial, its picture written when its turn comes."""
    plan = school_plan()
    by = cameras(plan)
    scan = np.asarray(Image.open(sample_path(SCAN)).convert("L"))
    photo = np.asarray(Image.open(sample_path(PHOTO)).convert("L"))
    tags = Image.open(sample_path(PHOTO)).getexif()

    def same(change: Callable[[Pixels], Pixels]) -> Callable[[Pixels, Picturing], tuple[Pixels, Picturing]]:
        return lambda pixels, camera: (change(pixels), camera)

    def blurred(sigma_px: float) -> Callable[[Pixels], Pixels]:
        return lambda pixels: np.asarray(cv2.GaussianBlur(pixels, (0, 0), sigma_px), np.uint8)

    made = {
        "scan, blueprint": (scan, by.scan, same(blueprint)),
        "scan, 150 dpi": (scan, by.scan, lambda p, c: resized(p, c, 0.75)),
        "scan, 100 dpi": (scan, by.scan, lambda p, c: resized(p, c, 0.5)),
        "scan, 72 dpi": (scan, by.scan, lambda p, c: resized(p, c, 0.36)),
        "scan, bilevel": (scan, by.scan, same(bilevel)),
        "scan, JPEG 18": (scan, by.scan, same(squeezed)),
        "scan, blur 2 px": (scan, by.scan, same(blurred(2.0))),
        "scan, pencil": (scan, by.scan, same(pencil)),
        "scan, noise": (scan, by.scan, same(noisy)),
        "scan, folds": (scan, by.scan, same(folded)),
        "scan, upside down": (scan, by.scan, lambda p, c: turned(p, c, 2)),
        "scan, on its side": (scan, by.scan, lambda p, c: turned(p, c, 1)),
        "photo, half as large": (photo, by.photo, lambda p, c: resized(p, c, 0.5)),
        "photo, JPEG 18": (photo, by.photo, same(squeezed)),
        "photo, blur 2 px": (photo, by.photo, same(blurred(2.0))),
        "photo, noise": (photo, by.photo, same(noisy)),
        "photo, on its side": (photo, by.photo, lambda p, c: turned(p, c, 3)),
    }
    for name, (pixels, camera, change) in made.items():
        if only in name:
            changed, seen = change(pixels, camera)
            path = folder / f"{name.replace(', ', '-').replace(' ', '-')}.{'jpg' if 'photo' in name else 'png'}"
            image = Image.fromarray(changed)
            if "photo" in name:
                image.save(path, exif=tags, quality=92)
            else:
                image.save(path)
            yield Trial(name, path, seen, plan, ("WING PANEL length", "WING PANEL root chord"))


def main() -> None:
    """Print a few lines for each picture."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.spoilt_pictures", description=__doc__)
    parser.add_argument("--only", default="", metavar="WORD", help="pictures with this in their name")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        for trial in spoilt(Path(folder), asked.only):
            print(f"\n{trial.name}: {trial.camera.width_px} x {trial.camera.height_px} px", flush=True)
            try:
                print_in_program(trial, Path(folder) / "out")
            except ScantlingError as error:
                print(f"  refused: {error}")


if __name__ == "__main__":
    main()
