"""Whatever is sent to the routes, the answer is a sentence or a reply, never a 500, and the job stays whole."""

import asyncio
import json
from collections.abc import Awaitable, Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from job.job_file import job_text, read_job
from tests.small_plan import SmallPlan
from tests.tracing.conftest import Served, a_server
from tracing.desk import Places

NAMES = (
    "add_known", "set_known", "remove_known", "add_check", "set_check", "remove_check", "set_corners", "move_corner",
    "clear_corners", "set_across", "clear_across", "add_straight", "remove_straight", "ignore", "add_trace",
    "move_trace_node", "set_trace", "remove_trace", "choose", "unchoose", "rename", "add_region", "remove_region",
    "rub", "remove_rub", "set_fraction", "set_build_length", "set_mirrored", "set_lines_only", "set_paper",
    "set_margin", "set_overlap", "set_grid", "clear_grid", "set_kind", "set_drawn_at", "set_card_bar", "set_trust_size",
    "set_dpi", "add_measure", "set_measure", "remove_measure", "set_notes", "set_name", "nothing",
)  # fmt: skip
FIELDS = (
    "start", "end", "text", "on_paper", "index", "marks", "size_text", "mark", "what", "on", "start_px", "cubics_px",
    "closed", "node", "to", "which", "inside_px", "area_px2", "action", "name", "points_px", "keep", "width_px",
    "origin_mm", "landscape", "page", "kind", "value", "note", "__class__",
)  # fmt: skip

numbers = st.one_of(
    st.integers(-5, 2000), st.floats(-1e4, 1e4), st.just(10**400), st.sampled_from([1e308, -1e-320, 2**63])
)
texts = st.one_of(
    st.text(max_size=12), st.sampled_from(["36 in", "1/2", "A4", "6 mm", "length", "take", "in", "\0", "9" * 500])
)
points = st.lists(numbers, min_size=2, max_size=2)
marks = st.fixed_dictionaries({"x_px": numbers, "y_px": numbers, "snap": st.booleans()})
odd = st.recursive(
    st.one_of(st.none(), st.booleans(), numbers, texts),
    lambda inner: st.one_of(st.lists(inner, max_size=4), st.dictionaries(texts, inner, max_size=3)),
    max_leaves=8,
)
values = st.one_of(numbers, texts, points, marks, st.lists(marks, max_size=5), st.lists(points, max_size=6), odd)
commands = st.builds(
    lambda name, fields: {**fields, "do": name},
    st.one_of(st.sampled_from(NAMES), odd),
    st.dictionaries(st.sampled_from(FIELDS), values, max_size=6),
)


class Opened:
    """A server with the small plan open, kept for all of a test's examples."""

    def __init__(self, runner: asyncio.Runner, server: Served, key: str) -> None:
        self.runner = runner
        self.server = server
        self.at = f"/api/job/{key}"

    def post(self, path: str, body: bytes, kind: str = "application/json") -> tuple[int, Any]:
        async def post() -> tuple[int, Any]:
            answer = await self.server.client.post(f"{self.at}{path}", content=body, headers={"content-type": kind})
            return answer.status_code, answer.json()

        return self.runner.run(post())

    @property
    def revision(self) -> int:
        assert self.server.desk.job is not None
        return self.server.desk.job.session.revision


@pytest.fixture
def opened(places: Places, small_plan: SmallPlan) -> Iterator[Opened]:
    with asyncio.Runner() as runner:
        serving = a_server(places)
        server = runner.run(_entered(serving.__aenter__))
        answer = runner.run(server.client.post("/api/open", json={"path": str(small_plan.path)}))
        yield Opened(runner, server, answer.json()["key"])
        runner.run(serving.__aexit__(None, None, None))


async def _entered(enter: Callable[[], Awaitable[Served]]) -> Served:
    return await enter()


ONE_SERVER = settings(
    max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
)


@ONE_SERVER
@given(command=commands, stale=st.booleans())
def test_a_malformed_command_is_one_sentence(opened: Opened, command: dict[str, Any], stale: bool) -> None:
    base = opened.revision - stale
    try:
        body = json.dumps({"base": base, "command": command}).encode()
    except UnicodeEncodeError:
        return
    status, said = opened.post("/command", body)

    assert status in (200, 400, 409, 422), said
    if status == 200:
        # A command that changes nothing is no step.
        assert said["revision"] - base in (0, 1)
        assert said["revision"] == opened.revision
        # What was taken is a job: it can be written and read back as it is.
        _round_trip(opened)
    else:
        assert said["error"].endswith((".", "?"))
        assert "\n" not in said["error"]
        assert len(said["error"]) < 1500


@ONE_SERVER
@given(body=st.one_of(st.binary(max_size=60), odd.map(lambda value: json.dumps(value).encode())), path=st.sampled_from(
    ["/command", "/undo", "/redo", "/conflict", "/export", "/tasks/x/cancel"]
))  # fmt: skip
def test_a_body_that_is_no_request_is_one_sentence(opened: Opened, body: bytes, path: str) -> None:
    status, said = opened.post(path, body)

    assert status in (200, 400, 404, 409, 422), said
    if status != 200:
        assert said["error"].endswith(".")


@pytest.mark.parametrize("body", [
    b"", b"{", b"[" * 100_000, b'{"a":' * 50_000, b"\xff\xfe", b'{"base": NaN}', b'{"base": 1e999}', b"null", b'"text"',
    b'{"base": 0, "base": "x"}', b'{"base": ' + b"9" * 5000 + b"}", b'{"base": true, "command": {}}',
])  # fmt: skip
def test_odd_json_is_one_sentence(opened: Opened, body: bytes) -> None:
    status, said = opened.post("/command", body)

    assert status in (400, 422)
    assert said["error"].endswith(".")


@pytest.mark.parametrize("kind", ["text/plain", "application/x-www-form-urlencoded", "multipart/form-data", ""])
def test_what_a_form_of_another_site_can_send_is_refused(opened: Opened, kind: str) -> None:
    """The three types are those that HTML forms send without asking first (WHATWG Fetch, CORS-safelisted)."""
    status, _ = opened.post("/command", b'{"base": 0, "command": {"do": "set_notes", "text": "x"}}', kind)

    assert status == 415
    assert opened.revision == 0


def _round_trip(opened: Opened) -> None:
    job_now = opened.server.desk.job
    assert job_now is not None
    folder = Path(job_now.folder)
    text = job_text(job_now.session.job, folder=folder)
    copy = folder / "copy.toml"
    copy.write_text(text, encoding="utf-8")
    assert read_job(copy) == job_now.session.job
