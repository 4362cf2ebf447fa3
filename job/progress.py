"""How long work is shown: a stage is entered and left, and the command draws it as it likes."""

from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from time import perf_counter
from typing import Protocol


class Progress(Protocol):
    """Told of each stage as it starts; gives a context that ends with it."""

    def stage(self, words: str, /) -> AbstractContextManager[None]:
        """Enter a stage, in words such as "following the lines"."""


class Silent:
    """Shows nothing."""

    @contextmanager
    def stage(self, words: str) -> Iterator[None]:
        """Enter a stage and say nothing of it."""
        yield


READING, INK, LINES, WORDS, SCALE, OUTLINES = (
    "reading",
    "finding the ink",
    "following the lines",
    "reading the lettering",
    "setting the scale",
    "drawing the outlines",
)
FLATTENING, WRITING = "flattening the picture", "writing"

COUNTED_AS = {
    READING: "read",
    INK: "digitize",
    LINES: "digitize",
    WORDS: "digitize",
    SCALE: "calibrate",
    OUTLINES: "digitize",
    FLATTENING: "write",
    WRITING: "write",
}
"""What the report counts each stage under."""


class Timed:
    """Passes every stage on and keeps the seconds each took."""

    def __init__(self, shown: Progress) -> None:
        self._shown = shown
        self._seconds = dict.fromkeys(COUNTED_AS.values(), 0.0)
        self._running: dict[str, float] = {}

    @contextmanager
    def stage(self, words: str) -> Iterator[None]:
        """Enter a stage of COUNTED_AS; its seconds add to what it took before."""
        counted = COUNTED_AS[words]
        self._running[counted] = perf_counter()
        with self._shown.stage(words):
            yield
        self._seconds[counted] += perf_counter() - self._running.pop(counted)

    def seconds(self) -> dict[str, float]:
        """Give the seconds so far, the running stage included."""
        now = perf_counter()
        return {
            name: round(spent + (now - self._running[name] if name in self._running else 0.0), 3)
            for name, spent in self._seconds.items()
        }
