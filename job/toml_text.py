"""Values as they stand in TOML 1.0."""

from collections.abc import Iterable

from job.job import Mark


def marks_line(marks: Iterable[Mark]) -> str:
    """Say how each mark came to lie where it is."""
    return "marks = [" + ", ".join(f'"{mark.settled}"' for mark in marks) + "]"


def points_line(key: str, points: Iterable[tuple[float, float]]) -> str:
    """Give a list of points."""
    return f"{key} = [" + ", ".join(map(point_text, points)) + "]"


def point_text(point: tuple[float, float]) -> str:
    """Give a point so that it reads back to the last bit."""
    return f"[{float(point[0])!r}, {float(point[1])!r}]"


def flag_text(value: bool) -> str:
    """Give true or false."""
    return "true" if value else "false"


_ESCAPES = {'"': '\\"', "\\": "\\\\", "\n": "\\n", "\t": "\\t", "\r": "\\r"}


def quoted(text: str) -> str:
    """Give a basic string of TOML 1.0: controls are escaped, everything else stands as it is."""
    return (
        '"'
        + "".join(_ESCAPES.get(c, c if c.isprintable() or ord(c) > 0x9F else f"\\u{ord(c):04x}") for c in text)
        + '"'
    )
