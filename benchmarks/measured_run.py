"""A command run to its end: its exit code, wall time, most memory and words.

The command is started by a small Python process of its own (`python -m benchmarks.measured_run RESULT COMMAND...`):
Linux counts what a process held before it became the command as the command's memory, and the benchmark is large.
"""

import json
import os
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

_KB_PER_MB = 1024


@dataclass(frozen=True, slots=True)
class Ran:
    """How a command ended, how long it took from start to end, the most memory it held, what it printed."""

    code: int
    seconds: float
    peak_mb: float
    said: str


def measured_run(command: list[str]) -> Ran:
    """Run a command and wait for its end; its own exit code is reported, never raised."""
    with tempfile.TemporaryDirectory() as folder:
        result = Path(folder) / "result.json"
        subprocess.run([sys.executable, "-m", "benchmarks.measured_run", str(result), *command], check=True)
        values = json.loads(result.read_text(encoding="utf-8"))
    return Ran(values["code"], values["seconds"], values["peak_mb"], values["said"])


def best_of(*runs: Ran) -> Ran:
    """Give the fastest: other work on the machine only ever adds."""
    return min(runs, key=lambda run: run.seconds)


def _main() -> None:
    result, *command = sys.argv[1:]
    with tempfile.TemporaryFile() as heard:
        start = time.perf_counter()
        process = subprocess.Popen(command, stdout=heard, stderr=subprocess.STDOUT)
        _, status, usage = os.wait4(process.pid, 0)
        seconds = time.perf_counter() - start
        process.returncode = os.waitstatus_to_exitcode(status)
        heard.seek(0)
        said = heard.read().decode(errors="replace")
    # Linux counts KB, macOS bytes.
    peak_kb = usage.ru_maxrss / 1024 if sys.platform == "darwin" else usage.ru_maxrss
    values = {"code": process.returncode, "seconds": seconds, "peak_mb": peak_kb / _KB_PER_MB, "said": said}
    Path(result).write_text(json.dumps(values), encoding="utf-8")


if __name__ == "__main__":
    _main()
