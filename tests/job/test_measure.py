"""Angles, areas, radii and ribs measured through the whole chain, from the picture's pixels on."""

import csv
import json
import re
from pathlib import Path

import numpy as np
import pytest
import shapely

from cli.main import main
from tests.job.ribs import CHORD_MM, PX_PER_MM, RibPlan, draw_rib, naca, rib_ring

TOLERANCE_MM = 0.08
"""Two line centres of some 0.05 px each at 8 px/mm, a curve fitted within 0.02 mm, and a clicked chord end's 0.5 px."""


def measured(plan: RibPlan, capsys: pytest.CaptureFixture[str], *asked: str) -> dict:
    known = ["--known", plan.known, "--known", plan.known_down]
    code = main(["measure", str(plan.path), *known, *asked, "--json"])
    told = capsys.readouterr()
    assert code == 0, told.err
    return json.loads(told.out)


@pytest.fixture(scope="module")
def rib_2412(tmp_path_factory: pytest.TempPathFactory) -> RibPlan:
    return draw_rib(tmp_path_factory.mktemp("ribs") / "rib.png", rib_ring("2412"))


def heights(digits: str, part: float) -> tuple[float, float]:
    """The section's two heights over the chord at a part of it, by the formula."""
    upper, lower = naca(digits)
    return float(np.interp(part, *upper.T)), float(np.interp(part, *lower.T))


def test_a_rib_has_the_published_ordinates(rib_2412: RibPlan, capsys: pytest.CaptureFixture[str]) -> None:
    asked = f"{rib_2412.typed(0.4, 0.02)} on {rib_2412.typed(0, 0)} {rib_2412.typed(1, 0)}"

    value = measured(rib_2412, capsys, "--ordinates", asked, "--as-given", "--fraction", "1/2")

    (table,) = value["ordinates"]
    assert table["chord_full_mm"] == pytest.approx(CHORD_MM, abs=TOLERANCE_MM)
    stations = {round(row["percent"], 3): row for row in table["stations"]}
    # NACA Report 460, section 2412, per cent of the chord (from memory; they agree with the formula within 0.02).
    published = {10: (5.63, -3.75), 30: (7.88, -4.12), 50: (7.24, -3.34)}
    for percent, sides in published.items():
        for side, height in zip(("upper", "lower"), sides, strict=True):
            got = stations[percent][side]
            assert got["full_mm"] == pytest.approx(height / 100 * CHORD_MM, abs=TOLERANCE_MM + 0.0002 * CHORD_MM)
            assert got["build_mm"] == pytest.approx(got["full_mm"] / 2)
    for percent, row in stations.items():
        if 2 <= percent <= 95:
            for side, height in zip(("upper", "lower"), heights("2412", percent / 100), strict=True):
                off_mm = abs(row[side]["full_mm"] - height * CHORD_MM)
                assert off_mm <= TOLERANCE_MM
                assert off_mm <= row[side]["u95_mm"]


@pytest.mark.parametrize(("turn_deg", "faces_right"), [(0.0, False), (18.0, False), (-17.0, True)])
def test_the_chord_is_found_whichever_way_the_rib_lies(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], turn_deg: float, faces_right: bool
) -> None:
    plan = draw_rib(tmp_path / "rib.png", rib_ring("0015"), turn_deg=turn_deg, faces_right=faces_right)

    (table,) = measured(plan, capsys, "--ordinates", f"{plan.typed(0.3, 0)} at 0 5 30 60 90 100 %")["ordinates"]

    # A symmetrical section's farthest places are its nose and tail.
    (nose, tail) = plan.px(np.array([[0.0, 0.0], [1.0, 0.0]]))
    assert np.hypot(*(np.array(table["leading_px"]) - nose)) < 1.5
    assert np.hypot(*(np.array(table["trailing_px"]) - tail)) < 1.5
    assert table["chord_full_mm"] == pytest.approx(CHORD_MM, abs=2 * TOLERANCE_MM)
    for row in table["stations"][1:-1]:
        upper, lower = heights("0015", row["percent"] / 100)
        assert row["upper"]["full_mm"] == pytest.approx(upper * CHORD_MM, abs=TOLERANCE_MM)
        assert row["lower"]["full_mm"] == pytest.approx(lower * CHORD_MM, abs=TOLERANCE_MM)
    assert table["stations"][0]["upper"]["full_mm"] == pytest.approx(0, abs=1e-6)
    assert table["stations"][-1]["lower"]["full_mm"] == pytest.approx(0, abs=1e-6)


