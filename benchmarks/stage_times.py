"""How long named stages of the program take while it runs."""

import time
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from types import ModuleType
from typing import Any


@contextmanager
def watched(stages: Sequence[tuple[ModuleType, str]]) -> Iterator[dict[str, float]]:
    """Time what is called by these names of modules until the end: CPU seconds by name."""
    spent: dict[str, float] = defaultdict(float)
    plain = {(module, name): getattr(module, name) for module, name in stages}

    def timed(name: str, call: Callable[..., Any]) -> Callable[..., Any]:
        def called(*given: Any, **named: Any) -> Any:
            begin = time.process_time()
            try:
                return call(*given, **named)
            finally:
                spent[name] += time.process_time() - begin

        return called

    for (module, name), call in plain.items():
        setattr(module, name, timed(name, call))
    try:
        yield spent
    finally:
        for (module, name), call in plain.items():
            setattr(module, name, call)
