"""A session: what is done can be undone, outlives the program, and never writes over what another hand wrote."""

import random
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from drawing.errors import ScantlingError
from job.job import Mark, Settled
from job.job_file import JOB_NAME, read_job
from tests.tracing.gestures import Hand
from tests.tracing.session_hands import LANDMARKS, do_some, new_job, opened
from tracing import session as session_module
from tracing.commands import COMMANDS
from tracing.errors import SessionError
from tracing.session import Saved, Session, StaleRevision


@settings(max_examples=3, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(seed=st.integers(0, 2**32 - 1))
def test_500_commands_and_500_undos_give_the_very_same_job_across_restarts_too(
    seed: int, tmp_path_factory: pytest.TempPathFactory
) -> None:
    folder = tmp_path_factory.mktemp("job") / "plan-scantling"
    pick = random.Random(seed)
    session = opened(folder)
    first = session.job
    before = do_some(session, Hand(seed), 500)
    last = session.job

    restarts = set(pick.sample(range(500), 3))
    for step in range(499, -1, -1):
        if step in restarts:
            assert isinstance(session.save(now=pick.random() < 0.5), Saved)
            session.close()
            session = opened(folder)
            assert session.opening_note == ""
        session.undo(session.revision)
        assert session.job == before[step]
    assert session.job == first
    assert not session.can_undo
    session.close()

    session = opened(folder)
    assert session.job == first
    while session.can_redo:
        session.redo(session.revision)
    assert session.job == last
    session.save(now=True)
    assert read_job(folder / JOB_NAME) == last
    session.close()


def test_the_gestures_of_the_test_are_all_that_there_are() -> None:
    done = set()
    hand, session_job = Hand(1), new_job(Path("/plans/x"))
    from tracing.commands import apply, resolve

    for _ in range(6000):
        try:
            resolved = resolve(hand.gesture(session_job), session_job, None)
            session_job = apply(session_job, resolved)
        except ScantlingError:
            continue
        done.add(resolved["do"])

    assert done == set(COMMANDS)


def test_a_branch_done_after_undo_replaces_what_was_undone(tmp_path: Path) -> None:
    session = opened(tmp_path / "j")
    do_some(session, Hand(5), 6)
    for _ in range(3):
        session.undo(session.revision)
    do_some(session, Hand(6), 2)
    jobs = session.job
    session.close()

    session = opened(tmp_path / "j")

    assert session.job == jobs
    assert not session.can_redo
    for _ in range(5):
        session.undo(session.revision)
    assert session.job == new_job(tmp_path / "j")


def test_a_gesture_on_an_old_revision_is_refused_and_one_that_changes_nothing_is_no_step(tmp_path: Path) -> None:
    session = opened(tmp_path / "j")
    change = session.do({"do": "set_notes", "text": "glue"}, base=0)
    assert (change.revision, change.words) == (1, "Changed the notes")

    with pytest.raises(StaleRevision, match="look at it"):
        session.do({"do": "set_notes", "text": "other"}, base=0)
    assert session.do({"do": "set_notes", "text": "glue"}, base=1).revision == 1
    session.undo(1)
    assert not session.can_undo
    with pytest.raises(SessionError, match="nothing to undo"):
        session.undo(2)
    session.redo(2)
    with pytest.raises(SessionError, match="nothing to redo"):
        session.redo(3)


def test_a_mark_settles_on_the_ink_and_replay_needs_no_picture(tmp_path: Path) -> None:
    session = opened(tmp_path / "j")
    x, y = LANDMARKS.points_px[7]
    near = {"x_px": float(x) + 3, "y_px": float(y) - 2, "snap": True}
    far = {"x_px": 3500.0, "y_px": 20.0, "snap": True}
    session.do({"do": "add_known", "start": near, "end": {**near, "snap": False}, "text": "1 m"}, base=0)
    session.do({"do": "set_across", "start": near, "end": far}, base=1)
    session.close()

    session = Session.open(tmp_path / "j", new_job(tmp_path / "j"), key="k")

    known = session.job.knowns[0]
    assert known.start == Mark(round(float(x), 3), round(float(y), 3), Settled.INK)
    assert known.end == Mark(round(float(x) + 3, 3), round(float(y) - 2, 3), Settled.AS_GIVEN)
    assert session.job.across is not None
    assert session.job.across.end == Mark(3500.0, 20.0, Settled.AS_GIVEN)


def test_a_picture_found_elsewhere_is_taken_for_every_step(tmp_path: Path) -> None:
    folder = tmp_path / "j"
    session = opened(folder)
    do_some(session, Hand(2), 3)
    session.save(now=True)
    session.do({"do": "set_name", "text": "not saved yet"}, base=session.revision)
    session.close()
    moved = replace(
        read_job(folder / JOB_NAME), sheet=replace(read_job(folder / JOB_NAME).sheet, file=tmp_path / "b.png")
    )

    session = Session.open(folder, moved, key="k")

    assert session.job.sheet.file == tmp_path / "b.png"
    assert session.job.name == "not saved yet"
    session.undo(session.revision)
    assert session.job.sheet.file == tmp_path / "b.png"
    session.save(now=True)
    assert read_job(folder / JOB_NAME).sheet.file == tmp_path / "b.png"


def test_nothing_is_written_before_a_second_of_rest(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    now = [100.0]
    monkeypatch.setattr(session_module.time, "monotonic", lambda: now[0])
    session = opened(tmp_path / "j")
    session.do({"do": "set_notes", "text": "x"}, base=0)

    session.save()
    assert not (tmp_path / "j" / JOB_NAME).exists()
    now[0] += 1.01
    session.save()

    assert read_job(tmp_path / "j" / JOB_NAME) == session.job
