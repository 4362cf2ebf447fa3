"""The main job on the bundled sample: error in mm and time of the whole program, beside a plain-library route.

Run as `python -m benchmarks.main_job`; `--random N` adds N invented plans, each as a photo and a scan; `--hard N` adds
N hard ones (dimensions in many manners, gaps, dashes, shared edges, nested ribs), each as a photo, a grey and a
bilevel scan; `--only WORD` keeps the trials with that word in their name. Every known distance is marked as a person
would, half a px of noise on each click. The plain route is given the border's four true corners and its true size, and
does much less: no scale to settle, no parts told from cells and letters, no curves, no pages, no report.
"""

import argparse
import contextlib
import io
import sys
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np
import shapely
from PIL import Image

from benchmarks.measured_run import best_of, measured_run
from benchmarks.plain_route import plain_route
from benchmarks.truth_error import Compared, Loops, MapError, compare, loops_of, map_error, true_map
from sample_scans.camera import Picturing
from sample_scans.files import sample_path
from sample_scans.generate import PAGE, PHOTO, PHOTO_VIEW, SCAN, cameras
from sample_scans.hard_plan import hard_plan
from sample_scans.plan import school_plan
from sample_scans.random_plan import random_plan
from sample_scans.rendered import rendered_photo, rendered_scan, save_picture
from sample_scans.truth import PlanTruth, Points

CLICK_SIGMA_PX = 0.5
DPI = (200, 300, 150)
BLACK_BELOW = 150
FRACTION = "1/2"
REPEATS = 2
HOLE_SHARE = 0.6
"""A contour inside another is its hole below this share of its area; above, it is the other side of one line."""


@dataclass(frozen=True, slots=True)
class Trial:
    """A picture of a known plan, and the plan's lengths that are given to the program."""

    name: str
    picture: Path
    camera: Picturing
    plan: PlanTruth
    given: tuple[str, ...]
    border_size: str = ""
    """The drawn border's size in words, when its corners are given too."""

    def corners(self) -> tuple[tuple[float, float], ...]:
        """The border's corners in px, clicked."""
        rng = np.random.default_rng(sum(self.name.encode()) + 1)
        ends = self.camera.to_picture(self.plan.border_mm) + rng.normal(0, CLICK_SIGMA_PX, (4, 2))
        return tuple((float(x), float(y)) for x, y in np.round(ends, 1))

    def knowns(self) -> list[tuple[tuple[float, float], tuple[float, float], str]]:
        """Both ends in px, clicked, and the length in words."""
        rng = np.random.default_rng(sum(self.name.encode()))
        marks = []
        for name in self.given:
            known = self.plan.known_named(name)
            ends = self.camera.to_picture(np.array([known.start_mm, known.end_mm]))
            (ax, ay), (bx, by) = np.round(ends + rng.normal(0, CLICK_SIGMA_PX, (2, 2)), 1).tolist()
            marks.append(((ax, ay), (bx, by), f"{known.length_mm:.4g} mm"))
        return marks


