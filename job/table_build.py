"""At what size and on what paper, in the job file: [build] and [pages]."""

from dataclasses import dataclass
from fractions import Fraction

from drawing.build_fraction import format_fraction, parse_fraction
from job.errors import JobError
from job.job import GivenLength, Job, KeptGrid
from job.points import parse_exact_mm, parse_width_mm
from job.table_observations import length_lines, read_ends
from job.toml_table import Table
from job.toml_text import flag_text, point_text, quoted
from printing.best_grid import MOST_CELLS, PageGrid
from printing.setup import PageSetup, parse_paper


@dataclass(frozen=True, slots=True)
class Build:
    """What stands in [build]."""

    fraction: Fraction
    build_length: GivenLength | None
    mirrored: bool


def read_build(table: Table) -> Build:
    """Read [build]."""
    build = table.table("build") or Table({}, "[build]")
    length = None
    if inner := build.table("length"):
        start, end = read_ends(inner)
        length = GivenLength(start, end, inner.text("length"))
        parse_exact_mm(length.text, "A build length")
        if build.has("fraction"):
            raise JobError(
                "The job's [build] has both a fraction and a length; each alone fixes the build size: take one out."
            )
        inner.done()
    read = Build(parse_fraction(build.text("fraction", "1")), length, build.flag("mirrored", False))
    build.done()
    return read


@dataclass(frozen=True, slots=True)
class Pages:
    """What stands in [pages]."""

    setup: PageSetup
    lines_only: bool
    kept_grid: KeptGrid | None


def read_pages(table: Table) -> Pages:
    """Read [pages]."""
    pages = table.table("pages") or Table({}, "[pages]")
    kept = None
    if grid := pages.table("grid"):
        kept = KeptGrid(
            PageGrid(
                origin_mm=grid.point("origin_mm"),
                landscape=grid.flag("landscape"),
                rows=_count(grid, "rows"),
                cols=_count(grid, "cols"),
            ),
            parse_fraction(grid.text("for_fraction")) if grid.has("for_fraction") else None,
            PageSetup(
                parse_paper(grid.text("for_paper")),
                margin_mm=parse_width_mm(grid.text("for_margin")),
                overlap_mm=parse_width_mm(grid.text("for_overlap")),
            ),
        )
        grid.done()
    setup = PageSetup(
        parse_paper(pages.text("paper", "A4")),
        margin_mm=parse_width_mm(pages.text("margin", "6 mm")),
        overlap_mm=parse_width_mm(pages.text("overlap", "10 mm")),
    )
    read = Pages(setup, pages.flag("lines_only", False), kept)
    pages.done()
    return read


def _count(table: Table, key: str) -> int:
    count = table.whole(key)
    if not 1 <= count <= MOST_CELLS:
        raise table.refuse(key, f"from 1 to {MOST_CELLS}, or the table [pages.grid] be taken out to lay pages anew")
    return count


def build_lines(job: Job) -> list[str]:
    """Give the lines of [build] and [pages]."""
    lines = ["", "[build]"]
    if job.build_length is None:
        lines.append(f'fraction = "{format_fraction(job.fraction)}"  # build size : full size')
    lines.append(f"mirrored = {flag_text(job.mirrored)}")
    if job.build_length is not None:
        lines += ["", "[build.length]  # this length comes out as given, and everything with it"]
        lines += length_lines(job.build_length)
    lines += ["", "[pages]", *_setup_lines(job.setup, ""), f"lines_only = {flag_text(job.lines_only)}"]
    if kept := job.kept_grid:
        lines += ["", "[pages.grid]  # kept, so that one page printed again still fits"]
        lines += [f"origin_mm = {point_text(kept.grid.origin_mm)}", f"landscape = {flag_text(kept.grid.landscape)}"]
        lines += [f"rows = {kept.grid.rows}", f"cols = {kept.grid.cols}"]
        if kept.fraction is not None:
            lines.append(f'for_fraction = "{format_fraction(kept.fraction)}"')
        lines += _setup_lines(kept.setup, "for_")
    return lines


def _setup_lines(setup: PageSetup, prefix: str) -> list[str]:
    return [
        f"{prefix}paper = {quoted(setup.paper.name)}",
        f'{prefix}margin = "{setup.margin_mm!r} mm"',
        f'{prefix}overlap = "{setup.overlap_mm!r} mm"',
    ]
