"""Print how far lengths are off, against what is said of them, over many random views of a simulated sheet.

The camera is not the fitted model: pinhole with forward k1, k2 and a principal point off by 0.4 % of the width.
Borders are drawn as people draw them (0.2 mm, and 0.06 degrees out of square), marks are put by hand (0.5 px),
focal lengths in files are 2 % off. Run: python -m benchmarks.calibration_error [--views N] [--seed S]
"""

import argparse
import math
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np

from calibration.adjust import adjust
from calibration.blocks import LEAN_SIGMA_RAD
from calibration.kind import Kind
from calibration.observations import (
    CLICK_SIGMA_PX,
    DRAUGHTING_MM,
    CalibrationError,
    Corners,
    KnownDistance,
    Observation,
    PointPx,
    StraightLine,
)
from calibration.parameters import SHEAR_SIGMA, STRETCH_SIGMA
from calibration.plane_map import Floats
from sample_scans.camera import Camera, Scanner, View, camera_for, random_view, scanner_for

SHEET_MM = np.array([[0.0, 594.0], [841.0, 594.0], [841.0, 0.0], [0.0, 0.0]])
BORDER_MM = np.array([[20.0, 574.0], [821.0, 574.0], [821.0, 20.0], [20.0, 20.0]])
LENGTHS = 25
SIDE_POINTS = 24
SIDE_SIGMA_PX = 0.1
CORNER_SIGMA_PX = 0.15
"""A side's centres, and the crossing of two sides: what a border finder gives on real paper (design trials)."""


@dataclass(frozen=True)
class Taken:
    """One simulated picture and what was given about it."""

    picturing: Camera | Scanner
    kind: Kind
    focal_35mm: float | None
    observations: tuple[Observation, ...]


Maker = Callable[[np.random.Generator], Taken]


def rows() -> dict[str, Maker]:
    """Give the rows of the table."""
    return {
        "scan, two knowns x + y": lambda rng: _scan(rng, 2),
        "scan, one known": lambda rng: _scan(rng, 1),
        "photo, sized corners, no lens, EXIF": lambda rng: _photo(rng, lens=0, sized=True, knowns=0, told=True),
        "photo, sized corners, no lens, no EXIF": lambda rng: _photo(rng, lens=0, sized=True, knowns=0, told=False),
        "photo, unsized corners + 1 known, EXIF": lambda rng: _photo(rng, lens=0, sized=False, knowns=1, told=True),
        "photo, unsized corners + 1 known, none": lambda rng: _photo(rng, lens=0, sized=False, knowns=1, told=False),
        "photo, five knowns, no lens": lambda rng: _photo(rng, lens=0, sized=None, knowns=5, told=True),
        "photo, six knowns, no lens": lambda rng: _photo(rng, lens=0, sized=None, knowns=6, told=True),
        "photo, eight knowns, no lens": lambda rng: _photo(rng, lens=0, sized=None, knowns=8, told=True),
        "photo, crosses: 4 sides 2 diagonals": lambda rng: _photo(rng, lens=0, sized=None, knowns=-6, told=True),
        "photo, sized corners, lens": lambda rng: _photo(rng, lens=1, sized=True, knowns=0, told=True),
        "photo, sized corners + 3 knowns, lens": lambda rng: _photo(rng, lens=1, sized=True, knowns=3, told=True),
        "photo, unsized corners + 1 known, lens": lambda rng: _photo(rng, lens=1, sized=False, knowns=1, told=True),
        "photo, sized border, lens": lambda rng: _photo(rng, lens=1, sized=True, knowns=0, told=True, lines=True),
        "photo, unsized border + 1 known, lens": lambda rng: _photo(
            rng, lens=1, sized=False, knowns=1, told=True, lines=True
        ),
        "photo, unsized border + 1, no EXIF": lambda rng: _photo(
            rng, lens=1, sized=False, knowns=1, told=False, lines=True
        ),
        "photo, unsized border + 2 knowns, lens": lambda rng: _photo(
            rng, lens=1, sized=False, knowns=2, told=True, lines=True
        ),
        "photo, border + 2 knowns, no lens": lambda rng: _photo(
            rng, lens=0, sized=False, knowns=2, told=True, lines=True
        ),
        "photo, six knowns, lens": lambda rng: _photo(rng, lens=1, sized=None, knowns=6, told=True),
        "photo, border + 6 knowns, lens": lambda rng: _photo(rng, lens=1, sized=False, knowns=6, told=True, lines=True),
        "photo, eight knowns, lens": lambda rng: _photo(rng, lens=1, sized=None, knowns=8, told=True),
    }


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--views", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", default="")
    chosen = parser.parse_args()
    print(f"seed {chosen.seed}, {chosen.views} views x {LENGTHS} lengths; errors in % of the length")
    print(f"{'':42}{'median':>8}{'95 %':>8}{'max':>8}{'cover':>8}{'u95':>8}{'findings':>10}{'ratio':>8}{'ms':>7}")
    for name, make in rows().items():
        if chosen.only in name:
            _row(name, make, views=chosen.views, seed=chosen.seed)


