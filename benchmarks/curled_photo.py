"""Print how true outlines of a photographed curled sheet are, taken for flat and laid flat, beside the same sheet flat.

The whole program runs on rendered photos of the bundled plan whose paper curls; it is told the border's size. Beside
the border alone: with ten straight lines of the plan marked, and with those that it finds by itself.
Run: python -m benchmarks.curled_photo [--rise MM] [--keep FOLDER]
"""

import argparse
import contextlib
import io
import tempfile
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from unittest.mock import patch

import numpy as np

from benchmarks.truth_error import compare, loops_of, map_error
from drawing.errors import ScantlingError
from job.job import GivenStraight, Mark, Settled
from job.made import Made
from job.make import Typed, make
from job.points import TypedCorners
from job.progress import Silent, Timed
from job.run import run
from sample_scans.camera import Camera, View, camera_for
from sample_scans.curled import CurledCamera, Shape, curled
from sample_scans.photo import PhotoLook, photograph
from sample_scans.plan import school_plan
from sample_scans.rendered import Rendered, save_picture
from sample_scans.truth import PlanTruth

VIEW = View(focal_35mm=26.0, tilt_x_deg=12.0, tilt_y_deg=-8.0, turn_deg=2.0, k1=-0.02, k2=0.005)
LEAST_MM = 90.0
"""Shortest straight line that a person would mark."""
STRAIGHTS = 10


def main() -> None:
    """Run the trials and print a table."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.curled_photo", description=__doc__)
    parser.add_argument("--rise", type=float, default=7.0, metavar="MM")
    parser.add_argument("--keep", type=Path, default=None, metavar="FOLDER")
    asked = parser.parse_args()
    plan = school_plan()
    camera = camera_for(plan.sheet_mm, replace(VIEW, margin=0.05), width_px=4000, height_px=3000)
    rng = np.random.default_rng(5)
    seen_by: dict[str, Camera | CurledCamera] = {"flat": camera}
    for shape, direction_deg in ((Shape.ARCH, 20.0), (Shape.LIFT, 100.0)):
        lifted = curled(plan.sheet_mm, rng, shape=shape, direction_deg=direction_deg, rise_mm=asked.rise)
        seen_by[f"{shape} {asked.rise:g} mm at {direction_deg:g} deg"] = CurledCamera(camera, lifted)
    with tempfile.TemporaryDirectory() as scratch:
        for name, seen in seen_by.items():
            folder = Path(scratch if asked.keep is None else asked.keep) / name.replace(" ", "-")
            folder.mkdir(parents=True, exist_ok=True)
            print(f"\n{name}", flush=True)
            _trial(plan, camera, seen, folder)


def _trial(plan: PlanTruth, camera: Camera, seen: Camera | CurledCamera, folder: Path) -> None:
    # What photographs needs of a camera is the size and `to_picture`, which both have.
    pixels = photograph(plan.strokes, plan.sheet_mm, seen, look=PhotoLook(), rng=np.random.default_rng(7))  # type: ignore[arg-type]
    picture = folder / "photo.jpg"
    save_picture(Rendered(pixels, camera, plan), picture)
    first, second, third, fourth = ((float(x), float(y)) for x, y in seen.to_picture(plan.border_mm))
    typed = Typed(corners=TypedCorners((first, second, third, fourth), "564 x 400 mm"), fraction=Fraction(1, 1))
    with contextlib.redirect_stdout(io.StringIO()):
        with patch("calibration.adjust.choose_bend", return_value=None):
            try:
                flat = make(picture, typed, folder=folder / "taken-flat", progress=Timed(Silent()))
            except ScantlingError as error:
                flat, refused = None, str(error)
        bent = make(picture, typed, folder=folder / "laid-flat", progress=Timed(Silent()))
        alone = replace(bent.seen, long_lines=())
        bordered = run(bent.job, alone, folder=folder / "border", as_given=False, timed=Timed(Silent()))
        job = replace(bent.job, straights=tuple(_straights(plan, seen)))
        told = run(job, alone, folder=folder / "straights", as_given=False, timed=Timed(Silent()))
    if flat is None:
        print(f"  taken for flat           refused: {refused}")
    else:
        _print("taken for flat", flat, plan, seen)
    _print("from the border", bordered, plan, seen)
    _print(f"and {len(job.straights)} marked lines", told, plan, seen)
    adjustment = bent.calibration.adjustment
    found = sum("found" in row.label for row in adjustment.observations) if adjustment else 0
    _print(f"and {found} lines found", bent, plan, seen)


def _straights(plan: PlanTruth, seen: Camera | CurledCamera) -> Iterator[GivenStraight]:
    """Give marks, half a px off, at the ends of the longest straight lines inside the border."""
    pieces = [
        (start, end)
        for stroke in plan.strokes
        if stroke.role in ("outline", "inside", "centre")
        for start, end in zip(stroke.points_mm[:-1], stroke.points_mm[1:], strict=True)
        if np.hypot(*(end - start)) > LEAST_MM
    ]
    pieces.sort(key=lambda piece: -float(np.hypot(*(piece[1] - piece[0]))))
    rng = np.random.default_rng(3)
    for start, end in pieces[:STRAIGHTS]:
        inside = np.array([start + 0.02 * (end - start), end - 0.02 * (end - start)])
        (ax, ay), (bx, by) = seen.to_picture(inside) + rng.normal(0, 0.5, (2, 2))
        yield GivenStraight(Mark(float(ax), float(ay), Settled.AS_GIVEN), Mark(float(bx), float(by), Settled.AS_GIVEN))


def _print(name: str, made: Made, plan: PlanTruth, seen: Camera | CurledCamera) -> None:
    scale = map_error(made.calibration.to_plan, seen, plan)
    result = compare(loops_of(made.plan), plan, frame=scale.frame)
    rms, tail, most = result.rms_95_max_mm()
    print(
        f"  {name:24} lengths {np.quantile(np.abs(scale.lengths_percent), 0.95):.3f} % at 95 %, outlines "
        f"{rms:.3f} / {tail:.3f} / {most:.3f} mm (rms, 95 %, most), {len(result.parts)} of {result.parts_true} parts"
    )
    for finding in made.findings:
        if finding.code in ("not-flat", "paper-bent", "two-bends", "misfit", "given-left-out", "straight-without-ink"):
            print(f"      {finding.code}: {finding.text}")


if __name__ == "__main__":
    main()
