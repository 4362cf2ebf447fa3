"""A browser for the tests of the page."""

from collections.abc import Iterator
from typing import TYPE_CHECKING

import pytest

from tests.tracing.page.builder import CHROMIUM, chromium

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
