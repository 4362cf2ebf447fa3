"""What a person gave in the job file: [[observations]], [[measures]] and [[ignore]]."""

from collections.abc import Sequence
from dataclasses import dataclass

from drawing.lengths import parse_length, parse_size
from job.cards import parse_card_bar
from job.errors import JobError
from job.job import (
    Found,
    GivenAcross,
    GivenCorners,
    GivenLength,
    GivenStraight,
    Job,
    KeptMeasure,
    Mark,
    MeasureKind,
    Settled,
)
from job.toml_table import Table
from job.toml_text import marks_line, point_text, points_line, quoted

KNOWN, CHECK, CORNERS, ACROSS, STRAIGHT, CARD_BAR = (
    "known distance",
    "check length",
    "corners",
    "line to lay straight",
    "straight",
    "card bar",
)


@dataclass(frozen=True, slots=True)
class Observations:
    """Everything under [[observations]], by kind."""

    knowns: tuple[GivenLength, ...]
    checks: tuple[GivenLength, ...]
    corners: GivenCorners | None
    across: GivenAcross | None
    straights: tuple[GivenStraight, ...]
    card_bar: str | None


def read_observations(table: Table) -> Observations:
    """Read [[observations]]."""
    given = [_observation(item) for item in table.tables("observations")]
    corners = [item for item in given if isinstance(item, GivenCorners)]
    across = [item for item in given if isinstance(item, GivenAcross)]
    bars = [item for item in given if isinstance(item, str)]
    for items, word in ((corners, CORNERS), (across, ACROSS), (bars, CARD_BAR)):
        if len(items) > 1:
            raise JobError(f"The job has {len(items)} observations of kind {word!r}; one at most: take out the others.")
    lengths = [item for item in given if isinstance(item, tuple)]
    return Observations(
        knowns=tuple(length for kind, length in lengths if kind == KNOWN),
        checks=tuple(length for kind, length in lengths if kind == CHECK),
        corners=corners[0] if corners else None,
        across=across[0] if across else None,
        straights=tuple(item for item in given if isinstance(item, GivenStraight)),
        card_bar=bars[0] if bars else None,
    )


def _observation(table: Table) -> tuple[str, GivenLength] | GivenCorners | GivenAcross | GivenStraight | str:
    kind = table.text("kind")
    match kind:
        case "known distance" | "check length":
            length = _given_length(table)
            table.done()
            return kind, length
        case "corners":
            points = table.points("points_px", least=4)
            if len(points) != 4:
                raise table.refuse("points_px", "four points, upper-left first and clockwise")
            first, second, third, fourth = _marks(table, points)
            size = table.optional_text("size")
            if size is not None:
                parse_size(size)
            table.done()
            return GivenCorners((first, second, third, fourth), size)
        case "line to lay straight":
            start, end = read_ends(table)
            table.done()
            return GivenAcross(start, end)
        case "straight":
            start, end = read_ends(table)
            table.done()
            return GivenStraight(start, end)
        case "card bar":
            text = table.text("length")
            parse_card_bar(text)
            table.done()
            return text
        case _:
            kinds = (KNOWN, CHECK, CORNERS, ACROSS, STRAIGHT, CARD_BAR)
            raise table.refuse("kind", f"one of {', '.join(map(repr, kinds))}")


def _given_length(table: Table) -> GivenLength:
    ends = [table.point("start_px"), table.point("end_px")]
    line = table.points("along_px", least=2) if table.has("along_px") else ()
    if len(line) not in (0, 2):
        raise table.refuse("along_px", "two points of the line that the length is measured along")
    start, end, *along = _marks(table, [*ends, *line])
    text, on_paper = _length(table, "length"), table.flag("on_paper", False)
    return GivenLength(start, end, text, on_paper, (along[0], along[1]) if along else None)


def read_ends(table: Table) -> tuple[Mark, Mark]:
    """Read the marks at both ends of something."""
    start, end = _marks(table, [table.point("start_px"), table.point("end_px")])
    return start, end


def _marks(table: Table, points: Sequence[tuple[float, float]]) -> list[Mark]:
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


def read_measures(table: Table) -> tuple[KeptMeasure, ...]:
    """Read [[measures]]."""
    return tuple(_measure(item) for item in table.tables("measures"))


def _measure(table: Table) -> KeptMeasure:
    marks = _marks(table, table.points("points_px", least=1))
    measure = KeptMeasure(table.choice("kind", MeasureKind), tuple(marks), table.text("note", ""))
    table.done()
    return measure


def read_ignore(table: Table) -> tuple[Found, ...]:
    """Read [[ignore]]."""
    return tuple(_found(item) for item in table.tables("ignore"))


def _found(table: Table) -> Found:
    found = table.choice("found", Found)
    table.done()
    return found


def observation_lines(job: Job) -> list[str]:
    """Give the lines of [[observations]]."""
    lines = ["\n# What the scale rests on. marks: 'ink' lies on drawn ink, 'as given' stays where it was put,"]
    lines.append("# 'not yet' moves to the ink nearest it at the next run.")
    for kind, lengths in ((KNOWN, job.knowns), (CHECK, job.checks)):
        for length in lengths:
            lines += ["", "[[observations]]", f'kind = "{kind}"', *length_lines(length)]
            if length.on_paper:
                lines.append("on_paper = true")
    if job.corners:
        lines += ["", "[[observations]]", f'kind = "{CORNERS}"  # upper-left first, then clockwise']
        lines += [points_line("points_px", [mark.at_px for mark in job.corners.marks]), marks_line(job.corners.marks)]
        if job.corners.size_text is not None:
            lines.append(f"size = {quoted(job.corners.size_text)}")
    if job.across:
        lines += ["", "[[observations]]", f'kind = "{ACROSS}"', *_end_lines(job.across.start, job.across.end)]
    for straight in job.straights:
        lines += ["", "[[observations]]", f'kind = "{STRAIGHT}"  # a drawn line that is straight on the paper']
        lines += _end_lines(straight.start, straight.end)
    if job.card_bar is not None:
        lines += ["", "[[observations]]", f'kind = "{CARD_BAR}"  # what the bars on the sheet of cards measure']
        lines.append(f"length = {quoted(job.card_bar)}")
    return lines


def measure_lines(measures: Sequence[KeptMeasure]) -> list[str]:
    """Give the lines of [[measures]]."""
    lines = []
    for measure in measures:
        lines += ["", "[[measures]]  # kept to be read; nothing is fitted to it", f'kind = "{measure.kind}"']
        lines += [points_line("points_px", [mark.at_px for mark in measure.marks]), marks_line(measure.marks)]
        lines.append(f"note = {quoted(measure.note)}")
    return lines


def ignore_lines(ignore: Sequence[Found]) -> list[str]:
    """Give the lines of [[ignore]]."""
    return [
        line
        for found in ignore
        for line in ("", "[[ignore]]  # found by the program, not to be used", f'found = "{found}"')
    ]


def length_lines(length: GivenLength) -> list[str]:
    """Give the lines of a length between two marks."""
    return [
        f"start_px = {point_text(length.start.at_px)}",
        f"end_px = {point_text(length.end.at_px)}",
        *([points_line("along_px", [mark.at_px for mark in length.along])] if length.along else []),
        f"length = {quoted(length.text)}",
        marks_line(length.marks),
    ]


def _end_lines(start: Mark, end: Mark) -> list[str]:
    return [f"start_px = {point_text(start.at_px)}", f"end_px = {point_text(end.at_px)}", marks_line((start, end))]
