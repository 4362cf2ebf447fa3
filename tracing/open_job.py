"""The one job a server has open: its session, its picture, its results, its tasks, and who is told of them."""

import asyncio
import json
import logging
import secrets
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from drawing.errors import ScantlingError
from job.errors import JobError
from job.job import Job
from tracing.events import Hub
from tracing.level_sizes import TILE_PX
from tracing.opening import JOB_NAME
from tracing.result_files import FILES
from tracing.session import Change, Conflict, Saved, Session
from tracing.stages import BUG, Stages
from tracing.view_job import job_view
from tracing.view_words import on_the_page
from tracing.work import Cancelled, Hear, Worker

if TYPE_CHECKING:
    from job.see import Seen
    from tracing.answers import Answers
    from tracing.packed import PackedSeen
    from tracing.pyramid import Pyramid
    from tracing.tiles import Tiles

_log = logging.getLogger(__name__)

SAVE_AFTER_SECONDS = 0.5
"""A job is written this long after the last gesture: within a second of idle."""


@dataclass(slots=True)
class Task:
    """Long work that the page shows and can stop."""

    kind: str
    worker: Worker
    task: str = field(default_factory=lambda: secrets.token_hex(4))
    state: str = "running"
    stage: str = ""
    share: float = 0.0
    error: str | None = None
    files: tuple[str, ...] = ()
    job: Job | None = None
    """Whose files they are: the page tells by it whether they are of the job as it stands, after a reload too."""

    def view(self) -> dict[str, Any]:
        """Give the task as the page takes it."""
        told = ("task", "kind", "state", "stage", "share", "error")
        job = None if self.job is None else job_view(self.job)
        return {**{name: getattr(self, name) for name in told}, "files": list(self.files), "job": job}


