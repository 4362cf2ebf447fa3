"""Photos of invented bordered plans, from pixels to lengths: how far these are off, clicks included, and the time.

First lengths between any places, their marks off by so much. Then from end to end: crossings, corners, line ends and
tips of the drawing are clicked, the program sees the picture and moves each mark to the ink, and lengths between them
are compared with what was drawn.

Every photo is drawn by `benchmarks.bordered_plans` with its truth: 12 MP, 24-28 mm equivalent, tilted to 25 degrees on
both axes, lens, uneven light, blur, noise, JPEG. No threshold was set on the ones that the seed here gives. Given are
the border's size and a focal length 2 % off.
Run: python -m benchmarks.bordered_photos [--views N] [--seed S] [--rows PATTERN]
"""

import argparse
import fnmatch
import itertools
import math
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from benchmarks.bordered_plans import Points, Scene, View, photo_view, plan_scene, take
from benchmarks.drawn_places import Place, PlaceKind, drawn_places
from calibration.adjust import adjust
from calibration.border import Border, find_border
from calibration.calibration import Calibration
from calibration.kind import Kind
from calibration.observations import CLICK_SIGMA_PX, SETTLED_SIGMA_PX, Corners, Observation, StraightLine
from calibration.sheet import find_sheet
from job.job import Mark, Sheet
from job.progress import Silent
from job.see import see_picture
from job.settle import Landmarks, landmarks_in, on_ink
from pictures.ink import find_ink
from pictures.picture import Medium, Picture, Source

KINDS = ("plain", "double", "zones", "gaps", "outside")
LENGTHS = 25
SLIPS_PX = (CLICK_SIGMA_PX, 2.0)
"""What clicks are off, one sigma: at full zoom, and with the whole plan on the screen."""

CLEAR_SLIPS = 4.0
"""Nobody marks a place that has another within this many times the slip."""

WRONG_PX = 1.0
"""A mark moved to the ink and off by more is at another place, or ought to have stayed."""
FILM_DIAGONAL_MM = math.hypot(36, 24)


@dataclass(frozen=True)
class Moved:
    """A mark put near a drawn place: which, whether it moved to the ink, how far off it then is, and one sigma stated.

    All in px.
    """

    place: Place
    moved: bool
    off_px: float
    at_px: tuple[float, float]
    sigma_px: float


@dataclass(frozen=True)
class Between:
    """A length between two marks: how far off it is and its give or take, in parts of it; whether both marks moved."""

    off: float
    u95: float
    moved: bool


def main() -> None:
    """Print a line for each photo and the figures of all."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--views", type=int, default=10)
    parser.add_argument("--seed", type=int, default=2026)
    parser.add_argument("--rows", default="*", help="which kinds of border, as a shell pattern")
    chosen = parser.parse_args()
    kinds = [kind for kind in KINDS if fnmatch.fnmatch(kind, f"*{chosen.rows}*")]
    print(f"seed {chosen.seed}, {chosen.views} photos, {LENGTHS} lengths each")
    clicked, settled, said, corner, seconds, cpu = [], [], [], [], [], []
    marks: dict[float, list[Moved]] = {slip: [] for slip in SLIPS_PX}
    drawn: dict[float, list[Between]] = {slip: [] for slip in SLIPS_PX}
    found = 0
    for number in range(chosen.views):
        kind = kinds[number % len(kinds)]
        rng = np.random.default_rng([chosen.seed, number])
        scene = plan_scene(rng, kind)
        view = photo_view(rng, scene.sheet_mm, width_px=4000, tilt_deg=25)
        pixels = take(rng, scene, view, table=int(rng.integers(50, 150)))
        picture = Picture(pixels, Source(Path("plan.jpg"), "", Medium.RASTER))
        ink = find_ink(picture)
        began, spent = time.perf_counter(), time.process_time()
        border = find_border(ink, sheet_px=find_sheet(picture))
        seconds.append(time.perf_counter() - began)
        cpu.append(time.process_time() - spent)
        assert scene.corners_mm is not None
        if border is None:
            print(f"  {number} {kind}: no border found")
            continue
        found += 1
        off_px = np.hypot(*(border.corners_px - view.to_picture(scene.corners_mm)).T)
        calibration = _calibrated(rng, border, scene, view)
        starts, ends, true_mm = _lengths(rng, scene)
        errors = [
            np.abs(_measured(rng, calibration, view, starts, ends, sigma_px) - true_mm) / true_mm
            for sigma_px in (CLICK_SIGMA_PX, SETTLED_SIGMA_PX)
        ]
        _, u95_mm = calibration.lengths_u95(
            view.to_picture(starts), view.to_picture(ends), mark_sigma_px=CLICK_SIGMA_PX
        )
        corner += off_px.tolist()
        clicked += errors[0].tolist()
        settled += errors[1].tolist()
        said += (errors[0] <= u95_mm / true_mm).tolist()
        landmarks = landmarks_in(see_picture(picture, Sheet(Path("plan.jpg"), ""), (), Silent()))
        for slip in SLIPS_PX:
            moved = _marked(rng, scene, view, landmarks, slip_px=slip)
            marks[slip] += moved
            drawn[slip] += _between(rng, calibration, scene, moved)
        print(
            f"  {number} {kind}, {scene.sheet_mm[0]:.0f} x {scene.sheet_mm[1]:.0f} mm: corners off "
            f"{off_px.max():.2f} px (sigma stated {border.sigma_px:.2f}, of sides {border.side_sigma_px:.2f}), "
            f"95 % of lengths under {100 * np.quantile(errors[0], 0.95):.3f} %, findings to decide: "
            f"{[finding.code for finding in calibration.findings if finding.level.value == 'decide']}"
        )
    print(f"borders found in {found} of {chosen.views}; corners off {np.sqrt(np.mean(np.square(corner))):.3f} px rms")
    for name, off in (("clicks of 0.5 px", clicked), ("marks on ink, 0.15 px", settled)):
        print(
            f"lengths of half the sheet's diagonal and more, {name}: median {100 * np.median(off):.3f} %, "
            f"95 % under {100 * np.quantile(off, 0.95):.3f} %, largest {100 * np.max(off):.2f} %"
        )
    for slip in SLIPS_PX:
        _print_marks(slip, marks[slip], drawn[slip])
    print(f"95 % intervals, clicks included, hold {np.mean(said):.1%}")
    print(f"paper's edge and border: {np.median(seconds):.2f} s of wall clock, {np.median(cpu):.2f} s of CPU (medians)")


def _calibrated(rng: np.random.Generator, border: Border, scene: Scene, view: View) -> Calibration:
    """Set the scale by the border's size."""
    assert scene.corners_mm is not None
    first, second, third, fourth = ((float(x), float(y)) for x, y in border.corners_px)
    width_mm, height_mm = (scene.corners_mm[2] - scene.corners_mm[0]).tolist()
    corners = Corners((first, second, third, fourth), width_mm, height_mm, sigma_px=border.sigma_px)
    given: list[Observation] = [corners]
    given += [StraightLine(side, border.side_sigma_px) for side in border.sides]
    width_px, height_px = view.size_px
    focal_35mm = view.focal_px / math.hypot(width_px, height_px) * FILM_DIAGONAL_MM * (1 + 0.02 * rng.choice([-1, 1]))
    return adjust(given, width_px=width_px, height_px=height_px, kind=Kind.PHOTO, focal_35mm=focal_35mm)


