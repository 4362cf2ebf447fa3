"""Exports from the page's server: what `make` writes, or nothing."""

import asyncio
import hashlib
import json
from pathlib import Path

from job.job_file import read_job
from job.make import Typed, make
from job.progress import Silent
from tests.small_plan import SmallPlan
from tests.tracing.conftest import Serve
from tests.tracing.served_page import Page, good, known, on_small_plan


def _hash(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def test_export_writes_what_make_writes_from_the_saved_job(
    served: Serve, small_plan: SmallPlan, tmp_path: Path
) -> None:
    """Files that carry no date must be the same to the byte as those of the command on the same job."""

    async def test(page: Page) -> None:
        await page.results("seen")
        await page.do(known(small_plan))
        await page.do({"do": "set_fraction", "text": "1/2"})
        good(await page.client.post(f"{page.at}/export", json={}))
        task = await page.task("export")
        assert (task["state"], task["error"]) == ("done", None)
        assert {"pages.pdf", "outlines.svg", "job.toml"} <= set(task["files"])

        folder = Path((await page.view())["folder"])
        again = tmp_path / "again"
        again.mkdir()
        job = again / "job.toml"
        text = (folder / "job.toml").read_text()
        relative = next(line for line in text.splitlines() if line.startswith("file = "))
        job.write_text(text.replace(relative, f"file = {json.dumps(str(small_plan.path))}"))
        await asyncio.to_thread(make, job, Typed(), folder=None, progress=Silent())
        for name in ("outlines.svg", "outlines.dxf", "outlines_arcs.dxf", "flat.png"):
            assert _hash(folder / name) == _hash(again / name), name
        assert read_job(job) == read_job(folder / "job.toml")
        reports = [json.loads((one / "report.json").read_text()) for one in (folder, again)]
        for report in reports:
            for dated in ("seconds", "files", "date"):
                report.pop(dated, None)
        assert reports[0] == reports[1]

        # The origin and the page grid are kept in the job that lies open, and saving it says nothing else.
        view = await page.view()
        assert view["job"]["grid"] is not None
        # Whoever looks later is told whose files they are.
        assert [one["job"] for one in view["tasks"] if one["kind"] == "export"] == [view["job"]]
        await page.do({"do": "set_fraction", "text": "1/3"})
        view = await page.view()
        assert [one["job"]["fraction"] for one in view["tasks"] if one["kind"] == "export"] == ["1/2"]
        await page.do({"do": "set_fraction", "text": "1/2"})
        page.desk.job.save()  # type: ignore[union-attr]
        assert read_job(folder / "job.toml") == read_job(job)

        for name in task["files"]:
            answer = await page.client.get(f"{page.at}/files/{name}")
            assert answer.content == (folder / name).read_bytes()
            if name == "report.html":
                assert "sandbox" in answer.headers["content-security-policy"]
            else:
                assert answer.headers["content-disposition"].startswith("attachment")

    on_small_plan(served, small_plan, test)


def test_export_can_be_stopped_and_leaves_nothing_half_written(served: Serve, small_plan: SmallPlan) -> None:
    async def test(page: Page) -> None:
        await page.do(known(small_plan))
        await page.results("seen")
        task = good(await page.client.post(f"{page.at}/export", json={}))["task"]
        assert good(await page.client.post(f"{page.at}/export", json={}))["task"] == task
        good(await page.client.post(f"{page.at}/tasks/{task}/cancel", json={}))

        assert (await page.task("export"))["state"] == "cancelled"
        folder = Path((await page.view())["folder"])
        assert [path.name for path in folder.iterdir() if path.name.startswith(".scantling-")] == []
        assert not (folder / "report.json").exists()
        assert (await page.client.post(f"{page.at}/tasks/{task}/cancel", json={})).status_code == 404
        assert (await page.client.post(f"{page.at}/tasks/none/cancel", json={})).status_code == 404

    on_small_plan(served, small_plan, test)


def test_an_export_that_is_refused_says_why(served: Serve, small_plan: SmallPlan) -> None:
    async def test(page: Page) -> None:
        await page.results("seen")
        good(await page.client.post(f"{page.at}/export", json={}))
        task = await page.task("export")
        assert task["state"] == "failed"
        assert task["error"].startswith("Nothing tells how large")

    on_small_plan(served, small_plan, test)
