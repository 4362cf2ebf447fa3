"""The commands from outside: words in, files and exit codes out."""

import hashlib
import json
import re
import subprocess
import sys
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest
from svgelements import SVG
from svgelements import Path as SvgPath

from cli.main import main
from tests.small_plan import SmallPlan

FILES = {"outlines.svg", "outlines.dxf", "outlines_arcs.dxf", "flat.png", "pages.pdf", "report.html", "job.toml"}
SIZE_TOLERANCE_MM = 0.1
"""A side is measured between two line centres of some 0.05 px each, at 8 px/mm, and fitted within 0.02 mm."""


def _make(plan: SmallPlan, out: Path, *more: str) -> int:
    known = f"{plan.typed(20, 75)} {plan.typed(150, 75)} = 130 mm"
    return main(["make", str(plan.path), "-o", str(out), "--known", known, *more])


@pytest.fixture(scope="module")
def half(small_plan: SmallPlan, tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("half") / "out"
    assert _make(small_plan, out, "--fraction", "1/2") == 0
    return out


def test_make_writes_every_file_and_their_hashes(half: Path) -> None:
    report = json.loads((half / "report.json").read_text())

    assert set(report["files"]) == FILES
    for name, digest in report["files"].items():
        assert hashlib.sha256((half / name).read_bytes()).hexdigest() == digest


def test_parts_come_out_at_half_size(half: Path) -> None:
    parts = json.loads((half / "report.json").read_text())["outlines"]

    sizes = sorted((part["width_mm"], part["height_mm"], part["holes"]) for part in parts)
    assert [size[2] for size in sizes] == [1, 0]
    assert sizes[0][:2] == pytest.approx((40.0, 20.0), abs=SIZE_TOLERANCE_MM)
    assert sizes[1][:2] == pytest.approx((65.0, 7.5), abs=SIZE_TOLERANCE_MM)


def test_the_terminal_ends_with_what_a_builder_wants_to_know(
    small_plan: SmallPlan, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    _make(small_plan, tmp_path / "out", "--fraction", "1/2")

    noted, result = capsys.readouterr().out.split("\nsmall at 1/2 of full size\n")
    assert noted.count("moved to the ink") == 1
    assert "2 marks moved to the ink beside them" in noted
    size = re.search(r"Over all: ([\d.]+) mm x", result)
    assert size is not None
    assert float(size[1]) == pytest.approx(65.0, abs=SIZE_TOLERANCE_MM)
    assert "the page plan, then 1 A4 sheet\n" in result
    assert "rests on known distance 1 (130 mm)" in result


# SVG 2: width and height in mm with a viewBox of the same numbers make one user unit one mm.
def test_the_svg_is_in_mm(half: Path) -> None:
    root = ET.parse(half / "outlines.svg").getroot()

    width = float(root.get("width", "").removesuffix("mm"))
    assert root.get("viewBox", "").split()[:2] == ["0", "0"]
    assert float(root.get("viewBox", "").split()[2]) == pytest.approx(width)
    # The bar of 100 mm is wider than the plan's parts; svgelements measures these.
    drawn = [path for path in SVG.parse(half / "outlines.svg", ppi=25.4).elements() if isinstance(path, SvgPath)]
    boxes = [path.bbox() for path in drawn if path.id != "bar-100-mm"]
    assert min(box[0] for box in boxes) == pytest.approx(0, abs=1e-3)
    assert max(box[2] for box in boxes) == pytest.approx(65.0, abs=SIZE_TOLERANCE_MM)


def test_a_job_done_again_is_the_same_to_the_byte(half: Path) -> None:
    before = {name: (half / name).read_bytes() for name in FILES - {"report.html"}}

    assert main(["make", str(half / "job.toml")]) == 0

    assert {name: (half / name).read_bytes() for name in before} == before


def test_measure_tells_a_length_at_both_sizes(
    half: Path, small_plan: SmallPlan, capsys: pytest.CaptureFixture[str]
) -> None:
    between = f"{small_plan.typed(20, 20)} {small_plan.typed(100, 60)}"

    code = main(["measure", str(half / "job.toml"), "--between", between, "--json"])

    length = json.loads(capsys.readouterr().out)["lengths"][0]
    assert code == 0
    assert length["full_mm"] == pytest.approx((80**2 + 40**2) ** 0.5, abs=3 * SIZE_TOLERANCE_MM)
    assert length["build_mm"] == pytest.approx(length["full_mm"] / 2)
    assert abs(length["full_mm"] - (80**2 + 40**2) ** 0.5) <= length["u95_mm"]


def test_look_numbers_points_and_make_takes_the_numbers(
    small_plan: SmallPlan, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    page = tmp_path / "look.html"

    assert main(["look", str(small_plan.path), "-o", str(page)]) == 0
    assert main(["make", str(small_plan.path), "-o", str(tmp_path / "out"), "--known", "1 2 = 170 mm"]) == 0

    assert "numbered in" in capsys.readouterr().out
    assert page.stat().st_size > 1000
    size = json.loads((tmp_path / "out" / "report.json").read_text())["drawing"]["bounds_mm"]
    assert size[2] - size[0] == pytest.approx(130.0, abs=2 * SIZE_TOLERANCE_MM)


def test_the_other_half_is_mirrored(small_plan: SmallPlan, tmp_path: Path) -> None:
    assert _make(small_plan, tmp_path / "out", "--mirrored") == 0

    bounds = json.loads((tmp_path / "out" / "report.json").read_text())["drawing"]["bounds_mm"]
    assert bounds[0] == pytest.approx(-150.0, abs=2 * SIZE_TOLERANCE_MM)
    assert bounds[2] == pytest.approx(-20.0, abs=2 * SIZE_TOLERANCE_MM)


def test_a_build_length_sets_the_fraction(small_plan: SmallPlan, tmp_path: Path) -> None:
    wanted = f"{small_plan.typed(20, 75)} {small_plan.typed(150, 75)} = 52 mm"

    assert _make(small_plan, tmp_path / "out", "--build-length", wanted) == 0

    report = json.loads((tmp_path / "out" / "report.json").read_text())
    assert report["drawing"]["bounds_mm"][2] - report["drawing"]["bounds_mm"][0] == pytest.approx(52.0, abs=0.05)


def test_a_region_limits_what_is_drawn(small_plan: SmallPlan, tmp_path: Path) -> None:
    corners = " ".join(small_plan.typed(x, y) for x, y in [(5, 5), (110, 5), (110, 68), (5, 68)])

    assert _make(small_plan, tmp_path / "out", "--region", corners) == 0

    parts = json.loads((tmp_path / "out" / "report.json").read_text())["outlines"]
    assert [part["holes"] for part in parts] == [1]


def test_lengths_that_disagree_are_stamped_and_leave_with_one(small_plan: SmallPlan, tmp_path: Path) -> None:
    other = f"{small_plan.typed(20, 90)} {small_plan.typed(150, 90)} = 134 mm"

    code = _make(small_plan, tmp_path / "out", "--known", other)

    assert code == 1
    assert "SCALE NOT SETTLED" in (tmp_path / "out" / "outlines.svg").read_text()
    for name in ("outlines.dxf", "outlines_arcs.dxf"):
        assert b"SCALE NOT SETTLED" in (tmp_path / "out" / name).read_bytes()


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["make", "no-such.png"], "no-such.png"),
        (["make", "{plan}"], "--trust-size"),
        (["make", "{plan}", "--known", "1 2 = 36"], "36"),
        (["make", "{plan}", "--known", "1 99999 = 36 in"], "99999"),
        (["make", "{plan}", "--known", "1,1 9000,20 = 36 in"], "9000"),
        (["make", "{plan}", "--known", "1 1 = 36 in"], "two places"),
        (["make", "{plan}", "--known", "1 2 = 0 mm"], "0"),
        (["make", "{plan}", "--known", "1 2 = 170 mm", "--fraction", "0"], "0"),
        (["make", "{plan}", "--known", "1 2 = 170 mm", "--fraction", "-1/2"], "1/2"),
        (["make", "{plan}", "--known", "1 2 = 170 mm", "--fraction", "90", "--paper", "100x150mm"], "sheets"),
        (["make", "{plan}", "--known", "1 2 = 170 mm", "--paper", "A4", "--margin", "120mm"], "margin"),
        (["make", "{plan}", "--known", "1 2 = 170 mm", "--paper", "A17"], "A17"),
        (["make", "{plan}", "--on-paper", "1 2 = 170 mm"], "--drawn-at"),
        (["make", "{plan}", "--known", "1 2 = 170 mm", "--kind", "painting"], "painting"),
        (["make", "{plan}", "--known", "1 2 = 170 mm", "--page", "4"], "page"),
        (["make", "{plan}", "--known", "1 2 = 170 mm", "-o", "{plan}"], "is a file"),
        (["make", "{plan}", "--corners", "1 2 3"], "four corners"),
        (["make", "--nonsense"], "nonsense"),
        (["mkae"], "mkae"),
        (["measure", "{plan}", "--between", "1 2"], "--trust-size"),
    ],
)
def test_bad_input_is_one_sentence_and_writes_nothing(
    small_plan: SmallPlan,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    arguments: list[str],
    said: str,
) -> None:
    monkeypatch.chdir(tmp_path)

    code = main([word.replace("{plan}", str(small_plan.path)) for word in arguments])

    told = capsys.readouterr()
    assert code == 2
    assert told.err.startswith("scantling: ")
    assert told.err.count("\n") == 1
    assert said in told.err
    assert list(tmp_path.iterdir()) == []


