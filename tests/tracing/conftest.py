"""A server in this process, and a browser's part played by an HTTP client: the same routes and guard, no network."""

import asyncio
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from pathlib import Path

import httpx
import pytest

from tracing.app import make_app
from tracing.desk import Desk, Places
from tracing.guard import Door

PORT = 45_678
TOKEN = "a-token-of-the-tests"
ADDRESS = f"http://127.0.0.1:{PORT}"


class Served:
    """A desk and a client that has been let in."""

    def __init__(self, desk: Desk, client: httpx.AsyncClient) -> None:
        self.desk = desk
        self.client = client


Serve = Callable[[Callable[[Served], Awaitable[None]]], None]


@pytest.fixture
def places(tmp_path: Path) -> Places:
    """Give places of a test's own: nothing of the user's is touched."""
    folder = tmp_path / "where the command ran"
    folder.mkdir()
    return Places(folder, tmp_path / "cache", tmp_path / "data" / "recent.json")


@pytest.fixture
def served(places: Places) -> Serve:
    """Give a function that runs an async test with a server of its own."""

    def run(test: Callable[[Served], Awaitable[None]]) -> None:
        async def with_server() -> None:
            async with a_server(places) as server:
                await test(server)

        asyncio.run(with_server())

    return run


@asynccontextmanager
async def a_server(places: Places) -> AsyncIterator[Served]:
    """Serve `places` in this process."""
    desk = Desk(places, version="0")
    transport = httpx.ASGITransport(app=make_app(desk, Door(PORT, TOKEN)), raise_app_exceptions=True)
    cookies = {f"scantling-{PORT}": TOKEN}
    try:
        async with httpx.AsyncClient(transport=transport, base_url=ADDRESS, cookies=cookies) as client:
            yield Served(desk, client)
    finally:
        desk.close()
