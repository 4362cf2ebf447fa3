"""What every open tab is told, as it happens: one stream of server-sent events a tab."""

import asyncio
from collections.abc import AsyncIterator
from contextlib import suppress

BEAT_SECONDS = 15.0
"""A stream that says nothing for long is taken for dead by some browsers; a comment keeps it."""


class Hub:
    """Sends events to every tab that listens.

    A tab that is slow gets the newest of each subject, never a growing queue: all that we
    tell is a state, so an older one says nothing more once a newer is there.
    """

    def __init__(self) -> None:
        self._tabs: set[_Tab] = set()
        self._closed = False

    def tell(self, kind: str, data: str, *, about: str = "") -> None:
        """Tell every tab; `data` is JSON on one line, and the newest of a kind and subject is what counts."""
        for tab in self._tabs:
            tab.put(kind, data, about)

    def close(self) -> None:
        """End every stream."""
        self._closed = True
        for tab in self._tabs:
            tab.close()

    async def stream(self, first: list[tuple[str, str, str]]) -> AsyncIterator[bytes]:
        """Give the events for one tab, `first` (kind, data, about) to begin with, until the hub closes."""
        tab = _Tab()
        for kind, data, about in first:
            tab.put(kind, data, about)
        if self._closed:
            tab.close()
        self._tabs.add(tab)
        try:
            # Tells the browser at once that the stream is open, and how soon to come back after it breaks.
            yield b"retry: 1000\n\n"
            async for event in tab.events():
                yield event
        finally:
            self._tabs.discard(tab)


class _Tab:
    def __init__(self) -> None:
        self._waiting: dict[tuple[str, str], str] = {}
        self._woken = asyncio.Event()
        self._closed = False

    def put(self, kind: str, data: str, about: str) -> None:
        # Taken out and put in again: what is newest comes last.
        self._waiting.pop((kind, about), None)
        self._waiting[kind, about] = data
        self._woken.set()

    def close(self) -> None:
        self._closed = True
        self._woken.set()

    async def events(self) -> AsyncIterator[bytes]:
        while not self._closed:
            with suppress(TimeoutError):
                await asyncio.wait_for(self._woken.wait(), BEAT_SECONDS)
            self._woken.clear()
            if not self._waiting and not self._closed:
                yield b": still here\n\n"
            while self._waiting:
                (kind, about) = next(iter(self._waiting))
                yield f"event: {kind}\ndata: {self._waiting.pop((kind, about))}\n\n".encode()
