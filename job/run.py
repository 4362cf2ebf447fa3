"""The pipeline: from a job to its results, stage by stage."""

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

from calibration.adjust import adjust, told_over
from calibration.calibration import Calibration
from calibration.kind import Kind
from calibration.observations import CalibrationError, PointPx
from digitize.draw_outlines import Drawn, draw_outlines
from digitize.rubbed import without_rubbed
from digitize.strokes import Strokes
from digitize.traces import with_traces
from drawing.build_fraction import LARGEST, SMALLEST
from drawing.drawing import Drawing
from drawing.findings import Finding
from drawing.lengths import parse_length
from job.errors import JobError
from job.folder import content_of
from job.job import Found, Job, KeptGrid
from job.job_file import JOB_NAME
from job.lone_border import about_border
from job.made import Made
from job.names import with_names_read
from job.notches import about_notches
from job.observe import Gathered, observe, paper_edge_offer, tag_mm_per_px
from job.paper import told_in_mm
from job.part_errors import longest_part_px, with_give_or_take
from job.progress import FLATTENING, OUTLINES, SCALE, Timed
from job.see import Seen
from job.settle import DIGITS, settled_job
from job.tiles import lay_out
from job.words import rests_on


def run(job: Job, seen: Seen, *, folder: Path, as_given: bool, timed: Timed) -> Made:
    """Do a job on the picture seen and write its folder.

    Raises
    ------
    ScantlingError
        In one sentence; nothing is then written.
    """
    job_file = content_of(folder / JOB_NAME)
    job, moved = settled_job(job, seen, as_given=as_given)
    with timed.stage(SCALE):
        observed = observe(job, seen)
        calibration = calibrate(job, seen, observed)
        job, calibration = with_origin(job, calibration)
    # Measuring and the page do without what writes, which takes a third of a second to load.
    from job.flat_files import flat_files

    with ThreadPoolExecutor(max_workers=1) as beside:
        flattening = beside.submit(flat_files, seen, calibration, job)
        made = _made(job, seen, observed, calibration, moved, folder, timed)
        with timed.stage(FLATTENING):
            flat = flattening.result()
    from job.write_results import write_results

    write_results(made, flat, timed, job_file=job_file)
    return made


def _made(
    job: Job,
    seen: Seen,
    observed: Gathered,
    calibration: Calibration,
    moved: tuple[Finding, ...],
    folder: Path,
    timed: Timed,
) -> Made:
    """Draw the outlines on a settled scale and lay out the pages."""
    with timed.stage(OUTLINES):
        strokes = strokes_of(job, seen)
        drawn = drawn_parts(job, seen, strokes, calibration)
        plan = with_give_or_take(drawn.drawing, calibration)
        # The same map: its findings now tell their effect over the longest part.
        calibration = over_longest(job, seen, calibration, longest_part_px(plan, calibration.to_picture))
    fraction = fraction_of(job, calibration)
    build = plan.scaled(fraction)
    if job.mirrored:
        build = build.mirrored()
    pages, laid = lay_out(job, build, strokes, calibration, fraction)
    return Made(
        job=replace(job, kept_grid=KeptGrid(pages.grid, fraction, job.setup)),
        seen=seen,
        calibration=calibration,
        plan=plan,
        build=build,
        fraction=fraction,
        pages=pages,
        findings=(
            *told_in_mm(seen.findings, seen.paper, calibration),
            *moved,
            *observed.findings,
            *calibration.findings,
            *drawn.findings,
            *about_border(drawn, seen),
            *about_notches(build),
            *laid,
        ),
        folder=folder,
        rests_on=rests_on(observed.observations, calibration),
    )


def strokes_of(job: Job, seen: Seen) -> Strokes:
    """Give the drawn lines with what a person changed in them."""
    return with_traces(without_rubbed(seen.strokes, job.rubbed), job.traces)


def drawn_parts(job: Job, seen: Seen, strokes: Strokes, calibration: Calibration) -> Drawn:
    """Draw the parts and lines at full size.

    Raises
    ------
    JobError
        When nothing is left to draw.
    """
    drawn = all_drawn(job, seen, strokes, calibration)
    refuse_blank(drawn.drawing, job)
    return drawn


