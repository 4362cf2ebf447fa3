"""Who may ask, and how much may be sent: checked before any route sees a request."""

import asyncio
import json
import secrets
from dataclasses import dataclass
from http.cookies import CookieError, SimpleCookie
from urllib.parse import parse_qs

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

JSON_BYTES = 1 << 20
"""Largest body of a request but an upload: a traced line of 10 000 points takes under 1 MB."""

UPLOAD_BYTES = 600 << 20
"""Largest picture sent by the page. Larger ones are opened by their path, without a copy."""

UPLOAD_PATH = "/api/upload"

BODY_SECONDS = 20.0
"""A body of up to 1 MB from this computer arrives in milliseconds; whoever takes longer holds a place for nothing."""

CHUNK_SECONDS = 60.0
"""Longest wait for the next piece of an upload: a stick or a network drive may stall for some seconds."""

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob: data:; connect-src 'self'; "
    "font-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)

HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "X-Frame-Options": "DENY",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=(), payment=(), usb=()",
    "Cache-Control": "no-store",
}
"""On every answer, unless the route says otherwise (tiles may be kept, a report has a policy of its own)."""


@dataclass(frozen=True, slots=True)
class Door:
    """Where the server listens and the secret that opens it."""

    port: int
    token: str

    @property
    def cookie(self) -> str:
        """Its name holds the port: a browser sends cookies to every port of a host."""
        return f"scantling-{self.port}"

    @property
    def hosts(self) -> tuple[str, str]:
        """What the Host of a request may be: a name pointed at this computer from outside is none of these."""
        return f"127.0.0.1:{self.port}", f"localhost:{self.port}"

    def admits(self, token: str) -> bool:
        """Say whether a token is ours, in the same time whatever it is."""
        return secrets.compare_digest(token.encode("utf-8", "replace"), self.token.encode())


class RefusedError(Exception):
    """A request turned away: an HTTP status and the sentence that goes with it."""

    def __init__(self, status: int, sentence: str) -> None:
        super().__init__(sentence)
        self.status = status
        self.sentence = sentence


class Guard:
    """Wraps the page's routes: Host, Origin, token and size of every request, headers of every answer."""

    def __init__(self, app: ASGIApp, door: Door) -> None:
        self._app = app
        self._door = door

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through, or answer it."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":
            return
        answer = _Answer(send)
        try:
            headers = Headers(scope=scope)
            self._check_origin(headers)
            entering = self._entering(scope)
            if entering is not None:
                await _let_in(answer, self._door) if entering else await _refuse(answer, _wrong_token())
                return
            self._check_token(headers)
            limit = UPLOAD_BYTES if scope["path"] == UPLOAD_PATH else JSON_BYTES
            _check_length(headers, limit)
            await self._app(scope, _Body(receive, limit), answer)
        except RefusedError as refused:
            await _refuse(answer, refused)

    def _check_origin(self, headers: Headers) -> None:
        hosts = headers.getlist("host")
        if len(hosts) != 1 or hosts[0].lower() not in self._door.hosts:
            raise RefusedError(
                403, "The page answers only at its own address on this computer: open the link it printed."
            )
        origins = headers.getlist("origin")
        if origins and origins != [f"http://{hosts[0].lower()}"]:
            raise RefusedError(
                403, "Another website asked for this; only the page itself may: use the link it printed."
            )
        if headers.get("sec-fetch-site", "none") not in ("same-origin", "none"):
            raise RefusedError(
                403, "Another website asked for this; only the page itself may: use the link it printed."
            )

    def _entering(self, scope: Scope) -> bool | None:
        """Whether a request brings the link's token, and whether it is ours; None when it brings none."""
        if scope["path"] != "/" or scope["method"] not in ("GET", "HEAD"):
            return None
        try:
            tokens = parse_qs(scope["query_string"].decode("latin-1"), max_num_fields=8).get("t")
        except ValueError:
            return False
        return None if tokens is None else len(tokens) == 1 and self._door.admits(tokens[0])

    def _check_token(self, headers: Headers) -> None:
        cookies: SimpleCookie = SimpleCookie()
        try:
            cookies.load(headers.get("cookie", ""))
        except CookieError:
            raise _wrong_token() from None
        morsel = cookies.get(self._door.cookie)
        if morsel is None or not self._door.admits(morsel.value):
            raise _wrong_token()


def _wrong_token() -> RefusedError:
    return RefusedError(
        403, "This browser has not been let in; the link that the program printed is needed: open that one."
    )


def _check_length(headers: Headers, limit: int) -> None:
    """Refuse by the stated length, before a byte is read."""
    stated = headers.get("content-length")
    if stated is None:
        return
    if not (stated.isascii() and stated.isdigit()) or len(stated) > 20:
        raise RefusedError(400, "The request states no proper length; nothing was taken: try once more.")
    if int(stated) > limit:
        raise _too_much(limit)


def _too_much(limit: int) -> RefusedError:
    if limit == UPLOAD_BYTES:
        return RefusedError(
            413,
            f"The file is larger than the {UPLOAD_BYTES >> 20} MB that the page sends; "
            "larger ones are read where they lie: open it by its path.",
        )
    return RefusedError(413, f"The request is larger than the {JSON_BYTES >> 20} MB taken; nothing was changed.")


class _Body:
    """Receives a body, counting: one whose length was not stated, or wrongly, is cut off at the limit."""

    def __init__(self, receive: Receive, limit: int) -> None:
        self._receive = receive
        self._limit = limit
        self._seen = 0
        self._ended = False

    async def __call__(self) -> Message:
        if self._ended:
            # Only the end of the connection can still come: that may take as long as an event stream lasts.
            return await self._receive()
        patience = CHUNK_SECONDS if self._limit == UPLOAD_BYTES else BODY_SECONDS
        try:
            message = await asyncio.wait_for(self._receive(), patience)
        except TimeoutError:
            raise RefusedError(408, "The request did not arrive in time; nothing was changed: try once more.") from None
        if message["type"] == "http.request":
            self._seen += len(message.get("body", b""))
            self._ended = not message.get("more_body", False)
            if self._seen > self._limit:
                raise _too_much(self._limit)
        return message


class _Answer:
    """Sends an answer with our headers added, and knows whether it has begun."""

    def __init__(self, send: Send) -> None:
        self._send = send
        self.begun = False

    async def __call__(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            self.begun = True
            headers = MutableHeaders(scope=message)
            for name, value in HEADERS.items():
                headers.setdefault(name, value)
        await self._send(message)


async def _refuse(answer: _Answer, refused: RefusedError) -> None:
    if answer.begun:
        return
    await _whole(answer, refused.status, {"content-type": "application/json"}, json.dumps({"error": refused.sentence}))


async def _let_in(answer: _Answer, door: Door) -> None:
    cookie = f"{door.cookie}={door.token}; HttpOnly; SameSite=Strict; Path=/"
    await _whole(answer, 303, {"location": "/", "set-cookie": cookie}, "")


async def _whole(answer: _Answer, status: int, headers: dict[str, str], text: str) -> None:
    body = text.encode()
    sent = {**headers, "content-length": str(len(body))}
    # A refused upload is not read to its end, so the connection cannot serve another request.
    if status in (408, 413):
        sent["connection"] = "close"
    raw = [(name.encode(), value.encode("latin-1")) for name, value in sent.items()]
    await answer({"type": "http.response.start", "status": status, "headers": raw})
    await answer({"type": "http.response.body", "body": body})
