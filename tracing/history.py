"""job.history.jsonl: what was done, one line a gesture, so that undo outlives the program.

The first line holds the job it began with. Then follow, each on a line of its own: `do` with a resolved command,
`undo`, `redo`, `settle` with where marks that waited for the ink went, `exporting` when an export begins to write
job.toml, `adopt` with what it fixed, and `writing` and `written` with the hash of job.toml before and after it was
renamed into place. A line is added before its gesture counts; one cut short by the program's end counts as never added.
"""

import json
import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from drawing.errors import ScantlingError
from job.folder import content_of
from job.job import Job, Mark, Settled
from job.job_file import JOB_NAME, job_text, parse_job
from tracing.commands import apply, resolve
from tracing.errors import SessionError
from tracing.keeping import write_in_place
from tracing.past import Past

HISTORY_NAME = "job.history.jsonl"
VERSION = 1


@dataclass(frozen=True, slots=True)
class Told:
    """What a history file tells: the row of jobs, its lines, and the job by each hash that job.toml may have."""

    past: Past
    lines: tuple[bytes, ...]
    files: dict[str | None, Job]
    saved: bool
    """Whether job.toml, as last written, holds the job as it is at the end."""
    exporting: Job | None = None
    """The job that an export was writing when the history ended: job.toml may be that export's."""


class History:
    """A history file that is added to."""

    def __init__(self, folder: Path, lines: tuple[bytes, ...]) -> None:
        self._path = folder / HISTORY_NAME
        self._lines = list(lines)
        self._size = sum(map(len, lines))

    @staticmethod
    def begin(folder: Path, job: Job, file_hash: str | None) -> "History":
        """Begin a new history with a job; an old file is gone only when the new one is whole."""
        first = {"history": VERSION, "file": file_hash, "job": job_text(job, folder=folder)}
        history = History(folder, (_line(first),))
        history._write_anew()
        return history

    def add(self, entry: dict[str, Any]) -> None:
        """Add a line.

        Raises
        ------
        OSError
            When it cannot be written; the file then ends as it did.
        """
        line = _line(entry)
        self._lines.append(line)
        try:
            if not self._appended(line):
                self._write_anew()
        except OSError:
            self._lines.pop()
            raise
        self._size += len(line)

    def _appended(self, line: bytes) -> bool:
        """Put a line behind our last one; False when the file no longer holds all of ours."""
        try:
            with self._path.open("r+b") as file:
                if file.seek(0, os.SEEK_END) < self._size:
                    # Taken away in part, or its last line lacks its end.
                    return False
                # Whatever a failed write left behind our last line is no line.
                file.seek(self._size)
                file.truncate()
                file.write(line)
        except FileNotFoundError:
            return False
        return True

    def _write_anew(self) -> None:
        self._path.parent.mkdir(parents=True, exist_ok=True)
        write_in_place(self._path, b"".join(self._lines))


def read_history(folder: Path) -> Told | None:
    """Give what the history in a folder tells; None when there is none.

    Raises
    ------
    SessionError
        When it cannot be followed: it is damaged before its last line, or of another version.
    """
    content = content_of(folder / HISTORY_NAME)
    if content is None:
        return None
    first, *entries = _entries(content)
    lines = [line for line, _ in (first, *entries)]
    base = _base(first[1], folder)
    past = Past(base)
    files: dict[str | None, Job] = {first[1].get("file"): base}
    written = base
    exporting: Job | None = None
    for _, entry in entries:
        match entry:
            case {"do": dict(command)}:
                # Read as strictly as a new one: whoever wrote the line, it raises nothing but one sentence.
                resolved = resolve(command, past.job, None)
                past.put(resolved, apply(past.job, resolved))
            case {"undo": True} if past.undo_words:
                past.undo()
            case {"redo": True} if past.redo_words:
                past.redo()
            case {"adopt": str(text), "at": int(at)} if 0 <= at < past.length:
                past.adopt(parse_job(text.encode(), path=folder / JOB_NAME), at=at)
            case {"settle": list(moves)}:
                past.settle(dict(map(_move, moves)), at=past.at)
            case {"exporting": True}:
                exporting = past.job
            case {"writing": str(file)}:
                files[file] = past.job
                exporting = None
            case {"written": str(file)}:
                files = {file: past.job}
                written = past.job
                exporting = None
            case _:
                raise _unreadable()
    return Told(past, tuple(lines), files, written == past.job, exporting)


def settle_entry(settled: Mapping[Mark, Mark]) -> dict[str, Any]:
    """Give the entry that tells where marks went which waited for the ink."""
    moves = [[*before.at_px, *after.at_px, str(after.settled)] for before, after in settled.items()]
    return {"settle": moves}


def _move(values: object) -> tuple[Mark, Mark]:
    match values:
        case [*places, "ink" | "as given" as settled] if len(places) == 4:
            x, y, to_x, to_y = map(_number, places)
            return Mark(x, y, Settled.NOT_YET), Mark(to_x, to_y, Settled(settled))
    raise _unreadable()


def _number(value: object) -> float:
    if isinstance(value, int | float):
        return float(value)
    raise _unreadable()


def _entries(content: bytes) -> list[tuple[bytes, dict[str, Any]]]:
    """The lines with what they hold, but for a last one that was cut short."""
    raw = content.split(b"\n")
    found: list[tuple[bytes, dict[str, Any]]] = []
    for number, line in enumerate(raw):
        try:
            entry = json.loads(line)
        except (ValueError, RecursionError):
            entry = None
        if not isinstance(entry, dict):
            if any(later.strip(b"\0 ") for later in raw[number + 1 :]) or not found:
                raise _unreadable()
            break
        found.append((line + b"\n", entry))
    return found


def _base(entry: dict[str, Any], folder: Path) -> Job:
    match entry:
        case {"history": 1, "file": None | str(), "job": str(text)}:
            return parse_job(text.encode(), path=folder / JOB_NAME)
    raise _unreadable()


def _unreadable() -> ScantlingError:
    return SessionError(f"{HISTORY_NAME} cannot be followed; undo starts anew: go on from the job as it is.")


def _line(entry: dict[str, Any]) -> bytes:
    return json.dumps(entry, separators=(",", ":"), allow_nan=False).encode() + b"\n"