def all_drawn(job: Job, seen: Seen, strokes: Strokes, calibration: Calibration) -> Drawn:
    """Draw whatever there is at full size, if anything; parts that nobody named are named by their lettering."""
    drawn = draw_outlines(
        strokes.mapped(calibration.to_plan),
        choices=job.choices,
        regions=job.regions,
        tolerance_mm=None,
        border_px=None if seen.border is None else seen.border.corners_px,
    )
    return drawn if Found.NAMES in job.ignore else with_names_read(drawn, seen.words, calibration)


def calibrate(job: Job, seen: Seen, observed: Gathered) -> Calibration:
    """Set the scale of a settled job from what it rests on."""
    source = seen.picture.source
    with _offering_the_edge(job, seen):
        return adjust(
            observed.observations,
            width_px=seen.picture.width_px,
            height_px=seen.picture.height_px,
            kind=seen.kind,
            focal_35mm=source.focal_35mm,
            sheet_px=seen.sheet_px,
            tag_mm_per_px=tag_mm_per_px(job, source),
            origin_px=job.sheet.origin_px,
        )


def over_longest(
    job: Job, seen: Seen, calibration: Calibration, longest_px: tuple[PointPx, PointPx] | None
) -> Calibration:
    """Let findings tell their effect over the longest part, where there is one."""
    with _offering_the_edge(job, seen):
        return calibration if longest_px is None else told_over(calibration, longest_px)


@contextmanager
def _offering_the_edge(job: Job, seen: Seen) -> Iterator[None]:
    """Add to a refused scale what the paper's edge could do, and why the picture was taken for a photo."""
    try:
        yield
    except CalibrationError as error:
        offer = paper_edge_offer(job, seen)
        said = str(error) if offer is None else f"{str(error).rstrip('.')}; {offer}"
        # A photo needs more than a scan does: whoever scanned the plan must hear why it was taken for one.
        told = [finding.text for finding in seen.findings if finding.code == "picture-kind"]
        if seen.kind is Kind.PHOTO and seen.picture.source.focal_35mm is None and told:
            said = " ".join([said, *told])
        elif offer is None:
            raise
        raise JobError(said) from error


def with_origin(job: Job, calibration: Calibration) -> tuple[Job, Calibration]:
    """Give job and calibration with the origin kept in the picture, so that no later length moves a page's content.

    It is kept as written, to a thousandth of a px: a run from the written job is the same to the last bit. The map is
    moved and not fitted again: where its origin lies is no part of what is fitted.
    """
    if job.sheet.origin_px is not None:
        return job, calibration
    x, y = calibration.origin_px
    origin_px = round(x, DIGITS), round(y, DIGITS)
    return replace(job, sheet=replace(job.sheet, origin_px=origin_px)), replace(calibration, origin_px=origin_px)


def fraction_of(job: Job, calibration: Calibration) -> Fraction:
    """Give build size / full size: as stated, or what makes the stated build length come out."""
    if job.build_length is None:
        return job.fraction
    wanted_mm = parse_length(job.build_length.text).mm
    start_px, end_px = job.build_length.start.at_px, job.build_length.end.at_px
    if start_px == end_px:
        raise JobError(f"Both marks of the build length are at {start_px} px; it needs two places: mark its other end.")
    full_mm = calibration.length(start_px, end_px).mm
    # A billionth of a length is far below anything drawn, and keeps the figure short enough to write down.
    fraction = Fraction(wanted_mm / full_mm).limit_denominator(10**9)
    if not SMALLEST <= fraction <= LARGEST:
        raise JobError(
            f"The build length of {job.build_length.text!r} is {full_mm:.6g} mm at full size, which makes the build "
            f"{wanted_mm / full_mm:.4g} of it; that must lie between 1/{SMALLEST.denominator} and {LARGEST}: "
            "check its unit and its marks."
        )
    return fraction


def refuse_blank(drawing: Drawing, job: Job) -> None:
    """Refuse a drawing with nothing in it.

    Raises
    ------
    JobError
        In one sentence.
    """
    if drawing.outlines or drawing.lines:
        return
    if job.regions or job.choices:
        raise JobError(
            "Nothing is left to draw after the regions and choices; at least one drawn line must stay: "
            "widen a region or take back a choice."
        )
    raise JobError(
        "No drawn line was found in the picture; dark lines on light paper (or light on dark) are needed: "
        "look at it with `scantling look`, or take the picture again in even light."
    )
