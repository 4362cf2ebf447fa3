"""What the spawned processes do: look at a picture; export a job. Only `work.answer` calls these."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from job.job import Found, Job, Sheet
from job.job_file import read_job
from job.make import refuse_changed
from job.progress import FLATTENING, INK, LINES, OUTLINES, READING, SCALE, WRITING, Timed
from job.run import run
from job.see import Seen, see_picture
from pictures.read import read_picture
from tracing.packed import PackedSeen, packed, unpacked
from tracing.pyramid import keep_pyramid, kept_pyramid
from tracing.work import answer

Tell = Callable[[str, Any], None]

LOOKED = {READING: 0.0, INK: 0.2, LINES: 0.35}
EXPORTED = {SCALE: 0.0, OUTLINES: 0.05, FLATTENING: 0.4, WRITING: 0.55}
"""Share of the time gone when a stage starts, as measured on the bundled photo."""


def look_main(pipe: Connection) -> None:
    """Look at pictures, one after another."""
    answer(pipe, {"look": look})


def export_main(pipe: Connection) -> None:
    """Export jobs, one after another."""
    answer(pipe, {"export": export})


def look(tell: Tell, sheet: Sheet, ignore: tuple[Found, ...], cache: Path) -> PackedSeen:
    """Read a sheet's picture, keep it on disk in levels (told as "picture"), and see what it shows."""
    shown = _Shown(tell, LOOKED)
    with shown.stage(READING):
        refuse_changed(sheet)
        pyramid = kept_pyramid(cache, sheet.sha256, sheet.page, sheet.file)
        if pyramid is None:
            pyramid = keep_pyramid(cache, read_picture(sheet.file, page=sheet.page))
    tell("picture", None)
    return packed(see_picture(pyramid.picture, sheet, ignore, shown))


def export(tell: Tell, job_file: Path, seen: PackedSeen, cache: Path) -> Job:
    """Do what `make` does with a saved job; give the job as it then is, with its origin and page grid."""
    job = read_job(job_file)
    timed = Timed(_Shown(tell, EXPORTED))
    return run(job, _seen(seen, job, cache), folder=job_file.parent, as_given=False, timed=timed).job


def _seen(seen: PackedSeen, job: Job, cache: Path) -> Seen:
    refuse_changed(job.sheet)
    pyramid = kept_pyramid(cache, job.sheet.sha256, job.sheet.page, job.sheet.file)
    if pyramid is None:
        # Another program has cleared the cache meanwhile.
        pyramid = keep_pyramid(cache, read_picture(job.sheet.file, page=job.sheet.page))
    return unpacked(seen, pyramid.picture.grey)


class _Shown:
    """Passes each stage on with the share of the time gone."""

    def __init__(self, tell: Tell, shares: dict[str, float]) -> None:
        self._tell = tell
        self._shares = shares

    @contextmanager
    def stage(self, words: str) -> Iterator[None]:
        self._tell("progress", (words, self._shares.get(words, 0.0)))
        yield
