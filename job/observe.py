"""From a job and what its picture shows to the observations the scale rests on."""

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

from calibration.border import Border
from calibration.kind import Kind
from calibration.observations import (
    DRAUGHTING_MM,
    SETTLED_SIGMA_PX,
    Across,
    Cards,
    CheckLength,
    Corners,
    GivenScale,
    KnownDistance,
    Observation,
    StraightLine,
)
from calibration.straight_choice import straight_among
from drawing.findings import Finding, Level
from drawing.lengths import parse_length, parse_size
from drawing.units import MM_PER_INCH
from job.broken_lengths import about_breaks
from job.cards import cards_observed
from job.errors import JobError
from job.job import GivenCorners, GivenLength, Job
from job.long_lines import BESIDE_PART, is_beside
from job.see import Seen
from job.settle import marks_sigma_px
from job.straight_lines import straight_lines
from pictures.picture import Medium, Source

STATED_DPI_SIGMA = 0.001
"""A scanner's stated dpi holds to about 0.1 % along its carriage (trade practice)."""

TRUSTED_TAG_SIGMA = 0.005
"""A tag taken on trust: a flatbed's own tag is good to some 0.5 %, a photo's tag means nothing."""

PAGE_SIGMA = 1e-5
"""A PDF page's size is exact; only the rendering's grid is not."""


@dataclass(frozen=True, slots=True)
class Gathered:
    """What the scale rests on, and what was noticed while gathering it."""

    observations: tuple[Observation, ...]
    findings: tuple[Finding, ...]


def observe(job: Job, seen: Seen) -> Gathered:
    """Give everything the adjustment is to be fitted to or compared with.

    Raises
    ------
    JobError
        When nothing tells the scale; a length on the paper without its drawn scale.
    """
    observations = list(_given(job, seen))
    findings: list[Finding] = []
    if seen.border is not None:
        observations = list(_bordered(observations, seen.border, _full_per_paper(job) * DRAUGHTING_MM))
    straights, noted = straight_lines(job.straights, seen.strokes, full_per_paper=_full_per_paper(job))
    observations += straights
    findings += noted
    if seen.skew is not None:
        observations.append(seen.skew)
    if (offer := paper_edge_offer(job, seen)) is not None:
        findings.append(Finding("paper-edge-offered", Level.NOTE, "the paper's edge", offer))
    findings += about_breaks(job, seen.strokes)
    scale, said = _trusted(job, seen)
    observations += scale
    findings += said
    cards, said = cards_observed(job, seen.cards, observations, full_per_paper=_full_per_paper(job))
    if cards is not None:
        observations.append(cards)
    findings += said
    if not _has_length(observations):
        raise _no_length(seen)
    observations += _found_straight(job, seen, observations)
    return Gathered(tuple(observations), tuple(findings))


def _found_straight(job: Job, seen: Seen, observations: list[Observation]) -> Iterator[StraightLine]:
    """Give the long lines of a photo that are straight on the paper as the rest shows, and are not given already."""
    width_px, height_px = seen.picture.width_px, seen.picture.height_px
    give_mm = DRAUGHTING_MM * _full_per_paper(job)
    marked = [item.points_px for item in observations if isinstance(item, StraightLine)]
    near_px = BESIDE_PART * math.hypot(width_px, height_px)
    candidates = [
        StraightLine(line.points_px, line.sigma_px, give_mm=give_mm)
        for line in seen.long_lines
        if not any(is_beside(line.points_px, other_px, near_px) for other_px in marked)
    ]
    taken = straight_among(
        candidates,
        observations,
        width_px=width_px,
        height_px=height_px,
        kind=seen.kind,
        focal_35mm=seen.picture.source.focal_35mm,
    )
    for number, line in enumerate(taken, 1):
        yield replace(line, label=f"straight line found, {number}", found=True)


