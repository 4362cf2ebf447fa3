"""Commands about drawn lines: traces, rubbing out, what outlines to take, which regions count."""

import math
from dataclasses import replace

from digitize.choices import AREA_WITHIN, Action, Choice, Region, RegionKind
from digitize.rubbed import Rub
from digitize.traces import Trace
from drawing.paths import Point
from job.job import Job
from tracing.asked_command import Asked, JsonValues
from tracing.command import Command
from tracing.ends import with_item, without_item
from tracing.errors import CommandError

SAME_OUTLINE_PX = 2.0
"""Two choices this close, of like area, are about one outline: found again its point moves by less; the middles of thin
strips drawn side by side lie farther apart."""

WIDEST_PX = 10_000.0
"""A band of rubbing out is drawn with a fingertip's width; this is a whole picture's."""


# Lines traced by hand.


def _read_trace(asked: Asked, job: Job) -> JsonValues:
    return {
        "start_px": asked.place("start_px"),
        "cubics_px": asked.cubics("cubics_px"),
        "closed": asked.flag("closed"),
    }


def _read_set_trace(asked: Asked, job: Job) -> JsonValues:
    return {"index": asked.index("index", job.traces, "traced line"), **_read_trace(asked, job)}


def _trace(values: JsonValues) -> Trace:
    cubics = tuple((_point(a), _point(b), _point(c)) for a, b, c in values["cubics_px"])
    return Trace(_point(values["start_px"]), cubics, values["closed"])


def _point(values: list[float]) -> Point:
    x, y = values
    return x, y


def _set_trace(job: Job, values: JsonValues) -> Job:
    return replace(job, traces=with_item(job.traces, values["index"], _trace(values)))


def _read_move_node(asked: Asked, job: Job) -> JsonValues:
    index = asked.index("index", job.traces, "traced line")
    trace = job.traces[index]
    node = asked.index("node", [trace.start_px, *trace.cubics_px], "node")
    which = asked.words("which") if asked.has("which") else "node"
    if which not in ("node", "in", "out"):
        raise asked.refuse("which", "'node', or 'in' or 'out' for the handle before or after it")
    ends = not trace.closed and (which, node) in (("in", 0), ("out", len(trace.cubics_px)))
    if ends:
        raise CommandError(
            f"Node {node + 1} of traced line {index + 1} has no handle there: the line ends at it; take another."
        )
    return {"index": index, "node": node, "which": which, "to": asked.place("to")}


def _move_node(job: Job, values: JsonValues) -> Job:
    trace = job.traces[values["index"]]
    points = [trace.start_px, *(point for cubic in trace.cubics_px for point in cubic)]
    last = len(points) - 1
    at = 3 * values["node"]
    ends = (0, last) if trace.closed and at in (0, last) else (at,)
    to = _point(values["to"])
    match values["which"]:
        case "in":
            points[(last if at == 0 else at) - 1] = to
        case "out":
            points[(0 if at == last else at) + 1] = to
        case _:
            dx, dy = to[0] - points[at][0], to[1] - points[at][1]
            for end in ends:
                points[end] = to
                # Handles go with their node, so that the line keeps its run there.
                for handle in {end - 1, end + 1} & set(range(1, last)):
                    x, y = points[handle]
                    points[handle] = round(x + dx, 3), round(y + dy, 3)
    cubics = tuple((points[n], points[n + 1], points[n + 2]) for n in range(1, last, 3))
    return replace(job, traces=with_item(job.traces, values["index"], Trace(points[0], cubics, trace.closed)))


# Choices. One an outline: a new one takes the old one's place.


def _read_choose(asked: Asked, job: Job) -> JsonValues:
    values: JsonValues = {
        "inside_px": asked.place("inside_px"),
        "area_px2": asked.above_zero("area_px2"),
        "action": str(asked.choice("action", Action)),
    }
    if asked.has("name"):
        values["name"] = asked.words("name").strip()
    return values


def _choose(job: Job, values: JsonValues) -> Job:
    old = _choice_about(job, values)
    before = None if old is None else job.choices[old]
    action = Action(values["action"]) if "action" in values else Action.TAKE if before is None else before.action
    name = values.get("name", "" if before is None else before.name)
    choice = Choice(_point(values["inside_px"]), values["area_px2"], action, name)
    kept = job.choices if old is None else without_item(job.choices, old)
    return replace(job, choices=(*kept, choice))


def _choice_about(job: Job, values: JsonValues) -> int | None:
    """The number of the choice about the same outline."""
    x, y = values["inside_px"]
    area_px2 = values["area_px2"]
    for index in range(len(job.choices) - 1, -1, -1):
        choice = job.choices[index]
        alike = abs(choice.area_px2 - area_px2) <= AREA_WITHIN * min(area_px2, choice.area_px2)
        if alike and math.dist(choice.inside_px, (x, y)) <= SAME_OUTLINE_PX:
            return index
    return None


