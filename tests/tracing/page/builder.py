"""A builder at the page: a served program, a real browser, and gestures that aim at picture px."""

import math
import os
import re
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeAlias, TypeVar

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Locator, Page

PointPx: TypeAlias = tuple[float, float]
T = TypeVar("T")

CHROMIUM = Path("/usr/bin/chromium")
FLAGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]

PATIENCE_SECONDS = 90.0
"""Finding lines in 12 MP takes six seconds on a quiet machine, many times that on a busy one."""

FAST_WHEEL_PX = 240.0
"""Two notches of a wheel at a time."""


@dataclass(frozen=True, slots=True)
class Served:
    """A program that serves its page."""

    address: str
    process: "subprocess.Popen[str]"

    def kill(self) -> None:
        """End it as a power cut would."""
        self.process.kill()
        self.process.wait(10)


@contextmanager
def served(*arguments: str, cwd: Path) -> Iterator[Served]:
    """Run `scantling trace` in `cwd`; whatever it keeps for the user is kept beneath that folder."""
    kept = {name: str(cwd / "kept" / name) for name in ("XDG_CACHE_HOME", "XDG_DATA_HOME", "XDG_STATE_HOME")}
    command = [sys.executable, "-c", "from cli.main import run; run()", "trace", "--no-browser", *arguments]
    process = subprocess.Popen(
        command,
        cwd=cwd,
        env={**os.environ, **kept, "PYTHONPATH": str(Path(__file__).parents[3])},
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    try:
        assert process.stdout is not None
        said = ""
        for line in process.stdout:
            said += line
            if found := re.search(r"http://\S+", line):
                yield Served(found[0], process)
                break
        else:
            raise AssertionError(f"The program gave no address: {said}")
    finally:
        process.terminate()
        try:
            process.wait(15)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait(5)
        if process.stdout is not None:
            process.stdout.close()


@contextmanager
def chromium() -> "Iterator[Browser]":
    """Start Debian's Chromium."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=str(CHROMIUM), args=FLAGS)
        try:
            yield browser
        finally:
            browser.close()


def wait_for(what: Callable[[], T | None], *, seconds: float = PATIENCE_SECONDS, words: str = "it") -> T:
    """Ask until something other than None or False comes; a strict page cannot be polled by script."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if found := what():
            return found
        time.sleep(0.02)
    raise AssertionError(f"Waited {seconds:.0f} s for {words}.")


class Builder:
    """Looks, points, clicks and types; knows of the program only what stands on the screen.

    `waited_seconds` is how long it could do nothing but wait for the program.
    """

    def __init__(self, page: "Page") -> None:
        self.page = page
        self.errors: list[str] = []
        self.asked: list[str] = []
        self.waited_seconds = 0.0
        self._sight: tuple[float, float, float] | None = None
        page.on("pageerror", lambda error: self.errors.append(str(error)))
        page.on("console", lambda message: self.errors.append(message.text) if message.type == "error" else None)
        page.on("request", lambda request: self.asked.append(request.url))
        page.add_init_script(
            "addEventListener('securitypolicyviolation', (told) =>"
            " console.error('forbidden by policy: ' + told.blockedURI + ' ' + told.violatedDirective))"
        )

    # Around the picture.

    @property
    def key(self) -> str:
        """The key of the job that the page follows."""
        found = [url.split("/api/job/")[1].split("/")[0] for url in self.asked if "/api/job/" in url]
        return found[-1]

    def view(self) -> dict[str, Any]:
        """What the program tells of the job, for tests that look behind the screen."""
        base = "/".join(self.page.url.split("/")[:3])
        found: dict[str, Any] = self.page.request.get(f"{base}/api/job/{self.key}").json()
        return found

    def step(self, title: str) -> None:
        """Go to one of the seven steps."""
        self.page.locator("#head").get_by_role("button", name=title).click()

    def press(self, name: str) -> None:
        """Press a button of the card, opening what it lies folded in."""
        self.unfold(self.page.locator("#card button", has_text=name).first)
        self.page.locator("#card").get_by_role("button", name=name).first.click()

    def fill(self, label: str, text: str) -> None:
        """Type into a field of the card and press Enter."""
        field = self.page.locator("#card").get_by_label(label).first
        self.unfold(field)
        field.fill(text)
        field.press("Enter")

    def answer(self, text: str) -> None:
        """Answer the question the page asks."""
        field = self.page.locator("#card form.ask input")
        field.wait_for()
        field.fill(text)
        field.press("Enter")
        field.wait_for(state="detached")

    def card(self) -> str:
        """What the card says."""
        return self.page.locator("#card").inner_text()

    def strip(self) -> str:
        """What the bottom strip says."""
        return self.page.locator("#strip").inner_text()

    def until(self, sees: Callable[[], bool], words: str, *, seconds: float = PATIENCE_SECONDS) -> None:
        """Wait until something can be seen."""
        began = time.monotonic()
        wait_for(sees, seconds=seconds, words=words)
        self.waited_seconds += time.monotonic() - began

    def until_card_says(self, text: str) -> None:
        """Wait until the card says something."""
        self.until(lambda: text in self.card(), f"the card to say {text!r}; it says {self.card()!r}")

    def until_settled(self) -> None:
        """Wait until nothing is being worked out and the count of sheets stands in the strip."""
        self.until(lambda: "sheet" in self.strip() and "working" not in self.strip(), "the count of sheets")

    def until_undo_says(self, words: str) -> None:
        """Wait until the page offers to undo something: then the program has it."""
        undo = self.page.locator("#head").get_by_role("button", name="Undo")
        self.until(lambda: words in (undo.get_attribute("title") or ""), f"undo to say {words!r}")

    @staticmethod
    def unfold(thing: "Locator") -> None:
        """Open what something lies folded in."""
        folded = thing.locator("xpath=ancestor::details[not(@open)]/summary")
        if folded.count():
            folded.first.click()

    def mark(self, button: str, start_px: PointPx, end_px: PointPx, text: str, *, scale: float = 2.0) -> None:
        """Mark both ends of a length and type it."""
        self.press(button)
        for end in (start_px, end_px):
            self.zoom_on(end, scale=scale)
            self.click(end)
        self.answer(text)

    # On the picture.

    def pointed_px(self) -> PointPx | None:
        """The place under the pointer, as the strip tells it."""
        found = re.search(r"(-?[\d.]+), (-?[\d.]+) px", self.strip())
        return (float(found[1]), float(found[2])) if found else None

    def point_at(self, at_px: PointPx) -> PointPx:
        """Move the pointer to a place in the picture that is in sight; give where on the screen that is."""
        x, y, scale = self.sight()
        to = (x + at_px[0] * scale, y + at_px[1] * scale)
        self.page.mouse.move(*to)
        if not self._is_told(at_px, scale):
            # The picture moved by itself since it was looked at last.
            self._sight = None
            x, y, scale = self.sight()
            to = (x + at_px[0] * scale, y + at_px[1] * scale)
            self.page.mouse.move(*to)
            assert self._is_told(at_px, scale), f"pointed at {at_px}, the strip tells {self.strip()!r}"
        return to

    def click(self, at_px: PointPx) -> None:
        """Click a place in the picture."""
        self.page.mouse.click(*self.point_at(at_px))

    def drag(self, *through_px: PointPx) -> None:
        """Press at the first place, go through the others, let go at the last."""
        x, y, scale = self.sight()
        self.point_at(through_px[0])
        self.page.mouse.down()
        for at_px in through_px[1:]:
            self.page.mouse.move(x + at_px[0] * scale, y + at_px[1] * scale, steps=6)
        self.page.mouse.up()
        self._sight = None

    def picture(self) -> "Locator":
        """The picture, once it is there."""
        place = self.page.get_by_role("application")
        if not place.count():
            self.until(lambda: place.count() > 0, "the picture")
        return place

    def whole(self) -> None:
        """See the whole picture."""
        self.picture().focus()
        self.page.keyboard.press("0")
        self._sight = None

    def zoom_on(self, at_px: PointPx, *, scale: float = 2.0) -> None:
        """Turn the wheel over a place until a picture px is `scale` screen px wide; start from the whole."""
        self.whole()
        turn, before = FAST_WHEEL_PX, 0.0
        for _ in range(40):
            now = self.sight()[2]
            if now >= 0.99 * scale:
                return
            if before:
                # The first turn has shown how far one goes.
                turn = min(FAST_WHEEL_PX, 1 + turn * math.log(scale / now) / math.log(now / before))
            before = now
            self.point_at(at_px)
            self.page.mouse.wheel(0, -turn)
            self._sight = None
        raise AssertionError(f"The picture does not grow under the wheel beyond {self.sight()[2]:.2f}.")

    def sight(self) -> tuple[float, float, float]:
        """Where picture (0, 0) lies on the screen and how many screen px a picture px is, from what the strip tells."""
        if self._sight is None:
            box = self.picture().bounding_box()
            assert box is not None
            places = [(box["x"] + box["width"] * share, box["y"] + box["height"] * share) for share in (0.2, 0.8)]
            told = [self._told_at(place) for place in places]
            scale = (places[1][0] - places[0][0]) / (told[1][0] - told[0][0])
            self._sight = places[0][0] - told[0][0] * scale, places[0][1] - told[0][1] * scale, scale
        return self._sight

    def _is_told(self, at_px: PointPx, scale: float) -> bool:
        told = self.pointed_px()
        # The strip gives tenths, and the scale comes from two of its figures.
        return told is not None and max(abs(told[0] - at_px[0]), abs(told[1] - at_px[1])) <= 0.15 + 1 / scale

    def _told_at(self, place: tuple[float, float]) -> PointPx:
        self.page.mouse.move(place[0] + 1, place[1])
        before = self.pointed_px()
        self.page.mouse.move(*place)
        return wait_for(lambda: told if (told := self.pointed_px()) != before else None, seconds=5, words="the strip")
