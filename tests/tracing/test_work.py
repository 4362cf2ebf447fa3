"""Work in processes of their own: heard, cancelled, and never waited for in vain."""

import asyncio
import os
import signal
import time
from collections.abc import Awaitable, Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from drawing.errors import ScantlingError
from tracing.work import Cancelled, Worker, WorkError

MAIN = "tests.tracing.working:main"


def test_it_is_done_and_heard_of() -> None:
    async def test(worker: Worker) -> None:
        heard: list[Any] = []
        assert await worker.ask("add", 2, 3, hear=lambda *said: heard.append(said)) == 5
        assert await worker.ask("add", 3, 4, hear=lambda *said: heard.append(said)) == 7
        assert heard == [("progress", ("adding", 0.5))] * 2

    _with_worker(test)


def test_two_askers_take_turns() -> None:
    async def test(worker: Worker) -> None:
        asked = [worker.ask("add", n, n, hear=_deaf) for n in range(5)]
        assert await asyncio.gather(*asked) == [0, 2, 4, 6, 8]

    _with_worker(test)


def test_its_refusal_is_its_own_sentence_and_it_goes_on() -> None:
    async def test(worker: Worker) -> None:
        with pytest.raises(ScantlingError, match=r"^A thing was found; another was needed: do it\.$"):
            await worker.ask("refuse", hear=_deaf)
        assert await worker.ask("add", 1, 1, hear=_deaf) == 2

    _with_worker(test)


def test_a_bug_in_it_is_a_bug_with_its_traceback() -> None:
    async def test(worker: Worker) -> None:
        with pytest.raises(RuntimeError, match="ZeroDivisionError: the bug"):
            await worker.ask("bug", hear=_deaf)

    _with_worker(test)


def test_a_process_that_dies_is_one_sentence_and_the_next_question_starts_another() -> None:
    async def test(worker: Worker) -> None:
        with pytest.raises(WorkError, match=r"^The process for the test ended before it was done.*\.$"):
            await asyncio.wait_for(worker.ask("die", hear=_deaf), 20)
        assert await worker.ask("add", 1, 1, hear=_deaf) == 2

    _with_worker(test)


@pytest.fixture
def in_the_background() -> Iterator[None]:
    """As a shell's script starts what it does not wait for: Ctrl-C is ignored, by all that is started from it too."""
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    yield
    signal.signal(signal.SIGINT, before)


@pytest.mark.usefixtures("in_the_background")
def test_work_in_the_background_is_stopped_and_clears_what_it_half_wrote(tmp_path: Path) -> None:
    test_work_that_is_stopped_clears_what_it_half_wrote(tmp_path)


@pytest.mark.parametrize("way", ["stop", "kill"])
def test_cancelling_ends_the_process(tmp_path: Path, way: str) -> None:
    async def test(worker: Worker) -> None:
        begun = asyncio.Event()
        pid_file = tmp_path / "pid"
        asking = asyncio.create_task(worker.ask("wait", pid_file, hear=lambda *_: begun.set()))
        await asyncio.wait_for(begun.wait(), 20)
        start = time.monotonic()
        getattr(worker, way)()
        with pytest.raises(Cancelled):
            await asyncio.wait_for(asking, 20)
        assert time.monotonic() - start < 3
        assert not _runs(int(pid_file.read_text()))
        with pytest.raises(Cancelled):
            await worker.ask("add", 1, 1, hear=_deaf)

    _with_worker(test)


def test_work_that_is_stopped_clears_what_it_half_wrote(tmp_path: Path) -> None:
    async def test(worker: Worker) -> None:
        begun = asyncio.Event()
        asking = asyncio.create_task(worker.ask("fill", tmp_path, hear=lambda *_: begun.set()))
        await asyncio.wait_for(begun.wait(), 20)
        assert len(list(tmp_path.iterdir())) == 1
        worker.stop()
        with pytest.raises(Cancelled):
            await asyncio.wait_for(asking, 20)
        assert list(tmp_path.iterdir()) == []

    _with_worker(test)


def test_the_event_loop_goes_on_while_a_process_works() -> None:
    async def test(worker: Worker) -> None:
        asking = asyncio.create_task(worker.ask("add", 1, 1, hear=_deaf))
        longest, last = 0.0, time.perf_counter()
        while not asking.done():
            await asyncio.sleep(0.001)
            longest, last = max(longest, time.perf_counter() - last), time.perf_counter()
        assert longest < 0.2

    _with_worker(test)


def _with_worker(test: Callable[[Worker], Awaitable[None]]) -> None:
    async def run() -> None:
        worker = Worker(MAIN, name="the test")
        try:
            await test(worker)
        finally:
            worker.kill()

    asyncio.run(run())


def _runs(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    return True


def _deaf(kind: str, value: Any) -> None:
    """Hear nothing."""
