"""What becomes of an export when the program ends before it was taken over; and marks that wait for the ink."""

from dataclasses import replace
from pathlib import Path

import pytest

from job.job import Job, Mark, Settled
from job.job_file import JOB_NAME, job_text
from tests.tracing.session_hands import LANDMARKS, exported, new_job, opened
from tracing.session import Saved, Session

ENDS = {"start": {"x_px": 1, "y_px": 2, "snap": False}, "end": {"x_px": 9, "y_px": 2, "snap": False}}


def exporting(folder: Path) -> Job:
    """A job with two steps whose export has begun, and that is gone on with; gives the job that is exported."""
    session = opened(folder)
    session.do({"do": "add_known", **ENDS, "text": "1 m"}, base=0)
    session.do({"do": "set_name", "text": "two"}, base=1)
    session.save(now=True)
    session.begin_export()
    saved = session.job
    session.do({"do": "set_notes", "text": "while it exports"}, base=2)
    session.close()
    return saved


def test_a_kill_between_an_exports_writing_and_its_taking_over_loses_no_undo(tmp_path: Path) -> None:
    folder = tmp_path / "j"
    made = exported(exporting(folder))
    (folder / JOB_NAME).write_text(job_text(made, folder=folder))

    session = opened(folder)

    assert session.opening_note == ""
    assert session.job == replace(made, notes="while it exports")
    assert isinstance(session.save(now=True), Saved)
    for left in (made, replace(made, name="plan"), replace(made, name="plan", knowns=())):
        session.undo(session.revision)
        assert session.job == left
    session.close()
    session = opened(folder)
    assert (session.opening_note, session.job) == ("", replace(made, name="plan", knowns=()))


@pytest.mark.parametrize("by_hand", ["two by hand", "two"])
def test_a_file_changed_by_hand_then_is_no_export(tmp_path: Path, by_hand: str) -> None:
    folder = tmp_path / "j"
    made = exported(exporting(folder))
    if by_hand == "two":
        # Nothing of it reads otherwise, but the program wrote job.toml once more after that export.
        session = opened(folder)
        session.do({"do": "set_dpi", "value": 300}, base=0)
        session.save(now=True)
        session.close()
    (folder / JOB_NAME).write_text(job_text(replace(made, name=by_hand), folder=folder))

    session = opened(folder)

    assert "changed outside" in session.opening_note
    assert not session.can_undo
    assert session.job == replace(made, name=by_hand)


def test_an_export_that_came_to_nothing_leaves_the_history_as_it_was(tmp_path: Path) -> None:
    folder = tmp_path / "j"
    saved = exporting(folder)

    session = opened(folder)

    assert session.opening_note == ""
    session.undo(0)
    assert session.job == saved


def test_marks_that_wait_go_to_the_ink_in_every_job_of_the_history_and_across_a_restart(tmp_path: Path) -> None:
    folder = tmp_path / "j"
    near, far = LANDMARKS.points_px[0] + [1.5, 0], LANDMARKS.points_px[1] - [0, 1.5]
    ends = {
        name: {"x_px": float(x), "y_px": float(y), "snap": True} for name, (x, y) in (("start", near), ("end", far))
    }
    session = Session.open(folder, new_job(folder), key="k")
    session.do({"do": "add_known", **ends, "text": "1 m"}, base=0)
    session.do({"do": "add_measure", "kind": "length", "marks": list(ends.values()), "note": ""}, base=1)
    session.do({"do": "remove_known", "index": 0}, base=2)
    assert session.settle() is None
    session.landmarks = LANDMARKS

    change = session.settle()

    assert change is not None
    assert (change.revision, change.words) == (4, "")
    assert session.settle() is None
    session.close()
    session = opened(folder)
    assert session.opening_note == ""
    [measure] = session.job.measures
    session.undo(session.revision)
    [known] = session.job.knowns
    for mark in (known.start, known.end, *measure.marks):
        assert mark.settled is Settled.INK
    # A hand's slip is a px or two, and so is how far apart two landmarks may lie by chance.
    at = [tuple(point) for point in LANDMARKS.points_px.round(3).tolist()]
    assert known.start.at_px in at
    assert known.end.at_px in at
    assert measure.marks == (known.start, known.end)


def test_an_export_puts_marks_that_wait_where_it_found_the_ink(tmp_path: Path) -> None:
    folder = tmp_path / "j"
    session = Session.open(folder, new_job(folder), key="k")
    ends = {"start": {"x_px": 1, "y_px": 2, "snap": True}, "end": {"x_px": 9, "y_px": 2, "snap": False}}
    session.do({"do": "add_known", **ends, "text": "1 m"}, base=0)
    session.save(now=True)
    known = replace(session.job.knowns[0], start=Mark(2.5, 2.0, Settled.INK))
    made = exported(replace(session.job, knowns=(known,)))
    (folder / JOB_NAME).write_text(job_text(made, folder=folder))

    session.adopt(made)

    assert session.job == made
    assert session.job.kept_grid is not None
    assert isinstance(session.save(now=True), Saved)
    session.close()
    session = opened(folder)
    assert (session.opening_note, session.job) == ("", made)
