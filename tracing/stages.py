"""Results kept by the values they rest on: what is seen, the scale, the outlines, the pages; the newest job's only."""

import asyncio
import json
import logging
from collections import OrderedDict
from collections.abc import Hashable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Generic, Protocol, TypeVar

from drawing.errors import ScantlingError
from job.job import Job, Sheet
from tracing.stage_parts import outline_part, page_part, scale_part, seen_part
from tracing.stage_work import (
    body,
    effect_json,
    event,
    failed,
    kept_picture,
    ok,
    scale_json,
    scale_of,
    settled_marks,
    unpacked_seen,
)
from tracing.work import Cancelled, Hear, ProcessDied, Worker, WorkError

if TYPE_CHECKING:
    # What these stand on takes a second to load, which is done in a thread once the page is up.
    from drawing.findings import Finding
    from job.see import Seen
    from tracing.packed import PackedSeen
    from tracing.pyramid import Pyramid
    from tracing.scale import Scale

_log = logging.getLogger(__name__)

Kept = TypeVar("Kept")

STAGES = ("seen", "scale", "outlines", "pages")

KEPT = 24
"""Results of each stage kept, so that undo and redo show theirs at once."""

LOOKING = "tracing.bench:look_main"

AFTER_SEEN = "This follows once the picture has been looked at."
AFTER_SCALE = "This follows once the scale is set: give a length you know."
AFTER_OUTLINES = "This follows once there are outlines."

WAIT_SECONDS = 5.0
"""How long a question about the scale waits for it: it takes some tenths of a second."""

STOPPED = "Looking at the picture was stopped, so nothing is known of it yet: open the job again to look."

BUG = (
    "Something went wrong inside the program and this is missing; its own window tells more: go on, or start it again."
)


