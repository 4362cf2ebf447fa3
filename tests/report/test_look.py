import base64
import json
import re
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from pictures.picture import Picture
from report.look import write_look
from tests.report.reported import picture

# Points of the picture of 1500 x 1000 px: two corners of its window, a close pair, the middle.
POINTS = np.array([[0.0, 0.0], [1499.0, 999.0], [300.04, 200.0], [303.0, 201.0], [749.5, 499.5]])
BROWSER = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")


def data_of(html: str) -> dict:
    found = re.search(r'<script type="application/json" id="data">(.*?)</script>', html, re.DOTALL)
    assert found is not None
    return json.loads(found[1])


def written(tmp_path: Path, shown: Picture, **options: object) -> str:
    write_look(tmp_path / "look.html", shown, POINTS, **options)
    return (tmp_path / "look.html").read_text(encoding="utf-8")


def test_points_are_numbered_from_one_in_their_order(tmp_path: Path) -> None:
    data = data_of(written(tmp_path, picture()))

    assert data["labels"] == ["1", "2", "3", "4", "5"]
    assert data["points"] == [[0.0, 0.0], [1499.0, 999.0], [300.0, 200.0], [303.0, 201.0], [749.5, 499.5]]
    assert (data["width"], data["height"]) == (1500, 1000)


def test_labels_can_be_given_and_cannot_become_markup(tmp_path: Path) -> None:
    html = written(tmp_path, picture(), labels=["</script><b>", "B", "C", "D", "E"])

    assert data_of(html)["labels"][0] == "</script><b>"
    assert "<b>" not in html
    assert "plan &lt;1&gt;.png" in html


def test_nothing_is_fetched(tmp_path: Path) -> None:
    html = written(tmp_path, picture())

    assert all(src.startswith("data:image/jpeg;base64,") for src in re.findall(r'\bsrc="([^"]*)"', html))
    assert "default-src 'none'" in html
    assert set(re.findall(r"https?://[^\s\"']+", html)) == {"http://www.w3.org/2000/svg"}


def test_a_large_picture_is_reduced_and_its_figures_are_not(tmp_path: Path) -> None:
    grey = np.full((3000, 12000), 255, np.uint8)
    html = written(tmp_path, replace(picture(), grey=grey))

    found = re.search(r'src="data:image/jpeg;base64,([^"]+)"', html)
    assert found is not None
    decoded = cv2.imdecode(np.frombuffer(base64.b64decode(found[1]), np.uint8), cv2.IMREAD_GRAYSCALE)
    assert decoded.shape == (1500, 6000)
    assert (data_of(html)["width"], data_of(html)["height"]) == (12000, 3000)


def test_a_picture_without_points_is_shown(tmp_path: Path) -> None:
    write_look(tmp_path / "look.html", picture(), np.empty((0, 2)))

    assert "No corner, crossing or line end was found" in (tmp_path / "look.html").read_text(encoding="utf-8")


HANDS = """
<ul id="notes" hidden></ul>
<script>
Element.prototype.setPointerCapture = () => {};
const view = document.getElementById("view");
// A wheel's place is in whole CSS px, so every gesture here is.
const box = view.getBoundingClientRect();
const at = (x, y) => [Math.round(box.left + x), Math.round(box.top + y)];
function tap(x, y) {
  const [clientX, clientY] = at(x, y);
  for (const type of ["pointerdown", "pointerup"]) {
    view.dispatchEvent(new PointerEvent(type, { clientX, clientY, pointerId: 1, button: 0, bubbles: true }));
  }
  note();
}
function turn(x, y, deltaY) {
  const [clientX, clientY] = at(x, y);
  view.dispatchEvent(new WheelEvent("wheel", { clientX, clientY, deltaY, bubbles: true, cancelable: true }));
}
function seek(text) {
  document.getElementById("number").value = text;
  document.getElementById("finder").requestSubmit();
  note();
}
function put(text) {
  const item = document.createElement("li");
  item.className = "noted";
  item.textContent = String(text);
  document.getElementById("notes").append(item);
}
function note() { put(document.getElementById("said").textContent.trim()); }
const shownPlates = () => [...document.querySelectorAll(".plate")].filter((p) => p.style.display !== "none").length;
ACTIONS
</script>
"""


