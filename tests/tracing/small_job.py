"""The small plan, seen and scaled: what the page's answers are tested on."""

from dataclasses import dataclass
from fractions import Fraction

from calibration.calibration import Calibration
from digitize.draw_outlines import Drawn, draw_outlines
from job.job import GivenLength, Job, Mark, Settled, Sheet
from job.observe import Gathered, observe
from job.progress import Silent
from job.run import calibrate, fraction_of
from job.see import Seen, see
from job.tiles import lay_out
from printing.plan_pages import PagePlan
from tests.small_plan import FRAME_MM, PLATE_MM, STRIP_MM, SmallPlan


@dataclass(frozen=True)
class SmallJob:
    """A job on the small plan and all that follows from it."""

    plan: SmallPlan
    job: Job
    seen: Seen
    gathered: Gathered
    calibration: Calibration
    drawn: Drawn
    fraction: Fraction
    pages: PagePlan


def place_px(plan: SmallPlan, x_mm: float, y_mm: float) -> tuple[float, float]:
    """Give the px of a place on the sheet, mm from its lower-left corner."""
    return plan.px(x_mm - FRAME_MM[0], y_mm - FRAME_MM[1])


def known(plan: SmallPlan, box_mm: tuple[float, float, float, float], text: str, *, up: bool = False) -> GivenLength:
    """Give a known distance along a box's lower side, or up its left one."""
    x0, y0, x1, y1 = box_mm
    ends = ((x0, y0), (x0, y1)) if up else ((x0, y0), (x1, y0))
    start, end = (Mark(*(round(v, 3) for v in place_px(plan, *at)), Settled.AS_GIVEN) for at in ends)
    return GivenLength(start, end, text)


def small_job(plan: SmallPlan, seen: Seen | None = None, **more: object) -> SmallJob:
    """Do a job on the small plan; `more` are fields of the job."""
    seen = see(Sheet(plan.path, sha256=""), (), Silent()) if seen is None else seen
    knowns = (known(plan, PLATE_MM, "80 mm"), known(plan, STRIP_MM, "130 mm"))
    fields: dict[str, object] = {"knowns": knowns, "fraction": Fraction(2), **more}
    job = Job("small", Sheet(plan.path, sha256=seen.picture.source.sha256), **fields)  # type: ignore[arg-type]
    gathered = observe(job, seen)
    calibration = calibrate(job, seen, gathered)
    border = None if seen.border is None else seen.border.corners_px
    drawn = draw_outlines(
        seen.strokes.mapped(calibration.to_plan), choices=job.choices, regions=job.regions, border_px=border
    )
    fraction = fraction_of(job, calibration)
    build = drawn.drawing.scaled(fraction)
    pages, _ = lay_out(job, build.mirrored() if job.mirrored else build, seen.strokes, calibration, fraction)
    return SmallJob(plan, job, seen, gathered, calibration, drawn, fraction, pages)
