"""Who is let in: every request of another site, name, token or size is refused in one sentence, and nothing runs."""

import asyncio
from collections.abc import AsyncIterator

import httpx
import pytest

from tests.tracing.conftest import ADDRESS, PORT, TOKEN, Serve, Served
from tracing import guard
from tracing.guard import JSON_BYTES, UPLOAD_BYTES

EVERYWHERE = ("/", "/static/index.html", "/api/desk", "/api/job/x", "/favicon.ico", "/nothing")


def test_the_printed_link_gives_a_cookie_that_scripts_and_other_sites_cannot_use(served: Serve) -> None:
    async def test(server: Served) -> None:
        server.client.cookies.clear()
        answer = await server.client.get(f"/?t={TOKEN}")

        assert answer.status_code == 303
        assert answer.headers["location"] == "/"
        cookie = answer.headers["set-cookie"]
        assert cookie.startswith(f"scantling-{PORT}={TOKEN}; ")
        assert {"HttpOnly", "SameSite=Strict", "Path=/"} <= set(cookie.split("; "))
        assert (await server.client.get("/api/desk")).status_code == 200

    served(test)


@pytest.mark.parametrize("path", EVERYWHERE)
def test_without_the_token_nothing_is_told(served: Serve, path: str) -> None:
    async def test(server: Served) -> None:
        server.client.cookies.clear()
        _refused(await server.client.get(path), 403)
        _refused(await server.client.get(path, headers={"cookie": f"scantling-{PORT}=wrong"}), 403)
        _refused(await server.client.get(path, headers={"cookie": f"scantling-{PORT + 1}={TOKEN}"}), 403)
        _refused(await server.client.get(path, headers={"cookie": '; ;="\\'}), 403)

    served(test)


@pytest.mark.parametrize(
    "query", ["t=", "t=wrong", f"t={TOKEN}x", f"t={TOKEN}&t=wrong", "t=%ff%fe", "&".join("a" * 99)]
)
def test_a_wrong_link_gives_no_cookie(served: Serve, query: str) -> None:
    async def test(server: Served) -> None:
        server.client.cookies.clear()
        answer = await server.client.get(f"/?{query}")
        _refused(answer, 403)
        assert "set-cookie" not in answer.headers

    served(test)


@pytest.mark.parametrize(
    "host",
    [
        "evil.example",
        f"evil.example:{PORT}",
        f"127.0.0.1:{PORT + 1}",
        "127.0.0.1",
        f"127.0.0.1.evil.example:{PORT}",
        "",
    ],
)
def test_a_name_pointed_at_this_computer_is_refused(served: Serve, host: str) -> None:
    """DNS rebinding: the browser believes the page to be of its own site, and sends that site's name as Host."""

    async def test(server: Served) -> None:
        for path in EVERYWHERE:
            _refused(await server.client.get(path, headers={"host": host}), 403)
        _refused(await server.client.get(f"/?t={TOKEN}", headers={"host": host}), 403)

    served(test)


@pytest.mark.parametrize(
    "origin",
    [
        "http://evil.example",
        "null",
        f"https://127.0.0.1:{PORT}",
        f"http://127.0.0.1:{PORT + 1}",
        f"http://localhost:{PORT}",
    ],
)
def test_another_origin_is_refused_even_with_the_token(served: Serve, origin: str) -> None:
    async def test(server: Served) -> None:
        for path in EVERYWHERE:
            _refused(await server.client.get(path, headers={"origin": origin}), 403)
        for path in ("/api/open", "/api/upload?name=a.png", "/api/job/x/command"):
            _refused(await server.client.post(path, json={}, headers={"origin": origin}), 403)

    served(test)


@pytest.mark.parametrize("site", ["cross-site", "same-site", "odd"])
def test_a_browser_that_says_another_site_asks_is_believed(served: Serve, site: str) -> None:
    async def test(server: Served) -> None:
        _refused(await server.client.get("/api/desk", headers={"sec-fetch-site": site}), 403)

    served(test)


def test_the_page_itself_is_let_in_by_either_name(served: Serve) -> None:
    async def test(server: Served) -> None:
        for name in ("127.0.0.1", "localhost", "LOCALHOST"):
            host = f"{name}:{PORT}"
            cookie = f"other=1; scantling-{PORT}={TOKEN}"
            headers = {
                "host": host,
                "origin": f"http://{host.lower()}",
                "sec-fetch-site": "same-origin",
                "cookie": cookie,
            }
            assert (await server.client.get("/api/desk", headers=headers)).status_code == 200

    served(test)


