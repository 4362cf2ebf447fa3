"""What a job's picture shows, and the process that looked at it: it holds what it saw, draws it and lays its pages."""

import asyncio
from collections.abc import Callable, Hashable
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

from job.job import Job, Sheet
from tracing.stage_parts import seen_part
from tracing.stage_work import kept_and_unchanged, kept_picture, unpacked_seen
from tracing.work import Cancelled, Hear, ProcessDied, Worker, WorkError

if TYPE_CHECKING:
    # What these stand on takes a second to load, which is done in a thread once the page is up.
    from job.see import Seen
    from tracing.packed import PackedSeen
    from tracing.pyramid import Pyramid

LOOKING = "tracing.bench:look_main"

STOPPED = "Looking at the picture was stopped, so nothing is known of it yet: open the job again to look."


class Host(Protocol):
    """Who is told of results, and holds what outlives them."""

    cache: Path

    def tell(self, kind: str, data: str, *, about: str = "") -> None:
        """Tell every tab."""

    def take_picture(self, pyramid: "Pyramid") -> None:
        """Take the picture's levels, as soon as there is something to show."""

    def take_seen(self, seen: "Seen") -> None:
        """Take what was seen: its landmarks are what marks move to."""

    def begin_looking(self, worker: Worker) -> Hear:
        """Show that a picture is looked at; gives who hears of its progress."""

    def end_looking(self, state: str, error: str | None) -> None:
        """Show that it is no longer."""


class Looking:
    """Looks at one picture after another; lives in the event loop's thread."""

    def __init__(self, host: Host) -> None:
        self._host = host
        self._worker: Worker | None = None
        self._turn = asyncio.Lock()
        self._looking_at: Hashable = None
        self._seen: tuple[Hashable, Seen, PackedSeen] | None = None
        self._unseen: tuple[Hashable, str] | None = None

    def seen_of(self, job: Job) -> "Seen | None":
        """Give what a job's picture shows; None while that is not known."""
        return self._seen[1] if self._seen is not None and self._seen[0] == seen_part(job) else None

    def packed_of(self, job: Job) -> "PackedSeen | None":
        """Give the same, as another process takes it."""
        return self._seen[2] if self._seen is not None and self._seen[0] == seen_part(job) else None

    @property
    def process(self) -> int | None:
        """The number of the process that holds what was seen, while it runs."""
        return None if self._worker is None else self._worker.pid

    def want(self, job: Job) -> None:
        """Say which job counts now: looking at another picture is given up."""
        if self._looking_at is not None and self._looking_at != seen_part(job):
            self.drop()

    def forget_failure(self) -> None:
        """Forget that looking failed or was stopped."""
        self._unseen = None

    def drop(self) -> None:
        """End the process, whatever it does."""
        if self._worker is not None:
            self._worker.kill()
            self._worker = None

    async def look(self, job: Job, *, is_wanted: Callable[[Hashable], bool]) -> "Seen | str":
        """See a job's picture, or say why not; what was seen of the same picture counts.

        Raises
        ------
        Cancelled
            When it was given up for another picture; `is_wanted` tells whether what is looked at still counts.
        """
        key = seen_part(job)
        if self._seen is not None and self._seen[0] == key:
            return self._seen[1]
        if self._unseen is not None and self._unseen[0] == key:
            return self._unseen[1]
        self._unseen = None
        async with self._turn:
            worker = self._worker = self._worker or Worker(LOOKING, name="this picture")
            self._looking_at = key
            try:
                seen, packed = await self._looked(job, worker, key)
            except Cancelled:
                self._worker = None
                self._host.end_looking("cancelled", None)
                if is_wanted(key):
                    self._unseen = key, STOPPED
                    return STOPPED
                raise
            except WorkError as error:
                self._host.end_looking("failed", str(error))
                self._unseen = key, str(error)
                return str(error)
            finally:
                self._looking_at = None
            self._host.end_looking("done", None)
            self._seen = key, seen, packed
        self._host.take_seen(seen)
        return seen

    async def _looked(self, job: Job, worker: Worker, key: Hashable) -> "tuple[Seen, PackedSeen]":
        hear = self._host.begin_looking(worker)
        # A picture that was seen before is shown while the process is still starting.
        shown = asyncio.get_running_loop().create_task(self._show_kept(job, key))
        arrivals: set[asyncio.Task[Any]] = {shown}

        def heard(kind: str, value: Any) -> None:
            if kind == "picture":
                arriving = asyncio.get_running_loop().create_task(self._picture_arrives(job, key, after=shown))
                arrivals.add(arriving)
                arriving.add_done_callback(arrivals.discard)
            else:
                hear(kind, value)

        packed = await worker.ask("look", job.sheet, job.ignore, self._host.cache, hear=heard)
        await asyncio.gather(*arrivals)
        pyramid = await self._pyramid(job)
        return await asyncio.to_thread(unpacked_seen, packed, pyramid), packed

    async def _show_kept(self, job: Job, key: Hashable) -> bool:
        """Show a picture that is still kept on disk; give whether it was."""
        pyramid = await asyncio.to_thread(kept_and_unchanged, self._host.cache, job)
        if pyramid is None or self._looking_at != key:
            return False
        self._host.take_picture(pyramid)
        return True

    async def _picture_arrives(self, job: Job, key: Hashable, *, after: "asyncio.Task[bool]") -> None:
        """Show a picture that has just been kept, unless it is shown already."""
        if await after:
            return
        pyramid = await self._pyramid(job)
        if self._looking_at == key:
            self._host.take_picture(pyramid)

    async def _pyramid(self, job: Job) -> "Pyramid":
        pyramid = await asyncio.to_thread(kept_picture, self._host.cache, job)
        if pyramid is None:
            raise WorkError("The picture was kept on disk and is gone again; it is needed there: open the job again.")
        return pyramid

    async def ask(self, job: Job, name: str, *values: Any) -> Any:
        """Have the process do something with what it saw of a job's picture; one that died is replaced, once.

        Raises
        ------
        Cancelled
            When another picture has been looked at since.
        """
        try:
            return await self._ask_once(seen_part(job), name, *values)
        except ProcessDied:
            return await self._ask_once(seen_part(job), name, *values)

    async def _ask_once(self, key: Hashable, name: str, *values: Any) -> Any:
        """Have it done; a new process is told first what was seen."""
        # What is asked is about the picture that the process holds: no other may come between.
        async with self._turn:
            if self._seen is None or self._seen[0] != key:
                raise Cancelled("Another picture is looked at.")
            worker = self._worker
            if worker is None or worker.fresh:
                worker = self._worker = self._worker or Worker(LOOKING, name="this picture")
                _, seen, packed = self._seen
                source = seen.picture.source
                sheet = Sheet(source.path, source.sha256, page=source.page)
                await worker.ask("hold", packed, sheet, self._host.cache, hear=_deaf)
            return await worker.ask(name, *values, hear=_deaf)


def _deaf(kind: str, value: Any) -> None:
    """Hear nothing: the work is too short to be shown."""
