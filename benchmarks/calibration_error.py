"""Print how far lengths are off, against what is said of them, over many random views of a simulated sheet.

Each row is an ensemble: the views of `benchmarks.simulated_views`, with what is given in that row. "by hand" is a
plan drawn to 0.2 mm, whose border's sides sag as much and which leans by 0.06 degrees, "by machine" one true to 0.02 mm
and an arc minute; "on a printed sheet" is a border by machine with a plan drawn into it by hand. Lengths given are
anywhere on the sheet, 200 mm and more, and marked to 0.5 px; "marks on ink" are those that the program moved to the
drawn crossing or corner, to 0.15 px (`benchmarks.bordered_photos`).
Run: python -m benchmarks.calibration_error [--views N] [--seed S] [--rows PATTERN]
"""

import argparse
import fnmatch
import math
import time
from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np

from benchmarks.simulated_views import (
    BY_HAND,
    BY_MACHINE,
    ON_A_PRINTED_SHEET,
    SCAN_KNOWNS_MM,
    Drawn,
    Scene,
    Taken,
    photo,
    random_lengths,
    scan,
)
from calibration.adjust import adjust
from calibration.calibration import Calibration
from calibration.observations import SETTLED_SIGMA_PX, CalibrationError, Corners, KnownDistance
from calibration.plane_map import Floats

LENGTHS = 25
TWO_KNOWNS = "scan, two knowns x + y"

Maker = Callable[[np.random.Generator], Taken]

PHOTOS = {
    "sized corners": Scene(size=True),
    "sized corners, no EXIF": Scene(size=True, focal_off=None),
    "sized corners + 3 knowns": Scene(size=True, knowns=3),
    "sized corners + 4 knowns": Scene(size=True, knowns=4),
    "unsized corners + 1 known": Scene(knowns=1),
    "sized border, by machine": Scene(size=True, lines=True, drawn=BY_MACHINE),
    "sized border, by hand": Scene(size=True, lines=True),
    "sized border, EXIF 20 % off": Scene(size=True, lines=True, drawn=BY_MACHINE, focal_off=0.2),
    "border + 1 known, by machine": Scene(lines=True, knowns=1, drawn=BY_MACHINE),
    "border + 1 known, by hand": Scene(lines=True, knowns=1),
    "border + 1 known, on a printed sheet": Scene(lines=True, knowns=1, drawn=ON_A_PRINTED_SHEET),
    "border + 1 known, no EXIF": Scene(lines=True, knowns=1, drawn=BY_MACHINE, focal_off=None),
    "border + 1 known, EXIF 20 % off": Scene(lines=True, knowns=1, drawn=BY_MACHINE, focal_off=0.2),
    "border + 2 knowns, by machine": Scene(lines=True, knowns=2, drawn=BY_MACHINE),
    "border + 2 knowns, by hand": Scene(lines=True, knowns=2),
    "border + 1 known, by machine, marks on ink": Scene(
        lines=True, knowns=1, drawn=BY_MACHINE, click_sigma_px=SETTLED_SIGMA_PX
    ),
    "border + 4 knowns, EXIF 20 % off": Scene(lines=True, knowns=4, drawn=BY_MACHINE, focal_off=0.2),
    "border + 6 knowns, by hand": Scene(lines=True, knowns=6),
    "five knowns, by hand": Scene(rectangle=False, knowns=5),
    "six knowns, by hand": Scene(rectangle=False, knowns=6),
    "six knowns, by machine": Scene(rectangle=False, knowns=6, drawn=BY_MACHINE),
    "six knowns, by machine, marks on ink": Scene(
        rectangle=False, knowns=6, drawn=BY_MACHINE, click_sigma_px=SETTLED_SIGMA_PX
    ),
    "six knowns, by hand, marks on ink": Scene(rectangle=False, knowns=6, click_sigma_px=SETTLED_SIGMA_PX),
    "eight knowns, by hand": Scene(rectangle=False, knowns=8),
    "six knowns + border lines, by machine": Scene(rectangle=False, knowns=6, lines=True, drawn=BY_MACHINE),
    "six knowns + border lines, on a printed sheet": Scene(
        rectangle=False, knowns=6, lines=True, drawn=ON_A_PRINTED_SHEET
    ),
    "six knowns + border lines, by hand": Scene(rectangle=False, knowns=6, lines=True),
    "crosses: 4 sides 2 diagonals": Scene(rectangle=False, crosses=True),
}


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--views", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--rows", default="*", help="which rows, as a shell pattern; a part of the name is enough")
    chosen = parser.parse_args()
    print(f"seed {chosen.seed}, {chosen.views} views x {LENGTHS} lengths; errors in % of the length")
    print(f"{'':52}{'median':>8}{'95 %':>8}{'max':>8}{'cover':>8}{'u95':>8}{'findings':>10}{'ratio':>8}{'ms':>7}")
    for name, make in rows().items():
        if fnmatch.fnmatch(name, f"*{chosen.rows}*"):
            _print_row(name, make, views=chosen.views, seed=chosen.seed)
            if name == TWO_KNOWNS:
                for how, drawn in (("hand", BY_HAND), ("machine", BY_MACHINE)):
                    _print_axes(how, drawn, views=chosen.views, seed=chosen.seed)