def test_a_notch_is_told_and_bridged(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    # A spar notch 6 mm wide and 4 mm deep cut with another library, around 30 % of the chord, from above.
    notch = shapely.box(0.30 - 3 / CHORD_MM, 0.0786 - 4 / CHORD_MM, 0.30 + 3 / CHORD_MM, 0.2)
    cut = shapely.Polygon(rib_ring("2412")).difference(notch)
    plan = draw_rib(tmp_path / "rib.png", shapely.get_coordinates(cut.exterior)[:-1])
    base = f"on {plan.typed(0, 0)} {plan.typed(1, 0)}"

    (table,) = measured(
        plan, capsys, "--ordinates", f"{plan.typed(0.5, 0.02)} {base} at 20 30 40 %", "--as-given"
    )["ordinates"]  # fmt: skip

    (found,) = table["notches"]
    assert found["side"] == "upper"
    assert found["start_mm"] == pytest.approx(0.30 * CHORD_MM - 3, abs=0.35)
    assert found["end_mm"] == pytest.approx(0.30 * CHORD_MM + 3, abs=0.35)
    before, within, after = table["stations"]
    assert within["upper"]["full_mm"] == pytest.approx(0.0786 * CHORD_MM - 4, abs=TOLERANCE_MM)
    assert within["upper"]["across_notch_mm"] == pytest.approx(heights("2412", 0.3)[0] * CHORD_MM, abs=TOLERANCE_MM)
    assert within["lower"]["across_notch_mm"] is None
    for row in (before, after):
        assert row["upper"]["across_notch_mm"] is None
        assert row["upper"]["full_mm"] == pytest.approx(
            heights("2412", row["percent"] / 100)[0] * CHORD_MM, abs=TOLERANCE_MM
        )


def test_areas_angles_and_radii_come_out_at_both_sizes(rib_2412: RibPlan, capsys: pytest.CaptureFixture[str]) -> None:
    corners = [(0.1, 0.2), (0.6, 0.25), (0.5, -0.1)]
    typed = " ".join(rib_2412.typed(*corner) for corner in corners)
    inside = rib_2412.typed(0.4, 0.02)

    value = measured(
        rib_2412, capsys, "--area", inside, "--area", typed, "--angle", typed, "--radius", typed, "--as-given",
        "--fraction", "1/4",
    )  # fmt: skip

    rib, triangle = value["areas"]
    # Shapely (GEOS) has both areas.
    true_mm2 = shapely.Polygon(rib_ring("2412")).area * CHORD_MM**2
    assert rib["full_mm2"] == pytest.approx(true_mm2, abs=rib["u95_mm2"])
    assert rib["u95_mm2"] < 0.01 * true_mm2
    assert triangle["full_mm2"] == pytest.approx(shapely.Polygon(corners).area * CHORD_MM**2, abs=triangle["u95_mm2"])
    assert triangle["build_mm2"] == pytest.approx(triangle["full_mm2"] / 16)
    a, b, c = (np.array(corner) for corner in corners)
    (angle,) = value["angles"]
    cos = (a - b) @ (c - b) / np.linalg.norm(a - b) / np.linalg.norm(c - b)
    assert angle["deg"] == pytest.approx(np.degrees(np.arccos(cos)), abs=angle["u95_deg"])
    (radius,) = value["radii"]
    # R = abc / 4K for a triangle's circle (Heron).
    sides = np.linalg.norm(a - b) * np.linalg.norm(b - c) * np.linalg.norm(c - a)
    assert radius["full_mm"] == pytest.approx(
        sides / 4 / shapely.Polygon(corners).area * CHORD_MM, abs=radius["u95_mm"]
    )
    assert radius["build_mm"] == pytest.approx(radius["full_mm"] / 4)


def test_a_drawn_arc_is_measured_between_two_of_its_places(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    turns = np.linspace(0, 2 * np.pi, 400, endpoint=False)
    circle = np.column_stack([0.5 + 0.2 * np.cos(turns), 0.05 + 0.2 * np.sin(turns)])
    plan = draw_rib(tmp_path / "ring.png", circle)
    ends = f"{plan.typed(0.7, 0.05)} {plan.typed(0.5, 0.25)}"

    (radius,) = measured(plan, capsys, "--radius", ends, "--as-given")["radii"]

    assert radius["full_mm"] == pytest.approx(0.2 * CHORD_MM, abs=TOLERANCE_MM)
    assert np.hypot(*(np.array(radius["middle_px"]) - plan.px(np.array([[0.5, 0.05]]))[0])) < 1.0
    # The frame's corner is no arc.
    corner = f"{8 * PX_PER_MM:.0f},{40 * PX_PER_MM:.0f} {60 * PX_PER_MM:.0f},{8 * PX_PER_MM:.0f}"
    with pytest.raises(AssertionError, match="off any one circle"):
        measured(plan, capsys, "--radius", corner, "--as-given")


def test_the_table_is_readable_and_its_csv_holds_the_same(
    rib_2412: RibPlan, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "rib.csv"
    asked = ["--ordinates", f"{rib_2412.typed(0.4, 0.02)} at 4", "-o", str(out)]

    code = main(["measure", str(rib_2412.path), "--known", rib_2412.known, "--known", rib_2412.known_down, *asked])

    said = capsys.readouterr().out
    assert code == 0
    assert "Ordinates of part 1" in said
    assert "Leading end at" in said
    rows = list(csv.DictReader(out.read_text().splitlines()))
    assert [float(row["percent"]) for row in rows[::2]] == [0, 25, 50, 75, 100]
    told = [float(number) for number in re.findall(r"-?\d+\.\d\d\b", said.replace("−", "-"))]
    for row in rows[2:-2]:
        # Each is rounded from the same figure, one to 2 places and one to 3.
        assert min(abs(float(row["y_full_mm"]) - number) for number in told) < 0.0056


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ([], "Nothing to measure"),
        (["--angle", "1 2"], "an end, the corner and the other end"),
        (["--area", "1 2"], "three or more around"),
        (["--radius", "1"], "its two ends"),
        (["--ordinates", "3"], "names no outline"),
        (["--ordinates", "part 9"], "There is no part 9"),
        (["--ordinates", "2,2"], "There is no part around"),
        (["--ordinates", "part 1 at"], "There is no part 1 at"),
        (["--ordinates", "part 1 at 0"], "1 to 1000"),
        (["--ordinates", "part 1 at 0 50 120 %"], "from 0 to 100"),
        (["--ordinates", "part 1 at ten %"], "among its percents"),
        (["--ordinates", "part 1 at 1 km"], "km"),
        (["--ordinates", "part 1 at 400 mm"], "makes 0 steps"),
        (["--ordinates", "part 1 on 1 1"], "two places"),
        (["--ordinates", "part 1 on 1"], "needs two"),
        (["--between", "1 2", "-o", "x.csv"], "none were asked for"),
    ],
)
def test_what_cannot_be_measured_is_refused_in_a_sentence(
    rib_2412: RibPlan, capsys: pytest.CaptureFixture[str], asked: list[str], words: str
) -> None:
    code = main(["measure", str(rib_2412.path), "--known", rib_2412.known, *asked])

    told = capsys.readouterr()
    assert code == 2
    assert words in told.err
    assert told.err.count("\n") == 1
