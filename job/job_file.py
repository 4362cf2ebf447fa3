"""The job file: job.toml read and written, comments included."""

import os
import stat
import tomllib
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

from digitize.choices import Action, Choice, Region, RegionKind
from digitize.traces import Trace
from drawing.build_fraction import format_fraction, parse_fraction
from drawing.lengths import parse_length, parse_size
from job.errors import JobError
from job.job import (
    VERSION,
    Found,
    GivenAcross,
    GivenCorners,
    GivenLength,
    Job,
    KeptGrid,
    Mark,
    Settled,
    Sheet,
    SheetKind,
)
from job.points import parse_exact_mm, parse_width_mm
from job.toml_table import Table
from printing.best_grid import MOST_CELLS, PageGrid
from printing.setup import PageSetup, parse_paper

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
    return _job(Table(_values(path), path.name), path.parent)


def _values(path: Path) -> dict[str, Any]:
    try:
        status = path.stat()
        if stat.S_ISFIFO(status.st_mode) or stat.S_ISCHR(status.st_mode):
            # Opening a pipe would wait for whoever writes into it.
            raise JobError(
                f"{path} is a device or a pipe; a job file was needed: copy what it gives into a file first."
            )
        if status.st_size > SIZE_LIMIT_BYTES:
            raise JobError(f"{path} is {status.st_size >> 20} MB; a job file is small: give the job.toml of a job.")
        # Some editors put a byte-order mark before the first letter.
        return tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except OSError as error:
        raise JobError(f"{path} cannot be read ({error.strerror}); a job file was needed: check the name.") from error
    except RecursionError as error:
        raise JobError(
            f"{path} has brackets within brackets without end; no job has: start again from the picture."
        ) from error
    except ValueError as error:
        # TOML errors, other encodings than UTF-8, and numbers too long for Python are all of this kind.
        why = str(error).split(";")[0]
        raise JobError(f"{path} is not a TOML file ({why}); mend that line or start again from the picture.") from error


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
    given = [_observation(item) for item in table.tables("observations")]
    corners = [item for item in given if isinstance(item, GivenCorners)]
    across = [item for item in given if isinstance(item, GivenAcross)]
    for items, word in ((corners, "corners"), (across, "line to lay straight")):
        if len(items) > 1:
            raise JobError(f"The job has {len(items)} observations of kind {word!r}; one at most: take out the others.")
    lengths = [item for item in given if isinstance(item, tuple)]
    build, pages = _build(table), _pages(table)
    job = Job(
        name=table.text("name"),
        sheet=_sheet(table, folder),
        knowns=tuple(length for kind, length in lengths if kind == KNOWN),
        checks=tuple(length for kind, length in lengths if kind == CHECK),
        corners=corners[0] if corners else None,
        across=across[0] if across else None,
        ignore=tuple(_whole_table(item, item.choice("found", Found)) for item in table.tables("ignore")),
        traces=tuple(_trace(item) for item in table.tables("traces")),
        choices=tuple(_choice(item) for item in table.tables("choices")),
        regions=tuple(_region(item) for item in table.tables("regions")),
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


def _whole_table(table: Table, value: Found) -> Found:
    table.done()
    return value


KNOWN, CHECK, CORNERS, ACROSS = "known distance", "check length", "corners", "line to lay straight"


def _observation(table: Table) -> tuple[str, GivenLength] | GivenCorners | GivenAcross:
    kind = table.text("kind")
    match kind:
        case "known distance" | "check length":
            start, end = _marks(table, [table.point("start_px"), table.point("end_px")])
            length = GivenLength(start, end, _length(table, "length"), table.flag("on_paper", False))
            table.done()
            return kind, length
        case "corners":
            points = table.points("points_px", least=4)
            if len(points) != 4:
                raise table.refuse("points_px", "four points, upper-left first and clockwise")
            first, second, third, fourth = _marks(table, list(points))
            size = table.optional_text("size")
            if size is not None:
                parse_size(size)
            table.done()
            return GivenCorners((first, second, third, fourth), size)
        case "line to lay straight":
            start, end = _marks(table, [table.point("start_px"), table.point("end_px")])
            table.done()
            return GivenAcross(start, end)
        case _:
            raise table.refuse("kind", f"one of {KNOWN!r}, {CHECK!r}, {CORNERS!r}, {ACROSS!r}")


def _marks(table: Table, points: list[tuple[float, float]]) -> list[Mark]:
    words = table.texts("marks")
    if words is None:
        words = (Settled.NOT_YET,) * len(points)
    if len(words) != len(points) or any(word not in list(Settled) for word in words):
        options = ", ".join(repr(str(word)) for word in Settled)
        raise table.refuse("marks", f"{len(points)} words, each one of {options}")
    return [Mark(x, y, Settled(word)) for (x, y), word in zip(points, words, strict=True)]


def _length(table: Table, key: str) -> str:
    text = table.text(key)
    parse_length(text)
    return text


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
        file=Path(os.path.normpath(folder.absolute() / item.text("file"))),
        sha256=item.text("sha256"),
        page=item.whole("page", 1),
        kind=item.choice("kind", SheetKind, SheetKind.AUTO),
        drawn_at=None if drawn_at is None else parse_fraction(drawn_at),
        trust_size=item.flag("trust_size", False),
        dpi=item.optional_number("dpi"),
        origin_px=item.optional_point("origin_px"),
    )
    item.done()
    return sheet


