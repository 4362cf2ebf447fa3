"""Every job there was since the history began, and where in that row the job now is; undo and redo move along it."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from typing import Any

from job.job import GivenCorners, GivenLength, Job, KeptMeasure, Mark, Settled
from job.settle import with_marks
from tracing.commands import apply, words
from tracing.exported import settled_by_export


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
        another page's picture, begins something of its own. Marks that waited for the ink lie there in every job.
        """
        self.settle(settled_by_export(self._jobs[at], exported), at=at)
        self._spread(at, exported, _with_origin, lambda job: (job.sheet.page, job.sheet.origin_px))
        self._spread(at, exported, _with_grid, lambda job: job.kept_grid)
        self._jobs = [_with_file(job, exported) for job in self._jobs]

    def waiting(self) -> list[Mark]:
        """Give the marks that wait for the ink, in every job that looks at the same lines as the job as it now is."""
        found: dict[Mark, None] = {}
        gone_through: set[int] = set()
        for job in self._jobs:
            if not _looks_alike(job, self.job):
                continue
            for given in (
                job.knowns,
                job.checks,
                job.straights,
                job.measures,
                job.corners,
                job.across,
                job.build_length,
            ):
                # Jobs beside each other share nearly everything: a row of thousands is gone through at once.
                if id(given) not in gone_through:
                    gone_through.add(id(given))
                    found.update(dict.fromkeys(mark for mark in _marks_in(given) if mark.settled is Settled.NOT_YET))
        return list(found)

    def settle(self, settled: Mapping[Mark, Mark], *, at: int) -> None:
        """Put marks that waited for the ink where they went, in every job that looks at the same lines as that at `at`.

        This is no step: what is undone or done again has them there too.
        """
        if not settled:
            return
        here = self._jobs[at]
        self._jobs = [
            _with_all_marks(job, lambda mark, about: settled.get(mark, mark)) if _looks_alike(job, here) else job
            for job in self._jobs
        ]

    def _spread(self, at: int, exported: Job, adopting: Any, what: Any) -> None:
        """Change the job at `at` and its neighbours on both sides as far as they are alike in `what`."""
        had = what(self._jobs[at])
        for steps in (range(at, -1, -1), range(at + 1, len(self._jobs))):
            for step in steps:
                if what(self._jobs[step]) != had:
                    break
                self._jobs[step] = adopting(self._jobs[step], exported)


def _looks_alike(one: Job, other: Job) -> bool:
    """Whether two jobs see the same lines, where the same mark goes to the same ink."""
    return (one.sheet.page, one.sheet.kind, one.ignore) == (other.sheet.page, other.sheet.kind, other.ignore)


def _marks_in(given: Any) -> Iterator[Mark]:
    """Every mark of what was given, or of a row of such."""
    if isinstance(given, Mark):
        yield given
    elif isinstance(given, tuple):
        for one in given:
            yield from _marks_in(one)
    elif isinstance(given, GivenCorners | GivenLength | KeptMeasure):
        yield from given.marks
    elif given is not None:
        yield from (given.start, given.end)


def _with_all_marks(job: Job, settle: Callable[[Mark, str], Mark]) -> Job:
    """Put every mark of a job through `settle`, those of kept measurements too; an unchanged job is the very same."""
    measures = tuple(
        replace(kept, marks=tuple(settle(mark, "a measurement") for mark in kept.marks)) for kept in job.measures
    )
    changed = replace(with_marks(job, settle), measures=measures)
    return job if changed == job else changed


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