def _bordered(observations: list[Observation], border: Border, give_mm: float) -> Iterator[Observation]:
    """Add a found border: its corners, unless others were given, and its sides, which tell what the lens does.

    Corners put on the border's own are better measured as the crossings of its sides.
    """
    given = False
    places = tuple((float(x), float(y)) for x, y in border.corners_px)
    found_px = (places[0], places[1], places[2], places[3])
    for item in observations:
        if isinstance(item, Corners):
            given = True
            off_px = max(math.dist(a, b) for a, b in zip(item.points_px, found_px, strict=True))
            if item.sigma_px <= SETTLED_SIGMA_PX and off_px < max(border.width_px / 2, 1.0):
                item = replace(item, points_px=found_px, sigma_px=border.sigma_px)
        yield item
    if not given:
        yield Corners(found_px, label="drawn border", sigma_px=border.sigma_px, give_mm=give_mm)
    for side, name in zip(border.sides, ("upper", "right", "lower", "left"), strict=True):
        yield StraightLine(side, border.side_sigma_px, f"the border's {name} side", give_mm)


def _full_per_paper(job: Job) -> float:
    return 1.0 if job.sheet.drawn_at is None else float(1 / job.sheet.drawn_at)


def paper_edge_offer(job: Job, seen: Seen) -> str | None:
    """Say how to use the paper's edge in a photo without corners or border; it is never used unasked.

    A sheet is trimmed to 1.5-3 mm (ISO 216), so its edge gives the perspective and no scale.
    """
    without = job.corners is None and seen.border is None and not seen.cards
    if seen.kind is not Kind.PHOTO or not without or seen.sheet_px is None or len(seen.sheet_px) != 4:
        return None
    corners = " ".join(f"{x:.1f},{y:.1f}" for x, y in seen.sheet_px)
    return f'the paper\'s edge shows and was not used; if its corners are square, add --corners "{corners}" --as-given.'


def _given(job: Job, seen: Seen) -> Iterator[Observation]:
    for number, given in enumerate(job.knowns, 1):
        known = KnownDistance(
            *_ends(given), *_length(given, job), given.text, f"known distance {number}", _sigma(given, seen)
        )
        yield replace(known, along_px=_along(given), drawn_mm=DRAUGHTING_MM * _full_per_paper(job))
    for number, given in enumerate(job.checks, 1):
        check = CheckLength(
            *_ends(given), *_length(given, job), given.text, f"check length {number}", _sigma(given, seen)
        )
        yield replace(check, along_px=_along(given))
    if job.corners is not None:
        yield _corners(job.corners, job, seen)
    if job.across is not None:
        marks = (job.across.start, job.across.end)
        yield Across(marks[0].at_px, marks[1].at_px, marks_sigma_px(marks, seen))


def _ends(given: GivenLength) -> tuple[tuple[float, float], tuple[float, float]]:
    return given.start.at_px, given.end.at_px


def _along(given: GivenLength) -> tuple[tuple[float, float], tuple[float, float]] | None:
    return None if given.along is None else (given.along[0].at_px, given.along[1].at_px)


def _length(given: GivenLength, job: Job) -> tuple[float, float]:
    """Full-size length and give, mm; draughting is a matter of paper, so it grows with the reduction drawn."""
    length = parse_length(given.text)
    reduced = job.sheet.drawn_at
    if given.on_paper and reduced is None:
        raise JobError(
            f"The length {given.text!r} is on the paper, and what size the paper shows the thing at is not known; "
            "its drawn scale is needed: add --drawn-at 1/4 (1/1 if the plan is full size)."
        )
    full_per_paper = _full_per_paper(job)
    own_give = 0.0 if length.give_mm is None else length.give_mm
    size = full_per_paper if given.on_paper else 1.0
    return length.mm * size, own_give * size + DRAUGHTING_MM * full_per_paper


def _corners(given: GivenCorners, job: Job, seen: Seen) -> Corners:
    width_mm = height_mm = None
    if given.size_text is not None:
        width_mm, height_mm = (side * _full_per_paper(job) for side in parse_size(given.size_text))
    first, second, third, fourth = (mark.at_px for mark in given.marks)
    sigma_px = marks_sigma_px(given.marks, seen)
    return Corners((first, second, third, fourth), width_mm, height_mm, "corners", sigma_px)


