"""The page's picture area in a real browser: a mark is stored where it is seen, by mouse, finger and keyboard."""

import io
import json
import shutil
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

playwright = pytest.importorskip("playwright.sync_api")

STATIC = Path(__file__).parents[2] / "tracing" / "static"
HERE = Path(__file__).parent / "picture_area"
FLAGS = ["--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking", "--disable-sync"]
TYPES = {".js": "text/javascript", ".css": "text/css", ".html": "text/html"}

WIDTH_PX, HEIGHT_PX, TILE_PX = 6000, 4000, 512
SPOT_PX = (1234, 987)
"""One dark pixel on white: the screen shows where it is, whatever the page's own arithmetic says."""

STORED_PX = 0.05
"""What is placed at 800 % must be stored this near to where it is seen: two fifths of a CSS px."""


def test_a_mark_is_stored_where_the_pixel_under_it_is_seen(chromium: Any, address: str) -> None:
    for ratio in (1, 1.25, 2):
        with page_at(chromium, address, device_scale_factor=ratio) as page:
            page.evaluate("area.view.centreOn([1250, 980], 8)")
            x, y = seen_spot(page, ratio)
            page.evaluate("store.setTool('mark', {for: 'known'})")

            page.keyboard.down("Alt")
            click(page, x, y)
            click(page, x + 160, y)
            page.keyboard.up("Alt")

            settle(page, "commands.length === 1")
            command = page.evaluate("commands[0]")
            assert [command["start"]["x_px"], command["start"]["y_px"]] == pytest.approx(SPOT_PX, abs=STORED_PX)
            assert command["end"]["x_px"] == pytest.approx(SPOT_PX[0] + 20, abs=STORED_PX)
            box = page.locator("[data-mark='known:0:start'] path").last.bounding_box()
            centre = [box["x"] + box["width"] / 2, box["y"] + box["height"] / 2]
            assert centre == pytest.approx([x, y], abs=8 * STORED_PX)


def test_a_dragged_mark_moves_as_far_as_the_pointer_and_arrow_keys_by_tenths(chromium: Any, address: str) -> None:
    with page_at(chromium, address) as page:
        page.evaluate(
            "store.do({do: 'add_known', start: {x_px: 1234, y_px: 987}, end: {x_px: 3000, y_px: 987}, text: '36 in'})"
        )
        page.evaluate("area.view.centreOn([1234, 987], 8)")
        settle(page, "area.tiles.complete")
        x, y = screen(page, 1234, 987)

        page.mouse.move(x + 2, y - 1)
        page.mouse.down()
        page.mouse.move(x + 30, y + 10)
        page.mouse.move(x + 42, y + 15)
        page.mouse.up()
        settle(page, "commands.length === 2")
        page.evaluate("area.focusMark('known:0:start')")
        for key in ("ArrowRight", "ArrowRight", "ArrowRight", "Shift+ArrowUp"):
            page.keyboard.press(key)
        settle(page, "commands.length === 3")

        dragged, nudged = (page.evaluate(f"commands[{n}].start") for n in (1, 2))
        assert [dragged["x_px"], dragged["y_px"]] == pytest.approx([1234 + 5, 987 + 2], abs=STORED_PX)
        assert nudged["x_px"] - dragged["x_px"] == pytest.approx(0.3, abs=0.001)
        assert nudged["y_px"] - dragged["y_px"] == pytest.approx(-1, abs=0.001)


def test_a_known_distance_is_placed_and_taken_out_with_the_keyboard_alone(chromium: Any, address: str) -> None:
    with page_at(chromium, address) as page:
        page.evaluate("store.setTool('mark', {for: 'known'})")
        page.locator("#canvas").focus()

        for key in ("n", "Enter", "n", "Enter"):
            page.keyboard.press(key)
            page.wait_for_timeout(80)
        settle(page, "commands.length === 1")
        command = page.evaluate("commands[0]")
        ends = [[command[end]["x_px"], command[end]["y_px"]] for end in ("start", "end")]
        page.locator("#canvas").focus()
        page.keyboard.press("Tab")
        name = page.evaluate("document.activeElement.getAttribute('aria-label')")
        page.keyboard.press("Delete")
        settle(page, "commands.length === 2")

        landmarks = state()["landmarks"]
        assert ends[0] in landmarks
        assert ends[1] == landmarks[(landmarks.index(ends[0]) + 1) % len(landmarks)]
        assert all(command[end]["snap"] for end in ("start", "end"))
        assert name.startswith("Known distance 1, 36 in, first end")
        assert page.evaluate("commands[1]") == {"do": "remove_known", "index": 0}


