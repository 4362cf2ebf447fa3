"""The command itself, in a process of its own, over real sockets on this computer."""

import contextlib
import json
import os
import re
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx
import pytest

from job.job_file import read_job
from tests.small_plan import SmallPlan
from tests.tracing.served_page import known

ROOT = Path(__file__).parent.parent.parent
PATIENCE_SECONDS = 60.0

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="stops the program with a signal")


class Running:
    """A running server, and a client that has followed its link."""

    def __init__(self, process: subprocess.Popen[str], link: str) -> None:
        self.process = process
        self.link = link
        self.client = httpx.Client(base_url=link.split("/?")[0], follow_redirects=True, timeout=PATIENCE_SECONDS)
        assert self.client.get(link).status_code == 200

    def key(self) -> str:
        return str(self.client.get("/api/desk").json()["open"])

    def stop(self, number: int = signal.SIGINT) -> int:
        self.process.send_signal(number)
        return self.process.wait(PATIENCE_SECONDS)


def command(*arguments: str, folder: Path, home: Path) -> subprocess.Popen[str]:
    """Start `scantling trace` in a folder, with a home of its own, in a process group of its own."""
    folder.mkdir(exist_ok=True, parents=True)
    places = {"HOME": str(home), "XDG_CACHE_HOME": str(home / "cache"), "XDG_DATA_HOME": str(home / "data")}
    return subprocess.Popen(
        [sys.executable, "-c", "from cli.main import run; run()", "trace", "--no-browser", *arguments],
        cwd=folder,
        env={**os.environ, **places, "PYTHONPATH": f"{ROOT}{os.pathsep}{os.environ.get('PYTHONPATH', '')}"},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )


@contextmanager
def running(*arguments: str, folder: Path, home: Path) -> Iterator[Running]:
    process = command(*arguments, folder=folder, home=home)
    try:
        assert process.stdout is not None
        line = process.stdout.readline()
        link = re.search(r"http://127\.0\.0\.1:\d+/\?t=[\w-]{43}", line)
        assert link, (line, process.communicate(timeout=10))
        server = Running(process, link.group())
        with contextlib.closing(server.client):
            yield server
    finally:
        _end(process)


def _end(process: subprocess.Popen[str]) -> None:
    process.kill()
    process.wait()
    for stream in (process.stdout, process.stderr):
        if stream is not None:
            stream.close()


def test_it_serves_saves_and_ends_on_ctrl_c(small_plan: SmallPlan, tmp_path: Path) -> None:
    with running(str(small_plan.path), folder=tmp_path / "cwd", home=tmp_path) as server:
        key = server.key()
        body = {"base": 0, "command": known(small_plan)}
        assert server.client.post(f"/api/job/{key}/command", json=body).status_code == 200
        with server.client.stream("GET", f"/api/job/{key}/events") as events:
            assert next(events.iter_lines()).startswith("retry")
            start = time.monotonic()
            # At once, before the pause after which it would have been written; a tab still listens.
            assert server.stop() == 0
            assert time.monotonic() - start < 5
        out, err = server.process.communicate()
        assert "go on with: scantling trace " in out
        assert err == ""
    job = read_job(tmp_path / "cwd" / "small-scantling" / "job.toml")
    assert job.knowns[0].text == "170 mm"


def test_going_on_where_it_was_undo_included(small_plan: SmallPlan, tmp_path: Path) -> None:
    with running(str(small_plan.path), folder=tmp_path / "cwd", home=tmp_path) as server:
        body = {"base": 0, "command": known(small_plan)}
        server.client.post(f"/api/job/{server.key()}/command", json=body)
        server.stop(signal.SIGTERM)
    with running("small-scantling/job.toml", folder=tmp_path / "cwd", home=tmp_path) as server:
        view = server.client.get(f"/api/job/{server.key()}").json()
        assert view["job"]["knowns"][0]["text"] == "170 mm"
        assert view["undo"]["can"]
        undone = server.client.post(f"/api/job/{server.key()}/undo", json={"base": view["revision"]}).json()
        assert undone["job"]["knowns"] == []


