import base64
import re
from dataclasses import replace
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path

import cv2
import numpy as np
import pytest

from drawing.drawing import Drawing
from drawing.findings import Finding, Level
from drawing.paths import polyline
from pictures.flat import FlatPicture
from printing.shown_flat import shown_flat
from report.cautions import CAUTIONS
from report.facts import ReportFacts
from report.write_report import html_page, write_html
from tests.report.reported import DECIDE, NOTE, facts, flat, unsettled

VOID = {"meta", "image", "line", "rect", "path", "circle", "br", "img"}


class Page(HTMLParser):
    """Elements with their attributes, the text, and what was left open."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.open: list[str] = []
        self.said = ""
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        if tag in VOID:
            return
        assert self.open, f"</{tag}> closes nothing"
        assert self.open[-1] == tag, f"</{tag}> closes <{self.open[-1]}>"
        self.open.pop()

    def handle_data(self, data: str) -> None:
        if not self.open or self.open[-1] not in {"style", "script"}:
            self.said += f" {data.strip()}"

    def all(self, tag: str) -> list[dict[str, str | None]]:
        return [attributes for name, attributes in self.elements if name == tag]


def page(given: ReportFacts) -> Page:
    return Page(html_page(given, shown_flat(flat())).decode())


def test_it_opens_without_a_network() -> None:
    html = html_page(facts(), shown_flat(flat())).decode()

    links = [
        value
        for _, attributes in Page(html).elements
        for name, value in attributes.items()
        if name in {"src", "href", "xlink:href", "srcset", "action"} and value
    ]
    assert all(link.startswith(("data:image/jpeg;base64,", "#")) for link in links)
    assert "@import" not in html
    assert all(target == "url(#tip)" for target in re.findall(r"url\([^)]*\)", html))
    assert not Page(html).all("script")
    # A browser is told as well to fetch nothing.
    assert any("default-src 'none'" in (meta.get("content") or "") for meta in Page(html).all("meta"))


def test_every_element_is_closed_and_every_link_leads_somewhere() -> None:
    read = page(unsettled(facts()))

    assert read.open == []
    ids = [attributes["id"] for _, attributes in read.elements if "id" in attributes]
    assert len(ids) == len(set(ids))
    assert {link["href"] for link in read.all("a")} <= {f"#{name}" for name in ids}


def test_sizes_parts_and_findings_are_told() -> None:
    said = page(facts()).said

    # By hand: half of 90 x 60 mm over all, half of 35 x 60 for the F, its area a quarter of 1000 mm2.
    for words in ("45.0 mm", "30.0 mm", "± 0.3 mm", "17.5 mm", "2.5 cm²", "bracket", "1/2 of full size", "2031-02-03"):
        assert words in said
    assert NOTE.text in said
    assert "known distance 1 (100 mm)" in said


def test_the_ink_width_is_stated_at_both_sizes() -> None:
    assert (
        "middle of the drawn ink line, which is 0.50 mm wide at full size and 0.25 mm at build size"
        in page(facts()).said
    )
    assert "follow the middle of the drawn ink line." in page(replace(facts(), line_width_mm=None)).said


def test_an_unsettled_scale_is_loud_and_first() -> None:
    read = page(unsettled(facts()))

    body = [name for name, _ in read.elements].index("body")
    assert read.elements[body + 1][1].get("class") == "stamp"
    assert "SCALE NOT SETTLED" in read.said.split("Test <plan>")[1]
    # What is to decide stands before the pictures.
    assert read.said.index(DECIDE.text) < read.said.index("The plan and its parts")


def test_a_settled_scale_has_no_stamp() -> None:
    read = page(facts())

    assert "NOT SETTLED" not in read.said
    assert not any(attributes.get("class") == "stamp" for _, attributes in read.elements)


def test_pictures_come_before_tables() -> None:
    names = [name for name, _ in page(facts()).elements]

    figures = [place for place, name in enumerate(names) if name == "figure"]
    assert len(figures) == 3
    assert max(figures) < names.index("table")


def test_what_people_named_cannot_become_markup() -> None:
    build = Drawing((replace(facts().build.outlines[0], name="<script>alert(1)</script>"),), ())
    html = html_page(replace(facts(), build=build, rests_on="<b>x</b>"), shown_flat(flat())).decode()

    assert "<script" not in html
    assert "<b>x</b>" not in html
    assert "&lt;script&gt;alert(1)" in html


def test_every_picture_has_words_and_headings_go_down_one_by_one() -> None:
    read = page(facts())

    figures = [svg for svg in read.all("svg") if svg.get("aria-hidden") != "true"]
    assert all(svg.get("aria-label") and svg.get("role") for svg in figures)
    levels = [int(name[1]) for name, _ in read.elements if re.fullmatch("h[1-6]", name)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after - before <= 1 for before, after in pairwise(levels))
    assert read.all("html")[0]["lang"] == "en"
    assert all(header.get("scope") for header in read.all("th"))


def test_light_dark_and_print_are_styled() -> None:
    html = html_page(facts(), shown_flat(flat())).decode()

    assert "@media (prefers-color-scheme: dark)" in html
    assert "@media print" in html


@pytest.mark.parametrize("kind", ["--ground", "--sheet", "--soft", "--loud-soft"])
@pytest.mark.parametrize("ink", ["--ink", "--quiet", "--key"])
def test_words_stand_out_from_their_ground(kind: str, ink: str) -> None:
    # WCAG 2.1, 1.4.3: a contrast of at least 4.5 to 1 for text, by relative luminance.
    css = html_page(facts(), shown_flat(flat())).decode()
    for scheme in re.findall(r":root \{(.*?)\}", css, re.DOTALL)[:2]:
        colours = dict(re.findall(r"(--[\w-]+): (#[0-9a-f]{6})", scheme))
        bright, dark = sorted((luminance(colours[kind]), luminance(colours[ink])), reverse=True)
        assert (bright + 0.05) / (dark + 0.05) >= 4.5, (kind, ink, colours)


def luminance(colour: str) -> float:
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    red, green, blue = (part / 12.92 if part <= 0.03928 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def test_pictures_inside_are_reduced_and_keep_their_colours() -> None:
    pixels = np.zeros((2000, 4000, 3), np.uint8)
    pixels[..., 0] = 200
    wide = FlatPicture(pixels, 40000, (0.0, 0.0))

    html = html_page(facts(), shown_flat(wide)).decode()

    first = re.search(r'href="data:image/jpeg;base64,([^"]+)"', html)
    assert first is not None
    decoded = cv2.imdecode(np.frombuffer(base64.b64decode(first[1]), np.uint8), cv2.IMREAD_COLOR)
    assert decoded.shape == (800, 1600, 3)
    # OpenCV gives blue first: what was red is red.
    assert decoded[400, 800] == pytest.approx((0, 0, 200), abs=6)


def test_a_plan_of_lines_only_is_reported() -> None:
    lines = Drawing((), (polyline(np.array([[0.0, 0.0], [40.0, 30.0]]), closed=False),))

    said = page(replace(facts(), build=lines)).said

    assert "No part was outlined" in said


def test_cautions_are_there() -> None:
    said = page(facts()).said

    assert all(caution in said for caution in CAUTIONS)
    assert "rules of the country" in " ".join(CAUTIONS)


def test_the_file_is_written_whole(tmp_path: Path) -> None:
    write_html(tmp_path / "report.html", facts(), shown_flat(flat()))

    assert (tmp_path / "report.html").read_bytes() == html_page(facts(), shown_flat(flat()))


def test_marks_that_moved_are_one_item() -> None:
    moved = [Finding("mark-moved", Level.NOTE, f"known distance {n}", "Moved 0.4 px to point 7.") for n in (1, 2)]

    read = page(replace(facts(), findings=(NOTE, *moved)))

    assert "2 marks moved to the ink" in read.said
    assert "Known distance 2: moved 0.4 px to point 7." in read.said
    assert len([item for item in read.all("li") if item.get("class") == "note"]) == 2


def test_the_lines_that_drop_or_name_a_part_are_there() -> None:
    said = page(facts()).said

    assert "[[choices]]  # part 2" in said
    assert 'name = "bracket"' in said


@pytest.mark.parametrize(("check_mm", "within"), [(50.0, True), (50.3, True), (51.0, False)])
def test_arrows_within_their_give_or_take_are_said_to_be(check_mm: float, within: bool) -> None:
    given = facts(check_mm=check_mm)
    lengths = given.calibration.observed

    said = page(given).said

    assert all(abs(length.residual_mm) <= length.u95_mm for length in lengths) is within
    # An error of nothing draws no arrow, and nothing is said of arrows.
    assert ("Every one is within its give or take" in said) is (within and "Red arrows" in said)
