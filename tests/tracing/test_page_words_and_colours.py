"""The page's style sheets and word lists, read as text: contrast, and lists that must match Python's."""

import itertools
import re
from pathlib import Path

import pytest

from drawing.papers import PAPERS
from tracing.result_files import FILES

STATIC = Path(__file__).parents[2] / "tracing" / "static"

TEXT_CONTRAST = 4.5
"""WCAG 2.2, success criterion 1.4.3 (level AA), for text of ordinary size."""

PART_CONTRAST = 3.0
"""WCAG 2.2, success criterion 1.4.11 (level AA): edges of inputs and buttons, focus rings."""

GROUNDS = ("ground", "sheet", "soft", "key-soft", "unsure-soft")


def _colours(*sheets: str) -> dict[str, str]:
    found: dict[str, str] = {}
    for sheet in sheets:
        found |= dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6})\b;", (STATIC / "css" / sheet).read_text("utf-8")))
    return found


THEMES = {"light": _colours("colours.css"), "dark": _colours("colours.css", "dark.css")}


# WCAG 2.2, definitions of "relative luminance" and "contrast ratio".
def _luminance(colour: str) -> float:
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def _contrast(one: str, other: str) -> float:
    darker, lighter = sorted((_luminance(one), _luminance(other)))
    return (lighter + 0.05) / (darker + 0.05)


# The ratio's ends, from the definition's own text: black on white is 21, a colour on itself 1. 4.54 is that of
# #767676 on white, the usual example of the palest grey that passes (from memory).
def test_the_ratio_is_the_one_of_the_definition() -> None:
    assert _contrast("#000000", "#ffffff") == pytest.approx(21)
    assert _contrast("#123456", "#123456") == pytest.approx(1)
    assert _contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)


PAIRS = [
    *itertools.product(("ink", "quiet"), GROUNDS),
    *itertools.product(("ink", "loud-text"), ("loud-soft",)),
    *itertools.product(("key",), ("ground", "sheet", "soft", "key-soft", "unsure-soft")),
    *itertools.product(("loud-text", "unsure"), ("ground", "sheet")),
    ("key-ink", "key"),
    ("key-ink", "key-over"),
    ("loud-ink", "loud"),
    ("ink", "bench"),
]


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize(("ink", "ground"), PAIRS)
def test_text_stands_out_from_what_it_stands_on(theme: str, ink: str, ground: str) -> None:
    colours = THEMES[theme]

    assert _contrast(colours[ink], colours[ground]) >= TEXT_CONTRAST


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize(
    ("edge", "ground"),
    [*itertools.product(("line", "key"), ("sheet", "ground")), ("good", "sheet"), ("loud-text", "loud-soft")],
)
def test_edges_that_tell_something_can_be_seen(theme: str, edge: str, ground: str) -> None:
    colours = THEMES[theme]

    assert _contrast(colours[edge], colours[ground]) >= PART_CONTRAST


def test_both_themes_name_every_colour() -> None:
    sizes_and_others = {"round", "picture-surround"}
    names = [
        set(re.findall(r"--([a-z-]+):", (STATIC / "css" / sheet).read_text("utf-8"))) - sizes_and_others
        for sheet in ("colours.css", "dark.css")
    ]

    assert names[0] == names[1]


def test_no_colour_stands_outside_the_two_lists_but_white_paper_and_the_veils_letters() -> None:
    for sheet in ("bench.css", "card.css", "open.css"):
        loose = set(re.findall(r"#[0-9a-fA-F]{3,8}\b(?!-)", (STATIC / "css" / sheet).read_text("utf-8"))) - {
            "#fff",
            "#ffffff",
        }
        assert {colour for colour in loose if not colour[1:].isalpha()} == set(), sheet


def test_every_paper_known_by_name_is_offered_by_name() -> None:
    words = (STATIC / "js" / "words.js").read_text("utf-8")
    listed = re.search(r"export const PAPERS = \[(.*?)\]", words)

    assert listed is not None
    assert set(re.findall(r'"([^"]+)"', listed[1])) == {paper.name for paper in PAPERS.values()}


def test_every_file_that_is_offered_has_its_words() -> None:
    words = (STATIC / "js" / "words.js").read_text("utf-8")
    listed = re.search(r"export const FILES = \{(.*?)\n\};", words, re.DOTALL)

    assert listed is not None
    assert set(re.findall(r'^  "([^"]+)":', listed[1], re.MULTILINE)) == set(FILES)


@pytest.mark.parametrize("file", sorted(STATIC.rglob("*.js")), ids=lambda file: file.name)
def test_text_never_becomes_markup_and_no_other_place_is_asked(file: Path) -> None:
    text = file.read_text("utf-8")

    for word in ("innerHTML", "outerHTML", "insertAdjacentHTML", "document.write", "eval(", "new Function"):
        assert word not in text
    assert set(re.findall(r"https?://[^\s\"'`]+", text)) <= {"http://www.w3.org/2000/svg"}


def test_the_page_holds_no_style_or_script_of_its_own() -> None:
    text = (STATIC / "index.html").read_text("utf-8")

    assert not re.search(r"\sstyle=|\son[a-z]+=|<style|javascript:", text)
    assert re.findall(r"<script[^>]*>", text) == ['<script type="module" src="/static/js/main.js">']
