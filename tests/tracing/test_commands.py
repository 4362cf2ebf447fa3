"""Commands: what is malformed is one sentence, what is fine is plain JSON that gives the same job again."""

import json
import math
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from digitize.choices import Action, Choice
from digitize.traces import Trace
from drawing.errors import ScantlingError
from job.job import Job, Settled, Sheet
from job.settle import Landmarks
from tests.tracing.gestures import HEIGHT, WIDTH, Hand
from tracing.commands import COMMANDS, apply, resolve, words
from tracing.session import Session

JOB = Job("plan", Sheet(Path("/plans/plan.png"), "ab" * 32))
LANDMARKS = Landmarks(
    np.random.default_rng(3).uniform(0, 3000, (5000, 2)), np.full(5000, 0.15), 12.0, int(WIDTH), int(HEIGHT)
)


def grown(seed: int, count: int) -> Job:
    """A job after some gestures."""
    job, hand = JOB, Hand(seed)
    for _ in range(count):
        try:
            job = apply(job, resolve(hand.gesture(job), job, None))
        except ScantlingError:
            continue
    return job


GROWN = grown(4, 300)

numbers = st.one_of(
    st.integers(-5, 5),
    st.floats(),
    st.integers(),
    st.sampled_from([10**400, -(10**20), 1e308, math.nan, math.inf, -0.0, 1e-300]),
)
texts = st.one_of(
    st.text(max_size=12), st.sampled_from(["36 in", "1/2", "A4", "\ud800", "\0", "x" * 5000, "take", "ink"])
)
json_values = st.recursive(
    st.none() | st.booleans() | numbers | texts,
    lambda inner: st.lists(inner, max_size=5) | st.dictionaries(texts, inner, max_size=4),
    max_leaves=12,
)
KEYS = [
    "index", "start", "end", "text", "on_paper", "marks", "size_text", "mark", "kind", "note", "start_px", "cubics_px",
    "closed", "node", "which", "to", "inside_px", "area_px2", "action", "name", "points_px", "width_px", "keep", "on",
    "what", "origin_mm", "landscape", "page", "value", "do", "x_px", "y_px", "snap", "settled",
]  # fmt: skip


def one_sentence(error: ScantlingError) -> None:
    """A refusal is read by a person: short, on one line, ending as a sentence does."""
    said = str(error)
    assert said.endswith(".")
    assert "\n" not in said
    assert len(said) < 600
    said.encode()


@settings(max_examples=600, deadline=None)
@given(
    command=st.one_of(
        json_values,
        st.builds(
            lambda name, values: {**values, "do": name},
            st.sampled_from(sorted(COMMANDS)),
            st.dictionaries(st.sampled_from(KEYS), json_values, max_size=6),
        ),
    ),
    seen=st.booleans(),
)
def test_whatever_is_sent_is_done_or_refused_in_one_sentence(command: Any, seen: bool) -> None:
    try:
        resolved = resolve(command, GROWN, LANDMARKS if seen else None)
        apply(GROWN, resolved)
    except ScantlingError as error:
        one_sentence(error)


@settings(max_examples=600, deadline=None)
@given(data=st.data(), seed=st.integers(0, 2**32 - 1))
def test_a_valid_command_spoilt_in_one_place_is_done_or_refused_in_one_sentence(data: st.DataObject, seed: int) -> None:
    command = Hand(seed).gesture(GROWN)
    places = list(_places(command))
    path = data.draw(st.sampled_from(places))
    holder: Any = command
    for step in path[:-1]:
        holder = holder[step]
    if data.draw(st.booleans()):
        holder[path[-1]] = data.draw(json_values)
    else:
        del holder[path[-1]]

    try:
        resolved = resolve(command, GROWN, None)
        job = apply(GROWN, resolved)
    except ScantlingError as error:
        one_sentence(error)
        return
    assert resolve(json.loads(json.dumps(resolved)), GROWN, LANDMARKS) == resolved
    assert apply(GROWN, resolved) == job


def _places(value: Any, path: tuple[Any, ...] = ()) -> Any:
    """Every place in a command, as a path."""
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, inner in items:
        yield (*path, key)
        yield from _places(inner, (*path, key))


@settings(max_examples=150, deadline=None)
@given(seed=st.integers(0, 2**32 - 1))
def test_resolving_again_changes_nothing_and_takes_no_landmarks(seed: int) -> None:
    command = Hand(seed).gesture(GROWN)
    try:
        resolved = resolve(command, GROWN, LANDMARKS)
        job = apply(GROWN, resolved)
    except ScantlingError:
        return

    again = json.loads(json.dumps(resolved, allow_nan=False))

    assert resolve(again, GROWN, None) == resolved
    assert apply(GROWN, resolve(again, GROWN, None)) == job
    said = words(GROWN, resolved)
    assert said[0].isupper()
    assert len(said) < 300


