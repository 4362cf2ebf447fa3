"""Commands about known distances and check lengths: the same ones on two lists."""

from collections.abc import Callable
from dataclasses import replace

from drawing.lengths import parse_length
from job.job import GivenLength, Job
from tracing.asked_command import Asked, JsonValues, mark_of
from tracing.command import Command
from tracing.ends import moved_ends, read_ends, read_moved_ends, with_item, without_item


def _commands(
    kind: str,
    what: str,
    items: Callable[[Job], tuple[GivenLength, ...]],
    with_items: Callable[[Job, tuple[GivenLength, ...]], Job],
) -> dict[str, Command]:
    def read_add(asked: Asked, job: Job) -> JsonValues:
        values = {**read_ends(asked, f"the {what}"), "text": _length_text(asked)}
        return {**values, "on_paper": asked.flag("on_paper", False)}

    def add(job: Job, values: JsonValues) -> Job:
        given = GivenLength(mark_of(values["start"]), mark_of(values["end"]), values["text"], values["on_paper"])
        return with_items(job, (*items(job), given))

    def read_set(asked: Asked, job: Job) -> JsonValues:
        index = asked.index("index", items(job), what)
        values = {"index": index, **read_moved_ends(asked, items(job)[index], f"{what} {index + 1}")}
        if asked.has("text"):
            values["text"] = _length_text(asked)
        if asked.has("on_paper"):
            values["on_paper"] = asked.flag("on_paper")
        return values

    def change(job: Job, values: JsonValues) -> Job:
        old = items(job)[values["index"]]
        start, end = moved_ends(values, old)
        text, on_paper = values.get("text", old.text), values.get("on_paper", old.on_paper)
        new = replace(old, start=start, end=end, text=text, on_paper=on_paper)
        return with_items(job, with_item(items(job), values["index"], new))

    def set_words(job: Job, values: JsonValues) -> str:
        before = items(job)[values["index"]]
        if "text" in values:
            return f"Changed {what} {values['index'] + 1} from {before.text} to {values['text']}"
        if "on_paper" in values:
            return (
                f"Took the {what} {before.text} as {'one on the paper' if values['on_paper'] else 'one of the thing'}"
            )
        return f"Moved an end of the {what} {before.text}"

    def remove(job: Job, values: JsonValues) -> Job:
        return with_items(job, without_item(items(job), values["index"]))

    return {
        f"add_{kind}": Command(read_add, add, lambda job, values: f"Put the {what} {values['text']}"),
        f"set_{kind}": Command(read_set, change, set_words),
        f"remove_{kind}": Command(
            lambda asked, job: {"index": asked.index("index", items(job), what)},
            remove,
            lambda job, values: f"Took out the {what} {items(job)[values['index']].text}",
        ),
    }


def _length_text(asked: Asked) -> str:
    text = asked.words("text").strip()
    parse_length(text)
    return text


LENGTH_COMMANDS: dict[str, Command] = {
    **_commands("known", "known distance", lambda job: job.knowns, lambda job, items: replace(job, knowns=items)),
    **_commands("check", "check length", lambda job: job.checks, lambda job, items: replace(job, checks=items)),
}
