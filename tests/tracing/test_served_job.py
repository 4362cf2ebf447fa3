"""A job in the page's server: opened, looked at, commanded, drawn, exported, and gone on with."""

import asyncio
import hashlib
import io
import json
import os
import shutil
import signal
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any

import httpx
import pytest
from PIL import Image

from job.job_file import read_job
from job.make import Typed, make
from job.progress import Silent
from tests.small_plan import FRAME_MM, PLATE_MM, STRIP_MM, SmallPlan
from tests.tracing.conftest import Serve, Served, a_server
from tracing.desk import Places

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
        return _good(await self.client.post(f"{self.at}/command", json={"base": base, "command": command}))

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
        opened = _good(await server.client.post("/api/open", json={"path": str(plan.path)}))
        await test(Page(server, opened["key"]))

    served(with_page)


def test_a_picture_is_opened_looked_at_scaled_drawn_and_laid_out(served: Serve, small_plan: SmallPlan) -> None:
    async def test(page: Page) -> None:
        assert (await page.client.get("/api/desk")).json()["open"] == page.at.rsplit("/", 1)[1]
        results = await page.results("seen", "scale")
        assert results["seen"]["ok"]
        assert results["scale"]["error"].startswith("Nothing tells how large the thing on small.png is")

        reply = await page.do(known(small_plan))
        assert reply["revision"] == 1
        assert reply["job"]["knowns"][0]["text"] == "170 mm"
        assert reply["undo"]["can"]

        results = await page.results("seen", "scale", "outlines", "pages")
        assert all(results[stage]["error"] is None for stage in results)
        # The plan was drawn at 8 px per mm.
        assert results["scale"]["mm_per_px"] == pytest.approx(1 / 8, rel=1e-3)
        sizes = sorted((part["width_mm"], part["height_mm"]) for part in results["outlines"]["parts"])
        plate = (PLATE_MM[2] - PLATE_MM[0], PLATE_MM[3] - PLATE_MM[1])
        strip = (STRIP_MM[2] - STRIP_MM[0], STRIP_MM[3] - STRIP_MM[1])
        assert sizes == [pytest.approx(plate, abs=0.1), pytest.approx(strip, abs=0.1)]
        assert results["pages"]["count"] == len(results["pages"]["tiles"]) >= 1

    on_small_plan(served, small_plan, test)


def test_what_no_result_rests_on_gives_it_its_new_revision_at_once(served: Serve, small_plan: SmallPlan) -> None:
    async def test(page: Page) -> None:
        # Marks put before the picture is seen go to the ink then, as a change of their own.
        await _until_answered(page)
        await page.do(known(small_plan))
        before = await page.results("seen", "scale", "outlines", "pages")
        events = page.desk.job.hub.stream([])  # type: ignore[union-attr]
        await anext(events)

        await page.do({"do": "set_notes", "text": "the left one first"})

        after = await page.results("seen", "scale", "outlines", "pages")
        assert {**after["outlines"], "of": 1} == before["outlines"]
        heard = [await anext(events) for _ in range(6)]
        told = [json.loads(event.split(b"data: ")[1]) for event in heard if event.startswith(b"event: results")]
        assert {"stage": "outlines", "of": 2, "same": True} in told
        await events.aclose()  # type: ignore[attr-defined]

    on_small_plan(served, small_plan, test)


def test_export_writes_what_make_writes_from_the_saved_job(
    served: Serve, small_plan: SmallPlan, tmp_path: Path
) -> None:
    """Files that carry no date must be the same to the byte as those of the command on the same job."""

    async def test(page: Page) -> None:
        await page.results("seen")
        await page.do(known(small_plan))
        await page.do({"do": "set_fraction", "text": "1/2"})
        _good(await page.client.post(f"{page.at}/export", json={}))
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
        task = _good(await page.client.post(f"{page.at}/export", json={}))["task"]
        assert _good(await page.client.post(f"{page.at}/export", json={}))["task"] == task
        _good(await page.client.post(f"{page.at}/tasks/{task}/cancel", json={}))

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
        _good(await page.client.post(f"{page.at}/export", json={}))
        task = await page.task("export")
        assert task["state"] == "failed"
        assert task["error"].startswith("Nothing tells how large")

    on_small_plan(served, small_plan, test)