def main() -> None:
    """Run the trials asked for and print a table."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.main_job", description=__doc__)
    parser.add_argument("--random", type=int, default=0, metavar="N", help="invented plans beside the bundled one")
    parser.add_argument("--hard", type=int, default=0, metavar="N", help="hard invented plans")
    parser.add_argument("--only", default="", metavar="WORD", help="trials with this in their name")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        for trial in trials(Path(folder), random_plans=asked.random, hard_plans=asked.hard, only=asked.only):
            _print_trial(trial, Path(folder))


def trials(folder: Path, *, random_plans: int, hard_plans: int = 0, only: str = "") -> Iterator[Trial]:
    """Give each trial, its picture written when its turn comes."""
    plan = school_plan()
    by = cameras(plan)
    two = ("WING PANEL length", "WING PANEL root chord")
    made: dict[str, Callable[[], Trial]] = {
        "photo": lambda: Trial("photo", sample_path(PHOTO), by.photo, plan, two),
        "photo, sized border": lambda: Trial(
            "photo, sized border", sample_path(PHOTO), by.photo, plan, two[:1], "564 x 400 mm"
        ),
        "photo, one length": lambda: Trial("photo, one length", sample_path(PHOTO), by.photo, plan, two[:1]),
        "photo, no lens": lambda: _photo("photo, no lens", folder, plan, 20, two),
        "scan": lambda: Trial("scan", sample_path(SCAN), by.scan, plan, two),
        "pdf": lambda: Trial("pdf", sample_path(PAGE), by.page, plan, two[:1]),
    }
    for seed in range(random_plans):
        made[f"random {seed} photo"] = partial(_random_photo, folder, seed)
        made[f"random {seed} scan"] = partial(_random_scan, folder, seed)
    for seed in range(hard_plans):
        for kind in ("photo", "scan", "bilevel"):
            made[f"hard {seed} {kind}"] = partial(_hard, folder, seed, kind)
    for name, make_trial in made.items():
        if only in name:
            yield make_trial()


def _photo(name: str, folder: Path, plan: PlanTruth, seed: int, given: tuple[str, ...]) -> Trial:
    rendered = rendered_photo(seed, plan=plan, view=PHOTO_VIEW, lens=(0.0, 0.0))
    path = folder / f"{plan.name}-{seed}.jpg"
    save_picture(rendered, path)
    return Trial(name, path, rendered.camera, plan, given)


def _random_photo(folder: Path, seed: int) -> Trial:
    rendered = rendered_photo(seed, plan=random_plan(seed))
    path = folder / f"random-{seed}.jpg"
    save_picture(rendered, path)
    return Trial(f"random {seed} photo", path, rendered.camera, rendered.plan, ("PANEL length", "PANEL root chord"))


def _random_scan(folder: Path, seed: int) -> Trial:
    rendered = rendered_scan(seed, plan=random_plan(seed), dpi=DPI[seed % 3])
    path = folder / f"random-{seed}.png"
    save_picture(rendered, path)
    return Trial(f"random {seed} scan", path, rendered.camera, rendered.plan, ("PANEL length", "PANEL root chord"))


def _hard(folder: Path, seed: int, kind: str) -> Trial:
    plan = hard_plan(seed)
    rendered = rendered_photo(seed, plan=plan) if kind == "photo" else rendered_scan(seed, plan=plan, dpi=DPI[seed % 3])
    path = folder / f"hard-{seed}-{kind}.{'jpg' if kind == 'photo' else 'png'}"
    save_picture(rendered, path)
    if kind == "bilevel":
        Image.fromarray(np.asarray(Image.open(path).convert("L")) > BLACK_BELOW).save(path)
    return Trial(f"hard {seed} {kind}", path, rendered.camera, rendered.plan, ("P1 length", "P1 root chord"))


def _print_trial(trial: Trial, folder: Path) -> None:
    print(f"\n{trial.name}: {trial.plan.name}, {trial.camera.width_px} x {trial.camera.height_px} px", flush=True)
    corners_px = trial.camera.to_picture(trial.plan.border_mm)
    width_mm, height_mm = np.ptp(trial.plan.border_mm, axis=0).tolist()
    by_program = program_command(trial, folder / "out")
    by_plain = plain_command(trial, corners_px, width_mm, height_mm, folder / "plain.svg")
    # In turns, so that what else the machine does falls on both.
    runs = [(measured_run(by_program), measured_run(by_plain)) for _ in range(REPEATS)]
    program, plain = best_of(*(a for a, _ in runs)), best_of(*(b for _, b in runs))
    contours = _nested(plain_route(trial.picture, corners_px, width_mm, height_mm))
    _print_compared("plain route", compare(contours, trial.plan))
    if program.code not in (0, 1):
        last = program.said.strip().splitlines()[-1:]
        print(f"  program ended with {program.code}: {' '.join(last)}")
    else:
        print_in_program(trial, folder / "again")
    ratio = program.seconds / plain.seconds
    print(
        f"  whole process {program.seconds:.2f} s, plain route {plain.seconds:.2f} s: {ratio:.2f} times; "
        f"peak {program.peak_mb:.0f} MB, plain {plain.peak_mb:.0f} MB",
        flush=True,
    )


def print_in_program(trial: Trial, folder: Path) -> None:
    """Print what the program's own values say beside the truth."""
    in_program = _in_program(trial, folder)
    _print_compared("true map", in_program.by_true_map)
    _print_compared("whole chain", in_program.whole)
    lengths = np.abs(in_program.scale.lengths_percent)
    print(
        f"  scale {in_program.scale.scale_percent:+.4f} %; lengths off by {np.median(lengths):.4f} / "
        f"{np.percentile(lengths, 95):.4f} / {lengths.max():.4f} % (median, 95 %, max); "
        f"give or take stated for the same: {in_program.stated_percent:.4f} % (median)"
    )
    stages = ", ".join(f"{words} {seconds:.2f}" for words, seconds in in_program.seconds.items())
    print(f"  stages in s: {stages}; findings: {', '.join(in_program.findings) or 'none'}")


