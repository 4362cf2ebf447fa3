"""Gestures as a builder might make them: any number of valid commands on a job, from a seed."""

import random
from collections.abc import Callable
from typing import Any

from job.job import Job

Command = dict[str, Any]

WIDTH, HEIGHT = 4000.0, 3000.0
LENGTHS = ["36 in", "2' 6\"", "190.5 mm", "7-1/2 in ± 1/8 in", "1 m", "40 cm / 2"]


class Hand:
    """Makes one valid command after another for whatever the job is by then."""

    def __init__(self, seed: int) -> None:
        self._random = random.Random(seed)

    def gesture(self, job: Job) -> Command:
        """Give a command that the job can take."""
        while True:
            command = self._random.choice(GESTURES)(self, job)
            if command is not None:
                return command

    def at(self) -> list[float]:
        """A point on the picture."""
        return [self._random.uniform(0, WIDTH - 1), self._random.uniform(0, HEIGHT - 1)]

    def mark(self) -> Command:
        """A mark."""
        x, y = self.at()
        return {"x_px": x, "y_px": y, "snap": self._random.random() < 0.5}

    def ends(self) -> Command:
        """Two marks in two places."""
        return {"start": self.mark(), "end": self.mark()}

    def length(self) -> str:
        """A length as people write it."""
        return self._random.choice(LENGTHS)

    def flag(self) -> bool:
        """Yes or no."""
        return self._random.random() < 0.5

    def one(self, *options: Any) -> Any:
        """One of a few."""
        return self._random.choice(options)

    def index(self, items: tuple[Any, ...]) -> int:
        """The number of one of some."""
        return self._random.randrange(len(items))

    def number(self, low: float, high: float) -> float:
        """A number between two."""
        return self._random.uniform(low, high)

    def trace(self) -> Command:
        """A traced line of a few curves."""
        start = self.at()
        cubics = [[self.at(), self.at(), self.at()] for _ in range(self._random.randint(1, 6))]
        closed = self.flag()
        if closed:
            cubics[-1][2] = list(start)
        return {"start_px": start, "cubics_px": cubics, "closed": closed}

    def box(self) -> list[list[float]]:
        """Four corners of an upright box."""
        (x, y), w, h = self.at(), self.number(5, 900), self.number(5, 900)
        return [[x, y], [x + w, y], [x + w, y + h], [x, y + h]]

    def outline(self, job: Job) -> Command:
        """An outline: one chosen before, found again, or a new one."""
        if job.choices and self.flag():
            choice = self._random.choice(job.choices)
            x, y = choice.inside_px
            return {"inside_px": [x + self.number(-0.5, 0.5), y], "area_px2": choice.area_px2 * self.number(0.95, 1.05)}
        return {"inside_px": self.at(), "area_px2": self.number(10, 1e6)}


Gesture = Callable[[Hand, Job], Command | None]


def _some(hand: Hand, **values: Any) -> Command:
    """Some of several values, at least one."""
    names = [name for name in values if hand.flag()] or [hand.one(*values)]
    return {name: values[name] for name in names}


def _measure_marks(hand: Hand, kind: str) -> list[Command]:
    count = {"length": 2, "angle": 3, "radius": 3, "note": 1, "area": 5}[kind]
    return [hand.mark() for _ in range(count)]


def _add_measure(hand: Hand, job: Job) -> Command:
    kind = hand.one("length", "angle", "area", "radius", "note")
    note = hand.one("", "wash out 3 mm", 'a "quoted" \\ note')
    return {"do": "add_measure", "kind": kind, "marks": _measure_marks(hand, kind), "note": note}


def _set_measure(hand: Hand, job: Job) -> Command | None:
    if not job.measures:
        return None
    index = hand.index(job.measures)
    kind = str(job.measures[index].kind)
    values = _some(hand, note=hand.one("a", "b", "ü"), marks=_measure_marks(hand, kind))
    return {"do": "set_measure", "index": index, **values}


def _move_node(hand: Hand, job: Job) -> Command | None:
    if not job.traces:
        return None
    index = hand.index(job.traces)
    trace = job.traces[index]
    node = hand.one(*range(len(trace.cubics_px) + 1))
    which = hand.one("node", "in", "out")
    if not trace.closed and (which, node) in (("in", 0), ("out", len(trace.cubics_px))):
        which = "node"
    return {"do": "move_trace_node", "index": index, "node": node, "which": which, "to": hand.at()}


def _remove(kind: str, field: str) -> Gesture:
    def gesture(hand: Hand, job: Job) -> Command | None:
        items = getattr(job, field)
        return {"do": kind, "index": hand.index(items)} if items else None

    return gesture


def _on(field: str, make: Callable[[Hand, Job, int], Command]) -> Gesture:
    def gesture(hand: Hand, job: Job) -> Command | None:
        items = getattr(job, field)
        return make(hand, job, hand.index(items)) if items else None

    return gesture


