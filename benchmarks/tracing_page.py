"""The tracing page in a real browser: seconds to see the plan, of the whole job, ms of gestures, frames, precision.

`python -m benchmarks.tracing_page [--skip-big]`. Needs /usr/bin/chromium, drawn without a graphics card.
"""

import argparse
import itertools
import json
import random
import statistics
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from PIL import Image

from tests.small_plan import SmallPlan, draw_small_plan
from tests.tracing.page.builder import Builder, chromium, served
from tests.tracing.page.whole_job import PHOTO_PATH, Truth, WholeJob

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page, Route, ViewportSize

SEED = 7
WINDOW: "ViewportSize" = {"width": 1280, "height": 720}
BIG_PX = (20_000, 14_000)
OUTLINES = 500
DRAGS, STOPS, MARKS = 30, 30, 20

WATCH = """
(function look() {
  const canvas = document.querySelector("#canvas canvas");
  const [x, y] = [canvas?.width / 2, canvas?.height / 2];
  if (x > 1 && canvas.getContext("2d").getImageData(x, y, 1, 1).data[3] === 255) window.drawnMs = performance.now();
  else requestAnimationFrame(look);
})();
"""
"""Notes when the middle of the picture is there, ms after the page was asked for."""

STOPPED = """() => {
  window.movedMs = 0; window.shownMs = 0;
  addEventListener("pointermove", () => { window.movedMs = performance.now(); }, true);
  new MutationObserver(() => { window.shownMs = performance.now(); })
    .observe(document.querySelector("#canvas svg"), { subtree: true, childList: true });
}"""

FRAMES = """() => {
  window.frames = [];
  let last = performance.now();
  (function next(now) { window.frames.push(now - last); last = now; requestAnimationFrame(next); })(last);
}"""


