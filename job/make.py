"""make: from what was typed to a job, run and written into its folder."""

import hashlib
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from fractions import Fraction
from importlib import import_module
from pathlib import Path

from digitize.choices import Region, RegionKind
from drawing.lengths import parse_length, parse_size
from drawing.papers import Paper
from job.cards import parse_card_bar
from job.errors import JobError
from job.job import GivenAcross, GivenCorners, GivenLength, Job, Sheet, SheetKind
from job.job_file import is_plain_file, read_job
from job.made import Made
from job.points import TypedCorners, TypedLength, TypedPoint, parse_exact_mm
from job.progress import Progress, Timed
from job.see import Seen, see
from job.settle import mark_at

JOB_SUFFIX = ".toml"

BUILD_LENGTH = "A build length"

LOADED_BESIDE = ("job.drawn_lines", "job.run", "job.flat_files", "job.write_results")
"""In the order they are needed."""


@dataclass(frozen=True, slots=True)
class Typed:
    """What a person typed beside the picture or job; None or empty where they typed nothing.

    On a job, lengths in `knowns`, `on_paper` and `checks` add to its own; every other value replaces.
    """

    knowns: tuple[TypedLength, ...] = ()
    on_paper: tuple[TypedLength, ...] = ()
    checks: tuple[TypedLength, ...] = ()
    drawn_at: Fraction | None = None
    corners: TypedCorners | None = None
    across: tuple[TypedPoint, TypedPoint] | None = None
    trust_size: bool = False
    dpi: float | None = None
    card_bar: str | None = None
    fraction: Fraction | None = None
    build_length: TypedLength | None = None
    regions: tuple[tuple[TypedPoint, ...], ...] = ()
    mirrored: bool = False
    as_given: bool = False
    page: int | None = None
    kind: SheetKind | None = None
    paper: Paper | None = None
    margin_mm: float | None = None
    overlap_mm: float | None = None
    lines_only: bool = False

    def __post_init__(self) -> None:
        # Lengths are read here so that a slip of the pen costs no reading of a large picture.
        for given in (*self.knowns, *self.on_paper, *self.checks):
            parse_length(given.text)
        if self.build_length is not None:
            parse_exact_mm(self.build_length.text, BUILD_LENGTH)
            if self.build_length.along is not None:
                raise JobError(
                    f"{BUILD_LENGTH} is given along a line; it is between two marks: leave along and its line out."
                )
        if self.corners is not None and self.corners.size_text is not None:
            parse_size(self.corners.size_text)
        if self.card_bar is not None:
            parse_card_bar(self.card_bar)
        if self.trust_size and self.dpi is not None:
            raise JobError("Both --trust-size and --dpi were given; one of them can be true: leave the other out.")
        if self.fraction is not None and self.build_length is not None:
            raise JobError(
                "Both --fraction and --build-length were given; each alone fixes the build size: leave one out."
            )


def make(source: Path, typed: Typed, *, folder: Path | None, progress: Progress) -> Made:
    """Do the main job on a picture or a job file and write its folder.

    Raises
    ------
    ScantlingError
        In one sentence, before anything is written.
    """
    timed = Timed(progress)
    with ThreadPoolExecutor(max_workers=1) as beside:
        # The rest loads while the picture is decoded and its ink is found, which leave the interpreter free.
        for module in LOADED_BESIDE:
            beside.submit(import_module, module)
        job, seen = job_from(source, typed, timed)
        from job.run import run

        return run(job, seen, folder=folder or default_folder(source), as_given=typed.as_given, timed=timed)


def job_from(source: Path, typed: Typed, progress: Progress) -> tuple[Job, Seen]:
    """Read a picture or a job file, see what the picture shows, and add what was typed."""
    base = read_job(source) if is_job(source) else _new_job(source, typed)
    sheet = _sheet(base.sheet, typed)
    if is_job(source):
        refuse_changed(sheet)
    seen = see(sheet, base.ignore, progress)
    sheet = replace(sheet, sha256=seen.picture.source.sha256)
    return _with_typed(replace(base, sheet=sheet), typed, seen), seen


