"""Pictures that tests of several rooms use."""

import pytest
from hypothesis import settings
from PIL import Image

from tests.small_plan import SmallPlan, draw_small_plan

# The same examples every time: what fails here fails for everyone. Longer searches are made by hand.
settings.register_profile("same", derandomize=True)
settings.load_profile("same")

WRONG_DPI = 300
"""The small plan has 203.2 px per inch; its file says otherwise, as files do."""


@pytest.fixture(scope="session")
def small_plan(tmp_path_factory: pytest.TempPathFactory) -> SmallPlan:
    """Give the small plan, written as a PNG whose tag is wrong."""
    path = tmp_path_factory.mktemp("plans") / "small.png"
    Image.fromarray(draw_small_plan()).save(path, dpi=(WRONG_DPI, WRONG_DPI))
    return SmallPlan(path)
