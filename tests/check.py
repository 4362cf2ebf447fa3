"""The one command: formatter, linter, strict types, tests. Stops at the first that finds something."""

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parent.parent
CHECKS = (
    ("ruff", "format", "--check", "."),
    ("ruff", "check", "."),
    ("mypy",),
    # A process for each core; tests of one file share what they draw and open.
    ("pytest", "-q", "--numprocesses=auto", "--dist=loadfile"),
)


def main() -> int:
    """Run every check; give the first exit code that is not 0."""
    for check in CHECKS:
        print(f"== {' '.join(check)}", flush=True)
        code = subprocess.run([sys.executable, "-m", *check], cwd=ROOT, check=False).returncode
        if code:
            return code
    return 0


if __name__ == "__main__":
    sys.exit(main())
