"""Results kept by the values they rest on: what is seen, the scale, the outlines, the pages; the newest job's only."""

import asyncio
import json
import logging
from collections import OrderedDict
from collections.abc import Hashable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Generic, TypeVar

from drawing.errors import ScantlingError
from job.job import Job
from tracing.looking import Host, Looking
from tracing.stage_parts import outline_part, page_part, scale_part, seen_part
from tracing.stage_work import body, effect_json, event, failed, ok, scale_json, scale_of, settled_marks
from tracing.work import Cancelled, WorkError

if TYPE_CHECKING:
    # What these stand on takes a second to load, which is done in a thread once the page is up.
    from drawing.findings import Finding
    from job.see import Seen
    from tracing.packed import PackedSeen
    from tracing.scale import Scale

_log = logging.getLogger(__name__)

Kept = TypeVar("Kept")

STAGES = ("seen", "scale", "outlines", "pages")

KEPT = 24
"""Results of each stage kept, so that undo and redo show theirs at once."""

AFTER_SEEN = "This follows once the picture has been looked at."
AFTER_SCALE = "This follows once the scale is set: give a length you know."
AFTER_OUTLINES = "This follows once there are outlines."

WAIT_SECONDS = 5.0
"""How long a question about the scale waits for it: it takes some tenths of a second."""

BUG = (
    "Something went wrong inside the program and this is missing; its own window tells more: go on, or start it again."
)

REST_SECONDS = 0.02
"""Results are begun this long after a gesture: its answer goes out first, with the machine to itself."""


