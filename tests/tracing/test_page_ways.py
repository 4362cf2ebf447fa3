"""What a shell is told to do next never reaches the page: the source is walked for every sentence that tells it."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from tracing.view_words import PAGE_WAYS, on_the_page

ROOT = Path(__file__).parents[2]

ROOMS = ("drawing", "pictures", "calibration", "digitize", "printing", "report", "job", "tracing")

SHELL = re.compile(r"(?<![-\w])--[a-z]|`")

NEVER_ON_THE_PAGE = {
    # Read what was typed in a shell; the page sends marks and values, never these words.
    "job/points.py": {"_point"},
    "job/settle.py": {"mark_at"},
    "job/make.py": {"__post_init__", "_region"},
    # Of the command `measure` alone.
    "job/typed_shapes.py": {"__post_init__"},
    "job/measured_ordinates.py": {"_ends_alike"},
    # Printed on the sheet of cards.
    "job/cards_sheet.py": {""},
    # A comment that stands in job.toml.
    "job/job_file.py": {"job_text"},
    # The table itself.
    "tracing/view_words.py": {""},
}


def sentences() -> Iterator[tuple[str, str, str]]:
    """Give (file, function, sentence) of every text that speaks of options or commands; what is filled in is "7"."""
    for room in ROOMS:
        for path in sorted((ROOT / room).rglob("*.py")):
            name = path.relative_to(ROOT).as_posix()
            yield from _in(ast.parse(path.read_text("utf-8")), name, "")


def _in(node: ast.AST, file: str, function: str) -> Iterator[tuple[str, str, str]]:
    if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
        function = node.name
    for child in ast.iter_child_nodes(node):
        if isinstance(child, ast.Expr) and isinstance(child.value, ast.Constant):
            continue  # a docstring
        if isinstance(child, ast.JoinedStr) or (isinstance(child, ast.Constant) and isinstance(child.value, str)):
            text = _text(child)
            if SHELL.search(text) and " " in text.strip():
                yield file, function, text
        else:
            yield from _in(child, file, function)


def _text(node: ast.expr) -> str:
    if isinstance(node, ast.JoinedStr):
        return "".join(str(part.value) if isinstance(part, ast.Constant) else "photo" for part in node.values)
    assert isinstance(node, ast.Constant)
    return str(node.value)


FOUND = [one for one in sentences() if one[1] not in NEVER_ON_THE_PAGE.get(one[0], set())]


@pytest.mark.parametrize(("file", "function", "sentence"), FOUND, ids=[f"{one[0]}:{one[1]}" for one in FOUND])
def test_a_sentence_with_a_shells_remedy_has_the_pages_own(file: str, function: str, sentence: str) -> None:
    said = on_the_page(sentence)

    assert not SHELL.search(said), said


def test_every_way_of_the_table_is_told_somewhere() -> None:
    told = " ".join(sentence for _, _, sentence in FOUND)

    assert [shell for shell, _ in PAGE_WAYS if not re.search(shell, told)] == []


def test_what_the_page_names_stands_on_it() -> None:
    steps = ROOT / "tracing" / "static" / "js"
    page = " ".join(path.read_text("utf-8") for path in steps.rglob("*.js")).replace("’", "'")

    for _, words in PAGE_WAYS:
        for name in re.findall(r"“([^”]+)”", words):
            named = [name.replace(r"\1", kind) for kind in ("photo", "scan")] if r"\1" in name else [name]
            assert all(one.replace("’", "'") in page for one in named), named


def test_a_sentence_without_a_remedy_stays_as_it_is() -> None:
    assert on_the_page("Known distance 1: 2 mm -- or 3 -- more.") == "Known distance 1: 2 mm -- or 3 -- more."
