"""Reading what a request brings: its JSON, with one sentence for whatever is wrong with it."""

import json
import math
from typing import Any

from starlette.requests import Request

from tracing.guard import RefusedError

MOST_POINTS = 10_000


async def asked_values(request: Request) -> dict[str, Any]:
    """Give a request's JSON object.

    Raises
    ------
    RefusedError
        When it is no JSON object.
    """
    kind = request.headers.get("content-type", "").split(";")[0].strip().lower()
    if kind != "application/json":
        raise RefusedError(415, "The request is not JSON; JSON was needed: reload the page.")
    body = await request.body()
    try:
        values = json.loads(body, parse_constant=_no_number)
    except (ValueError, RecursionError) as error:
        raise RefusedError(400, "The request is no proper JSON; one object was needed: reload the page.") from error
    if not isinstance(values, dict):
        raise RefusedError(400, "The request is JSON but no object; one object was needed: reload the page.")
    return values


def whole(values: dict[str, Any], name: str) -> int:
    """Give a whole number."""
    value = values.get(name)
    if isinstance(value, bool) or not isinstance(value, int) or abs(value) > 1 << 53:
        raise _wanted(name, "a whole number")
    return value


def words(values: dict[str, Any], name: str, *, most: int) -> str:
    """Give a text."""
    value = values.get(name)
    if not isinstance(value, str) or len(value) > most:
        raise _wanted(name, f"text of at most {most} signs")
    if not _is_text(value):
        raise _wanted(name, "readable text")
    return value


def one_of(values: dict[str, Any], name: str, choices: tuple[str, ...]) -> str:
    """Give a word out of a few."""
    value = values.get(name)
    if not isinstance(value, str) or value not in choices:
        raise _wanted(name, "one of " + ", ".join(choices))
    return value


def number(values: dict[str, Any], name: str) -> float:
    """Give a finite number."""
    value = values.get(name)
    if not _is_number(value):
        raise _wanted(name, "a number")
    assert isinstance(value, int | float)
    return float(value)


def point(values: dict[str, Any], name: str) -> tuple[float, float]:
    """Give a point, [x, y] in picture px."""
    value = values.get(name)
    if not _is_point(value):
        raise _wanted(name, "a point, [x, y] in picture px")
    assert isinstance(value, list)
    return float(value[0]), float(value[1])


def points(values: dict[str, Any], name: str, *, least: int) -> list[tuple[float, float]]:
    """Give a list of points, [[x, y], ...] in picture px."""
    value = values.get(name)
    if not isinstance(value, list) or not least <= len(value) <= MOST_POINTS or not all(map(_is_point, value)):
        raise _wanted(name, f"{least} to {MOST_POINTS} points, [x, y] in picture px")
    return [(float(x), float(y)) for x, y in value]


def _wanted(name: str, what: str) -> RefusedError:
    return RefusedError(422, f"The request's {name!r} is not what it must be, {what}; nothing was changed: try again.")


def _is_number(value: object) -> bool:
    if isinstance(value, bool) or not isinstance(value, int | float):
        return False
    # Whole numbers in JSON may have any number of digits.
    return abs(value) < 1e9 and math.isfinite(value)


def _is_point(value: object) -> bool:
    return isinstance(value, list) and len(value) == 2 and all(map(_is_number, value))


def _is_text(value: str) -> bool:
    try:
        value.encode("utf-8")
    except UnicodeEncodeError:
        return False
    return "\0" not in value


def _no_number(name: str) -> float:
    raise ValueError(f"{name} is no JSON number")