@dataclass(frozen=True, slots=True)
class _Build:
    fraction: Fraction
    build_length: GivenLength | None
    mirrored: bool


def _build(table: Table) -> _Build:
    build = table.table("build") or Table({}, "[build]")
    length = None
    if inner := build.table("length"):
        start, end = _marks(inner, [inner.point("start_px"), inner.point("end_px")])
        length = GivenLength(start, end, inner.text("length"))
        parse_exact_mm(length.text, "A build length")
        if build.has("fraction"):
            raise JobError(
                "The job's [build] has both a fraction and a length; each alone fixes the build size: take one out."
            )
        inner.done()
    read = _Build(parse_fraction(build.text("fraction", "1")), length, build.flag("mirrored", False))
    build.done()
    return read


@dataclass(frozen=True, slots=True)
class _Pages:
    setup: PageSetup
    lines_only: bool
    kept_grid: KeptGrid | None


def _pages(table: Table) -> _Pages:
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
            parse_fraction(grid.text("for_fraction")),
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
    read = _Pages(setup, pages.flag("lines_only", False), kept)
    pages.done()
    return read


def _count(table: Table, key: str) -> int:
    count = table.whole(key)
    if not 1 <= count <= MOST_CELLS:
        raise table.refuse(key, f"from 1 to {MOST_CELLS}, or the table [pages.grid] be taken out to lay pages anew")
    return count


def _trace(table: Table) -> Trace:
    start, *rest = table.points("nodes_px", least=4)
    if len(rest) % 3:
        raise table.refuse("nodes_px", "a start and then three points for each curve")
    cubics = tuple((rest[i], rest[i + 1], rest[i + 2]) for i in range(0, len(rest), 3))
    trace = Trace(start, cubics, table.flag("closed", False))
    table.done()
    return trace


def _choice(table: Table) -> Choice:
    choice = Choice(
        inside_px=table.point("inside_px"),
        area_px2=table.number("area_px2"),
        action=table.choice("action", Action),
        name=table.text("name", ""),
    )
    table.done()
    return choice


def _region(table: Table) -> Region:
    region = Region(points_px=table.points("points_px", least=3), keep=table.choice("keep", RegionKind, RegionKind.IN))
    table.done()
    return region


