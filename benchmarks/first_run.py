"""The README's two commands in empty folders and environments, and the wheel outside the tree: do they work, how long.

Run as `python -m benchmarks.first_run` (some minutes; it downloads what the project depends on). No random numbers.
"""

import os
import re
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).parent.parent


def main() -> None:
    """Run each in a clone of what is committed, and print how it ended."""
    commands = readme_commands((ROOT / "README.md").read_text(encoding="utf-8"))
    with tempfile.TemporaryDirectory() as folder:
        for number, command in enumerate(commands, 1):
            clone = Path(folder) / f"clone{number}"
            subprocess.run(["git", "clone", "--quiet", str(ROOT), str(clone)], check=True)
            print(f"README command {number}: {_run(command, clone)}", flush=True)
        print(f"wheel outside the tree: {_wheel(Path(folder) / 'clone1', Path(folder))}", flush=True)


def readme_commands(text: str) -> list[str]:
    """Give the README's set-up commands: the indented lines that begin by making an environment."""
    return re.findall(r"^    (python3 -m venv .*)$", text, flags=re.MULTILINE)


def _run(command: str, folder: Path) -> str:
    start = time.perf_counter()
    ran = subprocess.run(
        ["bash", "-c", command], cwd=folder, env=_clean(folder), capture_output=True, text=True, check=False
    )
    # pip's advice comes last on its own stream and says nothing of the run.
    said = [line for line in (ran.stderr + ran.stdout).splitlines() if line.strip() and not line.startswith("[notice]")]
    last = said[-1:]
    return f"exit code {ran.returncode} after {time.perf_counter() - start:.0f} s; last line: {''.join(last)}"


def _wheel(clone: Path, folder: Path) -> str:
    build = f"python3 -m venv {folder}/build && {folder}/build/bin/pip install -q build && "
    build += f"{folder}/build/bin/python -m build -q --wheel --outdir {folder}/dist {clone}"
    use = f"python3 -m venv {folder}/user && {folder}/user/bin/pip install -q {folder}/dist/*.whl && "
    use += f"{folder}/user/bin/scantling demo -o {folder}/demo"
    return _run(f"{build} && {use}", folder)


def _clean(home: Path) -> dict[str, str]:
    """Nothing of this process's environment but the way to programs, and where real pictures are."""
    kept = {key: os.environ[key] for key in ("PATH", "SCANTLING_REAL") if key in os.environ}
    # Neither this environment's Python nor its console scripts may be found.
    here = str(Path(sys.executable).parent)
    kept["PATH"] = os.pathsep.join(part for part in kept["PATH"].split(os.pathsep) if part != here)
    return {**kept, "HOME": str(home), "LANG": "C.UTF-8"}


if __name__ == "__main__":
    main()
