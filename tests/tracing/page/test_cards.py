"""Cards on the plan by the page: found without a click; the size of their bar is all that is typed."""

import pytest
from PIL import Image

from tests.plan_with_cards import draw_plan_with_cards
from tests.small_plan import PX_PER_MM, SmallPlan
from tests.tracing.page.builder import wait_for
from tests.tracing.page.conftest import Sit


@pytest.fixture
def small_plan(tmp_path_factory: pytest.TempPathFactory) -> SmallPlan:
    """Give the small plan with two cards beside it."""
    path = tmp_path_factory.mktemp("cards") / "small.png"
    Image.fromarray(draw_plan_with_cards()).save(path)
    return SmallPlan(path)


def test_cards_need_nothing_but_what_their_bar_measures(sit: Sit) -> None:
    with sit() as desk:
        builder = desk.builder
        builder.step("Set the scale")
        builder.until_card_says("How large were the cards printed?")

        builder.fill("The cards’ long bar measures", "198 x 148.5 mm")

        assert desk.stored(lambda toml: "card bar" in str(toml))
        builder.until_card_says("The size now comes from the cards alone.")
        assert builder.view()["results"]["scale"]["mm_per_px"] == pytest.approx(0.99 / PX_PER_MM, rel=0.001)

        builder.fill("The cards’ long bar measures", "")
        wait_for(lambda: "How large were the cards printed?" in builder.card(), seconds=20, words="the question again")


def test_a_bar_that_cannot_be_is_refused_in_words(sit: Sit) -> None:
    with sit() as desk:
        builder = desk.builder
        builder.step("Set the scale")
        builder.until_card_says("How large were the cards printed?")

        builder.fill("The cards’ long bar measures", "150 mm")

        builder.until_card_says("measure the long bar again")
        assert "card bar" not in str(desk.toml)