def test_two_fingers_zoom_and_one_places_with_the_magnifier_open(chromium: Any, address: str) -> None:
    with page_at(chromium, address, has_touch=True) as page:
        page.evaluate("area.view.centreOn([1250, 980], 2)")
        page.evaluate("store.setTool('mark', {for: 'known'})")
        touch = page.context.new_cdp_session(page)

        def fingers(kind: str, *places: tuple[float, float]) -> None:
            points = [{"x": x, "y": y, "id": n} for n, (x, y) in enumerate(places)]
            touch.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

        before = page.evaluate("area.view.toPicture([500 - 31, 400 - 20])")
        fingers("touchStart", (450, 400))
        fingers("touchStart", (450, 400), (550, 400))
        for apart in range(55, 105, 5):
            fingers("touchMove", (500 - apart, 400), (500 + apart, 400))
        fingers("touchEnd")
        zoom, after = page.evaluate("[area.view.scale, area.view.toPicture([500 - 31, 400 - 20])]")
        assert page.evaluate("commands.length") == 0
        x, y = screen(page, *SPOT_PX)
        fingers("touchStart", (x + 40, y))
        fingers("touchMove", (x, y))
        page.wait_for_timeout(100)
        shown = page.locator(".loupe").is_visible()
        fingers("touchEnd")
        fingers("touchStart", (x + 80, y + 80))
        fingers("touchEnd")
        settle(page, "commands.length === 1")

        assert zoom == pytest.approx(4, rel=0.01)
        assert after == pytest.approx(before, abs=1)
        assert shown
        start = page.evaluate("commands[0].start")
        assert [start["x_px"], start["y_px"]] == pytest.approx(SPOT_PX, abs=0.3)  # a finger's px at 400 %


def test_tiles_held_stay_bounded_and_everything_in_sight_arrives(chromium: Any, address: str) -> None:
    with page_at(chromium, address) as page:
        for level_scale in (1, 0.5, 4):
            page.evaluate(f"area.view.centreOn([0, 0], {level_scale})")
            for _ in range(24):
                page.evaluate("area.view.panBy(-700, -420)")
                page.wait_for_timeout(15)

        settle(page, "area.tiles.complete")
        assert page.evaluate("area.tiles.keptCount") <= 160 + 60  # what is kept, and what one screen and its rim need


def test_an_accessibility_checker_finds_nothing_serious(chromium: Any, address: str) -> None:
    axe = pytest.importorskip("axe_playwright_python.sync_playwright")
    with page_at(chromium, address) as page:
        page.evaluate(
            "store.do({do: 'add_known', start: {x_px: 900, y_px: 900}, end: {x_px: 3000, y_px: 987}, text: '36 in'})"
        )
        page.evaluate("store.setTool('trace')")
        page.wait_for_timeout(200)

        found = axe.Axe().run(page).response["violations"]

        assert [one for one in found if one["impact"] in ("serious", "critical")] == []


