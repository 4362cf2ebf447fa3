"""Write report.html: what a run came to, for the builder."""

from pathlib import Path

from calibration.kind import Kind
from drawing.build_fraction import speak_fraction
from drawing.format import (
    format_area,
    format_give,
    format_inches,
    format_inches_near,
    format_length,
    format_mm,
    format_off,
)
from printing.shown_flat import ShownFlat
from report.cautions import CAUTIONS
from report.choice_lines import choice_lines
from report.facts import ReportFacts
from report.pages import filled
from report.pages_figure import pages_figure
from report.parts import part_rows
from report.plan_figure import plan_figure
from report.report_json import report_json
from report.scale_figure import scale_figure, style_of
from report.survey import survey

__all__ = ["html_page", "report_json", "write_html"]

_TAKEN_AS = {
    Kind.PHOTO: "a photo: the tilt of the camera was taken out; the bending of its lens, which hardly showed, was not",
    Kind.SCAN: "a scan: its scales across and down were fitted each for itself",
    Kind.PAGE: "a drawn page, which has no tilt and no lens",
}

_LENS_TAKEN_OUT = "a photo: the tilt of the camera and the bending of its lens were taken out"


def write_html(path: Path, facts: ReportFacts, shown: ShownFlat) -> None:
    """Write the report as one page that opens anywhere without a network."""
    # The page is made whole before the file is touched.
    page = html_page(facts, shown)
    path.write_bytes(page)


def html_page(facts: ReportFacts, shown: ShownFlat) -> bytes:
    """Give the report as HTML, pictures and styles inside it."""
    rows = part_rows(facts.build)
    width_mm = facts.line_width_mm
    return filled(
        "report.html.j2",
        facts=facts,
        size_words=speak_fraction(facts.fraction),
        plan=plan_figure(facts, shown),
        scale=scale_figure(facts),
        pages=pages_figure(facts),
        observed=[
            (number, style_of(length), length) for number, length in enumerate(facts.calibration.observed, start=1)
        ],
        survey=survey(facts.calibration),
        within=all(abs(length.residual_mm) <= length.u95_mm for length in facts.calibration.observed),
        rows=rows,
        taken_as=_LENS_TAKEN_OUT if facts.calibration.lens_taken_out else _TAKEN_AS[facts.calibration.kind],
        line_full=None if width_mm is None else format_width(width_mm),
        line_build=None if width_mm is None else format_width(width_mm * float(facts.fraction)),
        choices=choice_lines(facts),
        cautions=CAUTIONS,
        mm=format_mm,
        inches=format_inches,
        inches_near=format_inches_near,
        length=format_length,
        give=format_give,
        off=format_off,
        area=format_area,
    )


def format_width(mm: float) -> str:
    """Give a line's width, which is too thin for 0.1 mm to say: `0.42 mm`."""
    return f"{mm:.2f} mm"