GESTURES: list[Gesture] = [
    lambda hand, job: {"do": "add_known", **hand.ends(), "text": hand.length(), "on_paper": hand.flag()},
    lambda hand, job: {"do": "add_check", **hand.ends(), "text": hand.length()},
    _on(
        "knowns",
        lambda hand, job, n: {
            "do": "set_known",
            "index": n,
            **_some(hand, text=hand.length(), on_paper=hand.flag(), **hand.ends()),
        },
    ),
    _on(
        "checks", lambda hand, job, n: {"do": "set_check", "index": n, **_some(hand, text=hand.length(), **hand.ends())}
    ),
    _remove("remove_known", "knowns"),
    _remove("remove_check", "checks"),
    lambda hand, job: {
        "do": "set_corners",
        "marks": [hand.mark() for _ in range(4)],
        "size_text": hand.one(None, "A3", "420 x 297 mm"),
    },
    lambda hand, job: (
        None if job.corners is None else {"do": "move_corner", "index": hand.one(0, 1, 2, 3), "mark": hand.mark()}
    ),
    lambda hand, job: {"do": "clear_corners"},
    lambda hand, job: {"do": "set_across", **hand.ends()},
    lambda hand, job: {"do": "clear_across"},
    lambda hand, job: {"do": "add_straight", **hand.ends()},
    _on("straights", lambda hand, job, n: {"do": "set_straight", "index": n, **_some(hand, **hand.ends())}),
    _remove("remove_straight", "straights"),
    lambda hand, job: {"do": "ignore", "what": hand.one("drawn border", "skew", "paper edge"), "on": hand.flag()},
    lambda hand, job: {"do": "add_trace", **hand.trace()},
    _on("traces", lambda hand, job, n: {"do": "set_trace", "index": n, **hand.trace()}),
    _move_node,
    _remove("remove_trace", "traces"),
    lambda hand, job: {"do": "choose", **hand.outline(job), "action": hand.one("take", "drop")},
    lambda hand, job: {
        "do": "choose",
        **hand.outline(job),
        "action": hand.one("take", "drop"),
        "name": hand.one("", "rib 3"),
    },
    lambda hand, job: {"do": "rename", **hand.outline(job), "name": hand.one("fin", "former 2", "")},
    _remove("unchoose", "choices"),
    lambda hand, job: {"do": "add_region", "points_px": hand.box(), "keep": hand.one("in", "out")},
    _on(
        "regions",
        lambda hand, job, n: {
            "do": "set_region",
            "index": n,
            **_some(hand, points_px=hand.box(), keep=hand.one("in", "out")),
        },
    ),
    _remove("remove_region", "regions"),
    lambda hand, job: {
        "do": "rub",
        "points_px": [hand.at() for _ in range(hand.one(1, 2, 30))],
        "width_px": hand.number(1, 200),
    },
    _remove("remove_rub", "rubbed"),
    lambda hand, job: {"do": "set_fraction", "text": hand.one("1/2", "0.62", "50 %", "1:3", "2", "1/7")},
    lambda hand, job: {"do": "set_build_length", **hand.ends(), "text": hand.one("990 mm", "39 in")},
    lambda hand, job: {"do": "set_mirrored", "on": hand.flag()},
    lambda hand, job: {"do": "set_lines_only", "on": hand.flag()},
    lambda hand, job: {"do": "set_paper", "name": hand.one("A4", "a3", "Letter", "300x400mm", "11.7 x 16.54 in")},
    lambda hand, job: {"do": "set_margin", "text": hand.one("6 mm", "0 mm", "1/3 in", "8.5 mm")},
    lambda hand, job: {"do": "set_overlap", "text": hand.one("10 mm", "0", "1/2 in")},
    lambda hand, job: {
        "do": "set_grid",
        "origin_mm": [hand.number(-500, 500), hand.number(-500, 500)],
        "landscape": hand.flag(),
    },
    lambda hand, job: {"do": "clear_grid"},
    lambda hand, job: {"do": "set_page", "page": hand.one(1, 2, 3)},
    lambda hand, job: {"do": "set_kind", "kind": hand.one("auto", "photo", "scan")},
    lambda hand, job: {"do": "set_drawn_at", "text": hand.one(None, "1/4", "1:3")},
    lambda hand, job: {"do": "set_card_bar", "text": hand.one(None, "199.4 mm", "199.4 x 149.7 mm")},
    lambda hand, job: {"do": "set_trust_size", "on": hand.flag()},
    lambda hand, job: {"do": "set_dpi", "value": hand.one(None, 300, 299.97, 1200)},
    _add_measure,
    _set_measure,
    _remove("remove_measure", "measures"),
    lambda hand, job: {"do": "set_notes", "text": hand.one("", "balsa 3 mm\nglue: the white one", "ünïcode ✓")},
    lambda hand, job: {"do": "set_name", "text": hand.one("plan", 'Pipple "2"', "Flügel")},
]