@pytest.mark.parametrize("path", [*EVERYWHERE, "/static/js/main.js", f"/?t={TOKEN}", "/?t=wrong"])
def test_every_answer_carries_the_policy(served: Serve, path: str) -> None:
    """Directives as in the W3C's Content Security Policy Level 3: no default source, scripts of this origin only."""

    async def test(server: Served) -> None:
        headers = (await server.client.get(path)).headers
        policy = dict(part.split(" ", 1) for part in headers["content-security-policy"].split("; "))
        assert policy["default-src"] == "'none'"
        assert policy["script-src"] == policy["style-src"] == policy["connect-src"] == "'self'"
        assert policy["img-src"] == "'self' blob: data:"
        assert policy["frame-ancestors"] == policy["base-uri"] == policy["form-action"] == "'none'"
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "no-referrer"
        assert headers["cache-control"] == "no-store"
        assert "access-control-allow-origin" not in headers

    served(test)


@pytest.mark.parametrize(
    "path",
    [
        "/static/../guard.py", "/static/%2e%2e/guard.py", "/static/..%2fguard.py", "/static/js/..%5c..%5cguard.py",
        "/static//etc/passwd", "/static/%2fetc%2fpasswd", "/static/js", "/static/", "/static/a%00.js",
        "/static/C:/a.js", "/static/js/main.js/", "/static/" + "a" * 5000 + ".js", "/static/__init__.py",
    ],
)  # fmt: skip
def test_no_path_leads_out_of_the_static_files(served: Serve, path: str) -> None:
    async def test(server: Served) -> None:
        request = server.client.build_request("GET", "/")
        request.url = httpx.URL(ADDRESS).copy_with(raw_path=path.encode())
        assert (await server.client.send(request)).status_code == 404

    served(test)


def test_a_request_larger_than_any_gesture_is_refused_by_its_length_and_by_its_bytes(served: Serve) -> None:
    async def test(server: Served) -> None:
        stated = {"content-type": "application/json", "content-length": str(JSON_BYTES + 1)}
        _refused(await server.client.post("/api/open", content=b"{}", headers=stated), 413)
        sent = _pieces(JSON_BYTES + 1)
        answer = await server.client.post("/api/open", content=sent, headers={"content-type": "application/json"})
        _refused(answer, 413)

    served(test)


@pytest.mark.parametrize("length", ["-1", "1e3", "x", "1" * 30, "١"])
def test_a_length_that_is_none_is_refused(served: Serve, length: str) -> None:
    async def test(server: Served) -> None:
        headers = {"content-length": length.encode()}
        _refused(await server.client.post("/api/open", content=b"{}", headers=headers), 400)  # type: ignore[arg-type]

    served(test)


def test_an_upload_of_a_gigabyte_is_refused_by_its_length_before_a_byte_is_read(served: Serve) -> None:
    async def test(server: Served) -> None:
        read = []

        async def never() -> AsyncIterator[bytes]:
            read.append(1)
            yield b"x"

        headers = {"content-length": str(1 << 30)}
        _refused(await server.client.post("/api/upload?name=a.png", content=never(), headers=headers), 413)
        assert list(server.desk.places.folder.iterdir()) == []

    served(test)


def test_an_upload_of_a_gigabyte_without_a_length_is_cut_off_and_leaves_nothing(
    served: Serve, monkeypatch: pytest.MonkeyPatch
) -> None:
    async def test(server: Served) -> None:
        most = []

        async def gigabyte() -> AsyncIterator[bytes]:
            piece = b"\x89PNG\r\n\x1a\n" + bytes(4 << 20)
            for n in range(256):
                most.append(n)
                yield piece

        # httpx's ASGI transport hands over one piece at a time, as a server does.
        _refused(await server.client.post("/api/upload?name=a.png", content=gigabyte()), 413)
        assert len(most) * (4 << 20) < UPLOAD_BYTES + (16 << 20)
        assert list(server.desk.places.folder.iterdir()) == []

    served(test)


def test_a_body_that_never_comes_is_given_up(served: Serve, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(guard, "BODY_SECONDS", 0.05)
    monkeypatch.setattr(guard, "CHUNK_SECONDS", 0.05)

    async def test(server: Served) -> None:
        async def slow() -> AsyncIterator[bytes]:
            yield b"{"
            await asyncio.sleep(5)
            yield b"}"

        headers = {"content-type": "application/json"}
        _refused(await server.client.post("/api/open", content=slow(), headers=headers), 408)
        _refused(await server.client.post("/api/upload?name=a.png", content=slow()), 408)
        assert list(server.desk.places.folder.iterdir()) == []

    served(test)


def test_a_method_that_no_route_has_is_refused(served: Serve) -> None:
    async def test(server: Served) -> None:
        for method in ("PUT", "DELETE", "OPTIONS", "PATCH", "TRACE", "POST"):
            _refused(await server.client.request(method, "/api/desk"), 405)

    served(test)


def _refused(answer: httpx.Response, status: int) -> None:
    """One sentence, in JSON, and nothing else."""
    assert answer.status_code == status
    said = answer.json()
    assert list(said) == ["error"]
    assert said["error"].endswith(".")


async def _pieces(total: int) -> AsyncIterator[bytes]:
    for _ in range(0, total, 1 << 16):
        yield b" " * (1 << 16)