class Stages:
    """Works out every stage for the newest job wanted; lives in the event loop's thread.

    The scale is worked out while the outlines of an older job may still be drawn: whoever asks for a length need not
    wait for lines that the length does not rest on.
    """

    def __init__(self, host: Host) -> None:
        self._host = host
        self._looking = Looking(host)
        self._wanted: tuple[int, Job] | None = None
        self._woken = asyncio.Event()
        self._to_draw: _ToDraw | None = None
        self._drawable = asyncio.Event()
        self._told: dict[str, tuple[int, str] | None] = dict.fromkeys(STAGES)
        self._news = asyncio.Event()
        self._scales: _Lately[_Scale] = _Lately()
        self._drawings: _Lately[_Drawing] = _Lately()
        self._pages_kept: _Lately[str] = _Lately()
        self._scale_now: tuple[int, Scale | str] = -1, AFTER_SEEN
        loop = asyncio.get_running_loop()
        self._tasks = loop.create_task(self._run()), loop.create_task(self._draw())

    @property
    def seen(self) -> "Seen | None":
        """What the picture shows, for the job as it stands; None while that is not known."""
        return None if self._wanted is None else self._looking.seen_of(self._wanted[1])

    @property
    def packed(self) -> "PackedSeen | None":
        """The same, as another process takes it."""
        return None if self._wanted is None else self._looking.packed_of(self._wanted[1])

    def want(self, revision: int, job: Job) -> None:
        """Say which job results are wanted for; what is worked on for an older one is dropped."""
        self._wanted = revision, job
        self._looking.want(job)
        self._woken.set()

    def look_again(self) -> None:
        """Forget that looking failed or was stopped, and try once more."""
        self._looking.forget_failure()
        self._woken.set()

    @property
    def process(self) -> int | None:
        """The number of the process that holds what was seen, while it runs."""
        return self._looking.process

    def encoded(self) -> str:
        """Give all results as JSON."""
        return "{" + ", ".join(f'"{stage}": {body(told)}' for stage, told in self._told.items()) + "}"

    def events(self) -> list[tuple[str, str, str]]:
        """Give the events that tell a tab all results."""
        return [("results", event(stage, told), stage) for stage, told in self._told.items() if told is not None]

    def close(self) -> None:
        """Stop everything."""
        for task in self._tasks:
            task.cancel()
        self._looking.drop()

    async def scale_at(self, revision: int) -> "Scale":
        """Give the scale of a revision, or of a newer one, once it is known.

        Raises
        ------
        ScantlingError
            When it cannot be set.
        """
        while self._scale_now[0] < revision:
            if not await self._hear_news():
                raise WorkError("The scale is still being set: wait a moment, then ask again.")
        scale = self._scale_now[1]
        if isinstance(scale, str):
            raise WorkError(scale)
        return scale

    async def all_told(self, revision: int) -> None:
        """Wait until every stage of a revision is told; not for long, and not once a newer one is wanted."""
        while not all(self._is_told(stage, revision) for stage in STAGES):
            if self._is_old(revision) or not await self._hear_news():
                return

    async def _hear_news(self) -> bool:
        """Wait for any result; False when none came for long."""
        self._news.clear()
        try:
            await asyncio.wait_for(self._news.wait(), WAIT_SECONDS)
        except TimeoutError:
            return False
        return True

    async def _run(self) -> None:
        """See the picture and set the scale of the newest job, whenever there is one."""
        while True:
            await self._woken.wait()
            await asyncio.sleep(REST_SECONDS)
            self._woken.clear()
            if self._wanted is None:
                continue
            revision, job = self._wanted
            try:
                await self._to_scale(revision, job)
            except Cancelled:
                continue
            except Exception:  # noqa: BLE001 - told to the page and the log; the page must go on
                # Without this the page would wait for ever; with it, the bug is seen and the page goes on.
                self._tell_bug(revision)

    async def _draw(self) -> None:
        """Draw the newest job that has a scale, and lay its pages, whenever there is one."""
        while True:
            await self._drawable.wait()
            self._drawable.clear()
            work = self._to_draw
            if work is None:
                continue
            try:
                await self._to_pages(work)
            except Cancelled:
                continue
            except Exception:  # noqa: BLE001 - as above
                self._tell_bug(work.revision)

    async def _to_scale(self, revision: int, job: Job) -> None:
        """Work out the stages that a person waits for with a question."""
        seen = await self._looking.look(job, is_wanted=self._is_looked_at)
        if isinstance(seen, str):
            self._scale_fails("seen", revision, seen, AFTER_SEEN)
            return
        if self._wanted is not None and self._is_looked_at(seen_part(job)):
            # Looking takes seconds; what was done meanwhile counts, marks that went to the ink seen among it.
            revision, job = self._wanted
        self._tell("seen", revision, self._seen_json(seen))
        try:
            settled, scale = await self._scale(job, seen)
        except ScantlingError as error:
            self._scale_fails("scale", revision, str(error), AFTER_SCALE)
            return
        self._scale_now = revision, scale.scale
        drawn = self._drawings.get((scale.key, outline_part(settled)))
        self._tell("scale", revision, scale.told if drawn is None else drawn.scale_told)
        self._to_draw = _ToDraw(revision, settled, seen, scale)
        self._drawable.set()

    def _scale_fails(self, stage: str, revision: int, sentence: str, after: str) -> None:
        self._to_draw = None
        self._scale_now = revision, sentence
        self._tell(stage, revision, failed(sentence))
        self._tell_rest(stage, revision, after)

    async def _to_pages(self, work: "_ToDraw") -> None:
        """Work out what is drawn; a newer job takes over between outlines and pages."""
        revision = work.revision
        try:
            drawing = await self._outlines(work)
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
            pages = await self._pages(work, drawing)
        except Cancelled:
            raise
        except ScantlingError as error:
            pages = failed(str(error))
        self._tell("pages", revision, pages)

    async def _scale(self, job: Job, seen: "Seen") -> "tuple[Job, _Scale]":
        """The job as settled, with its origin, and its scale; kept by all that the scale can rest on."""
        settled, moved = await asyncio.to_thread(settled_marks, job, seen)
        key = seen_part(job), scale_part(settled)
        kept = self._scales.get(key)
        if kept is None:
            scale = await asyncio.to_thread(scale_of, settled, seen)
            told = await asyncio.to_thread(scale_json, scale, moved)
            kept = self._scales.put(key, _Scale(key, scale, moved, told))
            # An export writes down the origin that was found: nothing changes by that.
            self._scales.put((key[0], scale_part(_with_origin(settled, kept))), kept)
        return _with_origin(settled, kept), kept

    async def _outlines(self, work: "_ToDraw") -> "_Drawing":
        """What is drawn of a settled job; kept by the lines, the person's changes in them, and the scale."""
        job, scale = work.job, work.scale
        key = scale.key, outline_part(job)
        kept = self._drawings.get(key)
        if kept is None:
            told, longest_px = await self._looking.ask(job, "draw", key, job, scale.scale.calibration)
            scale_told = scale.told
            if longest_px is not None:
                scale_told = await asyncio.to_thread(effect_json, scale.scale, scale.moved, work.seen, longest_px)
            kept = self._drawings.put(key, _Drawing(key, ok(told), scale_told))
        return kept

    async def _pages(self, work: "_ToDraw", drawing: "_Drawing") -> str:
        job, calibration = work.job, work.scale.scale.calibration
        key = drawing.key, page_part(job)
        kept = self._pages_kept.get(key)
        if kept is None:
            told = await self._looking.ask(job, "lay", drawing.key, job, calibration)
            if told is None:
                # The process that held the drawing has ended, or has drawn much since: draw once more.
                await self._looking.ask(job, "draw", drawing.key, job, calibration)
                told = await self._looking.ask(job, "lay", drawing.key, job, calibration)
            kept = self._pages_kept.put(key, ok(told))
        return kept

    def _is_old(self, revision: int) -> bool:
        return self._wanted is not None and self._wanted[0] != revision

    def _is_looked_at(self, key: Hashable) -> bool:
        return self._wanted is not None and seen_part(self._wanted[1]) == key

    def _tell_rest(self, after: str, revision: int, sentence: str) -> None:
        for stage in STAGES[STAGES.index(after) + 1 :]:
            self._tell(stage, revision, failed(sentence))

    def _tell_bug(self, revision: int) -> None:
        _log.exception("results of revision %d", revision)
        for stage in STAGES:
            if not self._is_told(stage, revision):
                self._tell(stage, revision, failed(BUG))

    @staticmethod
    def _seen_json(seen: "Seen") -> str:
        from tracing.view_results import seen_view

        return ok(json.dumps(seen_view(seen), allow_nan=False))

    def _is_told(self, stage: str, revision: int) -> bool:
        told = self._told[stage]
        return told is not None and told[0] >= revision

    def _tell(self, stage: str, revision: int, value: str) -> None:
        """Tell a result, unless a newer one is told; one that stands as it was is told by its new revision alone."""
        if self._is_told(stage, revision + 1):
            return
        before = self._told[stage]
        told = self._told[stage] = revision, value
        if before is not None and before[1] == value:
            data = json.dumps({"stage": stage, "of": revision, "same": True})
            self._host.tell("results", data, about=f"{stage} same")
        else:
            self._host.tell("results", event(stage, told), about=stage)
        self._news.set()


def _with_origin(settled: Job, scale: "_Scale") -> Job:
    return replace(settled, sheet=replace(settled.sheet, origin_px=scale.scale.job.sheet.origin_px))


@dataclass(frozen=True, slots=True)
class _Scale:
    key: Hashable
    scale: "Scale"
    moved: "tuple[Finding, ...]"
    told: str


@dataclass(frozen=True, slots=True)
class _ToDraw:
    """A settled job whose outlines are wanted, and what they rest on."""

    revision: int
    job: Job
    seen: "Seen"
    scale: _Scale


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
