"""Results kept by the values they rest on: what is seen, the scale, the outlines, the pages; the newest job's only."""

import asyncio
import json
import logging
from collections import OrderedDict
from collections.abc import Hashable
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

from job.job import Job
from tracing.work import Cancelled, Hear, Worker, WorkError

if TYPE_CHECKING:
    # What these stand on takes a second to load, which is done in a thread once the page is up.
    from job.see import Seen
    from tracing.packed import PackedSeen
    from tracing.pyramid import Pyramid

_log = logging.getLogger(__name__)

STAGES = ("seen", "scale", "outlines", "pages")

KEPT = 24
"""Results of each stage kept, so that undo and redo show theirs at once."""

STOPPED = "Looking at the picture was stopped, so nothing is known of it yet: open the job again to look."

BUG = (
    "Something went wrong inside the program and this is missing; its own window tells more: go on, or start it again."
)


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


class Stages:
    """Works out every stage for the newest job wanted; lives in the event loop's thread."""

    def __init__(self, host: Host) -> None:
        self._host = host
        self._worker: Worker | None = None
        self._wanted: tuple[int, Job] | None = None
        self._woken = asyncio.Event()
        self._told: dict[str, tuple[int, str] | None] = dict.fromkeys(STAGES)
        self._looking_at: Hashable = None
        self._seen: tuple[Hashable, Seen, PackedSeen] | None = None
        self._unseen: tuple[Hashable, str] | None = None
        self._task = asyncio.get_running_loop().create_task(self._run())

    @property
    def seen(self) -> "Seen | None":
        """What the picture shows, for the job as it stands; None while that is not known."""
        if self._seen is None or self._wanted is None or self._seen[0] != _seen_key(self._wanted[1]):
            return None
        return self._seen[1]

    @property
    def packed(self) -> "PackedSeen | None":
        """The same, as another process takes it."""
        return self._seen[2] if self.seen is not None and self._seen is not None else None

    def want(self, revision: int, job: Job) -> None:
        """Say which job results are wanted for; what is worked on for an older one is dropped."""
        self._wanted = revision, job
        if self._looking_at is not None and self._looking_at != _seen_key(job):
            self._drop_worker()
        self._woken.set()

    def look_again(self) -> None:
        """Forget that looking failed or was stopped, and try once more."""
        self._unseen = None
        self._woken.set()

    def encoded(self) -> str:
        """Give all results as JSON."""
        return "{" + ", ".join(f'"{stage}": {_body(told)}' for stage, told in self._told.items()) + "}"

    def events(self) -> list[tuple[str, str, str]]:
        """Give the events that tell a tab all results."""
        return [("results", _event(stage, told), stage) for stage, told in self._told.items() if told is not None]

    def close(self) -> None:
        """Stop everything."""
        self._task.cancel()
        self._drop_worker()

    async def _run(self) -> None:
        while True:
            await self._woken.wait()
            self._woken.clear()
            if self._wanted is None:
                continue
            revision, job = self._wanted
            try:
                await self._round(revision, job)
            except Cancelled:
                continue
            except Exception:  # noqa: BLE001 - told to the page and the log; the page must go on
                # Without this the page would wait for ever; with it, the bug is seen and the page goes on.
                _log.exception("results of revision %d", revision)
                for stage in STAGES:
                    if not self._is_told(stage, revision):
                        self._tell(stage, revision, _failed(BUG))

    async def _round(self, revision: int, job: Job) -> None:
        seen = await self._look(job)
        if isinstance(seen, str):
            self._tell("seen", revision, _failed(seen))
            return
        self._tell("seen", revision, _ok(landmark_count=len(seen.landmarks_px), kind=str(seen.kind)))

    async def _look(self, job: Job) -> "Seen | str":
        """See a job's picture, or say why not; what was seen of the same picture counts."""
        key = _seen_key(job)
        if self._seen is not None and self._seen[0] == key:
            return self._seen[1]
        if self._unseen is not None and self._unseen[0] == key:
            return self._unseen[1]
        self._unseen = None
        worker = self._worker = self._worker or Worker("tracing.bench:look_main", name="looking at the picture")
        self._looking_at = key
        hear = self._host.begin_looking(worker)

        def heard(kind: str, value: Any) -> None:
            if kind == "picture":
                arriving = asyncio.get_running_loop().create_task(self._picture_arrives(job, key))
                arrivals.add(arriving)
                arriving.add_done_callback(arrivals.discard)
            else:
                hear(kind, value)

        arrivals: set[asyncio.Task[None]] = set()
        try:
            packed = await worker.ask("look", job.sheet, job.ignore, self._host.cache, hear=heard)
            if arrivals:
                await asyncio.gather(*arrivals)
            pyramid = await self._pyramid(job)
            seen = await asyncio.to_thread(_unpacked, packed, pyramid)
        except Cancelled:
            self._worker = None
            stopped = self._wanted is not None and _seen_key(self._wanted[1]) == key
            self._host.end_looking("cancelled", None)
            if stopped:
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

    async def _picture_arrives(self, job: Job, key: Hashable) -> None:
        pyramid = await self._pyramid(job)
        if self._looking_at == key:
            self._host.take_picture(pyramid)

    async def _pyramid(self, job: Job) -> "Pyramid":
        pyramid = await asyncio.to_thread(_kept, self._host.cache, job)
        if pyramid is None:
            raise WorkError("The picture was kept on disk and is gone again; it is needed there: open the job again.")
        return pyramid

    def _drop_worker(self) -> None:
        if self._worker is not None:
            self._worker.kill()
            self._worker = None

    def _is_told(self, stage: str, revision: int) -> bool:
        told = self._told[stage]
        return told is not None and told[0] >= revision

    def _tell(self, stage: str, revision: int, value: str) -> None:
        """Tell a result; one that stands as it was is told by its new revision alone."""
        before = self._told[stage]
        told = self._told[stage] = revision, value
        if before is not None and before[1] == value:
            data = json.dumps({"stage": stage, "of": revision, "same": True})
            self._host.tell("results", data, about=f"{stage} same")
        else:
            self._host.tell("results", _event(stage, told), about=stage)


def _seen_key(job: Job) -> Hashable:
    return job.sheet.sha256, job.sheet.file, job.sheet.page, job.sheet.kind, job.ignore


def _kept(cache: Path, job: Job) -> "Pyramid | None":
    from tracing.pyramid import kept_pyramid

    return kept_pyramid(cache, job.sheet.sha256, job.sheet.page, job.sheet.file)


def _unpacked(seen: "PackedSeen", pyramid: "Pyramid") -> "Seen":
    from tracing.packed import unpacked

    return unpacked(seen, pyramid.picture.grey)


def _failed(sentence: str) -> str:
    return json.dumps({"ok": False, "error": sentence})


def _ok(**values: Any) -> str:
    return json.dumps({"ok": True, "error": None, **values})


def _body(told: tuple[int, str] | None) -> str:
    return "null" if told is None else f'{{"of": {told[0]}, {told[1][1:]}'


def _event(stage: str, told: tuple[int, str]) -> str:
    return f'{{"stage": "{stage}", "of": {told[0]}, "value": {_body(told)}}}'


class Lately(OrderedDict[Hashable, Any]):
    """The results last used, by what they rest on."""

    def put(self, key: Hashable, value: Any) -> None:
        self[key] = value
        self.move_to_end(key)
        while len(self) > KEPT:
            self.popitem(last=False)
