"""An accessibility checker on every step of the real page, light and dark."""

import pytest

from tests.tracing.page.conftest import Desk, Sit

STEPS = ("Open", "Flatten", "Set the scale", "Outlines", "Measure", "Size and pages", "Export")
SETTLED_MS = 300
"""Colours fade in for less; a checker would measure what is half there."""


def test_nothing_serious_is_found_on_any_step_by_light_or_by_dark(sit: Sit) -> None:
    pytest.importorskip("axe_playwright_python")
    with sit() as desk:
        desk.known()
        found = {}
        for theme in ("light", "dark"):
            for step in STEPS:
                desk.builder.step(step)
                found[f"{step}, {theme}"] = _serious(desk)
            desk.builder.page.get_by_role("button", name="What the keys do").click()
            found[f"keys, {theme}"] = _serious(desk)
            desk.builder.page.keyboard.press("Escape")
            desk.builder.step("Set the scale")
            desk.builder.press("Mark another length")
            found[f"a tool in the hand, {theme}"] = _serious(desk)
            if theme == "light":
                desk.builder.page.get_by_role("button", name="Turn to dark").click()

        assert {place: what for place, what in found.items() if what} == {}


def test_nothing_serious_is_found_before_a_plan_is_open(sit: Sit) -> None:
    pytest.importorskip("axe_playwright_python")
    with sit() as desk:
        desk.builder.step("Open")
        desk.builder.press("Open another plan")
        light = _serious(desk)
        desk.builder.page.get_by_role("button", name="Turn to dark").click()

        assert light == []
        assert _serious(desk) == []


def _serious(desk: Desk) -> list[str]:
    from axe_playwright_python.sync_playwright import Axe

    desk.builder.page.wait_for_timeout(SETTLED_MS)
    found = Axe().run(desk.builder.page).response["violations"]
    return [
        f"{one['id']}: {node['html'][:200]}"
        for one in found
        if one["impact"] in ("serious", "critical")
        for node in one["nodes"]
    ]