def rows() -> dict[str, Maker]:
    """Give the rows of the table: their names, and what takes a picture for each."""
    scans: dict[str, Maker] = {
        TWO_KNOWNS: lambda rng: scan(rng, 2),
        "scan, one known": lambda rng: scan(rng, 1),
    }
    return scans | {f"photo, {name}": _maker(scene) for name, scene in PHOTOS.items()}


def _maker(scene: Scene) -> Maker:
    return lambda rng: photo(rng, scene)


@dataclass(frozen=True)
class Errors:
    """Of one picture: errors of lengths and what is said of them, both as a part, and those of the plain route."""

    off: Floats
    said: Floats
    plain: Floats


def calibrated(taken: Taken) -> Calibration:
    """Set the scale by what was given."""
    picturing = taken.picturing
    return adjust(
        taken.observations,
        width_px=picturing.width_px,
        height_px=picturing.height_px,
        kind=taken.kind,
        focal_35mm=taken.focal_35mm,
    )


def errors_of(rng: np.random.Generator, taken: Taken, calibration: Calibration) -> Errors:
    """Compare random lengths of the sheet with what they are."""
    starts_px, ends_px, true_mm = random_lengths(rng, taken.picturing, LENGTHS)
    mm, u95_mm = calibration.lengths_u95(starts_px, ends_px, mark_sigma_px=0.0)
    plain = _homography_error(taken, starts_px, ends_px, true_mm)
    return Errors(np.abs(mm - true_mm) / true_mm, u95_mm / true_mm, plain)


def _print_row(name: str, make: Maker, *, views: int, seed: int) -> None:
    rng = np.random.default_rng(seed)
    errors, seconds = [], []
    decided = refused = 0
    for _ in range(views):
        taken = make(rng)
        begin = time.process_time()
        try:
            calibration = calibrated(taken)
        except CalibrationError:
            refused += 1
            continue
        seconds.append(time.process_time() - begin)
        decided += not calibration.settled
        errors.append(errors_of(rng, taken, calibration))
    off, said = np.concatenate([one.off for one in errors]), np.concatenate([one.said for one in errors])
    plain = np.concatenate([one.plain for one in errors])
    ratio = np.median(off) / np.median(plain) if len(plain) else math.nan
    print(
        f"{name:52}{100 * np.median(off):8.3f}{100 * np.quantile(off, 0.95):8.3f}{100 * off.max():8.2f}"
        f"{(off <= said).mean():8.3f}{100 * np.median(said):8.3f}{decided:5}+{refused:<4}{ratio:8.2f}"
        f"{1000 * np.median(seconds):7.0f}",
        flush=True,
    )


def _print_axes(how: str, drawn: Drawn, *, views: int, seed: int) -> None:
    """Print what the axes' own scales are off, and what clicks and draughting alone make of it."""
    rng = np.random.default_rng(seed)
    ends_mm = np.array(SCAN_KNOWNS_MM)
    true_mm = np.hypot(*(ends_mm[:, 1] - ends_mm[:, 0]).T)
    off, alone = [], []
    for _ in range(views):
        taken = scan(rng, 2, drawn)
        calibration = calibrated(taken)
        at_px = taken.picturing.to_picture(ends_mm.reshape(-1, 2)).reshape(2, 2, 2)
        mm, _ = calibration.lengths_u95(at_px[:, 0], at_px[:, 1], mark_sigma_px=0.0)
        off.append(mm / true_mm - 1)
        marked = (known for known in taken.observations if isinstance(known, KnownDistance))
        px = np.array([math.dist(known.start_px, known.end_px) / known.length_mm for known in marked])
        alone.append(np.hypot(*(at_px[:, 1] - at_px[:, 0]).T) / true_mm / px - 1)
    for what, errors in (("axes' scales", off), ("clicks and draughting alone", alone)):
        part = 100 * np.abs(np.array(errors))
        axes = [
            f"{axis} {np.median(part[:, n]):.3f} / {np.quantile(part[:, n], 0.95):.3f}" for n, axis in enumerate("xy")
        ]
        print(f"  lengths drawn by {how} ({drawn.lengths_mm:g} mm), {what}: {', '.join(axes)} % (median / 95 %)")


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


if __name__ == "__main__":
    main()
