"""Writing everything a run came to into its folder."""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import date
from functools import partial
from pathlib import Path

from drawing.biarcs import arcs_only
from drawing.dxf import write_dxf
from drawing.svg import write_svg
from job.facts import report_facts
from job.flat_files import FlatFiles
from job.folder import write_folder
from job.job_file import JOB_NAME, job_text
from job.made import Made
from job.progress import WRITING, Timed
from printing.write_pages import PageTitle, write_pages
from report.cautions import CAUTIONS
from report.facts import ReportFacts
from report.write_report import report_json, write_html

ARCS_MM = 0.01
"""Arcs for cutters keep this close to the curves, at build size: half of the closest that curves keep to the ink."""


def write_results(made: Made, flat: FlatFiles, timed: Timed, *, job_file: bytes | None) -> None:
    """Write outlines, flat picture, pages, report and job file; report.json comes last.

    `job_file` is what the folder's job.toml held when the run began; one edited since is not written over.

    Raises
    ------
    JobError
        When the folder cannot be written; what was there stays.
    """

    def seal(hashes: dict[str, str]) -> bytes:
        return report_json(replace(facts, seconds=timed.seconds(), files=hashes))

    with timed.stage(WRITING):
        facts = report_facts(made, flat.flat)
        fill = partial(_write_files, made, flat, facts)
        write_folder(made.folder, fill, seal, spare=(made.job.sheet.file,), unchanged={JOB_NAME: job_file})


def _write_files(made: Made, flat: FlatFiles, facts: ReportFacts, folder: Path) -> None:
    stamp = made.stamp
    title = PageTitle(made.job.name, made.fraction, date.today().isoformat(), stamp, CAUTIONS[:1])
    with ThreadPoolExecutor(max_workers=2) as beside:
        # Both pack pictures, which leaves the interpreter free.
        pages_shown = None if made.job.lines_only else flat.shown
        pages = beside.submit(write_pages, folder / "pages.pdf", made.pages, made.build, pages_shown, title=title)
        report = beside.submit(write_html, folder / "report.html", facts, flat.shown)
        _write_vectors(made, folder)
        (folder / "flat.png").write_bytes(flat.png)
        (folder / JOB_NAME).write_text(job_text(made.job, folder=made.folder), encoding="utf-8")
        pages.result()
        report.result()


def _write_vectors(made: Made, folder: Path) -> None:
    stamp = made.stamp
    write_svg(made.build, folder / "outlines.svg", stamp=stamp, title=made.job.name)
    write_dxf(made.build, folder / "outlines.dxf", stamp=stamp)
    write_dxf(arcs_only(made.build, tolerance_mm=ARCS_MM), folder / "outlines_arcs.dxf", stamp=stamp)
