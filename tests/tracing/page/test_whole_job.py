"""The whole job by mouse on the bundled photo, with the real program: what then lies on disk, and what was asked."""

import json
import math
import re
import shutil
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pypdfium2
import pytest
from shapely import LineString, Point
from svgelements import SVG
from svgelements import Path as SvgPath

from tests.tracing.page.builder import Builder, served
from tests.tracing.page.whole_job import ARMS_MM, BAR_MM, GRID_DRAG_MM, PHOTO_PATH, Truth, WholeJob

if TYPE_CHECKING:
    from playwright.sync_api import Browser

ON_INK_PX = 0.6
"""A mark by mouse goes to ink whose place the picture's noise and the lens leave this sure."""

TRACED_PX = 0.6
"""A way along ink follows the middle of a line of 4 px."""

OF_TRUTH = 0.002
"""What a photo with one lens and two known lengths comes to: a part's size, of itself."""

A4_PT = (595.276, 841.890)
"""ISO 216, 210 x 297 mm, at 72 pt per 25.4 mm."""

FILES = {
    "report.html",
    "report.json",
    "outlines.svg",
    "outlines.dxf",
    "outlines_arcs.dxf",
    "flat.png",
    "pages.pdf",
    "job.toml",
}


@dataclass
class Done:
    """What is there when the job is done."""

    job: WholeJob
    folder: Path
    downloaded: Path
    measured: str
    policy: str
    grid_before_mm: list[float]

    @property
    def toml(self) -> dict[str, Any]:
        return tomllib.loads((self.folder / "job.toml").read_text("utf-8"))

    @property
    def report(self) -> dict[str, Any]:
        found: dict[str, Any] = json.loads((self.folder / "report.json").read_text("utf-8"))
        return found


@pytest.fixture(scope="module")
def done(browser: "Browser", tmp_path_factory: pytest.TempPathFactory) -> Iterator[Done]:
    cwd = tmp_path_factory.mktemp("whole job")
    with served(cwd=cwd) as program:
        page = browser.new_page(viewport={"width": 1280, "height": 720})
        answers: dict[str, str] = {}
        page.on("response", lambda told: answers.setdefault(told.url, told.headers.get("content-security-policy", "")))
        job = WholeJob(Builder(page), Truth())
        job.to_measured(program.address, PHOTO_PATH)
        job.builder.until(lambda: "°" in job.builder.card(), "the angle")
        measured = job.builder.card()
        job.size()
        view = job.builder.view()
        job.drag_pages()
        job.export()
        job.download("pages.pdf", cwd / "downloaded.pdf")
        folder = cwd / "plan_photo-scantling"
        policy = answers[page.url]
        yield Done(job, folder, cwd / "downloaded.pdf", measured, policy, view["results"]["pages"]["origin_mm"])
        page.close()


def test_marks_lie_where_the_ends_truly_are(done: Done) -> None:
    given = [item for item in done.toml["observations"] if item["kind"] == "known distance"]

    assert [item["length"] for item in given] == ["400 mm", "384 mm"]
    for item, name in zip(given, ("WING PANEL length", "cross 1 to cross 2"), strict=True):
        for end, truth in zip((item["start_px"], item["end_px"]), done.job.truth.ends_px(name), strict=True):
            assert math.dist(end, truth) < ON_INK_PX
        assert item["marks"] == ["ink", "ink"]


def test_parts_come_out_at_half_of_their_true_size(done: Done) -> None:
    report = done.report
    assert report["fraction"] == pytest.approx(0.5, rel=OF_TRUTH)
    for name in ("WING PANEL", "TAILPLANE", "CABIN SIDE", "F1", "FIN"):
        low_x, low_y, high_x, high_y = done.job.truth.outline_mm(name).bounds
        half = (high_x - low_x) / 2, (high_y - low_y) / 2

        alike = [
            (part["width_mm"], part["height_mm"])
            for part in report["outlines"]
            if math.dist((part["width_mm"], part["height_mm"]), half) < OF_TRUTH * sum(half)
        ]

        assert len(alike) == 1, name


def test_one_part_is_named_and_one_left_out(done: Done) -> None:
    parts = done.report["outlines"]
    fin = done.job.truth.outline_mm("FIN").bounds

    assert len(parts) == len(done.job.truth.plan.parts) - 1
    assert [(part["width_mm"], part["height_mm"]) for part in parts if part["name"] == "TAIL FIN"] == [
        pytest.approx(((fin[2] - fin[0]) / 2, (fin[3] - fin[1]) / 2), rel=2 * OF_TRUTH)
    ]
    wheel = [part for part in parts if abs(part["width_mm"] - 21) < 0.2 and abs(part["height_mm"] - 21) < 0.2]
    assert wheel == []
    assert {(choice["action"], choice["name"]) for choice in done.toml["choices"]} == {
        ("take", "TAIL FIN"),
        ("drop", ""),
    }


def test_the_traced_way_follows_the_middle_of_the_line(done: Done) -> None:
    [trace] = done.toml["traces"]
    truth = done.job.truth
    edge = np.array(truth.outline_mm("BRACE").exterior.segmentize(1.0).coords)
    ink = LineString(truth.camera.to_picture(edge))
    nodes = np.array(trace["nodes_px"])
    share = np.linspace(0, 1, 30)[:, None]
    way = np.concatenate(
        [
            (1 - share) ** 3 * a + 3 * share * (1 - share) ** 2 * b + 3 * share**2 * (1 - share) * c + share**3 * d
            for a, b, c, d in (nodes[at : at + 4] for at in range(0, len(nodes) - 1, 3))
        ]
    )

    assert not trace["closed"]
    first, _, last = done.job.traced_px()
    assert math.dist(way[0], first) < 3
    assert math.dist(way[-1], last) < 3
    assert max(ink.distance(Point(place)) for place in way) < TRACED_PX


