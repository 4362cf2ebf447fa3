"""One open job: gestures change it, undo and redo without limit, and both files on disk follow."""

import time
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from drawing.errors import ScantlingError
from job.folder import content_of
from job.job import Job, Mark
from job.job_file import JOB_NAME, job_text, parse_job
from job.settle import Landmarks, on_ink
from tracing.commands import apply, resolve, words
from tracing.errors import SessionError
from tracing.exported import is_export_of
from tracing.history import HISTORY_NAME, History, Told, read_history, settle_entry
from tracing.keeping import hash_of, keep_aside, write_in_place
from tracing.lock import JobLock
from tracing.past import Past

IDLE_SECONDS = 1.0
"""How long no gesture comes before the job is written unasked."""


class StaleRevision(SessionError):
    """A gesture that was made on a job which has moved on since."""


@dataclass(frozen=True, slots=True)
class Change:
    """What a gesture led to: the job, its revision, and what was done in words."""

    revision: int
    job: Job
    words: str


@dataclass(frozen=True, slots=True)
class Saved:
    """job.toml holds the job; `at` is when it was last written (ISO 8601, UTC)."""

    at: str


@dataclass(frozen=True, slots=True)
class Conflict:
    """job.toml was changed outside meanwhile, and nothing was written; `text` says so and asks which counts."""

    text: str


