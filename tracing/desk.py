"""What lies open: one job at a time, where new jobs go, and which were open lately."""

import asyncio
import secrets
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from job.errors import JobError
from job.job import Job
from tracing.recent import Recent

if TYPE_CHECKING:
    from tracing.open_job import OpenJob
    from tracing.session import Session

MOST_PATH_CHARS = 4096
"""Longest path that any common system takes."""


@dataclass(frozen=True, slots=True)
class Places:
    """Where the server keeps things: `folder` is where the command ran and new jobs go."""

    folder: Path
    cache: Path
    recent: Path

    @staticmethod
    def usual(folder: Path) -> "Places":
        """Give the places of this user on this system."""
        import platformdirs

        cache = Path(platformdirs.user_cache_dir("scantling", appauthor=False)) / "pictures"
        data = Path(platformdirs.user_data_dir("scantling", appauthor=False))
        return Places(folder, cache, data / "recent.json")


class Desk:
    """The job that lies open, or none."""

    def __init__(self, places: Places, *, version: str) -> None:
        self.places = places
        self.version = version
        self.recent = Recent(places.recent)
        self.job: OpenJob | None = None
        self.last_folder: Path | None = None
        self._turn = asyncio.Lock()

    async def ready(self) -> None:
        """Wait while a job is being opened."""
        async with self._turn:
            return

    async def open(self, path: Path) -> str:
        """Open a picture or a job and give its key; what lay open is saved and closed first.

        Raises
        ------
        ScantlingError
            In one sentence; what lay open then stays open.
        """
        from tracing.opening import find_job

        async with self._turn:
            found = await asyncio.to_thread(find_job, path, beside=self.places.folder)
            if self.job is not None and self.job.folder == found.folder:
                # Opened once more, perhaps by another tab: it is the same job, and its lock is ours.
                self.job.stages.look_again()
                return self.job.key
            key = await self._lay_out(found.folder, found.job, found.note)
            # A program that was killed may have left gestures in the history that job.toml does not hold yet.
            if self.job is not None and (found.is_new or not self.job.session.is_saved):
                self.job.save()
            return key

    async def look_elsewhere(self, path: Path) -> str:
        """Open the job that lies open anew, with its picture at another path.

        Raises
        ------
        ScantlingError
            When that is not the same picture.
        """
        from job.job_file import read_job
        from tracing.opening import JOB_NAME, mended

        async with self._turn:
            if self.job is None:
                raise JobError("No job lies open whose picture could be looked for: open one first.")
            open_job = self.job
            await asyncio.to_thread(mended, open_job.session.job, path)
            open_job.save()
            job = await asyncio.to_thread(read_job, open_job.folder / JOB_NAME)
            job = await asyncio.to_thread(mended, job, path)
            self.close()
            key = await self._lay_out(open_job.folder, job, "")
            self.job.save()
            return key

    async def _lay_out(self, folder: Path, job: Job, note: str) -> str:
        session_kind, open_kind = await asyncio.to_thread(_loaded)
        key = secrets.token_urlsafe(9)
        session = await asyncio.to_thread(session_kind.open, folder, job, key=key)
        self.close()
        self.last_folder = folder
        self.job = open_kind(session, folder, key=key, cache=self.places.cache, note=note)
        await asyncio.to_thread(self.recent.add, job.name, job.sheet.file, folder)
        return key

    def close(self) -> None:
        """Save and close what lies open."""
        if self.job is not None:
            self.job.close()
            self.job = None


def _loaded() -> "tuple[type[Session], type[OpenJob]]":
    """Load what a job takes, in a thread: the page's own files need none of it."""
    from tracing.open_job import OpenJob
    from tracing.session import Session

    return Session, OpenJob
