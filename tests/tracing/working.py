"""Work for the tests of spawned processes."""

import os
import signal
import time
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from drawing.errors import ScantlingError
from tracing.work import Tell, answer


def main(pipe: Connection) -> None:
    answer(pipe, {"add": add, "refuse": refuse, "bug": bug, "die": die, "wait": wait, "fill": fill})


def add(tell: Tell, a: int, b: int) -> int:
    tell("progress", ("adding", 0.5))
    return a + b


def refuse(tell: Tell) -> None:
    raise ScantlingError("A thing was found; another was needed: do it.")


def bug(tell: Tell) -> None:
    raise ZeroDivisionError("the bug")


def die(tell: Tell) -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def wait(tell: Tell, pid_file: Path) -> None:
    pid_file.write_text(str(os.getpid()))
    tell("progress", ("waiting", 0.0))
    time.sleep(60)


def fill(tell: Tell, folder: Path) -> Any:
    """Half-written work that must be cleared when it is stopped."""
    import tempfile

    with tempfile.TemporaryDirectory(dir=folder):
        tell("progress", ("filling", 0.0))
        time.sleep(60)
