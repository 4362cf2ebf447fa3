"""The whole job from opening to printed pages with the keyboard alone."""

import json
import math
import re
from pathlib import Path
from typing import TYPE_CHECKING

import pypdfium2
import pytest

from tests.small_plan import SmallPlan
from tests.tracing.page.builder import Builder, PointPx, served, wait_for
from tests.tracing.page.conftest import Desk

if TYPE_CHECKING:
    from playwright.sync_api import Browser

ON_INK_PX = 0.3
"""A corner found in the small plan, whose lines are drawn to a few thousandths of a px."""

FOCUSED_NAME = """() => {
  const on = document.activeElement;
  return [on.getAttribute("aria-label"), on.labels?.[0]?.innerText, on.innerText].find(Boolean) ?? "";
}"""
"""What a screen reader would begin to read of what has the focus."""


class Keys:
    """Hands that only type."""

    def __init__(self, builder: Builder) -> None:
        self.builder = builder

    def press(self, *keys: str) -> None:
        for key in keys:
            self.builder.page.keyboard.press(key)

    def type(self, text: str) -> None:
        self.press("Control+a")
        self.builder.page.keyboard.type(text)
        self.press("Enter")

    def focused(self) -> str:
        return str(self.builder.page.evaluate(FOCUSED_NAME)).strip()

    def tab_to(self, name: str) -> None:
        """Press Tab until something of that name has the focus."""
        for _ in range(90):
            if self.focused().startswith(name):
                return
            self.press("Tab")
        raise AssertionError(f"Tab never comes to {name!r}.")

    def open_fold(self, name: str) -> None:
        self.tab_to(name)
        self.press("Enter")

    def walk_to(self, at_px: PointPx, *, near_px: float = 6.0) -> None:
        """Move the cross over the picture to a place, in large steps and then in small ones."""
        self.press("Shift+ArrowRight")
        for step in ("Shift+Arrow", "Arrow"):
            before = self._cross()
            self.press(f"{step}Left")
            size = abs(self._cross()[0] - before[0])
            assert size > 0
            for axis, (less, more) in enumerate((("Left", "Right"), ("Up", "Down"))):
                away = at_px[axis] - self._cross()[axis]
                self.press(*[f"{step}{more if away > 0 else less}"] * round(abs(away) / size))
        assert math.dist(self._cross(), at_px) < near_px, (self._cross(), at_px)

    def place(self, *places_px: PointPx) -> None:
        for at_px in places_px:
            self.walk_to(at_px)
            self.press("Enter")
            # Placing asks the program where the ink is; the next one comes after it.
            self.builder.page.wait_for_timeout(150)

    def _cross(self) -> PointPx:
        return wait_for(self.builder.pointed_px, seconds=5, words="the cross in the strip")