def _row(name: str, make: Maker, *, views: int, seed: int) -> None:
    rng = np.random.default_rng(seed)
    off, said, plain, decided, refused, spent = [], [], [], 0, 0, 0.0
    for _ in range(views):
        view = make(rng)
        picturing = view.picturing
        begin = time.process_time()
        try:
            calibration = adjust(
                view.observations,
                width_px=picturing.width_px,
                height_px=picturing.height_px,
                kind=view.kind,
                focal_35mm=view.focal_35mm,
            )
        except CalibrationError:
            refused += 1
            continue
        spent += time.process_time() - begin
        decided += not calibration.settled
        ends_mm = rng.uniform(SHEET_MM.min(axis=0), SHEET_MM.max(axis=0), (2, LENGTHS, 2))
        true = np.hypot(*(ends_mm[1] - ends_mm[0]).T)
        starts_px, ends_px = picturing.to_picture(ends_mm[0]), picturing.to_picture(ends_mm[1])
        mm, u95 = calibration.lengths_u95(starts_px, ends_px, mark_sigma_px=0.0)
        off.append((mm - true) / true)
        said.append(u95 / true)
        plain.append(_homography_error(view, starts_px, ends_px, true))
    error, give = np.abs(np.concatenate(off)), np.concatenate(said)
    foreign = np.concatenate(plain)
    ratio = np.median(error) / np.median(foreign) if len(foreign) else math.nan
    print(
        f"{name:42}{100 * np.median(error):8.3f}{100 * np.quantile(error, 0.95):8.3f}{100 * error.max():8.2f}"
        f"{(error <= give).mean():8.3f}{100 * np.median(give):8.3f}{decided:5}+{refused:<4}{ratio:8.2f}"
        f"{1000 * spent / max(1, len(off)):7.0f}",
        flush=True,
    )


def _homography_error(view: Taken, starts_px: Floats, ends_px: Floats, true: Floats) -> Floats:
    """Give the error parts of the plain route: a homography through four sized corners (OpenCV)."""
    for seen in view.observations:
        if isinstance(seen, Corners) and seen.width_mm is not None and seen.height_mm is not None:
            w, h = seen.width_mm, seen.height_mm
            target = np.array([[0, h], [w, h], [w, 0], [0, 0]], dtype=np.float64)
            through, _ = cv2.findHomography(np.array(seen.points_px), target)
            ends = [cv2.perspectiveTransform(px[:, None], through)[:, 0] for px in (starts_px, ends_px)]
            return np.asarray(np.abs(np.hypot(*(ends[1] - ends[0]).T) - true) / true)
    return np.zeros(0)


def _scan(rng: np.random.Generator, knowns: int) -> Taken:
    stretch, shear = rng.normal(0, STRETCH_SIGMA), rng.normal(0, SHEAR_SIGMA)
    scanner = scanner_for(
        SHEET_MM, dpi=300, skew_deg=rng.uniform(-2, 2), stretch=(math.exp(-stretch / 2), math.exp(stretch / 2))
    )
    lean = np.array([[1, shear / 2], [shear / 2, 1]])
    scanner = replace(scanner, matrix=lean @ scanner.matrix)
    pairs = [((60.0, 300.0), (760.0, 300.0)), ((400.0, 60.0), (400.0, 540.0))][:knowns]
    return Taken(scanner, Kind.SCAN, None, tuple(_known(rng, scanner, *pair) for pair in pairs))


