"""The page's server: seconds to its first byte, ms of a command, a tile and a held-up reply, MB of each process.

`python -m benchmarks.tracing_server [PICTURE]`; the bundled photo by default. A server of its own is started for it.
"""

import argparse
import contextlib
import os
import random
import re
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import httpx

ROOT = Path(__file__).parent.parent
PHOTO = ROOT / "sample_scans" / "plan_photo.jpg"
SEED = 3
COMMANDS, TILES = 200, 100
LONGEST_WAIT_SECONDS = 1800.0


def main() -> None:
    """Print every figure."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("picture", nargs="?", type=Path, default=PHOTO)
    parser.add_argument(
        "--only-show", action="store_true", help="not what is found in it, which takes long on a large one"
    )
    arguments = parser.parse_args()
    picture = arguments.picture.absolute()
    print(f"{picture.name}, seed {SEED}")
    with tempfile.TemporaryDirectory() as name:
        for run in ("first time", "again"):
            _measure(picture, Path(name), run, only_show=arguments.only_show)


def _measure(picture: Path, home: Path, run: str, *, only_show: bool) -> None:
    started = time.perf_counter()
    with _server(picture, home) as (process, link):
        told = time.perf_counter() - started
        base = link.split("/?")[0]
        with httpx.Client(base_url=base, follow_redirects=True, timeout=60) as client:
            client.get(link)
            first = time.perf_counter() - started
            key = client.get("/api/desk").json()["open"]
            at = f"/api/job/{key}"
            view = _wait(client, at, lambda view: bool(view["tiles"]["ready"]))
            shown = time.perf_counter() - started
            print(f"{run}: address printed {told:.2f} s, page {first:.2f} s, picture to show {shown:.2f} s")
            _tiles(client, at, view)
            while_looking = _commands(client, at)
            if only_show:
                print(f"  command while it is looked at: {while_looking}")
                print(f"  memory so far, MB (most): {_memory(process.pid)}")
                return
            view = _wait(client, at, lambda view: view["results"]["seen"] is not None)
            print(f"  picture seen {time.perf_counter() - started:.1f} s: {view['results']['seen']['error'] or 'well'}")
            print(f"  command while it is looked at: {while_looking}")
            width, height = view["source"]["width_px"], view["source"]["height_px"]
            ends = [{"x_px": share * width, "y_px": height / 2, "snap": False} for share in (0.2, 0.8)]
            known = {"do": "add_known", "start": ends[0], "end": ends[1], "text": "36 in"}
            client.post(f"{at}/command", json={"base": view["revision"], "command": known})
            print(f"  command while the scale is set and outlines are drawn: {_commands(client, at)}")
            begun = time.perf_counter()
            _wait(client, at, lambda view: (view["results"]["pages"] or {"of": -1})["of"] == view["revision"])
            print(f"  all results {time.perf_counter() - begun:.1f} s after the last command")
            print(f"  command at rest: {_commands(client, at)}")
            print(f"  memory, MB (most): {_memory(process.pid)}")


def _commands(client: httpx.Client, at: str) -> str:
    revision = client.get(at).json()["revision"]
    took = []
    for n in range(COMMANDS):
        body = {"base": revision, "command": {"do": "set_notes", "text": f"note {n} {time.time()}"}}
        begun = time.perf_counter()
        answer = client.post(f"{at}/command", json=body)
        took.append(1000 * (time.perf_counter() - begun))
        revision = answer.json()["revision"]
    return _spread(took)


def _tiles(client: httpx.Client, at: str, view: dict[str, Any]) -> None:
    chosen = random.Random(SEED)
    for name, levels in (("full size", view["tiles"]["levels"][:1]), ("zoomed out", view["tiles"]["levels"][1:])):
        took, size = [], []
        for _ in range(TILES):
            level = chosen.choice(levels)
            x, y = (chosen.randrange(-(-level[side] // 512)) for side in ("width_px", "height_px"))
            begun = time.perf_counter()
            answer = client.get(f"{at}/tiles/{level['level']}/{x}/{y}")
            took.append(1000 * (time.perf_counter() - begun))
            size.append(len(answer.content) / 1000)
        print(f"  tile, {name}: {_spread(took)}, {statistics.mean(size):.0f} kB")


def _wait(client: httpx.Client, at: str, there: Callable[[dict[str, Any]], bool]) -> dict[str, Any]:
    begun = time.perf_counter()
    while time.perf_counter() - begun < LONGEST_WAIT_SECONDS:
        view: dict[str, Any] = client.get(at).json()
        if there(view):
            return view
        time.sleep(0.05)
    raise TimeoutError("the server did not come to a result")


def _memory(pid: int) -> str:
    """Most resident memory of a process and its children, and what of it is now its own (not mapped from disk)."""
    told = []
    for process in [pid, *_children(pid)]:
        status = dict(line.split(":", 1) for line in Path(f"/proc/{process}/status").read_text().splitlines())
        most, own = (int(status[name].split()[0]) // 1024 for name in ("VmHWM", "RssAnon"))
        told.append(f"{'server' if process == pid else 'process'} {most}, own now {own}")
    return "; ".join(told)


def _children(pid: int) -> list[int]:
    return [
        int(child) for task in Path(f"/proc/{pid}/task").iterdir() for child in (task / "children").read_text().split()
    ]


def _spread(took_ms: list[float]) -> str:
    ordered = sorted(took_ms)
    high = ordered[int(0.95 * len(ordered))]
    return f"median {statistics.median(ordered):.1f} ms, 95 % {high:.1f}, most {ordered[-1]:.1f}"


@contextlib.contextmanager
def _server(picture: Path, home: Path) -> Iterator[tuple[subprocess.Popen[str], str]]:
    places = {"HOME": str(home), "XDG_CACHE_HOME": str(home / "cache"), "XDG_DATA_HOME": str(home / "data")}
    process = subprocess.Popen(
        [sys.executable, "-c", "from cli.main import run; run()", "trace", "--no-browser", str(picture)],
        cwd=home,
        env={**os.environ, **places, "PYTHONPATH": str(ROOT)},
        stdout=subprocess.PIPE,
        text=True,
    )
    try:
        assert process.stdout is not None
        link = re.search(r"http://\S+", process.stdout.readline())
        assert link is not None
        threading.Thread(target=process.stdout.read, daemon=True).start()
        yield process, link.group()
    finally:
        process.terminate()
        process.wait()


if __name__ == "__main__":
    main()
