"""Outlines by mouse: two are joined by a click on the line they share; what was not taken is found by its reason."""

import math
import re

import numpy as np
import pytest
from PIL import Image

from tests.small_plan import FRAME_MM, HEIGHT_MM, PX_PER_MM, STRIP_MM, SmallPlan, draw_small_plan
from tests.tracing.page.builder import PointPx, wait_for
from tests.tracing.page.conftest import Desk, Sit

ON_INK_PX = 0.3
DIVIDE_MM = 100.0
"""x of a line across the strip: it parts it into a piece of 70 mm and one of 60."""


@pytest.fixture
def small_plan(tmp_path_factory: pytest.TempPathFactory) -> SmallPlan:
    """Give the small plan with a line across its strip."""
    pixels = draw_small_plan()
    x = round(DIVIDE_MM * PX_PER_MM - 0.5)
    low, high = (round((HEIGHT_MM - y) * PX_PER_MM - 0.5) for y in (STRIP_MM[3], STRIP_MM[1]))
    pixels[low : high + 1, x - 1 : x + 2] = 30
    path = tmp_path_factory.mktemp("divided") / "small.png"
    Image.fromarray(pixels).save(path)
    return SmallPlan(path)


def on_sheet(desk: Desk, x_mm: float, y_mm: float) -> PointPx:
    """Give the px of a place on the sheet."""
    return desk.plan.px(x_mm - FRAME_MM[0], y_mm - FRAME_MM[1])


def test_two_outlines_are_joined_by_a_click_on_the_line_they_share(sit: Sit) -> None:
    with sit() as desk:
        builder = desk.builder
        desk.known()
        builder.step("Outlines")
        builder.until_card_says("Leave out")
        before = _sizes(desk)
        builder.press("Join two")
        builder.whole()
        middle = on_sheet(desk, DIVIDE_MM, (STRIP_MM[1] + STRIP_MM[3]) / 2)

        builder.point_at(middle)
        lit = builder.page.locator(".in-picture .draft path.rub")
        wait_for(lambda: lit.count() == 1, seconds=10, words="the shared line to be lit")
        builder.click((middle[0] + 2, middle[1]))
        [rub] = desk.stored(lambda toml: toml.get("rubbed"))["rubbed"]
        builder.until_settled()

        ends = sorted(rub["points_px"][:: len(rub["points_px"]) - 1], key=lambda point: point[1])
        for end, y_mm in zip(ends, (STRIP_MM[3], STRIP_MM[1]), strict=True):
            assert math.dist(end, on_sheet(desk, DIVIDE_MM, y_mm)) < 1.5
        whole = [STRIP_MM[2] - STRIP_MM[0], STRIP_MM[3] - STRIP_MM[1]]
        halves = [[DIVIDE_MM - STRIP_MM[0], 15.0], [STRIP_MM[2] - DIVIDE_MM, 15.0]]
        for half in halves:
            assert any(np.allclose(size, half, atol=0.3) for size in before), before
            assert not any(np.allclose(size, half, atol=0.3) for size in _sizes(desk))
        assert any(np.allclose(size, whole, atol=0.2) for size in _sizes(desk))
        # A click where no two outlines meet rubs nothing out, and says why.
        builder.click(on_sheet(desk, 130, STRIP_MM[1]))
        wait_for(lambda: "two outlines share" in builder.page.locator("#notices").inner_text(), words="why")
        assert len(desk.toml["rubbed"]) == 1
        assert builder.errors == []


def test_two_outlines_are_joined_with_the_keyboard(sit: Sit) -> None:
    with sit() as desk:
        builder = desk.builder
        desk.known()
        builder.step("Outlines")
        builder.until_card_says("Leave out")
        builder.press("Join two")
        builder.whole()
        builder.point_at(on_sheet(desk, DIVIDE_MM, 90))
        builder.picture().focus()
        # The cross begins where the pointer was last.
        builder.page.keyboard.press("ArrowUp")
        builder.page.keyboard.press("Enter")

        [rub] = desk.stored(lambda toml: toml.get("rubbed"))["rubbed"]

        assert {round(x) for x, _ in rub["points_px"]} == {round(on_sheet(desk, DIVIDE_MM, 0)[0])}


def test_what_was_not_taken_is_told_by_reason_and_lit_when_pointed_at(sit: Sit) -> None:
    with sit() as desk:
        builder, page = desk.builder, desk.builder.page
        desk.known()
        builder.step("Outlines")
        builder.until_card_says("Leave out")
        others = builder.view()["results"]["outlines"]["others"]
        fold = page.locator("#card details", has_text="Found, but not taken").first
        fold.locator("summary").first.click()
        groups = fold.locator("details.group")

        told = [re.sub(r"[·\s]+", " ", text).strip().lower() for text in groups.locator("summary").all_inner_texts()]
        reasons = [other["why"] for other in others]
        assert sorted(told) == sorted(f"{why} {reasons.count(why)}" for why in set(reasons))
        assert f"({len(others)})" in fold.locator("summary").first.inner_text()
        hover = page.locator(".in-picture path.hover")
        groups.first.locator("summary").hover()
        lit = wait_for(lambda: hover.get_attribute("d"), seconds=5, words="all of them to be lit")
        first = groups.first.locator("summary")
        first.click()
        row = groups.first.locator("li").first
        row.hover()
        alone = wait_for(lambda: hover.get_attribute("d"), seconds=5, words="one of them to be lit")
        assert alone in lit
        assert len(alone) < len(lit) or groups.first.locator("li").count() == 1
        row.get_by_role("button").focus()
        chosen = page.locator(".in-picture path.chosen")
        assert wait_for(lambda: chosen.get_attribute("d"), seconds=5, words="the one with the focus") == alone


def test_with_alt_a_mark_is_put_right_beside_another(sit: Sit) -> None:
    with sit() as desk:
        builder, page = desk.builder, desk.builder.page
        desk.known()
        start = desk.toml["observations"][0]["start_px"]
        builder.press("Mark another length")
        builder.whole()
        scale = builder.sight()[2]
        beside = (start[0] + 5 / scale, start[1])

        page.keyboard.down("Alt")
        builder.click(beside)
        builder.click((start[0], start[1] - 300))
        page.keyboard.up("Alt")
        builder.answer("37.5 mm")
        known = desk.stored(lambda toml: len(toml["observations"]) == 2)["observations"]

        assert known[0]["start_px"] == start
        assert math.dist(known[1]["start_px"], beside) < 1 / scale
        assert known[1]["marks"] == ["as given", "as given"]


def test_what_undo_would_take_back_can_be_read_whole(sit: Sit) -> None:
    with sit() as desk:
        desk.known()
        desk.builder.step("Size and pages")
        desk.builder.press("By a length")
        desk.builder.fill("shall come out as", "200 mm")
        desk.builder.until_undo_says("200 mm")
        words = desk.builder.page.locator("#head button[name=undo] small")

        height, room, width, wide = words.evaluate(
            "node => [node.scrollHeight, node.clientHeight, node.scrollWidth, node.clientWidth]"
        )

        assert words.inner_text() in (desk.builder.page.locator("#head button[name=undo]").get_attribute("title") or "")
        assert height <= room
        assert width <= wide


def _sizes(desk: Desk) -> list[list[float]]:
    outlines = desk.builder.view()["results"]["outlines"]
    return [[one["width_mm"], one["height_mm"]] for one in (*outlines["parts"], *outlines["others"])]