def test_tiles_are_of_the_picture_and_may_be_kept_by_name(served: Serve, small_plan: SmallPlan) -> None:
    async def test(page: Page) -> None:
        view = await page.until(lambda view: bool(view["tiles"]["ready"]))
        assert (view["source"]["width_px"], view["source"]["height_px"]) == (1520, 1040)
        levels = [(level["width_px"], level["height_px"]) for level in view["tiles"]["levels"]]
        assert levels == [(1520, 1040), (760, 520), (380, 260)]
        tile = f"{page.at}/tiles/0/2/1"
        answer = await page.client.get(tile)
        assert answer.headers["content-type"] == "image/png"
        assert answer.headers["cache-control"] == "no-store"
        kept = await page.client.get(tile, params={"of": view["tiles"]["of"]})
        assert "immutable" in kept.headers["cache-control"]
        assert kept.content == answer.content
        for wrong in ("0/3/0", "3/0/0", "0/-1/0", "0/0/99999999999999999999", "x/0/0", "0/0", "0/0/0/0", "0/0.5/0"):
            assert (await page.client.get(f"{page.at}/tiles/{wrong}")).status_code == 404

    on_small_plan(served, small_plan, test)


def test_another_key_is_told_that_another_job_lies_open(served: Serve, small_plan: SmallPlan) -> None:
    async def test(page: Page) -> None:
        for path in ("", "/events", "/landmarks", "/files/job.toml"):
            answer = await page.client.get(f"/api/job/other{path}")
            assert answer.status_code == 409
            assert answer.json()["gone"] is True
        for path in ("/command", "/undo", "/redo", "/export", "/conflict"):
            assert (await page.client.post(f"/api/job/other{path}", json={})).status_code == 409

    on_small_plan(served, small_plan, test)


def test_a_command_on_an_older_job_is_told_the_newer_one(served: Serve, small_plan: SmallPlan) -> None:
    async def test(page: Page) -> None:
        await page.do(known(small_plan))
        command = {"base": 0, "command": {"do": "set_notes", "text": "x"}}
        answer = await page.client.post(f"{page.at}/command", json=command)
        assert answer.status_code == 409
        said = answer.json()
        assert said["stale"] is True
        assert said["reply"]["revision"] == 1
        assert len(said["reply"]["job"]["knowns"]) == 1

    on_small_plan(served, small_plan, test)


def test_undo_and_redo_go_back_and_forth(served: Serve, small_plan: SmallPlan) -> None:
    async def test(page: Page) -> None:
        await page.do(known(small_plan))
        undone = _good(await page.client.post(f"{page.at}/undo", json={"base": 1}))
        assert undone["job"]["knowns"] == []
        assert undone["redo"]["can"]
        redone = _good(await page.client.post(f"{page.at}/redo", json={"base": undone["revision"]}))
        assert len(redone["job"]["knowns"]) == 1

    on_small_plan(served, small_plan, test)


def test_events_tell_a_second_tab_what_the_first_did(served: Serve, small_plan: SmallPlan) -> None:
    async def test(page: Page) -> None:
        await page.results("seen")
        hub = page.desk.job.hub  # type: ignore[union-attr]
        events = hub.stream(page.desk.job.first_events())  # type: ignore[union-attr]
        assert (await anext(events)).startswith(b"retry: ")
        first = [await anext(events) for _ in range(4)]
        assert first[0].startswith(b'event: state\ndata: {"revision": 0')
        assert any(event.startswith(b"event: picture") for event in first)

        await page.do(known(small_plan))
        async with asyncio.timeout(PATIENCE_SECONDS):
            async for event in events:
                if event.startswith(b'event: state\ndata: {"revision": 1'):
                    break
        await events.aclose()  # type: ignore[attr-defined]

    on_small_plan(served, small_plan, test)


def test_the_job_is_written_within_a_second_of_the_last_gesture(served: Serve, small_plan: SmallPlan) -> None:
    async def test(page: Page) -> None:
        await page.do(known(small_plan))
        await asyncio.sleep(1.0)
        job = read_job(Path((await page.view())["folder"]) / "job.toml")
        assert job.knowns[0].text == "170 mm"

    on_small_plan(served, small_plan, test)