def test_the_whole_job_is_done_with_the_keyboard_alone(
    browser: "Browser", small_plan: SmallPlan, tmp_path: Path
) -> None:
    plans = tmp_path / "plans"
    plans.mkdir()
    (plans / "small.png").write_bytes(small_plan.path.read_bytes())
    with served(cwd=tmp_path) as program:
        page = browser.new_page(viewport={"width": 1280, "height": 720})
        page.add_init_script("addEventListener('pointerdown', () => console.error('a pointer was used'), true)")
        desk = Desk(program, Builder(page), small_plan, tmp_path)
        keys, builder, px = Keys(desk.builder), desk.builder, small_plan.px
        page.goto(program.address)
        page.get_by_role("heading", name="Which plan").wait_for()

        keys.tab_to("Or type where it lies")
        keys.type("plans/small.png")
        builder.until_card_says("Is this the plan?")
        builder.picture()
        keys.press("2")
        builder.until_card_says("Is this the plan’s drawn border?")
        keys.tab_to("Yes, use it")
        keys.press("Enter")
        for text, ends in (("80 mm", (px(20, 20), px(100, 20))), ("110 mm", (px(0, 0), px(0, 110)))):
            keys.press("l", "w")
            keys.place(*ends)
            builder.page.locator("#card form.ask input").wait_for()
            keys.type(text)
            builder.page.locator("#card form.ask").wait_for(state="detached")
        builder.until(lambda: builder.card().count("Agrees") == 2, "both lengths to agree")
        keys.press("4")
        builder.until_settled()
        builder.until_card_says("Leave out")
        plate, strip = (_part_of(builder, *size) for size in ((80, 40), (130, 15)))
        keys.tab_to(f"Name of part {plate}")
        keys.type("PLATE")
        builder.until_undo_says("Named an outline PLATE")
        keys.tab_to(f"Leave out part {strip}")
        keys.press("Enter")
        builder.until_undo_says("Left out an outline")
        keys.press("t", "w")
        keys.place(px(40, 20), px(80, 20))
        keys.press("Enter")
        builder.until_undo_says("Traced a line")
        keys.press("x", "w")
        keys.walk_to(px(120, 40))
        keys.press("Enter", *["Shift+ArrowRight"] * 2, "Enter")
        builder.until_undo_says("Rubbed out lines")
        keys.press("5", "l", "w")
        keys.place(px(20, 20), px(20, 60))
        builder.until_undo_says("Kept a measured length")
        keys.tab_to("Note on length 1")
        keys.type("height of the plate")
        builder.until_undo_says("height of the plate")
        keys.press("Tab", "a", "w")
        keys.place(px(100, 20), px(20, 20), px(20, 60))
        builder.until_undo_says("Kept a measured angle")
        keys.press("6")
        keys.tab_to("1/2")
        keys.press("Enter")
        builder.until_undo_says("Set the size to 1/2")
        builder.until_settled()
        origin_mm = builder.view()["results"]["pages"]["origin_mm"]
        keys.press("d", "w", "ArrowRight", "ArrowRight", "ArrowUp")
        builder.until_undo_says("Moved the pages")
        builder.until_settled()
        keys.press("7")
        make = page.locator("#card").get_by_role("button", name="Make the files")
        builder.until(make.is_enabled, "the button")
        keys.tab_to("Make the files")
        keys.press("Enter")
        builder.until_card_says("Done. Print one page first.")
        keys.tab_to("pages.pdf")
        with page.expect_download() as told:
            keys.press("Enter")
        told.value.save_as(tmp_path / "pages.pdf")

        toml = desk.toml
        lengths = [item for item in toml["observations"] if item["kind"] == "known distance"]
        assert [item["length"] for item in lengths] == ["80 mm", "110 mm"]
        for item, truth in zip(lengths, ((px(20, 20), px(100, 20)), (px(0, 0), px(0, 110))), strict=True):
            assert math.dist(item["start_px"], truth[0]) < ON_INK_PX
            assert math.dist(item["end_px"], truth[1]) < ON_INK_PX
        assert {(choice["action"], choice["name"]) for choice in toml["choices"]} == {("take", "PLATE"), ("drop", "")}
        [trace] = toml["traces"]
        line_y = px(40, 20)[1]
        assert [y for _, y in trace["nodes_px"]] == pytest.approx([line_y] * len(trace["nodes_px"]), abs=ON_INK_PX)
        assert (trace["nodes_px"][0][0], trace["nodes_px"][-1][0]) == pytest.approx(
            (px(40, 20)[0], px(80, 20)[0]), abs=6
        )
        [rub] = toml["rubbed"]
        assert rub["points_px"][0] == pytest.approx(px(120, 40), abs=6)
        assert [(kept["kind"], kept["note"]) for kept in toml["measures"]] == [
            ("length", "height of the plate"),
            ("angle", ""),
        ]
        assert toml["build"]["fraction"] == "1/2"
        moved = [now - then for now, then in zip(toml["pages"]["grid"]["origin_mm"], origin_mm, strict=True)]
        assert moved == pytest.approx([2, 1], abs=0.002)
        report = json.loads((desk.folder / "report.json").read_text("utf-8"))
        sizes = {part["name"]: (part["width_mm"], part["height_mm"]) for part in report["outlines"]}
        assert sizes["PLATE"] == pytest.approx((40, 20), abs=0.05)
        assert (65, 7.5) not in [tuple(round(side, 1) for side in size) for size in sizes.values()]
        assert (tmp_path / "pages.pdf").read_bytes() == (desk.folder / "pages.pdf").read_bytes()
        document = pypdfium2.PdfDocument(tmp_path / "pages.pdf")
        assert len(document) == report["pages"]["count"]
        document.close()
        assert builder.errors == []
        page.close()


def _part_of(builder: Builder, width_mm: float, height_mm: float) -> str:
    """The number of the part whose row tells a size."""
    rows = builder.page.locator("#card li").all_inner_texts()
    for row in rows:
        told = re.match(r"(\d+)\s.*?([\d.]+)(?: mm)? × ([\d.]+) mm", row.strip(), re.DOTALL)
        if told and math.dist((float(told[2]), float(told[3])), (width_mm, height_mm)) < 0.5:
            return told[1]
    raise AssertionError(f"No part of {width_mm} x {height_mm} mm is told: {rows}")