REST_SECONDS = 0.02
"""Results are begun this long after a gesture: its answer goes out first, with the machine to itself."""


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
        self._scales: _Lately[_Scale] = _Lately()
        self._drawings: _Lately[_Drawing] = _Lately()
        self._pages_kept: _Lately[str] = _Lately()
        self._scale_now: tuple[int, Scale | str] = -1, AFTER_SEEN
        self._scale_told = asyncio.Event()
        self._task = asyncio.get_running_loop().create_task(self._run())

    @property
    def seen(self) -> "Seen | None":
        """What the picture shows, for the job as it stands; None while that is not known."""
        if self._seen is None or self._wanted is None or self._seen[0] != seen_part(self._wanted[1]):
            return None
        return self._seen[1]

    @property
    def packed(self) -> "PackedSeen | None":
        """The same, as another process takes it."""
        return self._seen[2] if self.seen is not None and self._seen is not None else None

    def want(self, revision: int, job: Job) -> None:
        """Say which job results are wanted for; what is worked on for an older one is dropped."""
        self._wanted = revision, job
        if self._looking_at is not None and self._looking_at != seen_part(job):
            self._drop_worker()
        self._woken.set()

    def look_again(self) -> None:
        """Forget that looking failed or was stopped, and try once more."""
        self._unseen = None
        self._woken.set()

    @property
    def process(self) -> int | None:
        """The number of the process that holds what was seen, while it runs."""
        return None if self._worker is None else self._worker.pid

    def encoded(self) -> str:
        """Give all results as JSON."""
        return "{" + ", ".join(f'"{stage}": {body(told)}' for stage, told in self._told.items()) + "}"

    def events(self) -> list[tuple[str, str, str]]:
        """Give the events that tell a tab all results."""
        return [("results", event(stage, told), stage) for stage, told in self._told.items() if told is not None]

    def close(self) -> None:
        """Stop everything."""
        self._task.cancel()
        self._drop_worker()

    async def _run(self) -> None:
        while True:
            await self._woken.wait()
            await asyncio.sleep(REST_SECONDS)
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
                        self._tell(stage, revision, failed(BUG))

    async def scale_at(self, revision: int) -> "Scale":
        """Give the scale of a revision, or of a newer one, once it is known.

        Raises
        ------
        ScantlingError
            When it cannot be set.
        """
        while self._scale_now[0] < revision:
            self._scale_told.clear()
            try:
                await asyncio.wait_for(self._scale_told.wait(), WAIT_SECONDS)
            except TimeoutError:
                raise WorkError("The scale is still being set: wait a moment, then ask again.") from None
        scale = self._scale_now[1]
        if isinstance(scale, str):
            raise WorkError(scale)
        return scale

    def _scale_is(self, revision: int, scale: "Scale | str") -> None:
        self._scale_now = revision, scale
        self._scale_told.set()

    async def _round(self, revision: int, job: Job) -> None:
        """Work out every stage for one job, the cheap ones first; a newer job takes over between two of them."""
        seen = await self._look(job)
        if isinstance(seen, str):
            self._scale_is(revision, seen)
            self._tell("seen", revision, failed(seen))
            self._tell_rest("seen", revision, AFTER_SEEN)
            return
        self._tell("seen", revision, self._seen_json(seen))
        try:
            settled, scale = await self._scale(job, seen)
        except ScantlingError as error:
            self._scale_is(revision, str(error))
            self._tell("scale", revision, failed(str(error)))
            self._tell_rest("scale", revision, AFTER_SCALE)
            return
        self._scale_is(revision, scale.scale)
        drawn = self._drawings.get((scale.key, outline_part(settled)))
        self._tell("scale", revision, scale.told if drawn is None else drawn.scale_told)
        if self._is_old(revision):
            return
        try:
            drawing = await self._outlines(settled, seen, scale)
        except Cancelled:
            raise
        except ScantlingError as error:
            self._tell("outlines", revision, failed(str(error)))
            self._tell_rest("outlines", revision, AFTER_OUTLINES)
            return
        self._tell("outlines", revision, drawing.told)
        self._tell("scale", revision, drawing.scale_told)
        if self._is_old(revision):
            return
        try:
            pages = await self._pages(settled, scale, drawing)
        except Cancelled:
            raise
        except ScantlingError as error:
            pages = failed(str(error))
        self._tell("pages", revision, pages)

    async def _scale(self, job: Job, seen: "Seen") -> "tuple[Job, _Scale]":
        """The job as settled, and its scale; kept by all that the scale can rest on."""
        settled, moved = await asyncio.to_thread(settled_marks, job, seen)
        key = seen_part(job), scale_part(settled)
        kept = self._scales.get(key)
        if kept is None:
            scale = await asyncio.to_thread(scale_of, settled, seen)
            told = await asyncio.to_thread(scale_json, scale, moved)
            kept = self._scales.put(key, _Scale(key, scale, moved, told))
        return settled, kept

    async def _outlines(self, job: Job, seen: "Seen", scale: "_Scale") -> "_Drawing":
        """What is drawn of a settled job; kept by the lines, the person's changes in them, and the scale."""
        key = scale.key, outline_part(job)
        kept = self._drawings.get(key)
        if kept is None:
            told, longest_px = await self._ask("draw", key, job, scale.scale.calibration)
            scale_told = scale.told
            if longest_px is not None:
                scale_told = await asyncio.to_thread(effect_json, scale.scale, scale.moved, seen, longest_px)
            kept = self._drawings.put(key, _Drawing(key, ok(told), scale_told))
        return kept

    async def _pages(self, job: Job, scale: "_Scale", drawing: "_Drawing") -> str:
        key = drawing.key, page_part(job)
        kept = self._pages_kept.get(key)
        if kept is None:
            told = await self._ask("lay", drawing.key, job, scale.scale.calibration)
            if told is None:
                # The process that held the drawing has ended, or has drawn much since: draw once more.
                await self._ask("draw", drawing.key, job, scale.scale.calibration)
                told = await self._ask("lay", drawing.key, job, scale.scale.calibration)
            kept = self._pages_kept.put(key, ok(told))
        return kept

    async def _ask(self, name: str, *values: Any) -> Any:
        """Have the process that holds what was seen do something; one that died is replaced, once."""
        try:
            return await self._ask_once(name, *values)
        except ProcessDied:
            return await self._ask_once(name, *values)

    async def _ask_once(self, name: str, *values: Any) -> Any:
        """Have it done; a new process is told first what was seen."""
        worker = self._worker
        if worker is None or worker.fresh:
            worker = self._worker = self._worker or Worker(LOOKING, name="this picture")
            assert self._seen is not None
            _, seen, packed = self._seen
            source = seen.picture.source
            sheet = Sheet(source.path, source.sha256, page=source.page)
            await worker.ask("hold", packed, sheet, self._host.cache, hear=_deaf)
        return await worker.ask(name, *values, hear=_deaf)

    def _is_old(self, revision: int) -> bool:
        return self._wanted is not None and self._wanted[0] != revision

    def _tell_rest(self, after: str, revision: int, sentence: str) -> None:
        for stage in STAGES[STAGES.index(after) + 1 :]:
            self._tell(stage, revision, failed(sentence))

    @staticmethod
    def _seen_json(seen: "Seen") -> str:
        from tracing.view_results import seen_view

        return ok(json.dumps(seen_view(seen), allow_nan=False))

    async def _look(self, job: Job) -> "Seen | str":
        """See a job's picture, or say why not; what was seen of the same picture counts."""
        key = seen_part(job)
        if self._seen is not None and self._seen[0] == key:
            return self._seen[1]
        if self._unseen is not None and self._unseen[0] == key:
            return self._unseen[1]
        self._unseen = None
        worker = self._worker = self._worker or Worker(LOOKING, name="this picture")
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
            seen = await asyncio.to_thread(unpacked_seen, packed, pyramid)
        except Cancelled:
            self._worker = None
            stopped = self._wanted is not None and seen_part(self._wanted[1]) == key
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
        pyramid = await asyncio.to_thread(kept_picture, self._host.cache, job)
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
            self._host.tell("results", event(stage, told), about=stage)


@dataclass(frozen=True, slots=True)
class _Scale:
    key: Hashable
    scale: "Scale"
    moved: "tuple[Finding, ...]"
    told: str


@dataclass(frozen=True, slots=True)
class _Drawing:
    key: Hashable
    told: str
    scale_told: str


class _Lately(OrderedDict[Hashable, Kept], Generic[Kept]):
    """The results last used, by what they rest on."""

    def put(self, key: Hashable, value: Kept) -> Kept:
        """Keep a result; give it."""
        self[key] = value
        while len(self) > KEPT:
            self.popitem(last=False)
        return value


def _deaf(kind: str, value: Any) -> None:
    """Hear nothing: the work is too short to be shown."""
