"""What tabs are told: in order, the newest of each subject, and an end to it."""

import asyncio
from collections.abc import AsyncIterator

import pytest

from tracing import events
from tracing.events import Hub


def test_every_tab_is_told_in_order() -> None:
    async def test() -> None:
        hub = Hub()
        tabs = [hub.stream([("state", "0", "")]) for _ in range(2)]
        for tab in tabs:
            assert [await anext(tab), await anext(tab)] == [b"retry: 1000\n\n", b"event: state\ndata: 0\n\n"]
        hub.tell("state", "1")
        hub.tell("saved", "2")
        for tab in tabs:
            assert [await anext(tab), await anext(tab)] == [b"event: state\ndata: 1\n\n", b"event: saved\ndata: 2\n\n"]

    asyncio.run(test())


def test_a_slow_tab_gets_the_newest_of_each_subject_and_no_queue_grows() -> None:
    async def test() -> None:
        hub = Hub()
        tab = hub.stream([])
        await anext(tab)
        # A first event begins the tab's wait; the rest come while it does not read.
        hub.tell("state", "first")
        await anext(tab)
        for n in range(10_000):
            hub.tell("state", f"{n}")
            hub.tell("results", f"a{n}", about="seen")
            hub.tell("results", f"b{n}", about="scale")
        hub.close()
        assert await _rest(tab) == [
            b"event: state\ndata: 9999\n\n",
            b"event: results\ndata: a9999\n\n",
            b"event: results\ndata: b9999\n\n",
        ]

    asyncio.run(test())


def test_a_closed_hub_ends_every_stream_those_to_come_as_well() -> None:
    async def test() -> None:
        hub = Hub()
        tab = hub.stream([])
        await anext(tab)
        hub.close()
        assert await asyncio.wait_for(_rest(tab), 5) == []
        assert await asyncio.wait_for(_rest(hub.stream([])), 5) == [b"retry: 1000\n\n"]

    asyncio.run(test())


def test_a_quiet_stream_beats(monkeypatch: pytest.MonkeyPatch) -> None:
    """Lines that begin with a colon are comments (WHATWG HTML, server-sent events)."""
    monkeypatch.setattr(events, "BEAT_SECONDS", 0.01)

    async def test() -> None:
        tab = Hub().stream([])
        await anext(tab)
        assert (await asyncio.wait_for(anext(tab), 5)).startswith(b":")

    asyncio.run(test())


def test_a_tab_that_goes_is_forgotten() -> None:
    async def test() -> None:
        hub = Hub()
        tab = hub.stream([])
        await anext(tab)
        assert len(hub._tabs) == 1
        await tab.aclose()  # type: ignore[attr-defined]
        assert len(hub._tabs) == 0

    asyncio.run(test())


async def _rest(tab: AsyncIterator[bytes]) -> list[bytes]:
    return [event async for event in tab]
