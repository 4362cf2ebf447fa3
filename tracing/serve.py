"""Serve the page: on this computer only, behind a token, until Ctrl-C."""

import asyncio
import contextlib
import secrets
import signal
import socket
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from types import FrameType

import uvicorn

from tracing.app import make_app
from tracing.desk import Desk, Places
from tracing.guard import Door

HOST = "127.0.0.1"

SWITCH_SECONDS = 0.001
"""How soon a busy thread lets another run: the scale is set in a thread, and a reply must not wait for it."""

LAST_ANSWERS_SECONDS = 1
"""How long answers under way may take once the server ends."""


def serve(
    source: Path | None,
    *,
    version: str,
    opened: Callable[[str], None],
    places: Places | None = None,
) -> Path | None:
    """Open a picture or job, if one is named, and serve its page until interrupted; give the last job's folder.

    Parameters
    ----------
    source : Path or None
        None lets the page ask.
    version : str
        The program's.
    opened : function of an address
        Called once the page can be looked at.
    places : Places or None
        Where things are kept; the usual ones by default.

    Raises
    ------
    ScantlingError
        In one sentence, before anything is served.
    """
    sys.setswitchinterval(SWITCH_SECONDS)
    # Named as TCP, or the event loop does not see that it may send small answers at once: they would wait for 40 ms.
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    with contextlib.closing(listener):
        listener.bind((HOST, 0))
        door = Door(listener.getsockname()[1], secrets.token_urlsafe(32))
        desk = Desk(places or Places.usual(Path.cwd()), version=version)
        server = _Server(desk, door)
        with server.signals():
            asyncio.run(_serve(server, source, listener, opened))
        return desk.last_folder


async def _serve(
    server: "_Server", source: Path | None, listener: socket.socket, opened: Callable[[str], None]
) -> None:
    async def lay_out() -> None:
        try:
            if source is not None:
                await server.desk.open(source)
        except BaseException:
            server.should_exit = True
            raise
        # Told from a thread: starting a browser may take seconds.
        await asyncio.to_thread(opened, f"http://{HOST}:{server.door.port}/?t={server.door.token}")

    opening = asyncio.create_task(lay_out())
    await server.serve([listener])
    await opening


class _Server(uvicorn.Server):
    """Serves until a signal; then saves, ends every stream, and leaves."""

    def __init__(self, desk: Desk, door: Door) -> None:
        config = uvicorn.Config(
            make_app(desk, door),
            log_config=None,
            access_log=False,
            server_header=False,
            proxy_headers=False,
            lifespan="off",
            ws="none",
            loop="asyncio",
            http="h11",
            timeout_graceful_shutdown=LAST_ANSWERS_SECONDS,
        )
        super().__init__(config)
        self.desk = desk
        self.door = door

    @contextlib.contextmanager
    def signals(self) -> Iterator[None]:
        """End on Ctrl-C, and when the terminal or the system asks."""
        wanted = [getattr(signal, name, None) for name in ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK")]
        before = {number: signal.signal(number, self._end) for number in wanted if number is not None}
        try:
            yield
        finally:
            for number, handler in before.items():
                signal.signal(number, handler)

    def _end(self, number: int, frame: FrameType | None) -> None:
        # A second one does not wait for answers under way.
        self.force_exit = self.should_exit
        self.should_exit = True

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        """Leave signals alone: they are ours from before the first request to after the last."""
        yield

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """Save the job first, whatever becomes of the answers under way."""
        self.desk.close()
        await super().shutdown(sockets)
