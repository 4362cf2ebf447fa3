"""Imports run one way, as DEVELOPERS.md says: read from the syntax trees, imports inside functions included."""

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent

MAY_IMPORT = {
    "drawing": set(),
    "pictures": {"drawing"},
    "calibration": {"drawing", "pictures"},
    "digitize": {"drawing", "pictures"},
    "printing": {"drawing", "pictures"},
    "report": {"drawing", "pictures", "calibration", "digitize", "printing"},
    "job": {"drawing", "pictures", "calibration", "digitize", "printing", "report", "sample_scans"},
    "tracing": {"drawing", "pictures", "calibration", "digitize", "printing", "report", "job"},
    "cli": {"drawing", "pictures", "calibration", "digitize", "printing", "report", "job", "tracing"},
    "sample_scans": set(),
}


@pytest.mark.parametrize("room", sorted(MAY_IMPORT))
def test_a_room_imports_only_what_lies_below_it(room: str) -> None:
    wrong = [
        f"{path.relative_to(ROOT)} imports {name}"
        for path in sorted((ROOT / room).rglob("*.py"))
        for name in _imported(path)
        if name in MAY_IMPORT and name != room and name not in MAY_IMPORT[room]
    ]

    assert wrong == []


@pytest.mark.parametrize("room", sorted(MAY_IMPORT))
def test_importing_a_room_loads_no_module_of_its_own(room: str) -> None:
    tree = ast.parse((ROOT / room / "__init__.py").read_text())

    assert all(isinstance(node, ast.Expr) for node in tree.body)


def test_every_room_is_listed_and_in_the_wheel() -> None:
    import tomllib

    wheel = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["hatch"]["build"]["targets"]["wheel"]

    assert set(wheel["packages"]) == set(MAY_IMPORT)


def test_exact_constants_are_written_once() -> None:
    holding = [
        str(path.relative_to(ROOT))
        for room in MAY_IMPORT
        if room != "sample_scans"
        for path in (ROOT / room).rglob("*.py")
        if any(isinstance(node, ast.Constant) and node.value == 25.4 for node in ast.walk(ast.parse(path.read_text())))
    ]

    assert holding == ["drawing/units.py"]


def _imported(path: Path) -> set[str]:
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Import):
            names |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path} imports from '.'; the rooms import by their names"
            names.add((node.module or "").split(".")[0])
    return names