@pytest.mark.parametrize("harm", ["moved", "changed"])
def test_a_job_whose_picture_is_gone_opens_says_so_and_is_mended(
    places: Places, small_plan: SmallPlan, tmp_path: Path, harm: str
) -> None:
    picture = tmp_path / "plan.png"
    shutil.copy(small_plan.path, picture)

    async def first() -> None:
        async with a_server(places) as server:
            opened = _good(await server.client.post("/api/open", json={"path": str(picture)}))
            await Page(server, opened["key"]).do(known(small_plan))

    async def second() -> None:
        async with a_server(places) as server:
            desk = _good(await server.client.get("/api/desk"))
            assert [(job["name"], job["file"], job["there"]) for job in desk["recent"]] == [("plan", "plan.png", True)]
            opened = _good(await server.client.post("/api/open", json={"recent": desk["recent"][0]["id"]}))
            page = Page(server, opened["key"])
            seen = (await page.results("seen"))["seen"]
            assert not seen["ok"]
            assert ("is not there" if harm == "moved" else "has changed") in seen["error"]

            wrong = await server.client.post("/api/look_elsewhere", json={"path": str(other)})
            assert wrong.status_code == 422
            assert "is not the picture this job was marked on" in wrong.json()["error"]
            mended = _good(await server.client.post("/api/look_elsewhere", json={"path": str(elsewhere)}))
            page = Page(server, mended["key"])
            results = await page.results("seen", "scale")
            assert results["seen"]["ok"]
            assert results["scale"]["ok"]
            job = read_job(Path((await page.view())["folder"]) / "job.toml")
            assert job.sheet.file == elsewhere
            assert job.knowns[0].text == "170 mm"

    asyncio.run(first())
    elsewhere, other = tmp_path / "elsewhere.png", tmp_path / "other.png"
    shutil.copy(picture, elsewhere)
    other.write_bytes(picture.read_bytes() + b"x")
    picture.unlink()
    if harm == "changed":
        shutil.copy(other, picture)
    asyncio.run(second())


def test_an_upload_is_kept_and_opened(served: Serve, small_plan: SmallPlan) -> None:
    async def test(server: Served) -> None:
        content = small_plan.path.read_bytes()
        opened = _good(await server.client.post("/api/upload", params={"name": "sent.png"}, content=content))
        view = await Page(server, opened["key"]).view()
        folder = server.desk.places.folder / "sent-scantling"
        assert view["folder"] == str(folder)
        assert (folder / "sent.png").read_bytes() == content

    served(test)


@pytest.mark.parametrize("asked", [
    {"path": "nowhere.png"}, {"path": ""}, {"path": "\0"}, {"path": "a" * 5000}, {"path": 3}, {"path": None}, {},
    {"path": "."}, {"path": "/dev/null"}, {"recent": "x"}, {"recent": 3}, {"path": "~nobody-at-all/x"},
    {"path": "\x7f\x1b"},
])  # fmt: skip
def test_what_cannot_be_opened_is_one_sentence_and_what_lay_open_stays(
    served: Serve, small_plan: SmallPlan, asked: dict[str, Any]
) -> None:
    async def test(page: Page) -> None:
        answer = await page.client.post("/api/open", json=asked)
        assert answer.status_code in (404, 422)
        assert answer.json()["error"].endswith(".")
        assert (await page.view())["name"] == "small"

    on_small_plan(served, small_plan, test)


def test_only_the_results_of_the_job_can_be_fetched(served: Serve, small_plan: SmallPlan) -> None:
    async def test(page: Page) -> None:
        folder = Path((await page.view())["folder"])
        (folder / "secret.txt").write_text("secret")
        (folder / "pages.pdf").symlink_to(folder / "secret.txt")
        names = [
            "secret.txt",
            "job.history.jsonl",
            "..%2f..%2fsecret",
            "%2e%2e",
            "pages.pdf",
            "outlines.svg",
            "a" * 3000,
        ]
        for name in names:
            answer = await page.client.get(f"{page.at}/files/{name}")
            assert answer.status_code == 404, name
            assert "secret" not in answer.text.replace("secret.txt", "")

    on_small_plan(served, small_plan, test)


def _good(answer: httpx.Response) -> dict[str, Any]:
    assert answer.status_code == 200, answer.text
    values: dict[str, Any] = answer.json()
    return values


