"""Two marks at the ends of something, as commands bring them; and one item of many put in place or taken out."""

from collections.abc import Sequence
from typing import TypeVar

from job.job import GivenLength, GivenStraight, Mark
from tracing.asked_command import Asked, JsonValues, mark_of
from tracing.errors import CommandError

T = TypeVar("T")


def with_item(items: Sequence[T], index: int, item: T) -> tuple[T, ...]:
    """Give a tuple with one item put in another's place."""
    return (*items[:index], item, *items[index + 1 :])


def without_item(items: Sequence[T], index: int) -> tuple[T, ...]:
    """Give a tuple without one of its items."""
    return (*items[:index], *items[index + 1 :])


def read_ends(asked: Asked, what: str) -> JsonValues:
    """Read the marks at both ends of something, which lie in two places."""
    values = {key: asked.mark(key, f"{what}, {word} mark") for key, word in (("start", "first"), ("end", "second"))}
    refuse_one_place(mark_of(values["start"]), mark_of(values["end"]), what)
    return values


def refuse_one_place(start: Mark, end: Mark, what: str) -> None:
    """Refuse two marks at one place."""
    if start.at_px == end.at_px:
        raise CommandError(
            f"Both marks of {what} are at {start.x_px:g},{start.y_px:g} px; it needs two places: put one elsewhere."
        )


def read_moved_ends(asked: Asked, given: GivenLength | GivenStraight, what: str) -> JsonValues:
    """Read the marks of those ends that moved."""
    values = {key: asked.mark(key, f"{what}, {key}") for key in ("start", "end") if asked.has(key)}
    start, end = moved_ends(values, given)
    if values:
        refuse_one_place(start, end, what)
    return values


def moved_ends(values: JsonValues, given: GivenLength | GivenStraight) -> tuple[Mark, Mark]:
    """Give both marks, each where it moved to or where it was."""
    return (
        mark_of(values["start"]) if "start" in values else given.start,
        mark_of(values["end"]) if "end" in values else given.end,
    )
