"""With the real program: what is placed, dragged and nudged at 800 % is stored where it is seen."""

import io
import re
from typing import Any

import numpy as np
import pytest
from PIL import Image

from tests.small_plan import SmallPlan, draw_small_plan
from tests.tracing.page.conftest import Desk, Sit

SPOT_PX = (1240, 600)
OTHER_PX = (1190, 600)
"""Black pixels on bare paper: the screen shows where they are, whatever the page's own arithmetic says."""

SCALE = 8.0
RATIO = 3
STORED_PX = 0.05
"""What is placed at 800 % must be stored this near to where it is seen."""


@pytest.fixture
def small_plan(tmp_path_factory: pytest.TempPathFactory) -> SmallPlan:
    """Give the small plan with the black pixels."""
    pixels = draw_small_plan()
    for x, y in (SPOT_PX, OTHER_PX):
        pixels[y, x] = 0
    path = tmp_path_factory.mktemp("spotted") / "small.png"
    Image.fromarray(pixels).save(path)
    return SmallPlan(path)


def test_a_mark_is_stored_where_it_is_seen_when_placed_and_when_dragged(sit: Sit) -> None:
    # Three device px to a CSS px: the screen then shows to a third of one where a pixel lies.
    with sit(device_scale_factor=RATIO) as desk:
        page = desk.builder.page
        desk.builder.step("Set the scale")
        desk.builder.press("Mark a length I know")
        desk.builder.zoom_on(SPOT_PX, scale=SCALE)
        spot, scale = _seen_spot(desk)
        placed_at = np.add(spot, [-61, 37])

        page.keyboard.down("Alt")
        page.mouse.click(*placed_at)
        page.mouse.click(*np.add(spot, [160, 80]))
        page.keyboard.up("Alt")
        desk.builder.answer("3.5 mm")
        placed = _start(desk.stored(lambda toml: _given(toml)))
        seen = _seen_mark(desk)
        page.keyboard.down("Alt")
        page.mouse.move(*np.add(seen, [2, -1]))
        page.mouse.down()
        page.mouse.move(*np.add(spot, [30, 10]), steps=4)
        page.mouse.move(*np.add(spot, [2, -1]))
        page.mouse.up()
        page.keyboard.up("Alt")
        dragged = _start(desk.stored(lambda toml: not np.array_equal(_start(toml), placed)))

        assert scale == pytest.approx(SCALE, rel=0.02)
        assert seen == pytest.approx(placed_at, abs=SCALE * STORED_PX)
        assert placed == pytest.approx(SPOT_PX + (seen - spot) / scale, abs=STORED_PX)
        assert _seen_mark(desk) == pytest.approx(spot, abs=SCALE * STORED_PX)
        assert dragged == pytest.approx(SPOT_PX + (_seen_mark(desk) - spot) / scale, abs=STORED_PX)
        assert _given(desk.toml)[0]["marks"] == ["as given", "as given"]


def test_arrow_keys_move_a_mark_by_a_tenth_of_a_pixel(sit: Sit) -> None:
    with sit() as desk:
        desk.known()
        before = _start(desk.stored(lambda toml: _given(toml)))
        mark = desk.builder.page.get_by_role("button", name="Known distance 1, 80 mm, first end")

        mark.focus()
        mark.press("ArrowRight")
        right = _start(desk.stored(lambda toml: not np.array_equal(_start(toml), before)))
        mark.press("Shift+ArrowUp")
        up = _start(desk.stored(lambda toml: not np.array_equal(_start(toml), right)))

        assert right - before == pytest.approx([0.1, 0], abs=1e-9)
        assert up - right == pytest.approx([0, -1], abs=1e-9)


def _given(toml: dict[str, Any]) -> list[dict[str, Any]]:
    return [item for item in toml.get("observations", []) if item["kind"] == "known distance"]


def _start(toml: dict[str, Any]) -> "np.ndarray[Any, np.dtype[np.float64]]":
    return np.array(_given(toml)[0]["start_px"], dtype=float)


def _seen_spot(desk: Desk) -> tuple["np.ndarray[Any, np.dtype[np.float64]]", float]:
    """Where the screen shows the black pixel's middle, CSS px of the window, and how many of them a px is wide."""
    box = desk.builder.picture().bounding_box()
    assert box is not None
    desk.builder.page.mouse.move(box["x"] + 5, box["y"] + 5)
    desk.builder.page.wait_for_timeout(500)
    content = desk.builder.page.screenshot(clip=box)
    dark = np.asarray(Image.open(io.BytesIO(content)).convert("L")) < 40
    rows, columns = (places / RATIO for places in np.nonzero(dark))
    assert len(rows) == pytest.approx(2 * (RATIO * SCALE) ** 2, rel=0.1)
    other, spot = (columns[columns < columns.mean()], columns[columns > columns.mean()])
    x, y = ((seen.min() + seen.max() + 1 / RATIO) / 2 for seen in (spot, rows))
    apart = x - (other.min() + other.max() + 1 / RATIO) / 2
    return np.array([box["x"] + x, box["y"] + y]), float(apart / (SPOT_PX[0] - OTHER_PX[0]))


def _seen_mark(desk: Desk) -> "np.ndarray[Any, np.dtype[np.float64]]":
    box = desk.builder.page.get_by_role("button", name=re.compile("Known distance 1, 3.5 mm.*first end")).bounding_box()
    assert box is not None
    return np.array([box["x"] + box["width"] / 2, box["y"] + box["height"] / 2])