def main() -> None:
    """Print every figure."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--skip-big", action="store_true", help="leave out the picture of 280 MP")
    skip_big = parser.parse_args().skip_big
    print(f"seed {SEED}; window {WINDOW['width']} x {WINDOW['height']}, no graphics card")
    with chromium() as browser, tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        _whole_job(browser, folder / "job")
        _page_up(browser, folder / "job")
        _precision(browser, folder / "small")
        if skip_big:
            print("frames at 280 MP: skipped")
        else:
            _frames(browser, folder / "big")


def _whole_job(browser: "Browser", cwd: Path) -> None:
    cwd.mkdir()
    with served(cwd=cwd) as program:
        page = browser.new_page(viewport=WINDOW)
        job = WholeJob(Builder(page), Truth())
        job.to_measured(program.address, PHOTO_PATH)
        job.size()
        job.drag_pages()
        job.export()
        job.download("pages.pdf", cwd / "pages.pdf")
        print(f"whole job on the photo: {job.by_hand_seconds:.1f} s of gestures, {job.waited_seconds:.1f} s of waiting")
        for what, by_hand, waited in job.gestures:
            print(f"  {what}: {by_hand:.1f} s, waiting {waited:.1f} s")
        _drags(job, rest_ms=3000, words="one every three seconds")
        _drags(job, rest_ms=120, words="eight a second, outlines drawn meanwhile")
        _stops(job, scale=1.0, words="along a drawn line")
        # Half as large, the start lies within reach of another line's end, and goes there: no drawn line leads on.
        _stops(job, scale=0.5, words="from a line's end on, along faint ink or straight")
        page.close()


def _drags(job: WholeJob, *, rest_ms: int, words: str) -> None:
    """One end of a known length, moved to and fro: how long the program takes to take each."""
    page, chosen = job.builder.page, random.Random(SEED)
    job.builder.step("Set the scale")
    end = job.truth.ends_px("WING PANEL length")[0]
    job.builder.zoom_on(end, scale=2)
    page.evaluate("performance.clearResourceTimings(); performance.setResourceTimingBufferSize(5000)")
    page.keyboard.down("Alt")
    x, y = job.builder.point_at(end)
    for _ in range(DRAGS):
        page.mouse.move(x, y)
        page.mouse.down()
        x, y = x + chosen.choice((-9, 9)), y + chosen.choice((-7, 7))
        page.mouse.move(x, y, steps=4)
        page.mouse.up()
        page.wait_for_timeout(rest_ms)
    page.keyboard.up("Alt")
    took = page.evaluate(
        "performance.getEntriesByType('resource').filter(({ name }) => name.endsWith('/command'))"
        ".map(({ duration }) => duration)"
    )
    print(f"mark dragged, to the program and back: {_spread(took)} ({len(took)} drags, {words})")
    job.builder.whole()
    job.builder.until_settled()


def _stops(job: WholeJob, *, scale: float, words: str) -> None:
    """The pointer stops on ink: how long until the way there is shown."""
    page, chosen = job.builder.page, random.Random(SEED)
    job.builder.step("Outlines")
    job.builder.press("Along the ink")
    edge = job.truth.camera.to_picture(np.array(job.truth.outline_mm("CABIN SIDE").exterior.segmentize(2).coords))
    job.builder.zoom_on((float(edge[0][0]), float(edge[0][1])), scale=scale)
    job.builder.click((float(edge[0][0]), float(edge[0][1])))
    page.evaluate(STOPPED)
    took = []
    for _ in range(STOPS):
        to = chosen.choice(edge[5:60])
        page.mouse.move(*job.builder.point_at((float(to[0]), float(to[1]))), steps=3)
        page.wait_for_timeout(400)
        moved, shown = page.evaluate("[window.movedMs, window.shownMs]")
        took.append(max(0.0, shown - moved))
    # Once for what was placed, once for the tool.
    page.keyboard.press("Escape")
    page.keyboard.press("Escape")
    print(f"traced path shown after the pointer stops: {_spread(took)} ({len(took)} stops, {words})")


def _page_up(browser: "Browser", cwd: Path) -> None:
    took = []
    with served("plan_photo-scantling/job.toml", cwd=cwd) as program:
        for _ in range(5):
            context = browser.new_context(viewport=WINDOW)
            page = context.new_page()
            page.add_init_script(WATCH)
            page.goto(program.address)
            page.get_by_role("application").wait_for()
            page.wait_for_timeout(1500)
            took.append(page.evaluate("window.drawnMs ?? Infinity"))
            context.close()
    print(f"page up, from asked for to the plan drawn (12 MP, seen before): {_spread(took)}")


def _precision(browser: "Browser", cwd: Path) -> None:
    """Marks put at 800 % beside a black pixel, against where the screen shows that pixel."""
    ratio, (spot_x, spot_y), other_x = 3, (1240, 600), 1190
    cwd.mkdir()
    pixels = draw_small_plan()
    pixels[spot_y, [spot_x, other_x]] = 0
    Image.fromarray(pixels).save(cwd / "small.png")
    plan, chosen = SmallPlan(cwd / "small.png"), random.Random(SEED)
    with served("small.png", cwd=cwd) as program:
        page = browser.new_page(viewport=WINDOW, device_scale_factor=ratio)
        builder = Builder(page)
        page.goto(program.address)
        builder.step("Set the scale")
        builder.mark("Mark a length I know", plan.px(20, 20), plan.px(100, 20), "80 mm")
        builder.step("Measure")
        builder.press("Note")
        builder.zoom_on((spot_x, spot_y), scale=8)
        box = builder.picture().bounding_box()
        assert box is not None
        page.mouse.move(box["x"] + 5, box["y"] + 5)
        page.wait_for_timeout(500)
        shot = cwd / "shot.png"
        page.screenshot(path=shot, clip=box)
        rows, columns = np.nonzero(np.asarray(Image.open(shot).convert("L")) < 40)
        spots = [columns[columns > columns.mean()], columns[columns < columns.mean()], rows]
        right, left, down = ((seen.min() + seen.max() + 1) / 2 / ratio for seen in spots)
        scale = (right - left) / (spot_x - other_x)
        errors = []
        for number in range(MARKS):
            # A mark put on another shares its place, so each has room of its own.
            dx, dy = 40 * (number % 5) - 160 + chosen.randrange(20), 40 * (number // 5) - 160 + chosen.randrange(20)
            page.keyboard.down("Alt")
            page.mouse.click(box["x"] + right + dx, box["y"] + down + dy)
            page.keyboard.up("Alt")
            builder.answer(f"note {number}")
            mark = builder.view()["job"]["measures"][number]["marks"][0]
            errors += [mark["x_px"] - spot_x - dx / scale, mark["y_px"] - spot_y - dy / scale]
        print(
            f"mark at {100 * scale:.0f} %: stored within {max(map(abs, errors)):.3f} px of where it is seen"
            f" ({MARKS} marks)"
        )
        page.close()


def _frames(browser: "Browser", cwd: Path) -> None:
    """A made picture of 280 MP through the program's own tiles; the outlines over it are given to the page instead."""
    cwd.mkdir()
    small = draw_small_plan()
    Image.fromarray(small).resize(BIG_PX, Image.Resampling.BILINEAR).save(cwd / "big.png", compress_level=1)
    with served("big.png", cwd=cwd) as program:
        page = browser.new_page(viewport=WINDOW)
        builder = Builder(page)
        began = time.monotonic()
        page.goto(program.address)
        builder.until(lambda: page.get_by_role("application").count() > 0, "the picture", seconds=600)
        print(f"280 MP shown for the first time: {time.monotonic() - began:.1f} s after the page was asked for")
        # From here on the page is told of outlines that are made up, and hears nothing else.
        page.route("**/api/job/*/events", lambda route: route.abort())
        page.route("**/api/job/*", _with_outlines)
        page.reload()
        builder.picture()
        builder.step("Outlines")
        assert page.get_by_role("button", name="Leave out part").count() == OUTLINES
        for name, scale in (("fit", None), ("800 %", 8.0)):
            if scale is None:
                builder.whole()
            else:
                builder.zoom_on((9000.0, 7000.0), scale=scale)
            print(f"frames at {BIG_PX[0]} x {BIG_PX[1]} px with {OUTLINES} outlines, {name}: {_dragged(page)}")
        page.close()


