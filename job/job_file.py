"""The job file: job.toml read and written, comments included."""

import os
import stat
import tomllib
from pathlib import Path

from drawing.build_fraction import format_fraction, parse_fraction
from job.errors import JobError
from job.job import VERSION, Job, LinesFrom, Sheet, SheetKind
from job.table_build import build_lines, read_build, read_pages
from job.table_lines import line_lines, read_choices, read_regions, read_rubbed, read_traces
from job.table_observations import (
    ignore_lines,
    measure_lines,
    observation_lines,
    read_ignore,
    read_measures,
    read_observations,
)
from job.toml_table import Table
from job.toml_text import point_text, quoted

JOB_NAME = "job.toml"

SIZE_LIMIT_BYTES = 64 << 20
"""A job file with tens of thousands of traced nodes takes a few MB; beyond this it is some other file."""


def read_job(path: Path) -> Job:
    """Read a job file.

    Raises
    ------
    JobError
        In one sentence, when the file is missing, is no TOML, or has a key that is
        unknown, missing or of the wrong type.
    """
    return parse_job(_content(path), path=path)


def parse_job(content: bytes, *, path: Path) -> Job:
    """Read what a job file at `path` holds.

    Raises
    ------
    JobError
        As `read_job` does.
    """
    try:
        # Some editors put a byte-order mark before the first letter.
        values = tomllib.loads(content.decode("utf-8-sig").replace("\r\n", "\n"))
    except RecursionError as error:
        raise JobError(
            f"{path} has brackets within brackets without end; no job has: start again from the picture."
        ) from error
    except ValueError as error:
        # TOML errors, other encodings than UTF-8, and numbers too long for Python are all of this kind.
        why = str(error).split(";")[0]
        raise JobError(f"{path} is not a TOML file ({why}); mend that line or start again from the picture.") from error
    return _job(Table(values, path.name), path.parent)


def _content(path: Path) -> bytes:
    try:
        status = path.stat()
        if stat.S_ISFIFO(status.st_mode) or stat.S_ISCHR(status.st_mode):
            # Opening a pipe would wait for whoever writes into it.
            raise JobError(
                f"{path} is a device or a pipe; a job file was needed: copy what it gives into a file first."
            )
        if status.st_size > SIZE_LIMIT_BYTES:
            raise JobError(f"{path} is {status.st_size >> 20} MB; a job file is small: give the job.toml of a job.")
        return path.read_bytes()
    except OSError as error:
        raise JobError(f"{path} cannot be read ({error.strerror}); a job file was needed: check the name.") from error


def is_plain_file(path: Path) -> bool:
    """Say whether there is a file to read, whatever the name looks like."""
    try:
        return path.is_file()
    except OSError:
        # A name too long for the disk is no file's.
        return False


def _job(table: Table, folder: Path) -> Job:
    version = table.whole("version")
    if version != VERSION:
        raise table.refuse("version", f"{VERSION}, the only version this program knows; a newer program may read it")
    given, build, pages = read_observations(table), read_build(table), read_pages(table)
    job = Job(
        name=table.text("name"),
        sheet=_sheet(table, folder),
        knowns=given.knowns,
        checks=given.checks,
        corners=given.corners,
        across=given.across,
        straights=given.straights,
        card_bar=given.card_bar,
        ignore=read_ignore(table),
        rubbed=read_rubbed(table),
        traces=read_traces(table),
        choices=read_choices(table),
        regions=read_regions(table),
        measures=read_measures(table),
        notes=table.text("notes", ""),
        fraction=build.fraction,
        build_length=build.build_length,
        mirrored=build.mirrored,
        lines_only=pages.lines_only,
        setup=pages.setup,
        kept_grid=pages.kept_grid,
    )
    table.done()
    return job


def _sheet(table: Table, folder: Path) -> Sheet:
    sheets = table.tables("sheets")
    if len(sheets) != 1:
        raise JobError(
            f"The job has {len(sheets)} sheets; this version runs one, joining several is not there yet: "
            "make one job for each."
        )
    item = sheets[0]
    drawn_at = item.optional_text("drawn_at")
    sheet = Sheet(
        file=file_named(item.text("file"), folder),
        sha256=item.text("sha256"),
        page=item.whole("page", 1),
        kind=item.choice("kind", SheetKind, SheetKind.AUTO),
        lines=item.choice("lines", LinesFrom, LinesFrom.AUTO),
        drawn_at=None if drawn_at is None else parse_fraction(drawn_at),
        trust_size=item.flag("trust_size", False),
        dpi=item.optional_number("dpi"),
        origin_px=item.optional_point("origin_px"),
    )
    item.done()
    return sheet


def job_text(job: Job, *, folder: Path) -> str:
    """Give the text of job.toml for a job kept in `folder`; reading it back gives the same job."""
    lines = [
        "# A Scantling job: `scantling make` with this file does everything again.",
        "# Points are picture pixels: x to the right, y down, whole numbers at pixel centres.",
        "# Files are named from this folder.",
        f"version = {VERSION}",
        f"name = {quoted(job.name)}",
        "# Your own words; nothing here changes the result.",
        f"notes = {quoted(job.notes)}",
        *_sheet_lines(job.sheet, folder),
        *observation_lines(job),
        *ignore_lines(job.ignore),
        *line_lines(job),
        *measure_lines(job.measures),
        *build_lines(job),
    ]
    return "\n".join(lines) + "\n"


def _sheet_lines(sheet: Sheet, folder: Path) -> list[str]:
    lines = [
        "",
        "[[sheets]]",
        f"file = {quoted(named_from(sheet.file, folder))}",
        f"sha256 = {quoted(sheet.sha256)}",
        f"page = {sheet.page}",
        f'kind = "{sheet.kind}"  # auto, photo or scan',
        f'lines = "{sheet.lines}"  # auto, or picture: a PDF page is then looked at as a scan is',
    ]
    if sheet.drawn_at is not None:
        lines.append(f'drawn_at = "{format_fraction(sheet.drawn_at)}"  # paper size : full size')
    if sheet.trust_size:
        lines.append("trust_size = true  # the file's own size is taken for true")
    if sheet.dpi is not None:
        lines.append(f"dpi = {sheet.dpi!r}")
    if sheet.origin_px is not None:
        lines.append(f"origin_px = {point_text(sheet.origin_px)}  # kept, so that later pages fit earlier ones")
    return lines


def named_from(file: Path, folder: Path) -> str:
    """Give a file's name as seen from a folder."""
    try:
        return Path(os.path.relpath(file, folder.absolute())).as_posix()
    except ValueError:
        # Another drive of Windows has no name from here.
        return file.as_posix()


def file_named(name: str, folder: Path) -> Path:
    """Give the file of a name seen from a folder."""
    return Path(os.path.normpath(folder.absolute() / name))
