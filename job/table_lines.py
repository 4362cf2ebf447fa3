"""What a person did to the drawn lines, in the job file: [[rubbed]], [[traces]], [[choices]] and [[regions]]."""

from functools import lru_cache

from digitize.choices import Action, Choice, Region, RegionKind
from digitize.rubbed import Rub
from digitize.traces import Trace
from job.job import Job
from job.toml_table import Table
from job.toml_text import flag_text, point_text, points_line, quoted


def read_rubbed(table: Table) -> tuple[Rub, ...]:
    """Read [[rubbed]]."""
    return tuple(_rub(item) for item in table.tables("rubbed"))


def _rub(table: Table) -> Rub:
    rub = Rub(table.points("points_px", least=1), table.number("width_px"))
    table.done()
    return rub


def read_traces(table: Table) -> tuple[Trace, ...]:
    """Read [[traces]]."""
    return tuple(_trace(item) for item in table.tables("traces"))


def _trace(table: Table) -> Trace:
    start, *rest = table.points("nodes_px", least=4)
    if len(rest) % 3:
        raise table.refuse("nodes_px", "a start and then three points for each curve")
    cubics = tuple((rest[i], rest[i + 1], rest[i + 2]) for i in range(0, len(rest), 3))
    trace = Trace(start, cubics, table.flag("closed", False))
    table.done()
    return trace


def read_choices(table: Table) -> tuple[Choice, ...]:
    """Read [[choices]]."""
    return tuple(_choice(item) for item in table.tables("choices"))


def _choice(table: Table) -> Choice:
    choice = Choice(
        inside_px=table.point("inside_px"),
        area_px2=table.number("area_px2"),
        action=table.choice("action", Action),
        name=table.text("name", ""),
    )
    table.done()
    return choice


def read_regions(table: Table) -> tuple[Region, ...]:
    """Read [[regions]]."""
    return tuple(_region(item) for item in table.tables("regions"))


def _region(table: Table) -> Region:
    region = Region(points_px=table.points("points_px", least=3), keep=table.choice("keep", RegionKind, RegionKind.IN))
    table.done()
    return region


def line_lines(job: Job) -> list[str]:
    """Give the lines of these tables."""
    lines = [*map(_rub_text, job.rubbed), *map(_trace_text, job.traces), *map(_choice_text, job.choices)]
    for region in job.regions:
        lines += ["", "[[regions]]", points_line("points_px", region.points_px), f'keep = "{region.keep}"']
    return lines


# A job is written after every gesture, which changes one of hundreds: the others' text is at hand.
_kept = lru_cache(maxsize=8192)


@_kept
def _rub_text(rub: Rub) -> str:
    lines = ["", "[[rubbed]]  # drawn lines inside this band are rubbed out, before traces are added"]
    lines += [points_line("points_px", rub.points_px), f"width_px = {float(rub.width_px)!r}"]
    return "\n".join(lines)


@_kept
def _trace_text(trace: Trace) -> str:
    nodes = [trace.start_px, *(point for cubic in trace.cubics_px for point in cubic)]
    lines = ["", "[[traces]]  # start, then two control points and an end for each cubic"]
    lines += [points_line("nodes_px", nodes), f"closed = {flag_text(trace.closed)}"]
    return "\n".join(lines)


@_kept
def _choice_text(choice: Choice) -> str:
    lines = ["", "[[choices]]  # the smallest outline around inside_px whose area is within 10 %"]
    lines += [f"inside_px = {point_text(choice.inside_px)}", f"area_px2 = {float(choice.area_px2)!r}"]
    lines += [f'action = "{choice.action}"', f"name = {quoted(choice.name)}"]
    return "\n".join(lines)
