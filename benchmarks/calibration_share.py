"""What finding a photo's border, straight lines and cards and adjusting them add to the time of the whole job.

Run as `python -m benchmarks.calibration_share [TIMES]` (3 unless told; the fastest counts). CPU seconds in one process
on the bundled photo, 12 MP, after a first run that loads what is imported; no random numbers. What is left of the job
without these is the plain one: it would be given four corners, and lays the picture flat, draws and writes the same.
"""

import sys
import tempfile
import time
from pathlib import Path

import job.observe
import job.run
import job.see
from benchmarks.stage_times import watched
from job.make import Typed, make
from job.points import TypedLength
from job.progress import Silent
from sample_scans.files import known_marks_px, sample_path

SAMPLE = "plan_photo.jpg"
FOUND = (
    (job.see, "border_among"),
    (job.see, "reduce_ink"),
    (job.see, "long_lines"),
    (job.observe, "straight_among"),
    (job.see, "find_cards"),
)
ADJUSTED = ((job.run, "adjust"),)


def main() -> None:
    """Print what each takes, and all of them against the rest of the job."""
    times = int(sys.argv[1]) if len(sys.argv) > 1 else 3
    with tempfile.TemporaryDirectory() as folder:
        _run(Path(folder) / "first")
        runs = [_run(Path(folder) / str(number)) for number in range(times)]
    whole_s, spent = min(runs, key=lambda run: run[0])
    for name, seconds in spent.items():
        print(f"{name:16}{seconds:7.3f} s")
    found_s = sum(spent[name] for _, name in FOUND)
    added_s = sum(spent.values())
    print(f"border, lines and cards found in {found_s:.3f} s; whole job {whole_s:.2f} s")
    print(f"the job without all this {whole_s - added_s:.2f} s: grows by {added_s / (whole_s - added_s):.1%}")


def _run(folder: Path) -> tuple[float, dict[str, float]]:
    """Do the job once; give its CPU seconds and those of each part."""
    knowns = tuple(TypedLength(a, b, f"{mm:g} mm") for a, b, mm in known_marks_px(SAMPLE))
    with watched(FOUND + ADJUSTED) as spent:
        begin = time.process_time()
        make(sample_path(SAMPLE), Typed(knowns=knowns), folder=folder, progress=Silent())
        return time.process_time() - begin, dict(spent)


if __name__ == "__main__":
    main()
