"""Writing everything a run came to into its folder."""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import date
from pathlib import Path

from drawing.biarcs import arcs_only
from drawing.dxf import write_dxf
from drawing.svg import write_svg
from job.facts import report_facts
from job.flat_picture import flat_picture
from job.folder import write_folder
from job.job_file import JOB_NAME, job_text
from job.made import Made
from job.progress import FLATTENING, WRITING, Timed
from pictures.flat import FlatPicture
from pictures.write_png import write_flat
from printing.mirror import mirrored_flat
from printing.shown_flat import shown_flat
from printing.write_pages import PageTitle, write_pages
from report.cautions import CAUTIONS
from report.facts import ReportFacts
from report.write_report import report_json, write_html

ARCS_MM = 0.01
"""Arcs for cutters keep this close to the curves, at build size: half of the closest that curves keep to the ink."""


def write_results(made: Made, timed: Timed, *, job_file: bytes | None) -> None:
    """Write outlines, flat picture, pages, report and job file; report.json comes last.

    `job_file` is what the folder's job.toml held when the run began; one edited since is not written over.

    Raises
    ------
    JobError
        When the folder cannot be written; what was there stays.
    """
    with timed.stage(FLATTENING):
        flat = flat_picture(made.seen, made.calibration, made.job.regions)

    def fill(folder: Path) -> None:
        # The PNG is the slowest to write, and its compression needs no interpreter: it goes beside the rest.
        with ThreadPoolExecutor(max_workers=1) as beside:
            png = beside.submit(write_flat, folder / "flat.png", flat)
            _write_vectors(made, flat, facts, folder)
            png.result()

    def seal(hashes: dict[str, str]) -> bytes:
        return report_json(replace(facts, seconds=timed.seconds(), files=hashes))

    with timed.stage(WRITING):
        facts = report_facts(made, flat)
        write_folder(made.folder, fill, seal, spare=(made.job.sheet.file,), unchanged={JOB_NAME: job_file})


def _write_vectors(made: Made, flat: FlatPicture, facts: ReportFacts, folder: Path) -> None:
    stamp = made.stamp
    write_svg(made.build, folder / "outlines.svg", stamp=stamp, title=made.job.name)
    write_dxf(made.build, folder / "outlines.dxf", stamp=stamp)
    write_dxf(arcs_only(made.build, tolerance_mm=ARCS_MM), folder / "outlines_arcs.dxf", stamp=stamp)
    shown = shown_flat(mirrored_flat(flat) if made.job.mirrored else flat)
    title = PageTitle(made.job.name, made.fraction, date.today().isoformat(), stamp, CAUTIONS[:1])
    write_pages(folder / "pages.pdf", made.pages, made.build, None if made.job.lines_only else shown, title=title)
    write_html(folder / "report.html", facts, shown)
    (folder / JOB_NAME).write_text(job_text(made.job, folder=made.folder), encoding="utf-8")