def _with_outlines(route: "Route") -> None:
    response = route.fetch()
    view: dict[str, Any] = response.json()
    if "results" in view:
        chosen, parts = random.Random(SEED), []
        for number in range(OUTLINES):
            x, y, radius = chosen.uniform(500, 19_500), chosen.uniform(500, 13_500), chosen.uniform(60, 400)
            turns = np.linspace(0, 2 * np.pi, 25)
            ring = [(x + radius * np.cos(turn), y + radius * np.sin(turn)) for turn in turns]
            curves = "".join(
                f"C{ax:.1f} {ay:.1f} {bx:.1f} {by:.1f} {bx:.1f} {by:.1f}"
                for (ax, ay), (bx, by) in itertools.pairwise(ring)
            )
            shape = {
                "path_px": f"M{ring[0][0]:.1f} {ring[0][1]:.1f}{curves}Z",
                "inside_px": [x, y],
                "area_px2": radius**2,
            }
            size = {"width_mm": 10.0, "height_mm": 10.0, "u95_mm": 0.1}
            parts.append(
                {"number": number + 1, "name": "", "kind": "part", "confidence": 1, "choice": None, **shape, **size}
            )
        told = {
            "ok": True,
            "error": None,
            "of": view["revision"],
            "parts": parts,
            "others": [],
            "lines": [],
            "findings": [],
        }
        view["results"]["outlines"] = told
    route.fulfill(response=response, body=json.dumps(view))


def _dragged(page: "Page") -> str:
    page.mouse.move(450, 350)
    page.mouse.down()
    page.evaluate(FRAMES)
    for number in range(240):
        page.mouse.move(450 + 200 * np.sin(number / 12), 350 + 150 * np.cos(number / 15))
    page.mouse.up()
    return _spread(page.evaluate("window.frames.slice(3)"))


def _spread(took_ms: Sequence[float]) -> str:
    ordered = sorted(took_ms)
    most = ordered[int(0.95 * len(ordered))]
    return f"median {statistics.median(ordered):.1f} ms, 95 % {most:.1f}, most {ordered[-1]:.1f}"


if __name__ == "__main__":
    main()