class OpenJob:
    """A job that is open. All of it runs in the event loop's thread; long work goes to threads and processes."""

    def __init__(self, session: Session, folder: Path, *, key: str, cache: Path, note: str = "") -> None:
        self.key = key
        self.session = session
        self.folder = folder
        self.cache = cache
        self.hub = Hub()
        self.pyramid: Pyramid | None = None
        self.tiles: Tiles | None = None
        self.answers: Answers | None = None
        self._note = note
        self._making: asyncio.Task[None] | None = None
        self._tasks: dict[str, Task] = {}
        self._looking: Task | None = None
        self._exporting: asyncio.Task[None] | None = None
        self._save_timer: asyncio.TimerHandle | None = None
        self._conflict: str | None = None
        self.stages = Stages(self)
        self.stages.want(session.revision, session.job)

    # What the page is told.

    def view(self) -> str:
        """Give the whole view as JSON; results come as they were encoded."""
        values = {
            "key": self.key,
            "name": self.session.job.name,
            "folder": str(self.folder),
            "opening_note": " ".join(part for part in (self._note, self.session.opening_note) if part),
            "conflict": self._conflict,
            **self._picture(),
            "tasks": [task.view() for task in self._tasks.values()],
            **self._reply(""),
        }
        return f'{json.dumps(values)[:-1]}, "results": {self.stages.encoded()}}}'

    def reply(self, words: str = "") -> str:
        """Give what every change is answered with, as JSON."""
        return json.dumps(self._reply(words))

    def first_events(self) -> list[tuple[str, str, str]]:
        """Give what a tab that begins to listen is told: it may have missed something since it asked for the view."""
        events = [("state", self.reply(), ""), ("picture", json.dumps(self._picture()), "")]
        events += self.stages.events()
        events += [("task", json.dumps(task.view()), task.task) for task in self._tasks.values()]
        if self._conflict is not None:
            events.append(("conflict", json.dumps({"text": self._conflict}), ""))
        return events

    def _reply(self, words: str) -> dict[str, Any]:
        session = self.session
        return {
            "revision": session.revision,
            "job": job_view(session.job),
            "undo": {"can": session.can_undo, "words": session.undo_words},
            "redo": {"can": session.can_redo, "words": session.redo_words},
            "words": words,
        }

    def _picture(self) -> dict[str, Any]:
        sheet = self.session.job.sheet
        source: dict[str, Any] = {"file": sheet.file.name, "path": str(sheet.file), "page": sheet.page}
        if self.pyramid is None:
            return {"source": source, "tiles": {"tile_px": TILE_PX, "levels": [], "ready": False, "of": None}}
        picture = self.pyramid.picture
        read = picture.source
        source |= {
            "page": read.page,
            "pages": read.pages,
            "width_px": picture.width_px,
            "height_px": picture.height_px,
            "medium": str(read.medium),
            "colour": read.colour,
            "focal_35mm": read.focal_35mm,
            "tag_dpi": read.tag_dpi,
            "render_dpi": read.render_dpi,
        }
        levels = [
            {"level": level, "width_px": pixels.shape[1], "height_px": pixels.shape[0]}
            for level, pixels in enumerate(self.pyramid.levels)
        ]
        of = self.pyramid.folder.name
        return {"source": source, "tiles": {"tile_px": TILE_PX, "levels": levels, "ready": True, "of": of}}

    # Gestures.

    def do(self, command: dict[str, Any], *, base: int) -> str:
        """Do a command; give the reply."""
        return self._changed(self.session.do(command, base=base))

    def undo(self, *, base: int) -> str:
        """Undo the last command; give the reply."""
        return self._changed(self.session.undo(base))

    def redo(self, *, base: int) -> str:
        """Do again what was undone; give the reply."""
        return self._changed(self.session.redo(base))

    def resolve(self, keep: str) -> str:
        """Settle which of two job files counts."""
        self.session.resolve_conflict(keep)
        self._conflict = None
        return self._moved_on("")

    def _changed(self, change: Change) -> str:
        return self._moved_on(change.words)

    def _moved_on(self, words: str) -> str:
        session = self.session
        reply = self.reply(words)
        self.hub.tell("state", reply)
        self.stages.want(session.revision, session.job)
        if self.stages.seen is None:
            # Another page, or something found was rejected: what marks moved to is of what is no more.
            session.landmarks = self.answers = None
        if self.pyramid is not None and self.pyramid.picture.source.page != session.job.sheet.page:
            self.pyramid = self.tiles = None
            self.hub.tell("picture", json.dumps(self._picture()))
        self._save_soon()
        return reply

    # Keeping.

    def _save_soon(self) -> None:
        if self._save_timer is not None:
            self._save_timer.cancel()
        self._save_timer = asyncio.get_running_loop().call_later(SAVE_AFTER_SECONDS, self._save)

    def _save(self) -> None:
        self._save_timer = None
        if self._exporting is not None:
            # The export writes job.toml itself; what was done meanwhile is written after it.
            return
        self.save()

    def save(self) -> None:
        """Write the job now, and tell of it."""
        try:
            saved = self.session.save(now=True)
        except ScantlingError as error:
            self.hub.tell("saved", json.dumps({"at": None, "error": str(error)}))
            return
        conflict = saved.text if isinstance(saved, Conflict) else None
        if conflict != self._conflict:
            self._conflict = conflict
            self.hub.tell("conflict", json.dumps(None if conflict is None else {"text": conflict}))
        if isinstance(saved, Saved):
            self.hub.tell("saved", json.dumps({"at": saved.at, "error": None}))

    # Looking: what the stages tell.

    def tell(self, kind: str, data: str, *, about: str = "") -> None:
        """Tell every tab."""
        self.hub.tell(kind, data, about=about)

    def take_picture(self, pyramid: "Pyramid") -> None:
        """Take the picture's levels, and show them."""
        from tracing.tiles import Tiles

        self.pyramid = pyramid
        self.tiles = Tiles(pyramid)
        self.hub.tell("picture", json.dumps(self._picture()))

    def take_seen(self, seen: "Seen") -> None:
        """Let marks move to what was seen."""
        from job.settle import landmarks_in

        self.session.landmarks = landmarks_in(seen)
        self._making = asyncio.get_running_loop().create_task(self._make_answers(seen))
        try:
            settled = self.session.settle()
        except ScantlingError as error:
            # The marks are settled for every result; only their places could not be written down.
            self.hub.tell("saved", json.dumps({"at": None, "error": str(error)}))
            return
        if settled is not None:
            self._changed(settled)

    async def _make_answers(self, seen: "Seen") -> None:
        answers = await asyncio.to_thread(_answers, seen)
        if self.stages.seen is seen:
            self.answers = answers

    async def when_answers(self) -> "Answers":
        """Give the answers about the picture; once it has been seen they are a moment in the making.

        Raises
        ------
        ScantlingError
            While the picture is still being looked at.
        """
        while self.answers is None and self._making is not None and not self._making.done():
            await asyncio.shield(self._making)
        if self.answers is None:
            raise JobError("The picture is still being looked at; its lines are needed for this: wait a moment.")
        return self.answers

    def begin_looking(self, worker: Worker) -> Hear:
        """Show that a picture is looked at."""
        self._looking = self._begin(Task("see", worker))
        return self._hear(self._looking)

    def end_looking(self, state: str, error: str | None) -> None:
        """Show that it is no longer."""
        if self._looking is not None:
            self._end(self._looking, state, error)
            self._looking = None

    # Tasks.

    def cancel(self, task_id: str) -> bool:
        """Stop a task; False when there is no such one."""
        task = self._tasks.get(task_id)
        if task is None or task.state != "running":
            return False
        task.worker.stop()
        return True

    def export(self) -> str:
        """Begin to write the files of `make`; give the task's name. One that runs already is that one.

        Raises
        ------
        ScantlingError
            When nothing is known of the picture yet, or job.toml cannot be written.
        """
        running = next(
            (task for task in self._tasks.values() if task.kind == "export" and task.state == "running"), None
        )
        if running is not None:
            return running.task
        seen = self.stages.packed
        if seen is None:
            raise JobError("The picture is still being looked at; its lines are needed: wait a moment, then export.")
        self.save()
        if self._conflict is not None:
            raise JobError(f"{self._conflict} The files were not written: settle this first.")
        self.session.begin_export()
        worker = Worker("tracing.bench:export_main", name="writing the files")
        task = self._begin(Task("export", worker, job=self.session.job))
        self._exporting = asyncio.get_running_loop().create_task(self._export(task, seen))
        return task.task

    async def _export(self, task: Task, seen: "PackedSeen") -> None:
        state, error = "done", None
        files: tuple[str, ...] = ()
        try:
            job = await task.worker.ask("export", self.folder / JOB_NAME, seen, self.cache, hear=self._hear(task))
            self.session.adopt(job)
            task.job = task.job and replace(task.job, kept_grid=job.kept_grid, sheet=job.sheet)
            files = tuple(FILES)
        except Cancelled:
            state = "cancelled"
        except ScantlingError as refused:
            state, error = "failed", str(refused)
        except RuntimeError:
            _log.exception("exporting")
            state, error = "failed", BUG
        finally:
            task.worker.stop()
            self._exporting = None
        self._moved_on("")
        if state == "done":
            # What the page shows is then of the job that the files are of: nothing is worked on after "done".
            await self.stages.all_told(self.session.revision)
        self._end(task, state, error, files)

    def _begin(self, task: Task) -> Task:
        self._tasks = {key: old for key, old in self._tasks.items() if old.kind != task.kind}
        self._tasks[task.task] = task
        self._tell_task(task)
        return task

    def _end(self, task: Task, state: str, error: str | None, files: tuple[str, ...] = ()) -> None:
        task.state, task.error, task.files = state, None if error is None else on_the_page(error), files
        task.share = 1.0 if state == "done" else task.share
        self._tell_task(task)

    def _tell_task(self, task: Task) -> None:
        self.hub.tell("task", json.dumps(task.view()), about=task.task)

    def _hear(self, task: Task) -> Hear:
        def heard(kind: str, value: Any) -> None:
            if kind == "progress" and task.state == "running":
                task.stage, task.share = value
                data = {"task": task.task, "kind": task.kind, "stage": task.stage, "share": task.share}
                self.hub.tell("progress", json.dumps(data), about=task.task)

        return heard

    def close(self) -> None:
        """Stop all work, save, and let go of the job."""
        if self._save_timer is not None:
            self._save_timer.cancel()
        self.stages.close()
        for task in self._tasks.values():
            task.worker.stop()
        if self._exporting is not None:
            self._exporting.cancel()
        self.save()
        self.session.close()
        self.hub.close()


def _answers(seen: "Seen") -> "Answers":
    from tracing.answers import Answers

    return Answers(seen)
