"""A session: what is done can be undone, outlives the program, and never writes over what another hand wrote."""

import random
import subprocess
import sys
import textwrap
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from drawing.errors import ScantlingError
from job.job import Job, Mark, Settled, Sheet
from job.job_file import JOB_NAME, job_text, read_job
from job.settle import Landmarks
from printing.best_grid import PageGrid
from tests.tracing.gestures import HEIGHT, WIDTH, Hand
from tracing import session as session_module
from tracing.commands import COMMANDS
from tracing.errors import SessionError
from tracing.history import HISTORY_NAME
from tracing.lock import LOCK_NAME
from tracing.session import Conflict, Saved, Session, StaleRevision

LANDMARKS = Landmarks(
    np.random.default_rng(3).uniform(0, 3000, (4000, 2)), np.full(4000, 0.15), 12.0, int(WIDTH), int(HEIGHT)
)


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


# Two hands on one file.


def edited(folder: Path) -> str:
    """Edit job.toml as a person would."""
    text = (folder / JOB_NAME).read_text().replace('notes = ""', 'notes = "by hand"  # mine')
    assert "by hand" in text
    (folder / JOB_NAME).write_text(text)
    return text


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


# Ends at any moment.


def test_a_history_cut_at_any_byte_loses_at_most_the_last_gesture(tmp_path: Path) -> None:
    folder = tmp_path / "j"
    session = opened(folder)
    do_some(session, Hand(11), 5)
    session.save(now=True)
    saved = session.job
    jobs = [saved]
    history = folder / HISTORY_NAME
    sizes = [history.stat().st_size]
    for n in range(6):
        if n % 3 == 2:
            session.undo(session.revision)
        else:
            do_some(session, Hand(20 + n), 1)
        jobs.append(session.job)
        sizes.append(history.stat().st_size)
    session.close()
    whole = history.read_bytes()

    for size in range(sizes[0], sizes[-1] + 1):
        history.write_bytes(whole[:size])
        session = opened(folder)
        # A line whose last sign is the line's end counts without it.
        done = max(n for n, end in enumerate(sizes) if end <= size + 1)
        assert session.job == jobs[done]
        assert session.opening_note == ""
        session.do({"do": "set_notes", "text": f"goes on at {size}"}, base=session.revision)
        job = session.job
        session.close()
        session = opened(folder)
        assert session.job == job
        session.close()


def test_a_history_cut_anywhere_at_all_never_raises_and_never_goes_behind_the_file(tmp_path: Path) -> None:
    folder = tmp_path / "j"
    session = opened(folder)
    do_some(session, Hand(11), 12)
    session.save(now=True)
    do_some(session, Hand(12), 3)
    session.save(now=True)
    job = session.job
    session.close()
    history, file = folder / HISTORY_NAME, folder / JOB_NAME
    whole, text = history.read_bytes(), file.read_bytes()

    for size in [*range(0, len(whole), 97), *range(len(whole) - 400, len(whole) + 1)]:
        history.write_bytes(whole[:size] + (b"\0" * 512 if size % 2 else b""))
        file.write_bytes(text)
        session = opened(folder)
        assert session.job == job
        session.close()


def test_a_kill_between_writing_and_renaming_or_after_it_loses_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Killed(BaseException):
        pass

    def before_rename(path: Path, content: bytes) -> None:
        raise Killed

    def after_rename(path: Path, content: bytes) -> None:
        path.write_bytes(content)
        raise Killed

    for number, killed in enumerate((before_rename, after_rename)):
        folder = tmp_path / f"j{number}"
        session = opened(folder)
        do_some(session, Hand(3), 4)
        session.save(now=True)
        do_some(session, Hand(4), 2)
        job = session.job
        with monkeypatch.context() as patch:
            patch.setattr(session_module, "write_in_place", killed)
            with pytest.raises(Killed):
                session.save(now=True)
        session.close()

        session = opened(folder)

        assert session.job == job
        assert session.opening_note == ""
        assert session.can_undo
        assert isinstance(session.save(now=True), Saved)
        assert read_job(folder / JOB_NAME) == job
        session.close()


KILLED = """
import sys
from pathlib import Path
from tests.tracing.gestures import Hand
from tests.tracing.test_session import do_some, opened
folder, seed = Path(sys.argv[1]), int(sys.argv[2])
session = opened(folder)
hand = Hand(seed)
print("open", flush=True)
while True:
    do_some(session, hand, 1)
    session.save(now=True)
    print(session.revision, flush=True)
"""