def test_a_killed_server_loses_no_gesture(small_plan: SmallPlan, tmp_path: Path) -> None:
    with running(str(small_plan.path), folder=tmp_path / "cwd", home=tmp_path) as server:
        key = server.key()
        first = {"base": 0, "command": known(small_plan)}
        second = {"base": 1, "command": {"do": "set_notes", "text": "kept"}}
        for body in (first, second):
            assert server.client.post(f"/api/job/{key}/command", json=body).status_code == 200
        server.process.kill()
        server.process.wait()
    with running(str(small_plan.path), folder=tmp_path / "cwd", home=tmp_path) as server:
        view = server.client.get(f"/api/job/{server.key()}").json()
        assert view["job"]["notes"] == "kept"
        assert len(view["job"]["knowns"]) == 1
        assert view["undo"]["can"]


def test_two_servers_on_two_jobs_do_not_disturb_each_other(small_plan: SmallPlan, tmp_path: Path) -> None:
    with (
        running(str(small_plan.path), folder=tmp_path / "a", home=tmp_path) as first,
        running(str(small_plan.path), folder=tmp_path / "b", home=tmp_path) as second,
    ):
        for number, server in enumerate((first, second)):
            body = {"base": 0, "command": {"do": "set_notes", "text": f"{number}"}}
            assert server.client.post(f"/api/job/{server.key()}/command", json=body).status_code == 200
        for number, server in enumerate((first, second)):
            assert server.client.get(f"/api/job/{server.key()}").json()["job"]["notes"] == f"{number}"
        # A browser sends both cookies to both: they share a host, and cookies know no ports.
        jar = {**dict(first.client.cookies), **dict(second.client.cookies)}
        assert len(jar) == 2
        with httpx.Client(cookies=jar) as both:
            for server in (first, second):
                assert both.get(f"{server.client.base_url}/api/desk").status_code == 200
        swapped = httpx.get(f"{first.client.base_url}/api/desk", cookies=dict(second.client.cookies))
        assert swapped.status_code == 403


def test_a_second_server_on_one_job_is_refused_in_one_sentence(small_plan: SmallPlan, tmp_path: Path) -> None:
    with running(str(small_plan.path), folder=tmp_path / "cwd", home=tmp_path) as first:
        second = command(str(small_plan.path), folder=tmp_path / "cwd", home=tmp_path)
        try:
            out, err = second.communicate(timeout=PATIENCE_SECONDS)
        finally:
            _end(second)

        assert second.returncode == 2
        assert out == ""
        assert err.startswith("scantling: ")
        assert err.count("\n") == 1
        assert first.client.get("/api/desk").status_code == 200


@pytest.mark.parametrize("name", ["nowhere.jpg", ".", "notes.txt", "plan.toml", "job.toml"])
def test_what_cannot_be_opened_is_refused_before_anything_is_served(tmp_path: Path, name: str) -> None:
    (tmp_path / "notes.txt").write_text("no picture")
    (tmp_path / "job.toml").write_text("no job")
    process = command(str(tmp_path / name), folder=tmp_path / "cwd", home=tmp_path)
    try:
        out, err = process.communicate(timeout=PATIENCE_SECONDS)
    finally:
        _end(process)

    assert (process.returncode, out) == (2, "")
    assert err.startswith("scantling: ")
    assert err.count("\n") == 1
    assert list((tmp_path / "cwd").iterdir()) == []


def test_it_listens_on_loopback_alone(tmp_path: Path) -> None:
    with running(folder=tmp_path / "cwd", home=tmp_path) as server:
        port = int(server.client.base_url.port or 0)
        listening = [
            address
            for name in ("tcp", "tcp6")
            if (table := Path(f"/proc/net/{name}")).exists()
            for address in re.findall(rf"^ *\d+: ([0-9A-F]+):{port:04X} 0+:0000 0A", table.read_text(), re.M)
        ]
        if listening:
            # 127.0.0.1 in the kernel's own order.
            assert listening == ["0100007F"]
        assert server.client.get("/api/desk").json()["open"] is None