def test_the_rubbed_out_bar_is_in_no_file(done: Done) -> None:
    [rub] = done.toml["rubbed"]
    start, end = done.job.truth.px(*BAR_MM)
    assert math.dist(rub["points_px"][0], start) < 3
    assert math.dist(rub["points_px"][-1], end) < 3

    # The wing panel's corners tell where the plan lies in the file: outlines.svg is in mm of the build, y down.
    drawn = [path for path in SVG.parse(done.folder / "outlines.svg", ppi=25.4).elements() if isinstance(path, SvgPath)]
    boxes = [path.bbox() for path in drawn]
    wing = next(box for box in boxes if abs(box[2] - box[0] - 200) < 0.5 and abs(box[3] - box[1] - 55) < 0.5)
    left, top = wing[0] - 34 / 2, wing[1] + 374 / 2
    bar = left + 150 / 2, top - 18 / 2, left + 250 / 2, top - 14 / 2
    assert [box for box in boxes if box[0] < bar[2] and box[2] > bar[0] and box[1] < bar[3] and box[3] > bar[1]] == []
    # The same look finds what was not rubbed out: the cross in the lower left corner.
    cross = left + 8 / 2, top - 8 / 2
    assert [
        box for box in boxes if abs((box[0] + box[2]) / 2 - cross[0]) < 3 and abs((box[1] + box[3]) / 2 - cross[1]) < 3
    ]


def test_measures_tell_the_truth_and_stay_with_their_notes(done: Done) -> None:
    first, corner, last = (np.array(place) for place in ARMS_MM)
    chord_mm = np.linalg.norm(first - corner)
    arms = [np.arctan2(*(place - corner)[::-1]) for place in (first, last)]
    angle_deg = np.degrees(arms[0] - arms[1])

    said = re.search(r"Length: ([\d.]+) mm", done.measured), re.search(r"Angle: ([\d.]+)°", done.measured)

    assert said[0] is not None
    assert said[1] is not None
    assert float(said[0][1]) == pytest.approx(chord_mm, rel=2 * OF_TRUTH)
    assert float(said[1][1]) == pytest.approx(angle_deg, abs=0.2)
    assert [(kept["kind"], kept["note"]) for kept in done.toml["measures"]] == [
        ("length", "root chord"),
        ("angle", "sweep of the trailing edge"),
    ]
    truth_px = done.job.truth.px(*ARMS_MM)
    for place, truth in zip(done.toml["measures"][1]["points_px"], truth_px, strict=True):
        assert math.dist(place, truth) < 2 * ON_INK_PX


def test_the_pages_lie_where_they_were_dragged_to(done: Done) -> None:
    moved = (np.array(GRID_DRAG_MM[1]) - GRID_DRAG_MM[0]) / 2
    grid = done.toml["pages"]["grid"]

    assert np.array(grid["origin_mm"]) - done.grid_before_mm == pytest.approx(moved, abs=0.5)
    assert done.toml["build"]["length"]["length"] == "200 mm"
    assert done.report["pages"]["tiles"][0]["origin_mm"] == grid["origin_mm"]


def test_the_downloaded_pages_are_those_on_disk_and_hold_every_sheet(done: Done) -> None:
    assert done.downloaded.read_bytes() == (done.folder / "pages.pdf").read_bytes()

    document = pypdfium2.PdfDocument(done.downloaded)
    sizes = [document[number].get_size() for number in range(len(document))]
    document.close()

    report = done.report["pages"]
    assert len(sizes) == report["count"] == len(report["tiles"]) + 1
    assert all(sorted(size) == pytest.approx(sorted(A4_PT), abs=0.01) for size in sizes)


def test_make_on_the_saved_job_writes_the_same_files(done: Done, tmp_path: Path) -> None:
    again = tmp_path / done.folder.name
    again.mkdir()
    for name in ("job.toml", PHOTO_PATH.name):
        shutil.copy(done.folder / name, again / name)

    command = [sys.executable, "-c", "from cli.main import run; run()", "make", str(again / "job.toml")]
    ran = subprocess.run(command, cwd=Path(__file__).parents[3], capture_output=True, text=True, check=False)

    assert ran.returncode == 0, ran.stderr
    assert {path.name for path in done.folder.iterdir()} >= FILES
    for name in sorted(FILES - {"report.json"}):
        assert (again / name).read_bytes() == (done.folder / name).read_bytes(), name
    reports = [json.loads((folder / "report.json").read_text("utf-8")) for folder in (again, done.folder)]
    for report in reports:
        del report["seconds"]
    assert reports[0] == reports[1]


def test_the_strict_policy_was_on_and_nothing_broke_it(done: Done) -> None:
    assert "default-src 'none'" in done.policy
    assert "script-src 'self'" in done.policy
    assert "unsafe" not in done.policy
    # A question about a length while the scale is being set may be refused; nothing else may go wrong.
    assert [text for text in done.job.builder.errors if "422" not in text] == []


def test_no_request_left_this_computer(done: Done) -> None:
    asked = done.job.builder.asked

    assert len(asked) > 100
    assert [url for url in asked if not url.startswith(("http://127.0.0.1:", "blob:http://127.0.0.1:"))] == []