def is_job(source: Path) -> bool:
    """Say whether a file is a job rather than a picture."""
    return source.suffix.lower() == JOB_SUFFIX


def default_folder(source: Path) -> Path:
    """Give where results go: a job's own folder, else `<stem>-scantling` where the command runs."""
    return source.absolute().parent if is_job(source) else Path(f"{source.stem}-scantling").absolute()


def _new_job(source: Path, typed: Typed) -> Job:
    return Job(name=source.stem, sheet=Sheet(source.absolute(), sha256="", page=typed.page or 1))


def _sheet(sheet: Sheet, typed: Typed) -> Sheet:
    changed = replace(
        sheet,
        page=typed.page if typed.page is not None else sheet.page,
        kind=typed.kind if typed.kind is not None else sheet.kind,
        drawn_at=typed.drawn_at if typed.drawn_at is not None else sheet.drawn_at,
    )
    if typed.trust_size:
        changed = replace(changed, trust_size=True, dpi=None)
    if typed.dpi is not None:
        changed = replace(changed, trust_size=False, dpi=typed.dpi)
    return changed


def refuse_changed(sheet: Sheet) -> None:
    """Refuse a sheet whose picture is gone or is no longer the one that was marked.

    Raises
    ------
    JobError
        In one sentence.
    """
    if not is_plain_file(sheet.file):
        raise JobError(
            f"The job's picture {sheet.file} is not there; it was marked on that file: "
            "put it back, or change `file` in the job."
        )
    with sheet.file.open("rb") as file:
        found = hashlib.file_digest(file, "sha256").hexdigest()
    if found != sheet.sha256:
        raise JobError(
            f"{sheet.file.name} has changed since it was marked "
            f"(sha256 {found[:12]}, the job has {sheet.sha256[:12]}); "
            "marks would lie in wrong places: put the old file back, or start a new job from the new one."
        )


def _with_typed(job: Job, typed: Typed, seen: Seen) -> Job:
    def length(given: TypedLength, option: str, *, on_paper: bool = False) -> GivenLength:
        start, end = (mark_at(point, seen, option=option) for point in (given.start, given.end))
        if given.along is None:
            return GivenLength(start, end, given.text, on_paper)
        first, second = (mark_at(point, seen, option=option) for point in given.along)
        return GivenLength(start, end, given.text, on_paper, (first, second))

    job = replace(
        job,
        knowns=(
            *job.knowns,
            *(length(given, "--known") for given in typed.knowns),
            *(length(given, "--on-paper", on_paper=True) for given in typed.on_paper),
        ),
        checks=(*job.checks, *(length(given, "--check") for given in typed.checks)),
        mirrored=job.mirrored or typed.mirrored,
        lines_only=job.lines_only or typed.lines_only,
        setup=replace(
            job.setup,
            paper=typed.paper if typed.paper is not None else job.setup.paper,
            margin_mm=typed.margin_mm if typed.margin_mm is not None else job.setup.margin_mm,
            overlap_mm=typed.overlap_mm if typed.overlap_mm is not None else job.setup.overlap_mm,
        ),
    )
    if typed.corners is not None:
        first, second, third, fourth = (mark_at(point, seen, option="--corners") for point in typed.corners.points)
        job = replace(job, corners=GivenCorners((first, second, third, fourth), typed.corners.size_text))
    if typed.across is not None:
        start, end = (mark_at(point, seen, option="--across") for point in typed.across)
        job = replace(job, across=GivenAcross(start, end))
    if typed.card_bar is not None:
        job = replace(job, card_bar=typed.card_bar)
    if typed.fraction is not None:
        job = replace(job, fraction=typed.fraction, build_length=None)
    if typed.build_length is not None:
        job = replace(job, build_length=length(typed.build_length, "--build-length"))
    if typed.regions:
        job = replace(job, regions=tuple(_region(points, seen) for points in typed.regions))
    return job


def _region(points: Sequence[TypedPoint], seen: Seen) -> Region:
    if len(points) < 3:
        raise JobError(f"--region names {len(points)} points; it needs the corners around it: name at least three.")
    marks = [mark_at(point, seen, option="--region") for point in points]
    return Region(tuple(mark.at_px for mark in marks), RegionKind.IN)
