"""Every job there was since the history began, and where in that row the job now is; undo and redo move along it."""

from dataclasses import replace
from typing import Any

from job.job import Job
from tracing.commands import apply, words


class Past:
    """A row of jobs with the commands between them. The same steps on the same first job give the same row."""

    def __init__(self, first: Job) -> None:
        self._jobs = [first]
        self._commands: list[dict[str, Any]] = []
        self.at = 0

    @property
    def job(self) -> Job:
        """The job as it now is."""
        return self._jobs[self.at]

    @property
    def length(self) -> int:
        """How many jobs stand in the row."""
        return len(self._jobs)

    @property
    def undo_words(self) -> str:
        """What undo would take back; empty when there is nothing."""
        return self._words(self.at - 1) if self.at > 0 else ""

    @property
    def redo_words(self) -> str:
        """What redo would do again; empty when there is nothing."""
        return self._words(self.at) if self.at < len(self._commands) else ""

    def _words(self, step: int) -> str:
        return words(self._jobs[step], self._commands[step])

    def do(self, command: dict[str, Any]) -> None:
        """Do a resolved command; what was undone before can no longer be redone."""
        self.put(command, apply(self.job, command))

    def put(self, command: dict[str, Any], job: Job) -> None:
        """Put the job that a command led to behind the one that now is."""
        del self._jobs[self.at + 1 :], self._commands[self.at :]
        self._jobs.append(job)
        self._commands.append(command)
        self.at += 1

    def undo(self) -> None:
        """Go back one command."""
        assert self.at > 0
        self.at -= 1

    def redo(self) -> None:
        """Go forward one command."""
        assert self.at < len(self._commands)
        self.at += 1

    def where(self, job: Job) -> int:
        """Where in the row a job stands; where we now are when it stands nowhere any more."""
        return next((at for at, one in enumerate(self._jobs) if one is job), self.at)

    def adopt(self, exported: Job, *, at: int) -> None:
        """Take over what an export of the job at `at` has fixed: the plan's origin, the page grid, the picture's place.

        This is no step: it holds before and after it too, as far as jobs had the same there. A grid moved by hand, or
        another page's picture, begins something of its own.
        """
        self._spread(at, exported, _with_origin, lambda job: (job.sheet.page, job.sheet.origin_px))
        self._spread(at, exported, _with_grid, lambda job: job.kept_grid)
        self._jobs = [_with_file(job, exported) for job in self._jobs]

    def _spread(self, at: int, exported: Job, adopting: Any, what: Any) -> None:
        """Change the job at `at` and its neighbours on both sides as far as they are alike in `what`."""
        had = what(self._jobs[at])
        for steps in (range(at, -1, -1), range(at + 1, len(self._jobs))):
            for step in steps:
                if what(self._jobs[step]) != had:
                    break
                self._jobs[step] = adopting(self._jobs[step], exported)


def _with_origin(job: Job, exported: Job) -> Job:
    if job.sheet.page != exported.sheet.page or job.sheet.origin_px == exported.sheet.origin_px:
        return job
    return replace(job, sheet=replace(job.sheet, origin_px=exported.sheet.origin_px))


def _with_grid(job: Job, exported: Job) -> Job:
    if job.sheet.page != exported.sheet.page or job.kept_grid == exported.kept_grid:
        return job
    return replace(job, kept_grid=exported.kept_grid)


def _with_file(job: Job, exported: Job) -> Job:
    if job.sheet.sha256 != exported.sheet.sha256 or job.sheet.file == exported.sheet.file:
        return job
    return replace(job, sheet=replace(job.sheet, file=exported.sheet.file))