class Session:
    """An open job. Everything a person does lands in the history first, so that the program may end at any moment."""

    def __init__(
        self, folder: Path, past: Past, history: History, lock: JobLock, *, key: str, file_hash: str | None
    ) -> None:
        self.key = key
        self.revision = 0
        self.opening_note = ""
        self.landmarks: Landmarks | None = None
        """What marks move to; None until the picture has been seen."""
        self._folder = folder
        self._past = past
        self._history = history
        self._lock = lock
        self._file_hash = file_hash
        self._saved_job = past.job
        self._saved_at = _now()
        self._changed_at = time.monotonic()

    @classmethod
    def open(cls, folder: Path, job: Job, *, key: str) -> "Session":
        """Open the job kept in a folder, or begin one there; `job` is what its job.toml holds, or a new one.

        Where the history fits job.toml, the job goes on where it was left, undo included.

        Raises
        ------
        SessionError
            When another process has it open, or the folder cannot be written.
        """
        try:
            folder.mkdir(parents=True, exist_ok=True)
            lock = JobLock.take(folder)
        except OSError as error:
            raise _said(folder, error) from error
        try:
            return cls._opened(folder, job, lock, key)
        except OSError as error:
            lock.release()
            raise _said(folder, error) from error
        except BaseException:
            lock.release()
            raise

    @classmethod
    def _opened(cls, folder: Path, job: Job, lock: JobLock, key: str) -> "Session":
        content = content_of(folder / JOB_NAME)
        file_hash = hash_of(content)
        notes = [] if lock.held else ["This disk knows no locks: do not open the job twice."]
        told = None
        try:
            told = read_history(folder)
        except ScantlingError as error:
            notes.append(str(error))
        on_disk = None if content is None else parse_job(content, path=folder / JOB_NAME)
        if told is not None and (_fits(told, file_hash, on_disk, job) or _exported(told, on_disk)):
            session = cls(folder, told.past, History(folder, told.lines), lock, key=key, file_hash=file_hash)
            if file_hash in told.files:
                session._saved_job = told.files[file_hash]
            elif on_disk is not None and told.exporting is not None:
                # The program ended between an export's writing job.toml and its being taken over here.
                session._saved_job = told.exporting
                session.adopt(on_disk)
            if told.past.job.sheet.file != job.sheet.file:
                # The picture was found at another place than the job says.
                found = replace(session.job, sheet=replace(session.job.sheet, file=job.sheet.file))
                session._take_over(found, job_text(found, folder=folder), at=told.past.at)
        else:
            if told is not None:
                notes.append(_begun_anew(told, folder, content))
            history = History.begin(folder, job, file_hash)
            session = cls(folder, Past(job), history, lock, key=key, file_hash=file_hash)
        session.opening_note = " ".join(notes)
        return session

    @property
    def job(self) -> Job:
        """The job as it now is."""
        return self._past.job

    @property
    def is_saved(self) -> bool:
        """Whether job.toml, as it was last written or read, holds the job as it now is."""
        return self._saved_job == self.job

    @property
    def can_undo(self) -> bool:
        """Whether there is something to undo."""
        return bool(self.undo_words)

    @property
    def can_redo(self) -> bool:
        """Whether there is something to redo."""
        return bool(self.redo_words)

    @property
    def undo_words(self) -> str:
        """What undo would take back."""
        return self._past.undo_words

    @property
    def redo_words(self) -> str:
        """What redo would do again."""
        return self._past.redo_words

    def do(self, command: object, *, base: int) -> Change:
        """Do a command that was made on revision `base`; one that changes nothing is no step.

        Raises
        ------
        StaleRevision
            When the job has moved on since.
        ScantlingError
            In one sentence; nothing is then changed.
        """
        self._refuse_stale(base)
        before = self.job
        resolved = resolve(command, before, self.landmarks)
        after = apply(before, resolved)
        if after == before:
            return Change(self.revision, before, "")
        said = words(before, resolved)
        self._add({"do": resolved})
        self._past.put(resolved, after)
        return self._changed(said)

    def undo(self, base: int) -> Change:
        """Take back the last command; raises as `do` does."""
        self._refuse_stale(base)
        said = self.undo_words
        if not said:
            raise SessionError("There is nothing to undo: the job is as it was when its history began.")
        self._add({"undo": True})
        self._past.undo()
        return self._changed(f"Undone: {said}")

    def redo(self, base: int) -> Change:
        """Do again what was undone last; raises as `do` does."""
        self._refuse_stale(base)
        said = self.redo_words
        if not said:
            raise SessionError("There is nothing to redo: nothing was undone since the last change.")
        self._add({"redo": True})
        self._past.redo()
        return self._changed(f"Done again: {said}")

    def settle(self) -> Change | None:
        """Put marks that were made before the picture had been seen where they go; None when none waits.

        It is no step: whatever is undone or done again has its marks there too.
        """
        landmarks = self.landmarks
        if landmarks is None:
            return None
        inside = [mark for mark in self._past.waiting() if _lies_in(mark, landmarks)]
        settled = {mark: on_ink(mark, landmarks)[0] for mark in inside}
        if not settled:
            return None
        self._add(settle_entry(settled))
        self._past.settle(settled, at=self._past.at)
        return self._changed("")

    def begin_export(self) -> None:
        """Say that an export is about to write job.toml: the file is then known, though the program end meanwhile."""
        self._add({"exporting": True})

    def adopt(self, job: Job) -> Change:
        """Take over what an export fixed: origin and page grid, and where the picture lies; no step, kept by undo.

        `job` is the job that was last saved, as the export left it; job.toml written by that export counts as ours. If
        another hand had edited job.toml before the export read it, nothing is taken over: the next save is a conflict.
        """
        if not is_export_of(job, self._saved_job):
            return self._changed("")
        text = job_text(job, folder=self._folder)
        self._take_over(job, text, at=self._past.where(self._saved_job))
        content = content_of(self._folder / JOB_NAME)
        if content is not None and content.replace(b"\r\n", b"\n") == text.encode():
            self._written(hash_of(content), job)
        return self._changed("")

    def _take_over(self, job: Job, text: str, *, at: int) -> None:
        self._add({"adopt": text, "at": at})
        self._past.adopt(job, at=at)

    def save(self, now: bool = False) -> Saved | Conflict:
        """Write job.toml if it does not hold the job yet; unless `now`, only when no gesture came for a second.

        Raises
        ------
        SessionError
            When it cannot be written; the gestures are safe in the history.
        """
        if not now and time.monotonic() - self._changed_at < IDLE_SECONDS:
            return Saved(self._saved_at)
        try:
            content = content_of(self._folder / JOB_NAME)
            if content is not None and hash_of(content) != self._file_hash:
                return Conflict(
                    f"{JOB_NAME} was changed outside this page, so it was not written over: choose which of the two "
                    "counts; the other is kept beside it."
                )
            self._write(content)
        except OSError as error:
            raise _said(self._folder, error) from error
        return Saved(self._saved_at)

    def resolve_conflict(self, keep: str) -> None:
        """Settle which of two jobs counts, "mine" (the page's) or "theirs" (the file's); the other is kept beside it.

        Raises
        ------
        ScantlingError
            When the file cannot be read as a job; nothing is then changed.
        """
        path = self._folder / JOB_NAME
        try:
            content = content_of(path)
            if keep == "mine":
                if content is not None and hash_of(content) != self._file_hash:
                    keep_aside(path, content, "theirs")
                self._write(content)
            else:
                if content is None:
                    raise SessionError(f"{path} is gone; there is nothing to take over: keep the page's own.")
                theirs = parse_job(content, path=path)
                keep_aside(path, job_text(self.job, folder=self._folder).encode(), "mine")
                self._history = History.begin(self._folder, theirs, hash_of(content))
                self._past = Past(theirs)
                self._file_hash, self._saved_job = hash_of(content), theirs
        except OSError as error:
            raise _said(self._folder, error) from error
        self._changed("")

    def close(self) -> None:
        """Let go of the job; what was not saved stays in the history."""
        self._lock.release()

    def _refuse_stale(self, base: int) -> None:
        if base != self.revision:
            raise StaleRevision(
                f"This was done on revision {base} of the job, which is at {self.revision} by now; "
                "nothing was changed: look at it and do it again."
            )

    def _add(self, entry: dict[str, Any]) -> None:
        try:
            self._history.add(entry)
        except OSError as error:
            raise _said(self._folder, error) from error

    def _changed(self, said: str) -> Change:
        self.revision += 1
        self._changed_at = time.monotonic()
        return Change(self.revision, self.job, said)

    def _write(self, content: bytes | None) -> None:
        """Put the job in place of what job.toml holds; the history knows its hash before and after."""
        text = job_text(self.job, folder=self._folder).encode()
        new_hash = hash_of(text)
        if content == text and new_hash == self._file_hash:
            return
        self._folder.mkdir(parents=True, exist_ok=True)
        self._history.add({"writing": new_hash})
        write_in_place(self._folder / JOB_NAME, text)
        self._written(new_hash, self.job)

    def _written(self, file_hash: str | None, job: Job) -> None:
        self._history.add({"written": file_hash})
        self._file_hash = file_hash
        self._saved_job = job
        self._saved_at = _now()


