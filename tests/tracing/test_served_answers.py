"""Questions about a picture in the page's server, and the process that answers them."""

import asyncio
import io
import os
import signal
from typing import Any

import pytest
from PIL import Image

from tests.small_plan import FRAME_MM, STRIP_MM, SmallPlan
from tests.tracing.conftest import Serve
from tests.tracing.served_page import PATIENCE_SECONDS, Page, good, known, on_small_plan, until_answered


def test_a_process_that_dies_is_told_of_and_replaced(served: Serve, small_plan: SmallPlan) -> None:
    async def test(page: Page) -> None:
        async with asyncio.timeout(PATIENCE_SECONDS):
            while (pid := _process(page)) is None:
                await asyncio.sleep(0.02)
        os.kill(pid, signal.SIGKILL)
        seen = (await page.results("seen"))["seen"]
        assert seen["error"].startswith("The process for this picture ended before it was done")

        # Opened again it looks again, and draws in a process that is there.
        good(await page.client.post("/api/open", json={"path": str(small_plan.path)}))
        await page.until(lambda view: bool(view["results"]["seen"]["ok"]))
        await page.do(known(small_plan))
        assert (await page.results("pages"))["pages"]["ok"]
        second = _process(page)
        assert second is not None
        os.kill(second, signal.SIGKILL)
        await page.do({"do": "set_fraction", "text": "1/2"})
        pages = (await page.results("pages"))["pages"]
        assert (pages["error"], pages["fraction"]) == (None, "1/2")

    on_small_plan(served, small_plan, test)


def _process(page: Page) -> int | None:
    assert page.desk.job is not None
    return page.desk.job.stages.process


def test_a_mark_is_told_where_it_would_go(served: Serve, small_plan: SmallPlan) -> None:
    async def test(page: Page) -> None:
        x, y = small_plan.px(0, 0)
        early = good(await page.client.post(f"{page.at}/snap", json={"at": [x + 3, y - 2], "reach_px": 8}))
        assert early["what"] in ("not yet", "corner")
        await until_answered(page)
        found = good(await page.client.post(f"{page.at}/snap", json={"at": [x + 3, y - 2], "reach_px": 8}))
        assert found["what"] == "corner"
        # The corner was drawn at a place known to a few thousandths of a px.
        assert found["at"] == pytest.approx([x, y], abs=0.3)
        landmarks = good(await page.client.get(f"{page.at}/landmarks"))["points"]
        assert landmarks[found["number"] - 1] == pytest.approx(found["at"], abs=1e-3)

    on_small_plan(served, small_plan, test)


def test_a_path_follows_the_ink_between_clicks(served: Serve, small_plan: SmallPlan) -> None:
    async def test(page: Page) -> None:
        await until_answered(page)
        clicks = [small_plan.px(x, STRIP_MM[1] - FRAME_MM[1]) for x in (40, 60)]
        at = [[x, y + 2] for x, y in (small_plan.px(40, 75), small_plan.px(60, 75))]
        path = good(await page.client.post(f"{page.at}/ink_path", json={"points": at}))
        assert path["on_ink"]
        y_px = clicks[0][1]
        assert all(abs(y - y_px) < 0.5 for _, y in path["points_px"])
        way = good(await page.client.post(f"{page.at}/ink_way", json={"points": at, "reach_px": 0}))
        assert way == {
            **{name: path[name] for name in ("points_px", "on_ink", "words")},
            "ahead": {"at": at[-1], "what": "nothing", "number": None},
        }
        # With room to move, the way ends where a mark put there would go; where the last click was, there is none yet.
        asked = {"points": at, "reach_px": 6}
        way = good(await page.client.post(f"{page.at}/ink_way", json=asked))
        snapped = good(await page.client.post(f"{page.at}/snap", json={"at": at[-1], "reach_px": 6}))
        assert way["ahead"] == snapped
        assert way["points_px"][-1] == pytest.approx(snapped["at"], abs=0.01)
        way = good(await page.client.post(f"{page.at}/ink_way", json={"points": [at[0]] * 2, "reach_px": 0}))
        assert way["points_px"] == [at[0]] * 2

    on_small_plan(served, small_plan, test)


def test_a_length_is_measured_and_refused_while_there_is_no_scale(served: Serve, small_plan: SmallPlan) -> None:
    async def test(page: Page) -> None:
        await until_answered(page)
        ends = [small_plan.px(20, 20), small_plan.px(100, 20)]
        asked = {"kind": "length", "points": ends}
        refused = await page.client.post(f"{page.at}/measure", json=asked)
        assert refused.status_code == 422
        assert refused.json()["error"].startswith("Nothing tells how large")

        await page.do(known(small_plan))
        # Asked at once: the answer waits for the scale of the job as it stands.
        measured = good(await page.client.post(f"{page.at}/measure", json=asked))
        assert measured["full"] == pytest.approx(80, abs=0.1)
        assert 0 < measured["u95"] < 1
        await page.do({"do": "set_fraction", "text": "1/2"})
        halved = good(await page.client.post(f"{page.at}/measure", json=asked))
        assert halved["build"] == pytest.approx(measured["full"] / 2)

    on_small_plan(served, small_plan, test)


def test_the_flat_picture_is_shown_with_and_without_a_scale(served: Serve, small_plan: SmallPlan) -> None:
    async def test(page: Page) -> None:
        await until_answered(page)
        for _ in range(2):
            answer = await page.client.get(f"{page.at}/flat.jpg", params={"of": 0, "width": 400})
            assert answer.headers["content-type"] == "image/jpeg"
            with Image.open(io.BytesIO(answer.content)) as flat:
                assert flat.width <= 400
                # The sheet is 190 by 130 mm.
                assert flat.width / flat.height == pytest.approx(190 / 130, rel=0.02)
            await page.do(known(small_plan))

    on_small_plan(served, small_plan, test)


@pytest.mark.parametrize("path", ["snap", "ink_way", "ink_path", "measure"])
def test_odd_questions_are_one_sentence(served: Serve, small_plan: SmallPlan, path: str) -> None:
    odd: list[dict[str, Any]] = [
        {}, {"at": [1], "reach_px": 1}, {"at": ["1", 2], "reach_px": 1}, {"at": [1, 2], "reach_px": -1},
        {"points": [[0, 0]], "kind": "odd"}, {"points": [[0, 0]] * 20_000, "kind": "area"}, {"points": "x", "kind": 3},
        {"points": [[1, 1], [1, 1]], "kind": "length"}, {"points": [[1e300, 1], [1, 1]], "kind": "length"},
        {"points": [[9e8, 9e8], [-9e8, 1]], "kind": "length"}, {"points": [[True, False], [1, 1]], "kind": "here"},
    ]  # fmt: skip

    async def test(page: Page) -> None:
        await until_answered(page)
        await page.do(known(small_plan))
        for asked in odd:
            answer = await page.client.post(f"{page.at}/{path}", json=asked)
            assert answer.status_code in (200, 422), answer.text
            if answer.status_code == 422:
                assert answer.json()["error"].endswith(".")

    on_small_plan(served, small_plan, test)
