"""A tablet: two fingers zoom, one pans, and a finger places with the magnifier over it."""

import math

import pytest

from tests.tracing.page.builder import wait_for
from tests.tracing.page.conftest import Sit

TABLET = {"viewport": {"width": 1024, "height": 768}, "has_touch": True}
ON_INK_PX = 0.3
"""A corner found in the small plan, whose lines are drawn to a few thousandths of a px."""


def test_a_length_is_marked_with_fingers_alone(sit: Sit) -> None:
    with sit(**TABLET) as desk:
        builder, page = desk.builder, desk.builder.page
        desk.until_seen()
        page.locator("#head").get_by_role("button", name="Set the scale").tap()
        touch = page.context.new_cdp_session(page)

        def fingers(kind: str, *places: tuple[float, float]) -> None:
            points = [{"x": x, "y": y, "id": number} for number, (x, y) in enumerate(places)]
            touch.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

        def screen(at_px: tuple[float, float]) -> tuple[float, float]:
            builder._sight = None
            x, y, scale = builder.sight()
            return x + at_px[0] * scale, y + at_px[1] * scale

        first, other = desk.plan.px(20, 20), desk.plan.px(100, 20)
        box = builder.picture().bounding_box()
        assert box is not None
        middle = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
        before = builder.sight()

        fingers("touchStart", middle)
        fingers("touchMove", (middle[0] + 60, middle[1] + 30))
        fingers("touchMove", (middle[0] + 80, middle[1] + 40))
        fingers("touchEnd")
        builder._sight = None
        panned = builder.sight()
        x, y = screen(first)
        fingers("touchStart", (x - 40, y))
        fingers("touchStart", (x - 40, y), (x + 40, y))
        for apart in range(44, 81, 4):
            fingers("touchMove", (x - apart, y), (x + apart, y))
        fingers("touchEnd")
        builder._sight = None
        pinched = builder.sight()
        page.locator("#card").get_by_role("button", name="Mark a length I know").tap()
        x, y = screen(first)
        fingers("touchStart", (x + 30, y + 20))
        fingers("touchMove", (x + 10, y + 5))
        fingers("touchMove", (x + 2, y))
        loupe = wait_for(lambda: page.locator(".loupe").is_visible(), seconds=5, words="the magnifier")
        fingers("touchEnd")
        builder.whole()
        x, y = screen(other)
        fingers("touchStart", (x + 1, y))
        fingers("touchEnd")
        builder.answer("80 mm")
        toml = desk.stored(lambda toml: toml.get("observations"))

        assert panned[2] == pytest.approx(before[2], rel=0.005)
        # The first px of a drag only tell a press from a drag.
        assert (panned[0] - before[0], panned[1] - before[1]) == pytest.approx((80, 40), abs=4)
        assert pinched[2] / panned[2] == pytest.approx(2, rel=0.02)
        assert pinched[0] + first[0] * pinched[2] == pytest.approx(panned[0] + first[0] * panned[2], abs=3)
        assert loupe
        [known] = toml["observations"]
        assert math.dist(known["start_px"], first) < ON_INK_PX
        assert math.dist(known["end_px"], other) < ON_INK_PX
        assert known["marks"] == ["ink", "ink"]
        assert builder.errors == []
