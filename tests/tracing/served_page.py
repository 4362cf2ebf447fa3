"""What the page does on the server, for tests: opens, commands, waits."""

import asyncio
from collections.abc import Awaitable, Callable
from typing import Any

import httpx

from tests.small_plan import FRAME_MM, SmallPlan
from tests.tracing.conftest import Serve, Served

PATIENCE_SECONDS = 60.0
"""For processes that start on a busy computer."""


class Page:
    """What the page's script does, in few words."""

    def __init__(self, server: Served, key: str) -> None:
        self.client = server.client
        self.desk = server.desk
        self.at = f"/api/job/{key}"

    async def view(self) -> dict[str, Any]:
        answer = await self.client.get(self.at)
        assert answer.status_code == 200
        values: dict[str, Any] = answer.json()
        return values

    async def do(self, command: dict[str, Any]) -> dict[str, Any]:
        base = (await self.view())["revision"]
        return good(await self.client.post(f"{self.at}/command", json={"base": base, "command": command}))

    async def results(self, *stages: str) -> dict[str, Any]:
        """Wait until the stages' results are those of the job as it stands."""

        def there(view: dict[str, Any]) -> bool:
            of = [view["results"][stage] and view["results"][stage]["of"] for stage in stages]
            return all(one == view["revision"] for one in of)

        results: dict[str, Any] = (await self.until(there))["results"]
        return results

    async def task(self, kind: str) -> dict[str, Any]:
        """Wait until a task is over."""

        def over(view: dict[str, Any]) -> bool:
            return any(task["kind"] == kind and task["state"] != "running" for task in view["tasks"])

        view = await self.until(over)
        return next(task for task in view["tasks"] if task["kind"] == kind)

    async def until(self, there: Callable[[dict[str, Any]], bool]) -> dict[str, Any]:
        async with asyncio.timeout(PATIENCE_SECONDS):
            while True:
                view = await self.view()
                if there(view):
                    return view
                await asyncio.sleep(0.05)


def known(plan: SmallPlan, text: str = "170 mm") -> dict[str, Any]:
    """The frame's lower side."""
    (x0, y0), (x1, y1) = plan.px(0, 0), plan.px(FRAME_MM[2] - FRAME_MM[0], 0)
    ends = {"start": {"x_px": x0, "y_px": y0, "snap": True}, "end": {"x_px": x1, "y_px": y1, "snap": True}}
    return {"do": "add_known", **ends, "text": text}


def on_small_plan(served: Serve, plan: SmallPlan, test: Callable[[Page], Awaitable[None]]) -> None:
    """Open the small plan and run a test on its page."""

    async def with_page(server: Served) -> None:
        opened = good(await server.client.post("/api/open", json={"path": str(plan.path)}))
        await test(Page(server, opened["key"]))

    served(with_page)


def good(answer: httpx.Response) -> dict[str, Any]:
    """Give what was answered, which must be no refusal."""
    assert answer.status_code == 200, answer.text
    values: dict[str, Any] = answer.json()
    return values


async def until_answered(page: Page) -> None:
    """Wait until the picture has been seen and questions about it are answered."""
    await page.results("seen")
    async with asyncio.timeout(PATIENCE_SECONDS):
        while page.desk.job is None or page.desk.job.answers is None:
            await asyncio.sleep(0.02)
