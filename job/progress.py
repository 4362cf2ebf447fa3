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


class Timed:
    """Passes every stage on and keeps the seconds each took."""

    def __init__(self, shown: Progress) -> None:
        self._shown = shown
        self.seconds: dict[str, float] = {}

    @contextmanager
    def stage(self, words: str) -> Iterator[None]:
        """Enter a stage; its seconds add to what it took before."""
        start = perf_counter()
        with self._shown.stage(words):
            yield
        self.seconds[words] = self.seconds.get(words, 0.0) + perf_counter() - start