def _fits(told: Told, file_hash: str | None, on_disk: Job | None, job: Job) -> bool:
    """Whether a history goes on from job.toml as it is: it was its last writer, and tells the same job."""
    if told.past.job.sheet.sha256 != job.sheet.sha256 or file_hash not in told.files:
        return False
    return on_disk is None or told.files[file_hash] == on_disk


def _lies_in(mark: Mark, landmarks: Landmarks) -> bool:
    """Whether a mark lies in the picture; one that does not is refused where its length is looked at."""
    return -0.5 <= mark.x_px <= landmarks.width_px - 0.5 and -0.5 <= mark.y_px <= landmarks.height_px - 0.5


def _exported(told: Told, on_disk: Job | None) -> bool:
    """Whether job.toml is what an export left that was not taken over any more."""
    return told.exporting is not None and on_disk is not None and is_export_of(on_disk, told.exporting)


def _begun_anew(told: Told, folder: Path, content: bytes | None) -> str:
    said = f"{JOB_NAME} was changed outside the page, so it counts as it is and undo starts anew."
    if content is None:
        said = f"{JOB_NAME} was taken away, so the job starts anew."
    if told.saved and content is not None:
        return said
    # What was done last had not reached job.toml when the program ended, or is in no other file.
    ours = job_text(told.past.job, folder=folder).encode()
    aside = keep_aside(folder / JOB_NAME, ours, "mine")
    return f"{said} What was done here before is kept in {aside.name}."


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="seconds")


def _said(folder: Path, error: OSError) -> SessionError:
    why = (error.strerror or str(error)).lower()
    return SessionError(
        f"The job's files in {folder} cannot be written ({why}); every gesture is kept there at once: "
        f"make room, or give this program the right to write {JOB_NAME} and {HISTORY_NAME}."
    )
