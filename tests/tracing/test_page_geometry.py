"""The page's own modules that hold no screen: run by node, where there is one."""

import shutil
import subprocess
from pathlib import Path

import pytest

TESTS = sorted((Path(__file__).parent / "js").glob("*.test.mjs"))

TELLS_MODULES = (20, 19)
"""The node version from which a .js file with imports is taken for a module without a package file beside it."""


@pytest.mark.parametrize("file", TESTS, ids=lambda file: file.stem)
def test_the_pages_modules_do_what_their_tests_say(file: Path) -> None:
    node = shutil.which("node")
    if node is None:
        pytest.skip("node is not installed; these modules also run in the browser tests")
    version = subprocess.run([node, "--version"], capture_output=True, text=True, check=True, timeout=60).stdout
    if tuple(int(part) for part in version.strip().lstrip("v").split(".")[:2]) < TELLS_MODULES:
        pytest.skip(f"node {version.strip()} does not tell modules from scripts by itself; 20.19 or later does")

    ran = subprocess.run([node, "--test", str(file)], capture_output=True, text=True, check=False, timeout=60)

    assert ran.returncode == 0, ran.stdout + ran.stderr


def test_there_are_module_tests_to_run() -> None:
    assert TESTS
