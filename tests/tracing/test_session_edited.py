"""Two hands on one file: a session whose job is edited beside it."""

from pathlib import Path

import pytest

from drawing.errors import ScantlingError
from job.job_file import JOB_NAME, job_text, read_job
from tests.tracing.gestures import Hand
from tests.tracing.session_hands import do_some, edited, opened
from tracing.session import Conflict, Saved


@pytest.mark.parametrize("keep", ["mine", "theirs"])
def test_a_file_edited_meanwhile_is_not_written_over_and_either_may_win(tmp_path: Path, keep: str) -> None:
    folder = tmp_path / "j"
    session = opened(folder)
    session.do({"do": "set_name", "text": "one"}, base=0)
    session.save(now=True)
    by_hand = edited(folder)
    session.do({"do": "set_fraction", "text": "1/2"}, base=1)
    mine = session.job

    for _ in range(2):
        assert isinstance(session.save(now=True), Conflict)
        assert (folder / JOB_NAME).read_text() == by_hand
    revision = session.revision
    session.resolve_conflict(keep)

    assert session.revision == revision + 1
    assert isinstance(session.save(now=True), Saved)
    if keep == "mine":
        assert session.job == mine == read_job(folder / JOB_NAME)
        assert (folder / f"{JOB_NAME}.theirs-1").read_text() == by_hand
        assert session.can_undo
    else:
        assert session.job.notes == "by hand"
        assert session.job == read_job(folder / JOB_NAME)
        assert (folder / f"{JOB_NAME}.mine-1").read_text() == job_text(mine, folder=folder)
        assert not session.can_undo
    job = session.job
    session.close()
    session = opened(folder)
    assert session.job == job
    assert session.opening_note == ""


def test_theirs_that_is_no_job_is_said_and_nothing_changes(tmp_path: Path) -> None:
    folder = tmp_path / "j"
    session = opened(folder)
    session.save(now=True)
    (folder / JOB_NAME).write_text("versoin = 1")

    assert isinstance(session.save(now=True), Conflict)
    with pytest.raises(ScantlingError, match="version"):
        session.resolve_conflict("theirs")

    assert (folder / JOB_NAME).read_text() == "versoin = 1"
    session.resolve_conflict("mine")
    assert (folder / f"{JOB_NAME}.theirs-1").read_text() == "versoin = 1"
    assert read_job(folder / JOB_NAME) == session.job


def test_a_file_edited_while_the_page_was_shut_counts_and_a_new_history_says_so(tmp_path: Path) -> None:
    folder = tmp_path / "j"
    session = opened(folder)
    do_some(session, Hand(8), 5)
    session.do({"do": "set_notes", "text": ""}, base=session.revision)
    session.save(now=True)
    session.close()
    edited(folder)

    session = opened(folder)

    assert session.job.notes == "by hand"
    assert "changed outside" in session.opening_note
    assert not session.can_undo
    assert list(folder.glob("*.mine-*")) == []


def test_gestures_that_never_reached_an_edited_file_are_kept_beside_it(tmp_path: Path) -> None:
    folder = tmp_path / "j"
    session = opened(folder)
    session.save(now=True)
    session.do({"do": "set_name", "text": "unsaved"}, base=0)
    mine = session.job
    session.close()  # as after a kill: nothing is saved here
    edited(folder)

    session = opened(folder)

    assert session.job.notes == "by hand"
    assert "job.toml.mine-1" in session.opening_note
    assert (folder / f"{JOB_NAME}.mine-1").read_text() == job_text(mine, folder=folder)


def test_a_file_put_back_by_hand_to_an_older_state_counts(tmp_path: Path) -> None:
    folder = tmp_path / "j"
    session = opened(folder)
    session.save(now=True)
    older = (folder / JOB_NAME).read_bytes()
    session.do({"do": "set_name", "text": "newer"}, base=0)
    session.save(now=True)
    session.close()
    (folder / JOB_NAME).write_bytes(older)

    session = opened(folder)

    assert session.job.name == "plan"
    assert "changed outside" in session.opening_note