def test_a_process_killed_at_any_moment_loses_at_most_the_gesture_in_progress(tmp_path: Path) -> None:
    for seed in range(4):
        folder = tmp_path / f"j{seed}"
        process = subprocess.Popen(
            [sys.executable, "-c", textwrap.dedent(KILLED), str(folder), str(seed)],
            stdout=subprocess.PIPE,
            text=True,
            cwd=Path(__file__).parent.parent.parent,
        )
        assert process.stdout is not None
        told = ""
        for line in process.stdout:
            told = line.strip()
            if told != "open" and int(told) >= 11 + 7 * seed:
                break
        process.kill()
        rest = process.stdout.read().split()
        process.wait()
        process.stdout.close()
        done = int(rest[-1]) if rest and rest[-1].isdigit() else int(told)

        session = opened(folder)

        again = opened(tmp_path / f"again{seed}")
        jobs = [*do_some(again, Hand(seed), done + 2), again.job]
        assert session.job in (jobs[done], jobs[done + 1])
        assert session.opening_note == ""
        session.close()
        again.close()


# One server a job.


def test_a_second_server_on_the_same_job_is_refused_in_one_sentence(tmp_path: Path) -> None:
    session = opened(tmp_path / "j")

    with pytest.raises(SessionError, match="another window") as told:
        opened(tmp_path / "j")

    assert "\n" not in str(told.value)
    session.close()
    opened(tmp_path / "j").close()
    assert not (tmp_path / "j" / LOCK_NAME).exists()


def test_what_a_dead_process_left_is_taken_over(tmp_path: Path) -> None:
    folder = tmp_path / "j"
    program = "import os, sys; from tests.tracing.test_session import *; s = opened(Path(sys.argv[1])); os._exit(9)"
    root = Path(__file__).parent.parent.parent
    ended = subprocess.run([sys.executable, "-c", program, str(folder)], cwd=root, check=False)
    assert ended.returncode == 9
    assert (folder / LOCK_NAME).read_text().strip().isdigit()

    session = opened(folder)

    session.do({"do": "set_notes", "text": "mine now"}, base=0)
    session.close()


# Disks.


def test_a_disk_that_refuses_is_one_sentence_and_the_job_stays_as_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import errno

    session = opened(tmp_path / "j")
    job = session.job

    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(Path, "open", full)
        with pytest.raises(SessionError, match="no space left"):
            session.do({"do": "set_notes", "text": "lost?"}, base=0)
    assert session.job is job
    assert session.revision == 0
    session.do({"do": "set_notes", "text": "kept"}, base=0)
    with monkeypatch.context() as patch:
        patch.setattr(session_module, "write_in_place", full)
        with pytest.raises(SessionError, match="no space left"):
            session.save(now=True)
    assert isinstance(session.save(now=True), Saved)
    session.close()


def test_a_folder_taken_away_while_open_is_made_again_with_all_of_its_history(tmp_path: Path) -> None:
    import shutil

    folder = tmp_path / "j"
    session = opened(folder)
    do_some(session, Hand(2), 5)
    session.save(now=True)
    shutil.rmtree(folder)
    do_some(session, Hand(3), 2)
    assert isinstance(session.save(now=True), Saved)
    job = session.job
    session.close()

    session = opened(folder)

    assert session.job == job
    for _ in range(7):
        session.undo(session.revision)
    assert session.job == new_job(folder)


def test_a_place_that_is_no_folder_is_said(tmp_path: Path) -> None:
    (tmp_path / "j").write_text("a file")

    with pytest.raises(SessionError, match="cannot be written"):
        opened(tmp_path / "j")


# What an export fixes.

GRID = PageGrid((1.5, -2.25), True, rows=2, cols=3)


def exported(job: Job) -> Job:
    """The job as an export leaves it."""
    from job.job import KeptGrid

    return replace(
        job, sheet=replace(job.sheet, origin_px=(10.5, 2000.25)), kept_grid=KeptGrid(GRID, job.fraction, job.setup)
    )


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


def test_marks_that_waited_may_settle_in_an_export(tmp_path: Path) -> None:
    folder = tmp_path / "j"
    session = Session.open(folder, new_job(folder), key="k")
    ends = {"start": {"x_px": 1, "y_px": 2, "snap": True}, "end": {"x_px": 9, "y_px": 2, "snap": False}}
    session.do({"do": "add_known", **ends, "text": "1 m"}, base=0)
    session.save(now=True)
    known = replace(session.job.knowns[0], start=Mark(2.5, 2.0, Settled.INK))
    made = exported(replace(session.job, knowns=(known,)))
    (folder / JOB_NAME).write_text(job_text(made, folder=folder))

    session.adopt(made)

    assert session.job.kept_grid == made.kept_grid
    assert isinstance(session.save(now=True), Saved)


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