def test_a_changed_picture_is_named(small_plan: SmallPlan, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    picture = tmp_path / "plan.png"
    picture.write_bytes(small_plan.path.read_bytes())
    moved = SmallPlan(picture)
    assert _make(moved, tmp_path / "out") == 0
    picture.write_bytes(picture.read_bytes() + b" ")

    code = main(["make", str(tmp_path / "out" / "job.toml")])

    assert code == 2
    assert "has changed since it was marked" in capsys.readouterr().err


def test_our_own_bugs_show_their_traceback_and_leave_with_three(
    small_plan: SmallPlan, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    import job.run

    def broken(*_: object, **__: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr(job.run, "run", broken)

    assert _make(small_plan, tmp_path / "out") == 3
    assert "Traceback" in capsys.readouterr().err


def test_an_interrupt_leaves_with_130_and_nothing_written(
    small_plan: SmallPlan, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import job.write_results

    def interrupted(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(job.write_results, "write_results", interrupted)

    assert _make(small_plan, tmp_path / "out") == 130
    assert list(tmp_path.iterdir()) == []


def test_help_loads_no_heavy_library() -> None:
    script = (
        "import sys; from cli.main import main; main(['--help']);"
        "print([name for name in ('numpy', 'cv2', 'scipy', 'shapely', 'PIL') if name in sys.modules])"
    )

    ran = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)

    assert ran.stdout.strip().endswith("[]")


def test_the_version_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--version"]) == 0
    assert capsys.readouterr().out.startswith("scantling 0.")