def _nested(contours: list[Points]) -> list[Loops]:
    """Contours as parts that hold every smaller contour inside them: the plain route tells no opening from a letter."""
    polygons = [shapely.Polygon(contour) for contour in contours]
    tree = shapely.STRtree([polygon.representative_point() for polygon in polygons])
    loops = []
    for index, polygon in enumerate(polygons):
        inside = [other for other in tree.query(polygon, "intersects") if other != index]
        holes = [contours[other] for other in inside if polygons[other].area < HOLE_SHARE * polygon.area]
        loops.append(Loops(contours[index], tuple(holes)))
    return loops


def _print_compared(name: str, result: Compared) -> None:
    rms, near_all, most = result.rms_95_max_mm()
    worst = result.worst()
    sizes = max((abs(part.size_percent) for part in result.parts), default=float("nan"))
    missed = f"; missed {', '.join(result.missed)}" if result.missed else ""
    at = "" if worst is None else f" on {worst.name}"
    print(
        f"  {name:12} parts {len(result.parts)}/{result.parts_true}, false {result.false_parts} "
        f"(+{result.doubted_parts} unsure), holes {result.holes_found}/{result.holes_true}, "
        f"false {result.false_holes}; outlines {rms:.4f} / {near_all:.4f} / {most:.3f} mm (rms, 95 %, max{at}); "
        f"a part's size within {sizes:.3f} %{missed}"
    )


@dataclass(frozen=True, slots=True)
class InProgram:
    """What the program's own values say beside the truth."""

    by_true_map: Compared
    whole: Compared
    scale: MapError
    stated_percent: float
    seconds: dict[str, float]
    findings: tuple[str, ...]


def _in_program(trial: Trial, folder: Path) -> InProgram:
    """Run the program in this process; judge its lines by the true map, then everything by its own map."""
    from fractions import Fraction

    from digitize.draw_outlines import draw_outlines
    from job.make import Typed, make
    from job.points import TypedCorners, TypedLength
    from job.progress import Silent, Timed

    corners = None
    if trial.border_size:
        first, second, third, fourth = trial.corners()
        corners = TypedCorners((first, second, third, fourth), trial.border_size)
    knowns = tuple(TypedLength(*known) for known in trial.knowns())
    typed = Typed(knowns=knowns, corners=corners, fraction=Fraction(FRACTION))
    timed = Timed(Silent())
    with contextlib.redirect_stdout(io.StringIO()):
        made = make(trial.picture, typed, folder=folder, progress=timed)
    to_true = true_map(trial.camera, trial.plan)
    border = made.seen.border
    drawn = draw_outlines(
        made.seen.strokes.mapped(to_true),
        tolerance_mm=None,
        border_px=None if border is None else border.corners_px,
    )
    scale = map_error(made.calibration.to_plan, trial.camera, trial.plan)
    return InProgram(
        compare(loops_of(drawn.drawing), trial.plan),
        compare(loops_of(made.plan), trial.plan, frame=scale.frame),
        scale,
        _stated_percent(made.calibration.lengths_u95, trial.camera, trial.plan),
        timed.seconds(),
        tuple(finding.code for finding in made.findings),
    )


def _stated_percent(
    lengths_u95: Callable[[Points, Points], tuple[Points, Points]], camera: Picturing, plan: PlanTruth
) -> float:
    """The median give or take of 100 lengths across the plan, percent."""
    low, high = plan.border_mm.min(axis=0), plan.border_mm.max(axis=0)
    rng = np.random.default_rng(1)
    starts, ends = (camera.to_picture(rng.uniform(low, high, (100, 2))) for _ in range(2))
    lengths_mm, u95_mm = lengths_u95(starts, ends)
    return float(np.median(100 * u95_mm / lengths_mm))


def program_command(trial: Trial, folder: Path) -> list[str]:
    """The program as a person would type it, in this Python."""
    words = [sys.executable, "-c", "from cli.main import run; run()", "make", str(trial.picture), "-o", str(folder)]
    for (ax, ay), (bx, by), length in trial.knowns():
        words += ["--known", f"{ax},{ay} {bx},{by} = {length}"]
    if trial.border_size:
        words += ["--corners", " ".join(f"{x},{y}" for x, y in trial.corners()) + f" = {trial.border_size}"]
    return [*words, "--fraction", FRACTION]


def plain_command(trial: Trial, corners_px: Points, width_mm: float, height_mm: float, svg: Path) -> list[str]:
    """The plain route as a process of its own."""
    corners = " ".join(f"{x:.3f},{y:.3f}" for x, y in corners_px)
    module = ["-m", "benchmarks.plain_route"]
    return [sys.executable, *module, str(trial.picture), corners, str(width_mm), str(height_mm), str(svg)]


if __name__ == "__main__":
    main()
