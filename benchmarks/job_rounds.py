"""A job run again and again, edited by hand between: what was marked must not move, and choices keep their outlines.

Run as `python -m benchmarks.job_rounds [ROUNDS]` (40 unless told). Between rounds job.toml is edited at random as in
a text editor (seed 7): another fraction, paper, page margin, a note, a check length.
"""

import random
import re
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from digitize.choices import Action
from drawing.path_measures import path_bounds_mm
from job.job_file import read_job
from job.made import Made
from job.make import Typed, make
from job.points import TypedLength
from job.progress import Silent
from sample_scans.files import known_marks_px, sample_path

SAMPLE = "plan_scan.png"
SEED = 7
MOVED_MM = 0.01
"""A chosen part's box at full size may change by what a further length changes the scale, in parts of its size."""


def main() -> None:
    """Run the rounds and print what moved."""
    rounds = int(sys.argv[1]) if len(sys.argv) > 1 else 40
    with tempfile.TemporaryDirectory() as folder:
        print(report(Path(folder), rounds))


def report(folder: Path, rounds: int) -> str:
    """Do the rounds in a folder and give the line to print."""
    rng = random.Random(SEED)
    start = time.perf_counter()
    out = folder / "out"
    made = _first(out)
    path = out / "job.toml"
    chosen = rng.sample(range(len(made.plan.outlines)), 4)
    _append_choices(path, made, chosen)
    made = make(path, Typed(), folder=None, progress=Silent())
    marks = _marks(path)
    names = {outline.name: path_bounds_mm(outline.boundary) for outline in made.plan.outlines if outline.name}
    lost = moved = same_bytes = 0
    farthest = 0.0
    for _ in range(rounds):
        path.write_text(_edited(path.read_text(encoding="utf-8"), rng), encoding="utf-8")
        made = make(path, Typed(), folder=None, progress=Silent())
        moved += _marks(path) != marks
        for name, box in names.items():
            now = [path_bounds_mm(o.boundary) for o in made.plan.outlines if o.name == name]
            if len(now) != 1:
                lost += 1
                continue
            farthest = max(farthest, float(np.abs(np.array(now[0]) - np.array(box)).max()))
        svg = (out / "outlines.svg").read_bytes()
        make(path, Typed(), folder=None, progress=Silent())
        same_bytes += svg == (out / "outlines.svg").read_bytes()
    return (
        f"{rounds} rounds (seed {SEED}): marks moved in {moved}, choices lost {lost}, a chosen part's box "
        f"moved at most {farthest:.4f} mm; run again the SVG is the same to the byte in {same_bytes} of {rounds}; "
        f"{(time.perf_counter() - start) / (2 * rounds + 2):.1f} s a run"
    )


def _first(out: Path) -> Made:
    knowns = tuple(TypedLength(a, b, f"{mm:g} mm") for a, b, mm in known_marks_px(SAMPLE))
    return make(sample_path(SAMPLE), Typed(knowns=knowns), folder=out, progress=Silent())


def _append_choices(path: Path, made: Made, chosen: list[int]) -> None:
    blocks = []
    for index in chosen:
        outline = made.plan.outlines[index]
        x, y = outline.inside_px
        blocks.append(
            f'\n[[choices]]\ninside_px = [{x!r}, {y!r}]\narea_px2 = {outline.area_px2!r}\naction = "{Action.TAKE}"\n'
            f'name = "chosen {index}"\n'
        )
    path.write_text(path.read_text(encoding="utf-8") + "".join(blocks), encoding="utf-8")


def _marks(path: Path) -> tuple[object, ...]:
    job = read_job(path)
    return (job.knowns[:2], job.sheet.origin_px, [(c.inside_px, c.area_px2, c.name) for c in job.choices[:4]])


def _edited(text: str, rng: random.Random) -> str:
    match rng.randrange(5):
        case 0:
            return re.sub(
                r'\nfraction = ".*?"', f'\nfraction = "{rng.choice(["1/2", "0.4", "1", "60 %", "1:3"])}"', text
            )
        case 1:
            return re.sub(r'\npaper = ".*?"', f'\npaper = "{rng.choice(["A4", "A3", "Letter"])}"', text)
        case 2:
            return re.sub(r'\nmargin = ".*?"', f'\nmargin = "{rng.choice([5, 6, 8, 10])} mm"', text)
        case 3:
            return re.sub(r"\nnotes = .*", f'\nnotes = "round {rng.randrange(1000)}"', text)
        case _:
            start, end, mm = known_marks_px(SAMPLE)[rng.randrange(2)]
            return text + (
                f'\n[[observations]]\nkind = "check length"\nstart_px = [{start[0]}, {start[1]}]\n'
                f'end_px = [{end[0]}, {end[1]}]\nlength = "{mm:g} mm"\n'
            )


if __name__ == "__main__":
    main()