def job_text(job: Job, *, folder: Path) -> str:
    """Give the text of job.toml for a job kept in `folder`; reading it back gives the same job."""
    sheet = job.sheet
    parts = [
        "# A Scantling job: `scantling make` with this file does everything again.",
        "# Points are picture pixels: x to the right, y down, whole numbers at pixel centres.",
        "# Files are named from this folder.",
        f"version = {VERSION}",
        f"name = {_quoted(job.name)}",
        "# Your own words; nothing here changes the result.",
        f"notes = {_quoted(job.notes)}",
        "",
        "[[sheets]]",
        f"file = {_quoted(Path(os.path.relpath(sheet.file, folder.absolute())).as_posix())}",
        f"sha256 = {_quoted(sheet.sha256)}",
        f"page = {sheet.page}",
        f'kind = "{sheet.kind}"  # auto, photo or scan',
    ]
    if sheet.drawn_at is not None:
        parts.append(f'drawn_at = "{format_fraction(sheet.drawn_at)}"  # paper size : full size')
    if sheet.trust_size:
        parts.append("trust_size = true  # the file's own size is taken for true")
    if sheet.dpi is not None:
        parts.append(f"dpi = {sheet.dpi!r}")
    if sheet.origin_px is not None:
        parts.append(f"origin_px = {_point(sheet.origin_px)}  # kept, so that later pages fit earlier ones")
    parts.append("\n# What the scale rests on. marks: 'ink' lies on drawn ink, 'as given' stays where it was put,")
    parts.append("# 'not yet' moves to the ink nearest it at the next run.")
    for kind, lengths in ((KNOWN, job.knowns), (CHECK, job.checks)):
        for length in lengths:
            parts += ["", "[[observations]]", f'kind = "{kind}"', *_length_lines(length)]
            if length.on_paper:
                parts.append("on_paper = true")
    if job.corners:
        parts += ["", "[[observations]]", f'kind = "{CORNERS}"  # upper-left first, then clockwise']
        parts += [_points_line("points_px", [mark.at_px for mark in job.corners.marks]), _words(job.corners.marks)]
        if job.corners.size_text is not None:
            parts.append(f"size = {_quoted(job.corners.size_text)}")
    if job.across:
        parts += ["", "[[observations]]", f'kind = "{ACROSS}"', f"start_px = {_point(job.across.start.at_px)}"]
        parts += [f"end_px = {_point(job.across.end.at_px)}", _words((job.across.start, job.across.end))]
    for found in job.ignore:
        parts += ["", "[[ignore]]  # found by the program, not to be used", f'found = "{found}"']
    for trace in job.traces:
        parts += ["", "[[traces]]  # start, then two control points and an end for each cubic"]
        nodes = [trace.start_px, *(point for cubic in trace.cubics_px for point in cubic)]
        parts += [_points_line("nodes_px", nodes), f"closed = {_flag(trace.closed)}"]
    for choice in job.choices:
        parts += ["", "[[choices]]  # the smallest outline around inside_px whose area is within 10 %"]
        parts += [f"inside_px = {_point(choice.inside_px)}", f"area_px2 = {choice.area_px2!r}"]
        parts += [f'action = "{choice.action}"', f"name = {_quoted(choice.name)}"]
    for region in job.regions:
        parts += ["", "[[regions]]", _points_line("points_px", list(region.points_px)), f'keep = "{region.keep}"']
    parts += ["", "[build]"]
    if job.build_length is None:
        parts.append(f'fraction = "{format_fraction(job.fraction)}"  # build size : full size')
    parts.append(f"mirrored = {_flag(job.mirrored)}")
    if job.build_length is not None:
        parts += ["", "[build.length]  # this length comes out as given, and everything with it"]
        parts += _length_lines(job.build_length)
    parts += ["", "[pages]", *_setup_lines(job.setup, ""), f"lines_only = {_flag(job.lines_only)}"]
    if kept := job.kept_grid:
        parts += ["", "[pages.grid]  # kept, so that one page printed again still fits"]
        parts += [f"origin_mm = {_point(kept.grid.origin_mm)}", f"landscape = {_flag(kept.grid.landscape)}"]
        parts += [f"rows = {kept.grid.rows}", f"cols = {kept.grid.cols}"]
        parts += [f'for_fraction = "{format_fraction(kept.fraction)}"', *_setup_lines(kept.setup, "for_")]
    return "\n".join(parts) + "\n"


def _length_lines(length: GivenLength) -> list[str]:
    return [
        f"start_px = {_point(length.start.at_px)}",
        f"end_px = {_point(length.end.at_px)}",
        f"length = {_quoted(length.text)}",
        _words((length.start, length.end)),
    ]


def _setup_lines(setup: PageSetup, prefix: str) -> list[str]:
    return [
        f"{prefix}paper = {_quoted(setup.paper.name)}",
        f'{prefix}margin = "{setup.margin_mm!r} mm"',
        f'{prefix}overlap = "{setup.overlap_mm!r} mm"',
    ]


def _words(marks: tuple[Mark, ...]) -> str:
    return "marks = [" + ", ".join(f'"{mark.settled}"' for mark in marks) + "]"


def _points_line(key: str, points: list[tuple[float, float]]) -> str:
    return f"{key} = [" + ", ".join(_point(point) for point in points) + "]"


def _point(point: tuple[float, float]) -> str:
    return f"[{float(point[0])!r}, {float(point[1])!r}]"


def _flag(value: bool) -> str:
    return "true" if value else "false"


_ESCAPES = {'"': '\\"', "\\": "\\\\", "\n": "\\n", "\t": "\\t", "\r": "\\r"}


def _quoted(text: str) -> str:
    # A basic string of TOML 1.0: controls are escaped, everything else stands as it is.
    return (
        '"'
        + "".join(_ESCAPES.get(c, c if c.isprintable() or ord(c) > 0x9F else f"\\u{ord(c):04x}") for c in text)
        + '"'
    )
