"""Every command of the page: read, settled and checked (`resolve`), then done to a job (`apply`); both pure."""

import difflib
from typing import Any

from job.job import Job
from job.settle import Landmarks
from tracing.asked_command import Asked
from tracing.command import Command
from tracing.commands_lengths import LENGTH_COMMANDS
from tracing.commands_lines import LINE_COMMANDS
from tracing.commands_marks import MARK_COMMANDS
from tracing.commands_setup import SETUP_COMMANDS
from tracing.errors import CommandError

COMMANDS: dict[str, Command] = {**LENGTH_COMMANDS, **MARK_COMMANDS, **LINE_COMMANDS, **SETUP_COMMANDS}


def resolve(command: object, job: Job, landmarks: Landmarks | None) -> dict[str, Any]:
    """Give a command with every mark settled and every value checked, as plain JSON.

    Resolving what was resolved gives the same, and needs no landmarks.

    Raises
    ------
    ScantlingError
        In one sentence, whatever `command` is.
    """
    if not isinstance(command, dict) or not all(isinstance(key, str) for key in command):
        raise CommandError("A command is no object with named values; one was needed: reload the page.")
    name = command.get("do")
    if not isinstance(name, str) or name not in COMMANDS:
        near = difflib.get_close_matches(name[:40], COMMANDS, n=1) if isinstance(name, str) else []
        found = ascii(name[:40]) if isinstance(name, str) else "no name"
        hint = f"{near[0]!r} may be meant" if near else "reload the page"
        raise CommandError(f"A command has {found} where the name of a gesture belongs; nothing was done: {hint}.")
    asked = Asked({key: value for key, value in command.items() if key != "do"}, name, landmarks)
    values = COMMANDS[name].read(asked, job)
    asked.done()
    return {"do": name, **values}


def apply(job: Job, resolved: dict[str, Any]) -> Job:
    """Give the job with a resolved command done.

    Raises
    ------
    ScantlingError
        When the job cannot be so: a region whose sides cross, paper too small for its margins.
    """
    return COMMANDS[resolved["do"]].apply(job, resolved)


def words(job: Job, resolved: dict[str, Any]) -> str:
    """Say what a resolved command does to `job`: "Put the known distance 36 in"."""
    return COMMANDS[resolved["do"]].words(job, resolved)
