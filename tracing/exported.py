"""Whether a job is what an export made of another: the same decisions, with marks settled, origin and pages fixed."""

from dataclasses import replace
from pathlib import Path

from job.job import Job, Mark, Settled
from job.settle import with_marks


def is_export_of(exported: Job, saved: Job) -> bool:
    """Say whether an export of `saved` can have left `exported`; the picture may lie elsewhere."""
    plain_exported, exported_marks = _taken_apart(exported)
    plain_saved, saved_marks = _taken_apart(saved)
    if plain_exported != plain_saved:
        return False
    return all(map(_may_settle, saved_marks, exported_marks))


def settled_by_export(saved: Job, exported: Job) -> dict[Mark, Mark]:
    """Give where an export put the marks that waited for the ink; empty when it is no export of that job."""
    plain_exported, exported_marks = _taken_apart(exported)
    plain_saved, saved_marks = _taken_apart(saved)
    if plain_exported != plain_saved:
        return {}
    pairs = zip(saved_marks, exported_marks, strict=True)
    return {before: after for before, after in pairs if before.settled is Settled.NOT_YET and after != before}


def _taken_apart(job: Job) -> tuple[Job, list[Mark]]:
    marks: list[Mark] = []

    def take(mark: Mark, about: str) -> Mark:
        marks.append(mark)
        return Mark(0.0, 0.0)

    sheet = replace(job.sheet, file=Path(), origin_px=None)
    return with_marks(replace(job, sheet=sheet, kept_grid=None), take), marks


def _may_settle(before: Mark, after: Mark) -> bool:
    """A mark that waits may go anywhere; one said to lie on ink may turn out not to, and stays."""
    return before.settled is Settled.NOT_YET or before.at_px == after.at_px