def _lengths(rng: np.random.Generator, scene: Scene) -> tuple[Points, Points, Points]:
    """Give lengths of half the sheet's diagonal and more, of every direction: ends on the sheet, and mm."""
    starts: list[Points] = []
    ends: list[Points] = []
    while len(starts) < LENGTHS:
        start, end = rng.uniform((0, 0), scene.sheet_mm, (2, 2))
        if math.dist(start, end) >= math.hypot(*scene.sheet_mm) / 2:
            starts.append(start)
            ends.append(end)
    return np.array(starts), np.array(ends), np.hypot(*(np.array(ends) - np.array(starts)).T)


def _measured(
    rng: np.random.Generator, calibration: Calibration, view: View, starts: Points, ends: Points, sigma_px: float
) -> Points:
    """Give lengths between marks that are off by so many px, mm."""
    marks = [view.to_picture(points) + rng.normal(0, sigma_px, points.shape) for points in (starts, ends)]
    mm, _ = calibration.lengths_u95(*marks, mark_sigma_px=sigma_px)
    return mm


def _marked(rng: np.random.Generator, scene: Scene, view: View, landmarks: Landmarks, *, slip_px: float) -> list[Moved]:
    """Click every drawn place that is clear of others, and let the program move the marks."""
    marked: list[Moved] = []
    for place in drawn_places(scene):
        x, y = place.at_mm
        true_px, beside_px = view.to_picture(np.array([(x, y), (x + place.clear_mm, y)]))
        if math.dist(true_px, beside_px) < CLEAR_SLIPS * slip_px:
            continue
        clicked = true_px + rng.normal(0, slip_px, 2)
        mark, row = on_ink(Mark(float(clicked[0]), float(clicked[1])), landmarks)
        sigma_px = slip_px if row is None else float(landmarks.sigmas_px[row])
        marked.append(Moved(place, row is not None, math.dist(mark.at_px, true_px), mark.at_px, sigma_px))
    return marked


def _between(rng: np.random.Generator, calibration: Calibration, scene: Scene, marked: list[Moved]) -> list[Between]:
    """Compare lengths between marks, of half the sheet's diagonal and more, with what was drawn."""
    found: list[Between] = []
    far = [
        (one, other)
        for one, other in itertools.combinations(marked, 2)
        if math.dist(one.place.at_mm, other.place.at_mm) >= math.hypot(*scene.sheet_mm) / 2
    ]
    for n in rng.permutation(len(far))[: 4 * LENGTHS]:
        one, other = far[n]
        true_mm = math.dist(one.place.at_mm, other.place.at_mm)
        length = calibration.length(one.at_px, other.at_px, mark_sigma_px=max(one.sigma_px, other.sigma_px))
        off = abs(length.mm / true_mm - 1)
        found.append(Between(off, length.u95_mm / true_mm, one.moved and other.moved))
    return found


def _print_marks(slip_px: float, marked: list[Moved], between: list[Between]) -> None:
    print(f"from end to end, clicks off by {slip_px:g} px moved to the ink:")
    for name, some in (("all", between), ("both marks moved", [one for one in between if one.moved])):
        off = np.array([one.off for one in some])
        held = np.mean([one.off <= one.u95 for one in some])
        print(
            f"  {len(some)} lengths between drawn places, {name}: median {100 * np.median(off):.3f} %, "
            f"95 % under {100 * np.quantile(off, 0.95):.3f} %, largest {100 * off.max():.2f} %, "
            f"95 % intervals hold {held:.1%}"
        )
    for kind in PlaceKind:
        of_kind = [mark for mark in marked if mark.place.kind is kind]
        moved = np.array([mark.off_px for mark in of_kind if mark.moved])
        right = moved[moved <= WRONG_PX]
        print(
            f"  {kind:9} {len(of_kind):4} marked, {len(moved):4} moved, {np.sqrt(np.mean(right**2)):.3f} px rms off; "
            f"{len(moved) - len(right):3} of them more than {WRONG_PX:g} px (largest {moved.max():.1f})"
        )


if __name__ == "__main__":
    main()
