"""measure: any length between two points, at full and at build size."""

from dataclasses import dataclass
from pathlib import Path

from drawing.findings import Finding
from job.errors import JobError
from job.make import Typed, job_from
from job.observe import observe
from job.points import TypedPoint
from job.progress import SCALE, Progress
from job.run import calibrate, fraction_of
from job.settle import settled_job, settled_point


@dataclass(frozen=True, slots=True)
class MeasuredLength:
    """A length between two points: at full size with its give or take (mm, 95 %), and at build size."""

    start_px: tuple[float, float]
    end_px: tuple[float, float]
    full_mm: float
    u95_mm: float
    build_mm: float


@dataclass(frozen=True, slots=True)
class Measured:
    """Every length asked for, in order, and what was noticed while setting the scale."""

    lengths: tuple[MeasuredLength, ...]
    findings: tuple[Finding, ...]


def measure(
    source: Path, typed: Typed, between: tuple[tuple[TypedPoint, TypedPoint], ...], *, progress: Progress
) -> Measured:
    """Measure lengths on a picture or job; points move to the ink as those of `make` do.

    Raises
    ------
    ScantlingError
        In one sentence.
    """
    job, seen = job_from(source, typed, progress)
    job, moved = settled_job(job, seen, as_given=typed.as_given)
    with progress.stage(SCALE):
        observed = observe(job, seen)
        calibration = calibrate(job, seen, observed)
    fraction = float(fraction_of(job, calibration))
    lengths = []
    findings = [*seen.findings, *moved, *observed.findings, *calibration.findings]
    for number, pair in enumerate(between, 1):
        ends = []
        for point, word in zip(pair, ("first", "second"), strict=True):
            mark, noted = settled_point(point, seen, about=f"length {number}, {word} mark", as_given=typed.as_given)
            ends.append(mark.at_px)
            findings += noted
        if ends[0] == ends[1]:
            raise JobError(
                f"Both marks of length {number} are at {ends[0]} px; a length needs two places: mark its other end."
            )
        found = calibration.length(*ends)
        lengths.append(MeasuredLength(ends[0], ends[1], found.mm, found.u95_mm, found.mm * fraction))
    return Measured(tuple(lengths), tuple(findings))