def test_its_processes_end_with_it_however_it_ends(small_plan: SmallPlan, tmp_path: Path) -> None:
    with running(str(small_plan.path), folder=tmp_path / "cwd", home=tmp_path) as server:
        key = server.key()
        deadline = time.monotonic() + PATIENCE_SECONDS
        while server.client.get(f"/api/job/{key}").json()["results"]["seen"] is None:
            assert time.monotonic() < deadline
            time.sleep(0.1)
        group = os.getpgid(server.process.pid)
        assert len(_in_group(group)) > 1
        server.process.kill()
        server.process.wait()
        while _in_group(group):
            assert time.monotonic() < deadline
            time.sleep(0.05)


@pytest.mark.parametrize(
    "sent",
    [
        b"GET / HTTP/1.1\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: a\r\nHost: b\r\n\r\n",
        b"GET http://evil.example/ HTTP/1.1\r\nHost: evil.example\r\n\r\n",
        b"POST /api/open HTTP/1.1\r\nHost: x\r\nContent-Length: 5\r\nContent-Length: 6\r\n\r\nhello",
        b"POST /api/open HTTP/1.1\r\nHost: x\r\nTransfer-Encoding: chunked\r\nContent-Length: 5\r\n\r\nzz\r\n",
        b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03",
        b"GET /" + b"a" * 100_000 + b" HTTP/1.1\r\nHost: x\r\n\r\n",
        b"\0" * 4096,
    ],
)
def test_malformed_requests_are_refused_and_the_server_goes_on(
    sent: bytes, tmp_path_factory: pytest.TempPathFactory, shared: Running
) -> None:
    port = int(shared.client.base_url.port or 0)
    with socket.create_connection(("127.0.0.1", port), timeout=10) as raw:
        raw.sendall(sent)
        raw.shutdown(socket.SHUT_WR)
        answer = b""
        while piece := raw.recv(65536):
            answer += piece
    assert re.match(rb"HTTP/1\.1 40[03] |$", answer)
    assert shared.client.get("/api/desk").status_code == 200


def test_many_slow_connections_do_not_stop_the_page(shared: Running) -> None:
    port = int(shared.client.base_url.port or 0)
    slow = [socket.create_connection(("127.0.0.1", port), timeout=10) for _ in range(60)]
    try:
        for connection in slow:
            connection.sendall(b"POST /api/open HTTP/1.1\r\nHost: 127.0.0.1")
        start = time.monotonic()
        assert shared.client.get("/api/desk").status_code == 200
        assert time.monotonic() - start < 2
    finally:
        for connection in slow:
            connection.close()


@pytest.fixture(scope="module")
def shared(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    """Give one server for tests that leave it as it was."""
    home = tmp_path_factory.mktemp("shared")
    with running(folder=home / "cwd", home=home) as server:
        yield server


def _in_group(group: int) -> list[int]:
    found = []
    for status in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = status.read_text().rsplit(")", 1)[1].split()
        except OSError:
            continue
        # Fields 3 and 5 of proc_pid_stat(5): state and process group; a zombie has ended.
        if int(fields[2]) == group and fields[0] != "Z":
            found.append(int(status.parent.name))
    return found


def test_the_link_is_told_to_nobody_else(shared: Running) -> None:
    """The token stands in the address once; afterwards neither the address, nor a Referer, nor any page holds it."""
    token = shared.link.split("t=")[1]
    page = shared.client.get("/")
    assert token not in page.text
    assert token not in json.dumps(shared.client.get("/api/desk").json())
    assert "t=" not in str(shared.client.get(shared.link).url)