MARK = {"x_px": 10.0, "y_px": 20.0, "snap": False}
OTHER = {"x_px": 400.0, "y_px": 20.0, "snap": False}


@pytest.mark.parametrize(
    ("command", "said"),
    [
        (None, "no object"),
        ({"do": "add_knwon"}, "'add_known' may be meant"),
        ({"do": 3}, "no name"),
        ({"do": "add_known", "start": MARK, "end": OTHER, "text": "36"}, "has no unit"),
        ({"do": "add_known", "start": MARK, "end": MARK, "text": "36 in"}, "needs two places"),
        ({"do": "add_known", "start": MARK, "end": {**OTHER, "x_px": 1e9}, "text": "36 in"}, "within 1e+06 px"),
        (
            {"do": "add_known", "start": MARK, "end": {"x_px": 1.0, "y_px": 2.0}, "text": "36 in"},
            "lacks the key 'snap'",
        ),
        ({"do": "add_known", "start": MARK, "end": OTHER, "text": "36 in", "colour": 1}, "'colour'"),
        ({"do": "add_known", "start": MARK, "end": OTHER, "text": "6 in " * 50}, "at most 200"),
        ({"do": "set_known", "index": 0, "text": "1 m"}, "the job has 0"),
        ({"do": "set_build_length", "start": MARK, "end": OTHER, "text": "990 mm ± 1 mm"}, "give or take"),
        ({"do": "set_fraction", "text": "0"}, "zero"),
        ({"do": "set_paper", "name": "A44"}, "no paper known"),
        ({"do": "set_margin", "text": "90 mm"}, "at least 60"),
        ({"do": "set_page", "page": 0}, "count from 1"),
        ({"do": "set_dpi", "value": 0.5}, "1 to 20 000"),
        ({"do": "set_name", "text": "  "}, "is empty"),
        ({"do": "set_name", "text": "a\0b"}, "cannot be read"),
        ({"do": "add_region", "points_px": [[0, 0], [9, 9], [9, 0], [0, 9]], "keep": "in"}, "cross one another"),
        ({"do": "add_measure", "kind": "angle", "marks": [MARK, OTHER], "note": ""}, "it needs 3"),
        ({"do": "rub", "points_px": [], "width_px": 4}, "1 to 10000 points"),
        (
            {"do": "add_trace", "start_px": [0, 0], "cubics_px": [[[1, 1], [2, 2]]], "closed": False},
            "three points each",
        ),
        ({"do": "add_trace", "start_px": [0, 0], "cubics_px": [[[1, 1], [2, 2], [3, 3]]], "closed": True}, "one point"),
        (
            {"do": "add_trace", "start_px": [True, 0], "cubics_px": [[[1, 1], [2, 2], [3, 3]]], "closed": False},
            "points",
        ),
    ],
)
def test_what_is_wrong_is_named(command: Any, said: str) -> None:
    with pytest.raises(ScantlingError) as told:
        apply(JOB, resolve(command, JOB, None))

    assert said in str(told.value)
    one_sentence(told.value)


def test_a_mark_outside_the_picture_is_refused_once_the_picture_is_known() -> None:
    command = {"do": "set_across", "start": MARK, "end": {**OTHER, "x_px": 4000.0}}

    assert resolve(command, JOB, None)["end"]["settled"] == "as given"
    with pytest.raises(ScantlingError, match="the picture is 4000 x 3000 px"):
        resolve(command, JOB, LANDMARKS)


def test_a_mark_that_may_move_waits_until_the_picture_is_seen() -> None:
    command = {"do": "set_across", "start": {**MARK, "snap": True}, "end": OTHER}

    job = apply(JOB, resolve(command, JOB, None))

    assert job.across is not None
    assert job.across.start.settled is Settled.NOT_YET
    assert job.across.end.settled is Settled.AS_GIVEN


def outline(x: float, y: float, area: float, **values: Any) -> dict[str, Any]:
    """A choice about an outline."""
    return {"do": "choose", "inside_px": [x, y], "area_px2": area, "action": "take", **values}


def done(job: Job, *commands: dict[str, Any]) -> Job:
    """A job with commands done."""
    for command in commands:
        job = apply(job, resolve(command, job, None))
    return job


