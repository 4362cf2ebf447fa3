"""Long work, done in a process of its own: progress heard, cancelled by ending it, its death one sentence."""

import asyncio
import contextlib
import importlib
import multiprocessing
import os
import signal
import sys
import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from typing import Any

from drawing.errors import ScantlingError

PATIENCE_SECONDS = 4.0
"""How long a process asked to stop may tidy up before it is ended."""

Hear = Callable[[str, Any], None]
"""Told (kind, value) of what a process says while it works; in the event loop's thread."""


Tell = Callable[[str, Any], None]
"""How the process says something: (kind, value)."""


class WorkError(ScantlingError):
    """Work in another process that came to no result."""


class Cancelled(WorkError):
    """Work that a person stopped."""


class ProcessDied(WorkError):
    """A process that ended by itself, or that something outside ended."""


@dataclass(frozen=True, slots=True)
class Asked:
    """One piece of work: the name of a function the process knows, and what it takes."""

    name: str
    values: tuple[Any, ...]


class Worker:
    """One spawned process that does one piece of work after another.

    `main` names a function, `module:function`, that takes the process's end of the pipe: what it needs is loaded
    there, not here. The process starts with the first question, so that making a Worker costs nothing.
    """

    def __init__(self, main: str, *, name: str) -> None:
        self._main = main
        self._name = name
        self._turn = asyncio.Lock()
        self._process: BaseProcess | None = None
        self._pipe: Connection | None = None
        self._ended = False

    @property
    def fresh(self) -> bool:
        """Whether no process runs, so that the next one knows nothing yet."""
        return self._process is None or not self._process.is_alive()

    @property
    def pid(self) -> int | None:
        """The number of the process, while one runs."""
        return None if self._process is None or self.fresh else self._process.pid

    async def ask(self, name: str, *values: Any, hear: Hear) -> Any:
        """Have a piece of work done; others wait their turn.

        Raises
        ------
        ScantlingError
            The work's own sentence; Cancelled after `stop`; WorkError when the process died.
        """
        async with self._turn:
            if self._ended:
                raise Cancelled("The work was stopped.")
            loop = asyncio.get_running_loop()

            def said(kind: str, value: Any) -> None:
                loop.call_soon_threadsafe(hear, kind, value)

            # Starting a process and packing what it takes may be long: neither is for the event loop's thread.
            return await asyncio.to_thread(self._done, Asked(name, values), said)

    def stop(self) -> None:
        """End the process: it may tidy up for some seconds, and is then ended whatever it does."""
        self._ended = True
        process = self._process
        if process is None or process.pid is None or not process.is_alive():
            return
        with contextlib.suppress(OSError):
            if sys.platform == "win32":
                process.terminate()
            else:
                # As Ctrl-C: half-written folders are cleared, and files being moved into place are moved first.
                os.kill(process.pid, signal.SIGINT)
        timer = threading.Timer(PATIENCE_SECONDS, process.kill)
        timer.daemon = True
        timer.start()

    def kill(self) -> None:
        """End the process at once: for work that leaves nothing behind."""
        self._ended = True
        if self._process is not None:
            self._process.kill()

    def _done(self, asked: Asked, said: Hear) -> Any:
        try:
            pipe = self._running()
            pipe.send(asked)
            while True:
                kind, value = pipe.recv()
                match kind:
                    case "done":
                        return value
                    case "refused":
                        raise WorkError(value)
                    case "bug":
                        raise RuntimeError(f"in the process for {self._name}:\n{value}")
                    case _:
                        said(kind, value)
        except (EOFError, ConnectionError, OSError) as error:
            self._forget()
            if self._ended:
                raise Cancelled("The work was stopped.") from None
            raise ProcessDied(
                f"The process for {self._name} ended before it was done, which often means that this computer's "
                "memory ran out; nothing was changed: close other programs and try once more."
            ) from error

    def _running(self) -> Connection:
        if self._pipe is not None and not self.fresh:
            return self._pipe
        self._forget()
        spawn = multiprocessing.get_context("spawn")
        ours, theirs = spawn.Pipe()
        process = spawn.Process(target=_begin, args=(self._main, theirs), name=self._name, daemon=True)
        process.start()
        theirs.close()
        self._process, self._pipe = process, ours
        if self._ended:
            # Stopped while it started.
            process.kill()
        return ours

    def _forget(self) -> None:
        if self._pipe is not None:
            self._pipe.close()
        if self._process is not None:
            self._process.join(PATIENCE_SECONDS)
        self._pipe = self._process = None


def answer(pipe: Connection, known: Mapping[str, Callable[..., Any]]) -> None:
    """Do what is asked over a pipe, one after another, until it closes; for the process's side.

    Every function takes `tell(kind, value)` first.
    """
    import traceback

    def tell(kind: str, value: Any) -> None:
        pipe.send((kind, value))

    while True:
        try:
            asked = pipe.recv()
        except EOFError:
            return
        try:
            outcome = "done", known[asked.name](tell, *asked.values)
        except ScantlingError as error:
            outcome = "refused", str(error)
        except MemoryError:
            outcome = (
                "refused",
                "This computer's memory does not hold the picture; more is needed: close other programs, "
                "or save the picture at a lower resolution.",
            )
        except KeyboardInterrupt:
            return
        except Exception:  # noqa: BLE001 - a bug is told by whoever asked; the process goes on
            outcome = "bug", traceback.format_exc()
        try:
            pipe.send(outcome)
        except (BrokenPipeError, ConnectionError):
            return


POLITENESS = 5
"""Long work steps back for the page and the hand that moves it, where the system has such ranks."""


def _begin(main: str, pipe: Connection) -> None:
    _leave_with_parent()
    if hasattr(os, "nice"):
        os.nice(POLITENESS)
    # What a script starts in the background ignores Ctrl-C, and so would all that it starts: `stop` sends just that.
    signal.signal(signal.SIGINT, signal.default_int_handler)
    with contextlib.suppress(KeyboardInterrupt):
        module, function = main.split(":")
        getattr(importlib.import_module(module), function)(pipe)


def _leave_with_parent() -> None:
    """End when the server is gone, however it went: nobody else would stop long work."""
    parent = multiprocessing.parent_process()
    if parent is None:
        return

    def watch() -> None:
        parent.join()
        os._exit(1)

    threading.Thread(target=watch, daemon=True, name="watch").start()
