"""Sessions that end at any moment, find another server, or a disk that refuses."""

import subprocess
import sys
import textwrap
from pathlib import Path

import pytest

from job.job_file import JOB_NAME, read_job
from tests.tracing.gestures import Hand
from tests.tracing.session_hands import do_some, new_job, opened
from tracing import session as session_module
from tracing.errors import SessionError
from tracing.history import HISTORY_NAME
from tracing.lock import LOCK_NAME
from tracing.session import Saved


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
from tests.tracing.session_hands import do_some, opened
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
    program = "import os, sys; from tests.tracing.session_hands import *; s = opened(Path(sys.argv[1])); os._exit(9)"
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