def state() -> dict[str, Any]:
    levels, width, height = [], WIDTH_PX, HEIGHT_PX
    while True:
        levels.append({"level": len(levels), "width_px": width, "height_px": height})
        if max(width, height) <= TILE_PX:
            break
        width, height = -(-width // 2), -(-height // 2)
    job = {"knowns": [], "checks": [], "corners": None, "across": None, "ignore": [], "traces": [], "regions": []}
    return {
        "key": "K",
        "revision": 1,
        "source": {"width_px": WIDTH_PX, "height_px": HEIGHT_PX},
        "tiles": {"tile_px": TILE_PX, "levels": levels, "ready": True, "of": "A"},
        "job": job,
        "results": {"seen": {"ok": True, "of": 1, "border_px": None}},
        "landmarks": [[300.25, 400.5], [2800.75, 1900.125], [5200, 3600]],
    }


def tile(level: int, x: int, y: int) -> bytes:
    size = TILE_PX * 2**level
    pixels = np.full((TILE_PX, TILE_PX), 255, np.uint8)
    if SPOT_PX[0] // size == x and SPOT_PX[1] // size == y:
        pixels[SPOT_PX[1] % size // 2**level, SPOT_PX[0] % size // 2**level] = 0
    shown = state()["tiles"]["levels"][level]
    content = io.BytesIO()
    Image.fromarray(pixels[: shown["height_px"] - y * TILE_PX, : shown["width_px"] - x * TILE_PX]).save(content, "PNG")
    return content.getvalue()


class Answers(BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"

    def do_GET(self) -> None:
        path = self.path.split("?")[0]
        if path.startswith("/tiles/"):
            self.answer(tile(*(int(part) for part in path.split("/")[2:])), "image/png")
        elif path == "/state.json":
            self.answer(json.dumps(state()).encode(), "application/json")
        else:
            file = STATIC / path.removeprefix("/static/") if path.startswith("/static/") else HERE / path.lstrip("/")
            if file.is_file():
                self.answer(file.read_bytes(), TYPES[file.suffix])
            else:
                self.answer(b"", "text/plain", 404)

    def answer(self, content: bytes, kind: str, code: int = 200) -> None:
        self.send_response(code)
        self.send_header("Content-Type", kind)
        self.send_header("Content-Length", str(len(content)))
        self.end_headers()
        self.wfile.write(content)

    def handle(self) -> None:
        with suppress(ConnectionError):  # the browser cancels what left the screen
            super().handle()

    def log_message(self, format: str, *args: object) -> None:
        pass


@pytest.fixture(scope="module")
def address() -> Iterator[str]:
    server = ThreadingHTTPServer(("127.0.0.1", 0), Answers)
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    yield f"http://127.0.0.1:{server.server_port}"
    server.shutdown()
    thread.join()
    server.server_close()


@pytest.fixture(scope="module")
def chromium() -> Iterator[Any]:
    found = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    if found is None:
        pytest.skip("no Chromium is installed")
    with playwright.sync_playwright() as play:
        browser = play.chromium.launch(executable_path=found, args=FLAGS)
        yield browser
        browser.close()


@contextmanager
def page_at(chromium: Any, address: str, **options: Any) -> Iterator[Any]:
    context = chromium.new_context(viewport={"width": 1280, "height": 720}, **options)
    page = context.new_page()
    errors: list[str] = []
    page.on("pageerror", lambda error: errors.append(str(error)))
    page.goto(f"{address}/page.html")
    settle(page, "window.ready && area.tiles.complete")
    yield page
    context.close()
    assert errors == []


def settle(page: Any, condition: str) -> None:
    for _ in range(200):
        if page.evaluate(f"Boolean({condition})"):
            return
        page.wait_for_timeout(25)
    raise AssertionError(f"not so within five seconds: {condition}")


def screen(page: Any, x: float, y: float) -> tuple[float, float]:
    """Where the page says a picture px is seen; only for aiming, never for what is asserted to be true."""
    sx, sy = page.evaluate("([x, y]) => area.view.toScreen([x, y])", [x, y])
    return sx + 31, sy + 20


def seen_spot(page: Any, ratio: float) -> tuple[float, float]:
    """Where the screen shows the dark pixel: the middle of its square, CSS px of the window."""
    settle(page, "area.tiles.complete")
    page.wait_for_timeout(100)
    pixels = np.asarray(Image.open(io.BytesIO(page.screenshot())).convert("L"))
    rows, cols = np.nonzero(pixels < 40)
    assert len(rows) == pytest.approx((8 * ratio) ** 2, rel=0.05)  # one pixel at 800 %, and nothing else is as dark
    return (cols.min() + cols.max() + 1) / 2 / ratio, (rows.min() + rows.max() + 1) / 2 / ratio


def click(page: Any, x: float, y: float) -> None:
    page.mouse.move(x, y)
    page.wait_for_timeout(40)
    page.mouse.down()
    page.mouse.up()
    page.wait_for_timeout(60)
