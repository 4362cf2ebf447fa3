"""One kind of command: how it is read, what it makes of a job, and what it is called."""

from collections.abc import Callable
from dataclasses import dataclass

from job.job import Job
from tracing.asked_command import Asked, JsonValues


@dataclass(frozen=True, slots=True)
class Command:
    """How one kind of command is done.

    `read` gives its values as JSON with every mark settled, so that doing them again needs no picture; `apply` makes
    the new job of those; `words` says what was done, for undo.
    """

    read: Callable[[Asked, Job], JsonValues]
    apply: Callable[[Job, JsonValues], Job]
    words: Callable[[Job, JsonValues], str]


def said(words: str) -> Callable[[Job, JsonValues], str]:
    """Give words that are the same for every command of a kind."""
    return lambda job, values: words


def switched(on: str, off: str) -> Callable[[Job, JsonValues], str]:
    """Give the words of something that is on or off."""
    return lambda job, values: on if values["on"] else off


def read_nothing(asked: Asked, job: Job) -> JsonValues:
    """Read a command that has no values."""
    return {}


def read_switch(asked: Asked, job: Job) -> JsonValues:
    """Read a command that switches something on or off."""
    return {"on": asked.flag("on")}
