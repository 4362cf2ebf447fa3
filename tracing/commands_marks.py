"""Commands about marks other than lengths: corners, the line to lay straight, straight lines, measurements."""

from dataclasses import replace

from drawing.lengths import parse_size
from job.job import (
    GivenAcross,
    GivenCorners,
    GivenStraight,
    Job,
    KeptMeasure,
    MeasureKind,
)
from tracing.asked_command import Asked, JsonValues, mark_of
from tracing.command import Command, read_nothing, said
from tracing.ends import moved_ends, read_ends, read_moved_ends, with_item, without_item

CORNER_NAMES = ("upper left", "upper right", "lower right", "lower left")


# Corners of a rectangle.


def _read_corners(asked: Asked, job: Job) -> JsonValues:
    marks = asked.marks("marks", "corner", least=4, most=4)
    size = asked.optional_words("size_text")
    if size is not None:
        parse_size(size)
    return {"marks": marks, "size_text": size}


def _set_corners(job: Job, values: JsonValues) -> Job:
    first, second, third, fourth = (mark_of(mark) for mark in values["marks"])
    return replace(job, corners=GivenCorners((first, second, third, fourth), values["size_text"]))


def _set_corners_words(job: Job, values: JsonValues) -> str:
    size = values["size_text"]
    return "Put the four corners" if size is None else f"Put the four corners of {size}"


def _read_move_corner(asked: Asked, job: Job) -> JsonValues:
    marks = () if job.corners is None else job.corners.marks
    index = asked.index("index", marks, "corner")
    return {"index": index, "mark": asked.mark("mark", f"the {CORNER_NAMES[index]} corner")}


def _move_corner(job: Job, values: JsonValues) -> Job:
    assert job.corners is not None
    first, second, third, fourth = with_item(job.corners.marks, values["index"], mark_of(values["mark"]))
    return replace(job, corners=replace(job.corners, marks=(first, second, third, fourth)))


# Lines.


def _set_across(job: Job, values: JsonValues) -> Job:
    return replace(job, across=GivenAcross(mark_of(values["start"]), mark_of(values["end"])))


def _add_straight(job: Job, values: JsonValues) -> Job:
    straight = GivenStraight(mark_of(values["start"]), mark_of(values["end"]))
    return replace(job, straights=(*job.straights, straight))


def _read_set_straight(asked: Asked, job: Job) -> JsonValues:
    index = asked.index("index", job.straights, "straight line")
    return {"index": index, **read_moved_ends(asked, job.straights[index], f"straight line {index + 1}")}


def _set_straight(job: Job, values: JsonValues) -> Job:
    straight = GivenStraight(*moved_ends(values, job.straights[values["index"]]))
    return replace(job, straights=with_item(job.straights, values["index"], straight))


# Measurements and notes.


def _read_measure(asked: Asked, job: Job) -> JsonValues:
    kind = asked.choice("kind", MeasureKind)
    values = {"kind": str(kind), "marks": asked.marks("marks", "mark", least=1), "note": asked.words("note")}
    _add_measure(job, values)
    return values


def _add_measure(job: Job, values: JsonValues) -> Job:
    marks = tuple(mark_of(mark) for mark in values["marks"])
    return replace(job, measures=(*job.measures, KeptMeasure(MeasureKind(values["kind"]), marks, values["note"])))


def _read_set_measure(asked: Asked, job: Job) -> JsonValues:
    values: JsonValues = {"index": asked.index("index", job.measures, "measurement")}
    if asked.has("note"):
        values["note"] = asked.words("note")
    if asked.has("marks"):
        values["marks"] = asked.marks("marks", "mark", least=1)
    return values


def _set_measure(job: Job, values: JsonValues) -> Job:
    measure = job.measures[values["index"]]
    if "note" in values:
        measure = replace(measure, note=values["note"])
    if "marks" in values:
        measure = replace(measure, marks=tuple(mark_of(mark) for mark in values["marks"]))
    return replace(job, measures=with_item(job.measures, values["index"], measure))


def _measure_words(done: str, kind: MeasureKind, note: str) -> str:
    what = "a note" if kind is MeasureKind.NOTE else f"a measured {kind}"
    return f"{done} {what}: {note}" if note else f"{done} {what}"


MARK_COMMANDS: dict[str, Command] = {
    "set_corners": Command(_read_corners, _set_corners, _set_corners_words),
    "move_corner": Command(
        _read_move_corner,
        _move_corner,
        lambda job, values: f"Moved the {CORNER_NAMES[values['index']]} corner",
    ),
    "clear_corners": Command(
        read_nothing, lambda job, values: replace(job, corners=None), said("Took the corners away")
    ),
    "set_across": Command(
        lambda asked, job: read_ends(asked, "the line to lay straight"),
        _set_across,
        said("Put the line to lay straight"),
    ),
    "clear_across": Command(
        read_nothing, lambda job, values: replace(job, across=None), said("Took the line to lay straight away")
    ),
    "add_straight": Command(
        lambda asked, job: read_ends(asked, "the straight line"), _add_straight, said("Put a straight line")
    ),
    "set_straight": Command(
        _read_set_straight, _set_straight, lambda job, values: f"Moved an end of straight line {values['index'] + 1}"
    ),
    "remove_straight": Command(
        lambda asked, job: {"index": asked.index("index", job.straights, "straight line")},
        lambda job, values: replace(job, straights=without_item(job.straights, values["index"])),
        lambda job, values: f"Took out straight line {values['index'] + 1}",
    ),
    "add_measure": Command(
        _read_measure,
        _add_measure,
        lambda job, values: _measure_words("Kept", MeasureKind(values["kind"]), values["note"]),
    ),
    "set_measure": Command(
        _read_set_measure,
        _set_measure,
        lambda job, values: _measure_words("Changed", job.measures[values["index"]].kind, values.get("note", "")),
    ),
    "remove_measure": Command(
        lambda asked, job: {"index": asked.index("index", job.measures, "measurement")},
        lambda job, values: replace(job, measures=without_item(job.measures, values["index"])),
        lambda job, values: _measure_words(
            "Took out", job.measures[values["index"]].kind, job.measures[values["index"]].note
        ),
    ),
}