def _hash(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def test_a_process_that_dies_is_told_of_and_replaced(served: Serve, small_plan: SmallPlan) -> None:
    async def test(page: Page) -> None:
        async with asyncio.timeout(PATIENCE_SECONDS):
            while (pid := _process(page)) is None:
                await asyncio.sleep(0.02)
        os.kill(pid, signal.SIGKILL)
        seen = (await page.results("seen"))["seen"]
        assert seen["error"].startswith("The process for this picture ended before it was done")

        # Opened again it looks again, and draws in a process that is there.
        _good(await page.client.post("/api/open", json={"path": str(small_plan.path)}))
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
        early = _good(await page.client.post(f"{page.at}/snap", json={"at": [x + 3, y - 2], "reach_px": 8}))
        assert early["what"] in ("not yet", "corner")
        await _until_answered(page)
        found = _good(await page.client.post(f"{page.at}/snap", json={"at": [x + 3, y - 2], "reach_px": 8}))
        assert found["what"] == "corner"
        # The corner was drawn at a place known to a few thousandths of a px.
        assert found["at"] == pytest.approx([x, y], abs=0.3)
        landmarks = _good(await page.client.get(f"{page.at}/landmarks"))["points"]
        assert landmarks[found["number"] - 1] == pytest.approx(found["at"], abs=1e-3)

    on_small_plan(served, small_plan, test)


def test_a_path_follows_the_ink_between_clicks(served: Serve, small_plan: SmallPlan) -> None:
    async def test(page: Page) -> None:
        await _until_answered(page)
        clicks = [small_plan.px(x, STRIP_MM[1] - FRAME_MM[1]) for x in (40, 60)]
        at = [[x, y + 2] for x, y in (small_plan.px(40, 75), small_plan.px(60, 75))]
        path = _good(await page.client.post(f"{page.at}/ink_path", json={"points": at}))
        assert path["on_ink"]
        y_px = clicks[0][1]
        assert all(abs(y - y_px) < 0.5 for _, y in path["points_px"])
        way = _good(await page.client.post(f"{page.at}/ink_way", json={"points": at, "reach_px": 0}))
        assert way == {
            **{name: path[name] for name in ("points_px", "on_ink", "words")},
            "ahead": {"at": at[-1], "what": "nothing", "number": None},
        }
        # With room to move, the way ends where a mark put there would go; where the last click was, there is none yet.
        asked = {"points": at, "reach_px": 6}
        way = _good(await page.client.post(f"{page.at}/ink_way", json=asked))
        snapped = _good(await page.client.post(f"{page.at}/snap", json={"at": at[-1], "reach_px": 6}))
        assert way["ahead"] == snapped
        assert way["points_px"][-1] == pytest.approx(snapped["at"], abs=0.01)
        way = _good(await page.client.post(f"{page.at}/ink_way", json={"points": [at[0]] * 2, "reach_px": 0}))
        assert way["points_px"] == [at[0]] * 2

    on_small_plan(served, small_plan, test)


def test_a_length_is_measured_and_refused_while_there_is_no_scale(served: Serve, small_plan: SmallPlan) -> None:
    async def test(page: Page) -> None:
        await _until_answered(page)
        ends = [small_plan.px(20, 20), small_plan.px(100, 20)]
        asked = {"kind": "length", "points": ends}
        refused = await page.client.post(f"{page.at}/measure", json=asked)
        assert refused.status_code == 422
        assert refused.json()["error"].startswith("Nothing tells how large")

        await page.do(known(small_plan))
        # Asked at once: the answer waits for the scale of the job as it stands.
        measured = _good(await page.client.post(f"{page.at}/measure", json=asked))
        assert measured["full"] == pytest.approx(80, abs=0.1)
        assert 0 < measured["u95"] < 1
        await page.do({"do": "set_fraction", "text": "1/2"})
        halved = _good(await page.client.post(f"{page.at}/measure", json=asked))
        assert halved["build"] == pytest.approx(measured["full"] / 2)

    on_small_plan(served, small_plan, test)


def test_the_flat_picture_is_shown_with_and_without_a_scale(served: Serve, small_plan: SmallPlan) -> None:
    async def test(page: Page) -> None:
        await _until_answered(page)
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
        await _until_answered(page)
        await page.do(known(small_plan))
        for asked in odd:
            answer = await page.client.post(f"{page.at}/{path}", json=asked)
            assert answer.status_code in (200, 422), answer.text
            if answer.status_code == 422:
                assert answer.json()["error"].endswith(".")

    on_small_plan(served, small_plan, test)


async def _until_answered(page: Page) -> None:
    """Wait until the picture has been seen and questions about it are answered."""
    await page.results("seen")
    async with asyncio.timeout(PATIENCE_SECONDS):
        while page.desk.job is None or page.desk.job.answers is None:
            await asyncio.sleep(0.02)
