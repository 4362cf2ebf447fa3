"""Which jobs were open lately: a short list in the user's own data folder."""

import hashlib
import json
import os
import tempfile
from contextlib import suppress
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

MOST = 12
"""What is looked through at a glance."""


@dataclass(frozen=True, slots=True)
class RecentJob:
    """A job that was open: its name, its picture's file, its folder, and when (ISO 8601, UTC)."""

    name: str
    file: str
    folder: str
    when: str

    @property
    def id(self) -> str:
        """Names the job in a request, so that a request never brings a path."""
        return hashlib.sha256(self.folder.encode("utf-8", "surrogateescape")).hexdigest()[:16]


class Recent:
    """The list, read anew each time: another server may have added to it."""

    def __init__(self, file: Path) -> None:
        self._file = file

    def jobs(self) -> list[RecentJob]:
        """Give the list, the latest first; an unreadable one counts as empty, for it only saves some typing."""
        try:
            values = json.loads(self._file.read_text(encoding="utf-8"))
            return [_job(value) for value in values][:MOST]
        except (OSError, ValueError, KeyError, TypeError, RecursionError):
            return []

    def add(self, name: str, file: Path, folder: Path) -> None:
        """Put a job first."""
        now = datetime.now(UTC).isoformat(timespec="seconds")
        new = RecentJob(name, file.name, str(folder), now)
        jobs = [new, *(job for job in self.jobs() if job.folder != new.folder)][:MOST]
        # A list that cannot be kept is no reason not to open a job.
        with suppress(OSError, UnicodeError):
            self._file.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
            handle, beside = tempfile.mkstemp(dir=self._file.parent, prefix=".recent-")
            with os.fdopen(handle, "w", encoding="utf-8") as out:
                json.dump([asdict(job) for job in jobs], out, indent=1)
            Path(beside).replace(self._file)

    def find(self, id: str) -> RecentJob | None:
        """Give the job of an id that the list handed out."""
        return next((job for job in self.jobs() if job.id == id), None)


def _job(value: dict[str, Any]) -> RecentJob:
    job = RecentJob(value["name"], value["file"], value["folder"], value["when"])
    if not all(isinstance(part, str) for part in (job.name, job.file, job.folder, job.when)):
        raise TypeError("a recent job's values are text")
    return job