def _photo(
    rng: np.random.Generator, *, lens: int, sized: bool | None, knowns: int, told: bool, lines: bool = False
) -> Taken:
    """Give a view.

    `sized` None leaves the corners out; `knowns` -6 are four crosses' sides and diagonals; with `lines` the corners
    are the crossings of a drawn border's measured sides.
    """
    view: View = random_view(rng)
    camera = camera_for(SHEET_MM, view, width_px=4000, height_px=3000)
    if not lens:
        camera = replace(camera.without_lens(), centre_px=(1999.5, 1499.5))
    observations: list[Observation] = []
    if sized is not None:
        middle = BORDER_MM.mean(axis=0)
        drawn = BORDER_MM - middle
        drawn[:, 0] += rng.normal(0, LEAN_SIGMA_RAD) * drawn[:, 1]
        drawn += middle + rng.uniform(-DRAUGHTING_MM, DRAUGHTING_MM, (4, 2))
        marks = _clicked(rng, camera, drawn, sigma_px=CORNER_SIGMA_PX if lines else CLICK_SIGMA_PX)
        width_mm, height_mm = (801.0, 554.0) if sized else (None, None)
        sigma_px = CORNER_SIGMA_PX if lines else CLICK_SIGMA_PX
        first, second, third, fourth = marks
        observations.append(Corners((first, second, third, fourth), width_mm, height_mm, sigma_px=sigma_px))
        if lines:
            observations += [
                StraightLine(_side(rng, camera, drawn[i], drawn[(i + 1) % 4]), SIDE_SIGMA_PX) for i in range(4)
            ]
    if knowns < 0:
        crosses = BORDER_MM + rng.uniform(-30, 0, (4, 2)) * np.sign(BORDER_MM - BORDER_MM.mean(axis=0))
        pairs = [(0, 1), (1, 2), (2, 3), (3, 0), (0, 2), (1, 3)]
        observations += [_known(rng, camera, crosses[i], crosses[j]) for i, j in pairs]
    for _ in range(knowns):
        ends = rng.uniform((30, 30), (811, 564), (2, 2))
        while np.hypot(*(ends[1] - ends[0])) < 200:
            ends = rng.uniform((30, 30), (811, 564), (2, 2))
        observations.append(_known(rng, camera, *ends))
    focal = camera.focal_35mm * (1 + 0.02 * rng.choice([-1, 1])) if told else None
    return Taken(camera, Kind.PHOTO, focal, tuple(observations))


def _known(
    rng: np.random.Generator, picturing: Camera | Scanner, start: Sequence[float], end: Sequence[float]
) -> KnownDistance:
    ends = np.array([start, end], dtype=np.float64)
    length = float(np.hypot(*(ends[1] - ends[0]))) + rng.uniform(-DRAUGHTING_MM, DRAUGHTING_MM)
    first, second = _clicked(rng, picturing, ends)
    return KnownDistance(first, second, length)


def _side(rng: np.random.Generator, camera: Camera, start_mm: Floats, end_mm: Floats) -> Floats:
    """Give centres along a drawn side, px; as drawn and laid it sags by up to the draughting's give."""
    t = (np.arange(SIDE_POINTS) + 0.5) / SIDE_POINTS
    along = end_mm - start_mm
    across = np.array([-along[1], along[0]]) / np.hypot(*along)
    sag = 4 * t * (1 - t) * rng.uniform(-DRAUGHTING_MM, DRAUGHTING_MM)
    px = camera.to_picture(start_mm + t[:, None] * along + sag[:, None] * across)
    return np.asarray(px + rng.normal(0, SIDE_SIGMA_PX, px.shape))


def _clicked(
    rng: np.random.Generator, picturing: Camera | Scanner, points_mm: Floats, *, sigma_px: float = CLICK_SIGMA_PX
) -> tuple[PointPx, ...]:
    px = picturing.to_picture(points_mm)
    px = np.clip(px + rng.normal(0, sigma_px, px.shape), 0, (picturing.width_px - 1, picturing.height_px - 1))
    return tuple((float(x), float(y)) for x, y in px)


if __name__ == "__main__":
    main()
