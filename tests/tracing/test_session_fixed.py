"""What an export fixes in a session's job."""

from pathlib import Path

from job.job_file import JOB_NAME, job_text, read_job
from tests.tracing.session_hands import GRID, edited, exported, new_job, opened
from tracing.session import Conflict, Saved


def test_what_an_export_fixed_is_no_step_and_stays_through_undo_redo_and_a_restart(tmp_path: Path) -> None:
    folder = tmp_path / "j"
    session = opened(folder)
    session.do({"do": "set_name", "text": "one"}, base=0)
    session.do({"do": "set_name", "text": "two"}, base=1)
    session.undo(2)
    session.save(now=True)
    before = session.job
    session.do({"do": "set_notes", "text": "while it exports"}, base=3)
    (folder / JOB_NAME).write_text(job_text(exported(before), folder=folder))

    change = session.adopt(exported(before))

    assert change.revision == 5
    assert isinstance(session.save(now=True), Saved)
    session.close()
    session = opened(folder)
    assert session.opening_note == ""
    assert session.job.notes == "while it exports"
    for _ in range(3):
        assert session.job.sheet.origin_px == (10.5, 2000.25)
        assert session.job.kept_grid is not None
        assert session.job.kept_grid.grid == GRID
        if session.can_undo:
            session.undo(session.revision)
    assert session.job.name == "plan"
    session.redo(session.revision)
    assert session.job == exported(before)


def test_pages_moved_by_hand_during_an_export_stay_where_the_hand_put_them(tmp_path: Path) -> None:
    session = opened(tmp_path / "j")
    session.save(now=True)
    before = session.job
    session.do({"do": "set_grid", "origin_mm": [7, 8], "landscape": False}, base=0)
    moved = session.job.kept_grid

    session.adopt(exported(before))

    assert session.job.kept_grid == moved
    assert session.job.sheet.origin_px == (10.5, 2000.25)
    session.undo(session.revision)
    assert session.job == exported(before)


def test_an_export_overwritten_by_hand_at_once_is_a_conflict(tmp_path: Path) -> None:
    folder = tmp_path / "j"
    session = opened(folder)
    session.save(now=True)
    (folder / JOB_NAME).write_text(job_text(exported(session.job), folder=folder) + "# and a word\n")

    session.adopt(exported(session.job))

    assert isinstance(session.save(now=True), Conflict)


def test_an_export_of_a_job_that_another_hand_had_edited_is_a_conflict(tmp_path: Path) -> None:
    folder = tmp_path / "j"
    session = opened(folder)
    session.save(now=True)
    edited(folder)
    read = exported(read_job(folder / JOB_NAME))
    (folder / JOB_NAME).write_text(job_text(read, folder=folder))

    session.adopt(read)

    assert session.job == new_job(folder)
    assert isinstance(session.save(now=True), Conflict)
    session.resolve_conflict("theirs")
    assert session.job == read
