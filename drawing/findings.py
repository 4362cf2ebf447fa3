"""What a stage noticed and the builder should know or settle."""

from dataclasses import dataclass
from enum import StrEnum


class Level(StrEnum):
    """How loud a finding is."""

    NOTE = "note"
    """Worth knowing; the result stands."""
    DECIDE = "decide"
    """The builder must settle it: exit code 1, and everything is stamped SCALE NOT SETTLED."""


@dataclass(frozen=True, slots=True)
class Finding:
    """Something odd: `code` is stable and hyphenated, `about` names the thing, `text` is one plain sentence."""

    code: str
    level: Level
    about: str
    text: str
