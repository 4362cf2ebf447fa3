"""A browser for the tests of the page."""

import tomllib
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeAlias

import pytest

from tests.small_plan import SmallPlan
from tests.tracing.page.builder import CHROMIUM, Builder, Served, chromium, served, wait_for

if TYPE_CHECKING:
    from playwright.sync_api import Browser


@pytest.fixture(scope="module")
def browser() -> "Iterator[Browser]":
    """Give Debian's Chromium, as long as a module's tests run: its loop would be in the way of others' loops."""
    pytest.importorskip("playwright.sync_api")
    if not CHROMIUM.exists():
        pytest.skip("no Chromium is installed")
    with chromium() as started:
        yield started


@dataclass
class Desk:
    """A program that serves a small plan, a builder at its page, and the plan's truth."""

    program: Served
    builder: Builder
    plan: SmallPlan
    cwd: Path

    @property
    def folder(self) -> Path:
        """Where the job is kept."""
        return self.cwd / "small-scantling"

    @property
    def toml(self) -> dict[str, Any]:
        """What job.toml holds."""
        return tomllib.loads((self.folder / "job.toml").read_text("utf-8"))

    def stored(self, holds: Callable[[dict[str, Any]], Any]) -> dict[str, Any]:
        """Wait until job.toml holds something, and give all of it."""

        def found() -> dict[str, Any] | None:
            return toml if (self.folder / "job.toml").exists() and holds(toml := self.toml) else None

        return wait_for(found, seconds=20, words="job.toml")

    def until_seen(self) -> None:
        """Wait until the picture has been looked at and its ink can be marked."""
        page = self.builder.page
        at = f"{'/'.join(page.url.split('/')[:3])}/api/job/{self.builder.key}/snap"
        asked = {"at": [0, 0], "reach_px": 1}
        wait_for(lambda: page.request.post(at, data=asked).json().get("what") not in (None, "not yet"), words="the ink")

    def known(self) -> None:
        """Give the plate's width, 80 mm, as known."""
        self.builder.step("Set the scale")
        self.builder.mark("Mark a length I know", self.plan.px(20, 20), self.plan.px(100, 20), "80 mm")
        self.builder.until_settled()
        # The screen is ahead of the file.
        self.stored(lambda toml: "observations" in toml)


Sit: TypeAlias = Callable[..., AbstractContextManager[Desk]]


@pytest.fixture
def sit(browser: "Browser", small_plan: SmallPlan, tmp_path: Path) -> Sit:
    """Give a function that sits down at the small plan; each time it is called the program starts again."""

    @contextmanager
    def sat(*arguments: str, **options: Any) -> Iterator[Desk]:
        picture = tmp_path / small_plan.path.name
        if not arguments and not (tmp_path / "small-scantling").exists():
            picture.write_bytes(small_plan.path.read_bytes())
        with served(*(arguments or (picture.name,)), cwd=tmp_path) as program:
            context = browser.new_context(**{"viewport": {"width": 1280, "height": 720}, **options})
            builder = Builder(context.new_page())
            builder.page.goto(program.address)
            builder.until_card_says("Step ")
            yield Desk(program, builder, small_plan, tmp_path)
            context.close()

    return sat
