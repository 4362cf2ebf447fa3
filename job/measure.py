"""measure: lengths, angles, areas, radii and a rib's ordinates, at full and at build size."""

from dataclasses import dataclass
from pathlib import Path

from calibration.calibration import Calibration
from drawing.drawing import Outline
from drawing.findings import Finding
from job.errors import JobError
from job.job import Mark
from job.make import Typed, job_from
from job.measured_ordinates import Base, MeasuredOrdinates, found_outline, measured_ordinates
from job.measured_shapes import (
    AngleBetween,
    AreaAround,
    RadiusThrough,
    angle_between,
    area_of_marks,
    area_of_part,
    radius_through,
)
from job.observe import observe
from job.points import TypedPoint
from job.progress import OUTLINES, SCALE, Progress
from job.run import calibrate, drawn_parts, fraction_of, strokes_of, with_origin
from job.see import Seen
from job.settle import marks_sigma_px, settled_job, settled_point
from job.typed_shapes import Asked, TypedPart


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
    """Everything asked for, each kind in order, and what was noticed; `fraction` is build size over full size."""

    lengths: tuple[MeasuredLength, ...]
    angles: tuple[AngleBetween, ...]
    areas: tuple[AreaAround, ...]
    radii: tuple[RadiusThrough, ...]
    ordinates: tuple[MeasuredOrdinates, ...]
    fraction: float
    findings: tuple[Finding, ...]


def measure(source: Path, typed: Typed, asked: Asked, *, progress: Progress) -> Measured:
    """Measure on a picture or job; points move to the ink as those of `make` do, and parts are those of `make`.

    Raises
    ------
    ScantlingError
        In one sentence.
    """
    job, seen = job_from(source, typed, progress)
    job, moved = settled_job(job, seen, as_given=typed.as_given)
    with progress.stage(SCALE):
        observed = observe(job, seen)
        job, calibration = with_origin(job, calibrate(job, seen, observed))
    findings = [*seen.findings, *moved, *observed.findings, *calibration.findings]
    fraction = float(fraction_of(job, calibration))
    outlines: tuple[Outline, ...] = ()
    if asked.needs_outlines:
        with progress.stage(OUTLINES):
            outlines = drawn_parts(job, seen, strokes_of(job, seen), calibration).drawing.outlines

    def marks(points: tuple[TypedPoint, ...], about: str) -> tuple[Mark, ...]:
        settled, noted = _settled(points, seen, about=about, as_given=typed.as_given)
        findings.extend(noted)
        return settled

    def marks_and_sigma(points: tuple[TypedPoint, ...], about: str) -> tuple[tuple[Mark, ...], float]:
        settled = marks(points, about)
        return settled, marks_sigma_px(settled, seen)

    lengths = tuple(
        _length(*marks_and_sigma(pair, f"length {n}"), n, calibration, fraction)
        for n, pair in enumerate(asked.between, 1)
    )
    angles = tuple(
        angle_between(calibration, *marks_and_sigma(three, f"angle {n}")) for n, three in enumerate(asked.angles, 1)
    )
    areas = tuple(
        area_of_part(calibration, found_outline(outlines, one.named, calibration=calibration))
        if isinstance(one, TypedPart)
        else area_of_marks(calibration, *marks_and_sigma(one, f"area {n}"))
        for n, one in enumerate(asked.areas, 1)
    )
    radii = tuple(
        radius_through(calibration, *marks_and_sigma(arc, f"radius {n}"), seen.strokes, about=f"radius {n}")
        for n, arc in enumerate(asked.radii, 1)
    )
    ordinates = []
    for n, one in enumerate(asked.ordinates, 1):
        base = None if one.base is None else _base(*marks_and_sigma(one.base, f"base line {n}"), n)
        outline = found_outline(outlines, one.part.named, calibration=calibration)
        table, noted = measured_ordinates(outline, one.stations, base, calibration=calibration, fraction=fraction)
        ordinates.append(table)
        findings.extend(noted)
    return Measured(lengths, angles, areas, radii, tuple(ordinates), fraction, tuple(findings))


def _settled(
    points: tuple[TypedPoint, ...], seen: Seen, *, about: str, as_given: bool
) -> tuple[tuple[Mark, ...], list[Finding]]:
    marks: list[Mark] = []
    noted: list[Finding] = []
    words = ("first", "second") if len(points) == 2 else [f"{n}." for n in range(1, len(points) + 1)]
    for point, word in zip(points, words, strict=True):
        mark, notes = settled_point(point, seen, about=f"{about}, {word} mark", as_given=as_given)
        marks.append(mark)
        noted += notes
    return tuple(marks), noted


def _length(
    marks: tuple[Mark, ...], sigma_px: float, number: int, calibration: Calibration, fraction: float
) -> MeasuredLength:
    start, end = marks
    _refuse_same(start, end, f"length {number}")
    found = calibration.length(start.at_px, end.at_px, mark_sigma_px=sigma_px)
    return MeasuredLength(start.at_px, end.at_px, found.mm, found.u95_mm, found.mm * fraction)


def _base(marks: tuple[Mark, ...], sigma_px: float, number: int) -> Base:
    start, end = marks
    _refuse_same(start, end, f"base line {number}")
    return Base((start.at_px, end.at_px), sigma_px)


def _refuse_same(start: Mark, end: Mark, about: str) -> None:
    if start.at_px == end.at_px:
        raise JobError(f"Both marks of {about} are at {start.at_px} px; a length needs two places: mark its other end.")