def in_browser(tmp_path: Path, actions: str) -> list[str]:
    """What the page says after each action, in a real browser."""
    html = written(tmp_path, picture())
    (tmp_path / "acted.html").write_text(html.replace("</body>", HANDS.replace("ACTIONS", actions) + "</body>"))
    assert BROWSER is not None
    run = subprocess.run(
        [
            BROWSER, "--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking",
            "--disable-component-update", "--disable-sync", "--disable-quic",
            "--window-size=1200,900", f"--user-data-dir={tmp_path / 'profile'}", "--dump-dom",
            (tmp_path / "acted.html").as_uri(),
        ],
        capture_output=True, text=True, timeout=120, check=True,
    )  # fmt: skip
    return re.findall(r'<li class="noted">(.*?)</li>', run.stdout)


@pytest.mark.skipif(BROWSER is None, reason="needs a browser")
class TestInABrowser:
    def test_a_number_is_found_and_a_click_on_it_reads_its_px(self, tmp_path: Path) -> None:
        middle = "view.clientWidth / 2, view.clientHeight / 2"
        said = in_browser(tmp_path, f'seek("5"); tap({middle}); seek("3"); seek("77");')

        assert said == [
            "5 at 749.5,499.5",
            "5 at 749.5,499.5",
            "3 at 300.0,200.0",
            "77 is not a number on this picture",
        ]

    def test_a_click_beside_all_points_reads_the_place_it_hit(self, tmp_path: Path) -> None:
        # All of the picture is shown, so its outer corners are where the page puts the image; the first
        # pixel's centre, half a pixel further in, is 0.
        said = in_browser(
            tmp_path,
            """
            tap(view.clientWidth / 2 + 61, view.clientHeight / 2 - 33);
            const [x, y] = at(view.clientWidth / 2 + 61, view.clientHeight / 2 - 33);
            const shown = document.getElementById("picture").getBoundingClientRect();
            put((x - shown.left) / shown.width * 1500 - 0.5);
            put((y - shown.top) / shown.height * 1000 - 0.5);
            """,
        )

        read = [float(figure) for figure in said[0].split(" ")[0].split(",")]
        assert read == pytest.approx([float(figure) for figure in said[1:]], abs=0.06)

    def test_zooming_keeps_the_place_under_the_pointer_and_shows_more_numbers(self, tmp_path: Path) -> None:
        said = in_browser(
            tmp_path,
            """
            tap(400, 500); put(shownPlates());
            for (let i = 0; i < 4; i++) turn(400, 500, -200);
            tap(400, 500);
            seek("3"); for (let i = 0; i < 12; i++) turn(view.clientWidth / 2, view.clientHeight / 2, -200);
            put(shownPlates());
            """,
        )

        before = [float(figure) for figure in said[0].split(" ")[0].split(",")]
        after = [float(figure) for figure in said[2].split(" ")[0].split(",")]
        assert after == pytest.approx(before, abs=0.11)
        # Points 3 and 4 are 3 px apart: one number stands for both until there is room for two.
        assert said[1] == "4"
        assert said[4] == "2"

    def test_two_clicks_give_the_words_to_type(self, tmp_path: Path) -> None:
        said = in_browser(
            tmp_path,
            """
            const typed = () => document.getElementById("typed").textContent;
            const rings = () => [...document.querySelectorAll(".ring")].filter((r) => r.style.display !== "none");
            seek("1"); put(typed()); put(rings().length);
            seek("5"); put(typed()); put(rings().length);
            """,
        )

        assert said[1:3] == ["Now click its other end.", "1"]
        assert said[4].endswith('--known "1 5 = 36 in"')
        assert said[5] == "2"
