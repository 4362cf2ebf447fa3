"""Sessions for tests, and hands that work in them."""

from dataclasses import replace
from pathlib import Path

import numpy as np

from drawing.errors import ScantlingError
from job.job import Job, KeptGrid, Sheet
from job.job_file import JOB_NAME, read_job
from job.settle import Landmarks
from printing.best_grid import PageGrid
from tests.tracing.gestures import HEIGHT, WIDTH, Hand
from tracing.session import Session

LANDMARKS = Landmarks(
    np.random.default_rng(3).uniform(0, 3000, (4000, 2)), np.full(4000, 0.15), 12.0, int(WIDTH), int(HEIGHT)
)
GRID = PageGrid((1.5, -2.25), True, rows=2, cols=3)


def new_job(folder: Path) -> Job:
    """A job that nothing was done on."""
    return Job("plan", Sheet(folder.parent / "plan.png", "ab" * 32))


def opened(folder: Path) -> Session:
    """Open as the desk does: with what job.toml holds, or anew."""
    file = folder / JOB_NAME
    session = Session.open(folder, read_job(file) if file.exists() else new_job(folder), key="k")
    session.landmarks = LANDMARKS
    return session


def do_some(session: Session, hand: Hand, count: int) -> list[Job]:
    """Do steps that each change the job; gives the job before each."""
    before = []
    while len(before) < count:
        job = session.job
        try:
            if session.do(hand.gesture(job), base=session.revision).words:
                before.append(job)
        except ScantlingError as error:
            # Some gestures do not fit together: a paper too small for the margin.
            assert str(error).endswith(".")  # noqa: PT017
            assert session.job is job
    return before


def edited(folder: Path) -> str:
    """Edit job.toml as a person would."""
    text = (folder / JOB_NAME).read_text().replace('notes = ""', 'notes = "by hand"  # mine')
    assert "by hand" in text
    (folder / JOB_NAME).write_text(text)
    return text


def exported(job: Job) -> Job:
    """The job as an export leaves it."""
    return replace(
        job, sheet=replace(job.sheet, origin_px=(10.5, 2000.25)), kept_grid=KeptGrid(GRID, job.fraction, job.setup)
    )
