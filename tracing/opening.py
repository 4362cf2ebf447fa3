"""From a path to a job and the folder it is kept in: a picture's job is gone on with where it was left."""

from dataclasses import dataclass, replace
from pathlib import Path

from job.errors import JobError
from job.job import Job, Sheet
from job.job_file import is_plain_file, read_job
from pictures.plan_file import open_plan_file

JOB_NAME = "job.toml"

MOST_FOLDERS = 99
"""Jobs of different pictures of one name beside each other, before something is plainly wrong."""


@dataclass(frozen=True, slots=True)
class Found:
    """A job to open, the folder that keeps it, and what is to be said of the choice."""

    job: Job
    folder: Path
    note: str = ""
    is_new: bool = False


def find_job(path: Path, *, beside: Path) -> Found:
    """Give the job of a picture or a job file; a picture's lies in `<stem>-scantling` in the folder `beside`.

    Raises
    ------
    ScantlingError
        In one sentence.
    """
    path = Path(path).absolute()
    if path.suffix.lower() == ".toml":
        if path.name != JOB_NAME:
            raise JobError(
                f"{path.name} is not called {JOB_NAME}, and the page keeps a job under that name in a folder of its "
                "own: rename it, or move it into a folder and name it so."
            )
        return Found(read_job(path), path.parent)
    if path.is_dir() and is_plain_file(path / JOB_NAME):
        return Found(read_job(path / JOB_NAME), path)
    file = open_plan_file(path)
    new = Job(name=path.stem, sheet=Sheet(path, sha256=file.sha256))
    first = beside / f"{path.stem}-scantling"
    for folder in (first, *(beside / f"{first.name}-{n}" for n in range(2, MOST_FOLDERS))):
        kept = folder / JOB_NAME
        note = (
            ""
            if folder == first
            else (f"{first.name} holds the job of another picture of that name, so this one is kept in {folder.name}.")
        )
        if not is_plain_file(kept):
            return Found(new, folder, note, is_new=True)
        job = read_job(kept)
        if job.sheet.sha256 == file.sha256:
            return Found(_at(job, path), folder, note)
    raise JobError(
        f"{first.name} and {MOST_FOLDERS - 2} folders after it hold jobs of other pictures; rename the picture."
    )


def mended(job: Job, path: Path) -> Job:
    """Give a job whose picture is found at another path; it must be the same file.

    Raises
    ------
    ScantlingError
        When it is another file: marks would lie in wrong places.
    """
    file = open_plan_file(Path(path).absolute())
    if file.sha256 != job.sheet.sha256:
        raise JobError(
            f"{file.path.name} is not the picture this job was marked on "
            f"(sha256 {file.sha256[:12]}, the job has {job.sheet.sha256[:12]}); marks would lie in wrong places: "
            "find the old file, or start a new job from this one."
        )
    return replace(job, sheet=replace(job.sheet, file=file.path))


def _at(job: Job, path: Path) -> Job:
    """The job as it is while its picture is where it says; else with the same picture at the path given."""
    return job if is_plain_file(job.sheet.file) else replace(job, sheet=replace(job.sheet, file=path))
