"""Pictures that tests of several rooms use."""

import cv2
import pytest

from tests.small_plan import SmallPlan, draw_small_plan


@pytest.fixture(scope="session")
def small_plan(tmp_path_factory: pytest.TempPathFactory) -> SmallPlan:
    """Give the small plan, written as a PNG."""
    path = tmp_path_factory.mktemp("plans") / "small.png"
    assert cv2.imwrite(str(path), draw_small_plan())
    return SmallPlan(path)
