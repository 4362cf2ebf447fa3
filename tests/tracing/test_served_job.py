"""A job in the page's server: opened, looked at, commanded, drawn, and gone on with."""

import asyncio
import json
import shutil
from pathlib import Path
from typing import Any

import pytest

from job.job_file import read_job
from tests.small_plan import PLATE_MM, STRIP_MM, SmallPlan
from tests.tracing.conftest import Serve, Served, a_server
from tests.tracing.served_page import PATIENCE_SECONDS, Page, good, known, on_small_plan, until_answered
from tracing.desk import Places


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
        await until_answered(page)
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
        undone = good(await page.client.post(f"{page.at}/undo", json={"base": 1}))
        assert undone["job"]["knowns"] == []
        assert undone["redo"]["can"]
        redone = good(await page.client.post(f"{page.at}/redo", json={"base": undone["revision"]}))
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
            opened = good(await server.client.post("/api/open", json={"path": str(picture)}))
            await Page(server, opened["key"]).do(known(small_plan))

    async def second() -> None:
        async with a_server(places) as server:
            desk = good(await server.client.get("/api/desk"))
            assert [(job["name"], job["file"], job["there"]) for job in desk["recent"]] == [("plan", "plan.png", True)]
            opened = good(await server.client.post("/api/open", json={"recent": desk["recent"][0]["id"]}))
            page = Page(server, opened["key"])
            seen = (await page.results("seen"))["seen"]
            assert not seen["ok"]
            assert ("is not there" if harm == "moved" else "has changed") in seen["error"]

            wrong = await server.client.post("/api/look_elsewhere", json={"path": str(other)})
            assert wrong.status_code == 422
            assert "is not the picture this job was marked on" in wrong.json()["error"]
            mended = good(await server.client.post("/api/look_elsewhere", json={"path": str(elsewhere)}))
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
        opened = good(await server.client.post("/api/upload", params={"name": "sent.png"}, content=content))
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