def _choose_words(job: Job, values: JsonValues) -> str:
    name = values.get("name") or "an outline"
    return f"Took {name} as a part" if values["action"] == Action.TAKE else f"Left out {name}"


def _read_rename(asked: Asked, job: Job) -> JsonValues:
    return {
        "inside_px": asked.place("inside_px"),
        "area_px2": asked.above_zero("area_px2"),
        "name": asked.words("name").strip(),
    }


# Regions and rubbing out.


def _read_region(asked: Asked, job: Job) -> JsonValues:
    return {"points_px": asked.places("points_px", least=3), "keep": str(asked.choice("keep", RegionKind))}


def _add_region(job: Job, values: JsonValues) -> Job:
    region = Region(tuple(map(_point, values["points_px"])), RegionKind(values["keep"]))
    return replace(job, regions=(*job.regions, region))


def _read_set_region(asked: Asked, job: Job) -> JsonValues:
    values: JsonValues = {"index": asked.index("index", job.regions, "region")}
    if asked.has("points_px"):
        values["points_px"] = asked.places("points_px", least=3)
    if asked.has("keep"):
        values["keep"] = str(asked.choice("keep", RegionKind))
    return values


def _set_region(job: Job, values: JsonValues) -> Job:
    old = job.regions[values["index"]]
    points = tuple(map(_point, values["points_px"])) if "points_px" in values else old.points_px
    region = Region(points, RegionKind(values["keep"]) if "keep" in values else old.keep)
    return replace(job, regions=with_item(job.regions, values["index"], region))


def _read_rub(asked: Asked, job: Job) -> JsonValues:
    width_px = round(asked.above_zero("width_px"), 3)
    if not 0 < width_px <= WIDEST_PX:
        raise asked.refuse("width_px", f"above zero and at most {WIDEST_PX:g} px")
    return {"points_px": asked.places("points_px", least=1), "width_px": width_px}


def _rub(job: Job, values: JsonValues) -> Job:
    return replace(job, rubbed=(*job.rubbed, Rub(tuple(map(_point, values["points_px"])), values["width_px"])))


LINE_COMMANDS: dict[str, Command] = {
    "add_trace": Command(
        _read_trace,
        lambda job, values: replace(job, traces=(*job.traces, _trace(values))),
        lambda job, values: "Traced a closed line" if values["closed"] else "Traced a line",
    ),
    "set_trace": Command(_read_set_trace, _set_trace, lambda job, values: f"Changed traced line {values['index'] + 1}"),
    "move_trace_node": Command(
        _read_move_node, _move_node, lambda job, values: f"Moved a node of traced line {values['index'] + 1}"
    ),
    "remove_trace": Command(
        lambda asked, job: {"index": asked.index("index", job.traces, "traced line")},
        lambda job, values: replace(job, traces=without_item(job.traces, values["index"])),
        lambda job, values: f"Took out traced line {values['index'] + 1}",
    ),
    "choose": Command(_read_choose, _choose, _choose_words),
    "rename": Command(
        _read_rename,
        _choose,
        lambda job, values: f"Named an outline {values['name']}" if values["name"] else "Took an outline's name away",
    ),
    "unchoose": Command(
        lambda asked, job: {"index": asked.index("index", job.choices, "choice")},
        lambda job, values: replace(job, choices=without_item(job.choices, values["index"])),
        lambda job, values: f"Took back the choice about {job.choices[values['index']].name or 'an outline'}",
    ),
    "add_region": Command(
        _read_region,
        _add_region,
        lambda job, values: "Marked a region to keep" if values["keep"] == "in" else "Marked a region to leave out",
    ),
    "set_region": Command(_read_set_region, _set_region, lambda job, values: f"Changed region {values['index'] + 1}"),
    "remove_region": Command(
        lambda asked, job: {"index": asked.index("index", job.regions, "region")},
        lambda job, values: replace(job, regions=without_item(job.regions, values["index"])),
        lambda job, values: f"Took out region {values['index'] + 1}",
    ),
    "rub": Command(_read_rub, _rub, lambda job, values: "Rubbed out lines"),
    "remove_rub": Command(
        lambda asked, job: {"index": asked.index("index", job.rubbed, "rubbed band")},
        lambda job, values: replace(job, rubbed=without_item(job.rubbed, values["index"])),
        lambda job, values: f"Brought back what band {values['index'] + 1} rubbed out",
    ),
}