def test_one_outline_has_one_choice_and_its_name_stays_with_it() -> None:
    job = done(
        JOB, outline(100, 100, 5000, name="rib 1"), outline(300, 100, 5000), outline(100.4, 100, 5200, action="drop")
    )

    assert [(c.inside_px[0], c.action, c.name) for c in job.choices] == [
        (300.0, Action.TAKE, ""),
        (100.4, Action.DROP, "rib 1"),
    ]
    job = done(job, {"do": "rename", "inside_px": [100.4, 100], "area_px2": 5200, "name": "former"})
    assert job.choices[-1] == Choice((100.4, 100.0), 5200.0, Action.DROP, "former")
    job = done(job, {"do": "rename", "inside_px": [900, 100], "area_px2": 5200, "name": "new"})
    assert job.choices[-1] == Choice((900.0, 100.0), 5200.0, Action.TAKE, "new")


def test_a_hole_and_a_neighbour_of_like_area_keep_choices_of_their_own() -> None:
    job = done(JOB, outline(100, 100, 5000), outline(100, 100, 2000), outline(100, 106, 5000))

    assert len(job.choices) == 3


def test_a_node_takes_its_handles_along_and_a_closed_line_stays_closed() -> None:
    circle = {
        "do": "add_trace",
        "start_px": [0, 0],
        "cubics_px": [[[1, 0], [2, 1], [2, 2]], [[2, 3], [0, 1], [0, 0]]],
        "closed": True,
    }

    job = done(JOB, circle, {"do": "move_trace_node", "index": 0, "node": 2, "which": "node", "to": [10, 10]})

    trace = job.traces[0]
    assert trace == Trace(
        (10.0, 10.0), (((11.0, 10.0), (2.0, 1.0), (2.0, 2.0)), ((2.0, 3.0), (10.0, 11.0), (10.0, 10.0))), True
    )
    job = done(job, {"do": "move_trace_node", "index": 0, "node": 0, "which": "in", "to": [9, 9]})
    assert job.traces[0].cubics_px[1][1] == (9.0, 9.0)
    job = done(job, {"do": "move_trace_node", "index": 0, "node": 1, "which": "out", "to": [5, 5]})
    assert job.traces[0].cubics_px[1][0] == (5.0, 5.0)


def test_a_wanted_length_and_a_fraction_replace_each_other() -> None:
    length = {"do": "set_build_length", "start": MARK, "end": OTHER, "text": "990 mm"}
    grid = {"do": "set_grid", "origin_mm": [1, 2], "landscape": True}

    job = done(JOB, {"do": "set_fraction", "text": "1/2"}, length, grid)

    assert job.build_length is not None
    assert job.kept_grid is not None
    assert job.fraction == 1
    assert job.kept_grid.fraction is None
    job = done(job, {"do": "set_fraction", "text": "1:3"})
    assert job.build_length is None
    assert job.kept_grid is None


def test_another_page_forgets_where_the_plan_lay_on_this_one() -> None:
    job = replace(JOB, sheet=replace(JOB.sheet, origin_px=(1.0, 2.0)))
    job = done(job, {"do": "set_grid", "origin_mm": [1, 2], "landscape": True})

    assert done(job, {"do": "set_page", "page": 1}) == job
    other = done(job, {"do": "set_page", "page": 2})

    assert other.sheet.origin_px is None
    assert other.kept_grid is None


GESTURE_SECONDS = 0.005
"""What a gesture may take in Python; the rest of the 10 ms is the way to the page and back."""


def test_a_gesture_on_a_large_job_takes_no_time(tmp_path: Path) -> None:
    hand = Hand(1)
    job = replace(JOB, sheet=replace(JOB.sheet, file=tmp_path / "plan.png"))
    for n in range(200):
        trace = {
            "do": "add_trace",
            "start_px": hand.at(),
            "cubics_px": [[hand.at()] * 3 for _ in range(12)],
            "closed": False,
        }
        job = done(job, trace)
        job = replace(job, choices=(*job.choices, Choice((float(n), 5.0), 100.0 + n, Action.TAKE, f"part {n}")))
    job = replace(
        job, choices=tuple(Choice((float(n % 900), 7.0 * n), 50.0 + n, Action.TAKE, f"p {n}") for n in range(500))
    )
    session = Session.open(tmp_path / "j", job, key="k")
    session.landmarks = LANDMARKS
    seconds = []

    for _ in range(300):
        command = hand.gesture(session.job)
        begun = time.perf_counter()
        try:
            session.do(command, base=session.revision)
        except ScantlingError:
            continue
        seconds.append(time.perf_counter() - begun)

    session.close()
    print(f"\na gesture on 500 choices and 200 traces: median {1000 * np.median(seconds):.2f} ms, "
          f"95 % under {1000 * np.quantile(seconds, 0.95):.2f} ms")  # fmt: skip
    assert np.median(seconds) < GESTURE_SECONDS
