"""Reading a TOML table strictly: every key expected, every value of its type, or one sentence."""

import difflib
from collections.abc import Mapping
from enum import StrEnum
from typing import TypeVar

from job.errors import JobError

E = TypeVar("E", bound=StrEnum)

NUMBER_LIMIT = 1e12
"""No coordinate, area or dpi comes near this; a value beyond it is a slip of the hand."""


class Table:
    """A TOML table whose keys are taken one by one; `done` refuses what is left over."""

    def __init__(self, values: Mapping[str, object], where: str) -> None:
        self._values = values
        self._where = where
        self._known: set[str] = set()

    def done(self) -> None:
        """Refuse any key that nothing asked for.

        Raises
        ------
        JobError
            Naming the key and the likeliest meant one.
        """
        for key in self._values:
            if key not in self._known:
                near = difflib.get_close_matches(key, self._known, n=1)
                hint = f"write {near[0]!r}" if near else "take it out"
                raise JobError(
                    f"{self._where} has the key {key!r}; known keys are {', '.join(sorted(self._known))}: {hint}."
                )

    def text(self, key: str, default: str | None = None) -> str:
        """A string."""
        value = self._take(key, default)
        if not isinstance(value, str):
            raise self._wrong(key, value, "text in quotes")
        return value

    def optional_text(self, key: str) -> str | None:
        """A string, or None when the key is absent."""
        return self.text(key) if self.has(key) else None

    def flag(self, key: str, default: bool | None = None) -> bool:
        """True or false."""
        value = self._take(key, default)
        if not isinstance(value, bool):
            raise self._wrong(key, value, "true or false")
        return value

    def whole(self, key: str, default: int | None = None) -> int:
        """A whole number."""
        value = self._take(key, default)
        if isinstance(value, bool) or not isinstance(value, int) or abs(value) > NUMBER_LIMIT:
            raise self._wrong(key, value, "a whole number")
        return value

    def number(self, key: str, default: float | None = None) -> float:
        """A finite number."""
        return self._number(key, self._take(key, default))

    def optional_number(self, key: str) -> float | None:
        """A finite number, or None when the key is absent."""
        return self.number(key) if self.has(key) else None

    def choice(self, key: str, options: type[E], default: E | None = None) -> E:
        """One of the words of `options`."""
        value = self._take(key, default)
        if isinstance(value, str) and value in list(options):
            return options(value)
        raise self._wrong(key, value, " or ".join(repr(str(option)) for option in options))

    def point(self, key: str) -> tuple[float, float]:
        """A pair [x, y]."""
        return self._point(key, self._take(key, None))

    def optional_point(self, key: str) -> tuple[float, float] | None:
        """A pair [x, y], or None when the key is absent."""
        return self.point(key) if self.has(key) else None

    def points(self, key: str, *, least: int) -> tuple[tuple[float, float], ...]:
        """A list of pairs, at least `least` of them."""
        value = self._take(key, None)
        if not isinstance(value, list) or len(value) < least:
            raise self._wrong(key, value, f"a list of {least} or more points like [[10.5, 20.0], ...]")
        return tuple(self._point(key, item) for item in value)

    def texts(self, key: str) -> tuple[str, ...] | None:
        """A list of strings, or None when the key is absent."""
        if not self.has(key):
            return None
        value = self._take(key, None)
        if not isinstance(value, list) or not all(isinstance(item, str) for item in value):
            raise self._wrong(key, value, "a list of words in quotes")
        return tuple(value)

    def tables(self, key: str) -> list["Table"]:
        """The tables of [[key]]; none when absent."""
        self._known.add(key)
        value = self._values.get(key, [])
        if not isinstance(value, list) or not all(isinstance(item, dict) for item in value):
            raise self._wrong(key, value, f"tables, each under a line [[{key}]]")
        return [Table(item, f"{self._where}, [[{key}]] number {count}") for count, item in enumerate(value, 1)]

    def table(self, key: str) -> "Table | None":
        """The table [key], or None when absent."""
        self._known.add(key)
        if key not in self._values:
            return None
        value = self._values[key]
        if not isinstance(value, dict):
            raise self._wrong(key, value, f"a table under a line [{key}]")
        return Table(value, f"{self._where}, [{key}]")

    def has(self, key: str) -> bool:
        """Say whether the key is there."""
        self._known.add(key)
        return key in self._values

    def refuse(self, key: str, needed: str) -> JobError:
        """Make the error for a value that reads well and means nothing."""
        return self._wrong(key, self._values.get(key), needed)

    def _take(self, key: str, default: object) -> object:
        self._known.add(key)
        if key in self._values:
            return self._values[key]
        if default is None:
            raise JobError(f"{self._where} lacks the key {key!r}; it is needed to run the job: add it.")
        return default

    def _number(self, key: str, value: object) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise self._wrong(key, value, "a number")
        # So put, that neither a NaN nor a whole number too long for a float slips through.
        if not abs(value) <= NUMBER_LIMIT:
            raise self._wrong(key, value, "an ordinary number")
        return float(value)

    def _point(self, key: str, value: object) -> tuple[float, float]:
        if not isinstance(value, list) or len(value) != 2:
            raise self._wrong(key, value, "a point like [10.5, 20.0]")
        return self._number(key, value[0]), self._number(key, value[1])

    def _wrong(self, key: str, value: object, needed: str) -> JobError:
        try:
            shown = repr(value)
        except (RecursionError, ValueError):
            # Brackets without end, or a whole number of more digits than Python writes.
            shown = f"a {type(value).__name__} too long to show"
        shown = shown if len(shown) <= SHOWN_LENGTH else shown[:SHOWN_LENGTH] + "..."
        return JobError(f"{self._where} has {key} = {shown}; it must be {needed}: change it.")


SHOWN_LENGTH = 60
"""How much of a wrong value is repeated back, characters."""
