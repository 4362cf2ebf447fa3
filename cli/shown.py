"""Progress on the terminal: each stage by name while it runs, with the seconds it took."""

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from time import perf_counter

from job.progress import Progress, Silent


@contextmanager
def shown_progress() -> Iterator[Progress]:
    """Give the progress to use: drawn on a terminal, silent where stderr goes to a file or program."""
    yield Spinner() if sys.stderr.isatty() else Silent()


class Spinner:
    """Shows the running stage with a spinner, and leaves a line with its seconds."""

    @contextmanager
    def stage(self, words: str) -> Iterator[None]:
        """Enter a stage."""
        from rich.console import Console

        console = Console(stderr=True)
        start = perf_counter()
        with console.status(words):
            yield
        console.print(f"[dim]{words}: {perf_counter() - start:.1f} s[/dim]")
