"""Reading a command's values strictly: what comes out is plain JSON, and reading that again gives the same."""

import itertools
import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from job.job import Mark, Settled
from job.readable import is_readable_text
from job.settle import DIGITS, Landmarks, on_ink, refuse_far, refuse_outside
from job.toml_table import Table
from tracing.errors import CommandError

MOST_POINTS = 10_000
"""A line drawn by hand has some hundreds."""

MOST_TEXT = 200
"""Signs in a name, a length or a note at a place."""

FARTHEST_PX = 1e6
"""No picture is so large: a point beyond is a slip."""

JsonValues = dict[str, Any]


class Asked(Table):
    """The values of one command, taken one by one; `done` refuses what is left over.

    Marks settle on `landmarks`, as `make` settles them; while those are unknown (None) a mark that may move waits.
    """

    def __init__(self, values: Mapping[str, object], name: str, landmarks: Landmarks | None) -> None:
        super().__init__(values, f"The command {name}")
        self._name = name
        self._landmarks = landmarks

    def mark(self, key: str, about: str) -> JsonValues:
        """A mark {x_px, y_px, snap}, settled."""
        return self._mark(key, self._take(key, None), about)

    def marks(self, key: str, about: str, *, least: int, most: int = MOST_POINTS) -> list[JsonValues]:
        """A list of marks, settled."""
        value = self._take(key, None)
        if not isinstance(value, list) or not least <= len(value) <= most:
            raise self._wrong(key, value, f"{least} marks" if least == most else f"a list of {least} to {most} marks")
        return [self._mark(key, item, f"{about} {n}") for n, item in enumerate(value, 1)]

    def _mark(self, key: str, value: object, about: str) -> JsonValues:
        if not isinstance(value, dict):
            raise self._wrong(key, value, "a mark like {x_px: 10.5, y_px: 20.0, snap: true}")
        item = Table(value, f"{self._where}, {key}")
        x, y = (round(item.number(name), DIGITS) + 0.0 for name in ("x_px", "y_px"))
        if item.has("settled"):
            settled = item.choice("settled", Settled)
        else:
            settled = Settled.NOT_YET if item.flag("snap") else Settled.AS_GIVEN
        item.done()
        self._refuse_beyond(key, (x, y))
        mark = Mark(x, y, settled)
        if self._landmarks is not None and not item.has("settled"):
            refuse_outside(mark, self._landmarks, about)
            if settled is Settled.NOT_YET:
                mark, _ = on_ink(mark, self._landmarks)
        return {"x_px": mark.x_px, "y_px": mark.y_px, "settled": str(mark.settled)}

    def place(self, key: str) -> list[float]:
        """A point [x, y] in picture px, to a thousandth."""
        return self._places(key, [self._take(key, None)])[0]

    def places(self, key: str, *, least: int) -> list[list[float]]:
        """A list of points [x, y] in picture px, to a thousandth."""
        value = self._take(key, None)
        if not isinstance(value, list) or not least <= len(value) <= MOST_POINTS:
            raise self._wrong(key, value, f"a list of {least} to {MOST_POINTS} points like [10.5, 20.0]")
        return self._places(key, value)

    def cubics(self, key: str) -> list[list[list[float]]]:
        """A list of curves, each two control points and an end."""
        value = self._take(key, None)
        if (
            not isinstance(value, list)
            or not 1 <= len(value) <= MOST_POINTS // 3
            or not all(isinstance(curve, list) and len(curve) == 3 for curve in value)
        ):
            raise self._wrong(key, value, f"a list of 1 to {MOST_POINTS // 3} curves of three points each")
        points = self._places(key, list(itertools.chain.from_iterable(value)))
        return [points[at : at + 3] for at in range(0, len(points), 3)]

    def _places(self, key: str, value: Sequence[object]) -> list[list[float]]:
        # All at once: a traced line has thousands of numbers, and a gesture is to take no time.
        pairs = [item for item in value if isinstance(item, list) and len(item) == 2]
        numbers: list[Any] = list(itertools.chain.from_iterable(pairs))
        if len(pairs) != len(value) or not set(map(type, numbers)) <= {int, float}:
            raise self._wrong(key, list(value), "points like [10.5, 20.0]")
        try:
            points = np.round(np.array(numbers, dtype=np.float64).reshape(-1, 2), DIGITS) + 0.0
        except OverflowError as error:
            raise self._wrong(key, list(value), f"points within {FARTHEST_PX:g} px") from error
        if not (np.isfinite(points).all() and (np.abs(points) <= FARTHEST_PX).all()):
            raise self._wrong(key, list(value), f"points within {FARTHEST_PX:g} px")
        places: list[list[float]] = points.tolist()
        if self._landmarks is not None:
            refuse_far("A point", ((x, y) for x, y in places), self._landmarks)
        return places

    def _refuse_beyond(self, key: str, point: tuple[float, float]) -> None:
        if max(map(abs, point)) > FARTHEST_PX:
            raise self._wrong(key, list(point), f"within {FARTHEST_PX:g} px")

    def above_zero(self, key: str) -> float:
        """A finite number above zero."""
        value = self.number(key)
        if value <= 0:
            raise self._wrong(key, value, "above zero")
        return value

    def index(self, key: str, items: Sequence[object], what: str) -> int:
        """The number of one of `items`, from 0."""
        index = self.whole(key)
        if not 0 <= index < len(items):
            raise CommandError(
                f"{self._where} is about {what} {index + 1}, and the job has {len(items)}; it must be one of those: "
                "reload the page."
            )
        return index

    def words(self, key: str, *, most: int = MOST_TEXT, lines: bool = False) -> str:
        """Readable text."""
        text = self.text(key)
        if len(text) > most:
            raise CommandError(
                f"The text {text[:40]!a}... has {len(text)} signs; at most {most} are kept: make it shorter."
            )
        plain = text.replace("\n", "").replace("\t", "") if lines else text
        if not is_readable_text(text) or any(sign < " " or "\x7f" <= sign <= "\x9f" for sign in plain):
            raise CommandError(f"The text {text[:40]!a} holds signs that cannot be read; letters are needed: type it.")
        return text

    def optional_words(self, key: str) -> str | None:
        """Readable text, or None where there is none."""
        return self.words(key) if self.has(key) and self._values[key] is not None else None

    def optional_above_zero(self, key: str) -> float | None:
        """A number above zero, or None where there is none."""
        return self.above_zero(key) if self.has(key) and self._values[key] is not None else None

    def plan_mm(self, key: str) -> list[float]:
        """A point [x, y] on the build's paper, mm, to a thousandth."""
        x, y = (round(value, DIGITS) + 0.0 for value in self.point(key))
        if not all(math.isfinite(value) and abs(value) <= FARTHEST_PX for value in (x, y)):
            raise self._wrong(key, [x, y], f"within {FARTHEST_PX:g} mm")
        return [x, y]


def mark_of(values: JsonValues) -> Mark:
    """Give the mark of a settled mark's values."""
    return Mark(values["x_px"], values["y_px"], Settled(values["settled"]))
