"""What the page waits for: a length while lines are drawn, an export's end, marks that were made before the ink."""

import asyncio
import contextlib
import math
from collections.abc import AsyncIterator
from typing import Any

import pytest

from tests.small_plan import SmallPlan
from tests.tracing.conftest import Serve
from tests.tracing.served_page import Page, good, known, on_small_plan
from tracing.looking import Looking

SLOW_SECONDS = 8.0
"""Longer than a question about the scale waits: a drawing of a large plan."""


def test_a_length_is_told_while_the_outlines_of_an_older_job_are_drawn(
    served: Serve, small_plan: SmallPlan, monkeypatch: pytest.MonkeyPatch
) -> None:
    drawing = asyncio.Event()
    ask = Looking.ask

    async def slow(self: Looking, job: Any, name: str, *values: Any) -> Any:
        drawing.set()
        await asyncio.sleep(SLOW_SECONDS)
        return await ask(self, job, name, *values)

    async def test(page: Page) -> None:
        await page.results("seen")
        monkeypatch.setattr(Looking, "ask", slow)
        await page.do(known(small_plan))
        await asyncio.wait_for(drawing.wait(), 30)
        await page.do(known(small_plan, "340 mm"))
        await page.do({"do": "remove_known", "index": 0})

        points = [small_plan.px(20, 20), small_plan.px(100, 20)]
        told = good(await page.client.post(f"{page.at}/measure", json={"kind": "length", "points": points}))

        # The second length says that the frame is twice as wide; the plate of 80 mm is then one of 160.
        assert told["full"] == pytest.approx(160, abs=0.2)

    on_small_plan(served, small_plan, test)


def test_nothing_is_worked_on_once_an_export_has_ended(served: Serve, small_plan: SmallPlan) -> None:
    async def test(page: Page) -> None:
        await page.do(known(small_plan))
        await page.results("seen", "scale", "outlines", "pages")
        good(await page.client.post(f"{page.at}/export", json={}))
        job = page.desk.job
        assert job is not None
        events = job.hub.stream([])
        ended = False
        while not ended:
            event = (await asyncio.wait_for(anext(events), 60)).decode()
            ended = event.startswith("event: task") and '"done"' in event

        view = await page.view()

        assert {result["of"] for result in view["results"].values()} == {view["revision"]}
        heard = await _heard(events, seconds=1.5)
        assert [event for event in heard if event.startswith(("event: results", "event: state"))] == []
        await events.aclose()  # type: ignore[attr-defined]

    on_small_plan(served, small_plan, test)


async def _heard(events: AsyncIterator[bytes], *, seconds: float) -> list[str]:
    heard: list[str] = []
    with contextlib.suppress(TimeoutError):
        async with asyncio.timeout(seconds):
            while True:
                heard.append((await anext(events)).decode())
    return heard


def test_an_export_has_nothing_drawn_anew(
    served: Serve, small_plan: SmallPlan, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[str] = []
    ask = Looking.ask

    async def counted(self: Looking, job: Any, name: str, *values: Any) -> Any:
        asked.append(name)
        return await ask(self, job, name, *values)

    async def test(page: Page) -> None:
        await page.do(known(small_plan))
        await page.results("seen", "scale", "outlines", "pages")
        monkeypatch.setattr(Looking, "ask", counted)
        good(await page.client.post(f"{page.at}/export", json={}))
        assert (await page.task("export"))["state"] == "done"
        await page.results("seen", "scale", "outlines", "pages")

        # The page grid is written down by it, so that the pages alone are laid once more.
        assert asked in ([], ["lay"])

    on_small_plan(served, small_plan, test)


def test_marks_made_before_the_picture_was_seen_lie_on_the_ink_once_it_is(served: Serve, small_plan: SmallPlan) -> None:
    async def test(page: Page) -> None:
        off = known(small_plan)
        for end in ("start", "end"):
            off[end]["x_px"] += 1.5
        before = (await page.do(off))["job"]["knowns"][0]
        # The picture takes longer to see than this command; on a machine where it does not, nothing is left to show.
        waited = before["start"]["settled"] == "not yet"

        await page.results("seen", "scale")

        job = (await page.view())["job"]
        truth = known(small_plan)
        for end in ("start", "end"):
            mark = job["knowns"][0][end]
            assert mark["settled"] == "ink"
            assert math.dist((mark["x_px"], mark["y_px"]), (truth[end]["x_px"], truth[end]["y_px"])) < 0.3
        assert waited
        # It is no step: one undo takes the length away, one redo brings it back to the ink.
        base = (await page.view())["revision"]
        undone = good(await page.client.post(f"{page.at}/undo", json={"base": base}))
        assert undone["job"]["knowns"] == []
        again = good(await page.client.post(f"{page.at}/redo", json={"base": undone["revision"]}))
        assert again["job"]["knowns"] == job["knowns"]

    on_small_plan(served, small_plan, test)