def _sigma(given: GivenLength, seen: Seen) -> float:
    return marks_sigma_px(given.marks, seen)


def _trusted(job: Job, seen: Seen) -> tuple[list[Observation], list[Finding]]:
    """The scale of a stated dpi, of the file's tag when it is to be trusted, or of a PDF page."""
    source, sheet = seen.picture.source, job.sheet
    size = _full_per_paper(job)
    if sheet.dpi is not None:
        if not 1 <= sheet.dpi <= 20_000:
            raise JobError(f"--dpi is {sheet.dpi:g}; a picture has 1 to 20 000 px an inch: give the scanner's figure.")
        side_mm = MM_PER_INCH / sheet.dpi * size
        return [GivenScale(side_mm, side_mm, f"the stated {sheet.dpi:g} dpi", STATED_DPI_SIGMA)], []
    if source.medium is Medium.PDF_PAGE and source.render_dpi is not None:
        if job.knowns or (job.corners is not None and job.corners.size_text is not None):
            return [], []
        side_mm = MM_PER_INCH / source.render_dpi * size
        scale: list[Observation] = [GivenScale(side_mm, side_mm, "the PDF page's own size", PAGE_SIGMA)]
        return scale, [] if sheet.trust_size else [_page_size_decides(seen, side_mm)]
    if sheet.trust_size:
        if source.tag_dpi is None:
            raise JobError(
                f"{source.path.name} states no dpi to trust; a length is needed: give a known distance with --known, "
                "or the scanner's figure with --dpi."
            )
        x_dpi, y_dpi = source.tag_dpi
        why = f"the file's own {x_dpi:g} dpi" if x_dpi == y_dpi else f"the file's own {x_dpi:g} x {y_dpi:g} dpi"
        return [GivenScale(MM_PER_INCH / x_dpi * size, MM_PER_INCH / y_dpi * size, why, TRUSTED_TAG_SIGMA)], []
    return [], []


def _page_size_decides(seen: Seen, side_mm: float) -> Finding:
    width_mm, height_mm = seen.picture.width_px * side_mm, seen.picture.height_px * side_mm
    return Finding(
        "page-size-taken",
        Level.DECIDE,
        "the scale",
        f"No length was given, so the PDF page's own size was taken: {width_mm:.0f} x {height_mm:.0f} mm at full size; "
        "check one length you know with --known, or accept the page with --trust-size.",
    )


def tag_mm_per_px(job: Job, source: Source) -> tuple[float, float] | None:
    """Give the full-size mm per px that the file's own tag claims, to be compared with the result."""
    if source.tag_dpi is None:
        return None
    size = _full_per_paper(job)
    x_dpi, y_dpi = source.tag_dpi
    return MM_PER_INCH / x_dpi * size, MM_PER_INCH / y_dpi * size


def _has_length(observations: list[Observation]) -> bool:
    for item in observations:
        if isinstance(item, KnownDistance | GivenScale | Cards):
            return True
        if isinstance(item, Corners) and item.width_mm is not None:
            return True
    return False


def _no_length(seen: Seen) -> JobError:
    source = seen.picture.source
    found = f"Nothing tells how large the thing on {source.path.name} is"
    needed = 'one length you know is needed: add --known "A B = 36 in" with two points from `scantling look`'
    if source.tag_dpi is None:
        return JobError(f"{found}; {needed}.")
    x_dpi, y_dpi = source.tag_dpi
    width_mm, height_mm = seen.picture.width_px / x_dpi * MM_PER_INCH, seen.picture.height_px / y_dpi * MM_PER_INCH
    return JobError(
        f"{found}; {needed}, or take the file's word with --trust-size "
        f"(it says {x_dpi:g} dpi, which makes the picture {width_mm:.0f} x {height_mm:.0f} mm; it is often wrong)."
    )
