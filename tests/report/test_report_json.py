import json
import math
from dataclasses import replace
from fractions import Fraction

import pytest

from drawing.drawing import Drawing, Kind
from report.report_json import report_json
from tests.drawing.shapes import letter_f, outline
from tests.report.reported import NOTE, facts


def told(**changes: object) -> dict:
    return json.loads(report_json(replace(facts(), **changes)))


def test_it_holds_what_other_programs_were_promised() -> None:
    value = told(seconds={"read": 0.5}, files={"flat.png": "00"})

    assert set(value) >= {
        "source", "calibration", "findings", "fraction", "drawing", "flat", "outlines", "pages", "seconds", "files"
    }  # fmt: skip
    assert value["source"] == {
        "file": "plan <1>.png", "sha256": "ab" * 32, "width_px": 1500, "height_px": 1000, "page": 1, "render_dpi": None
    }  # fmt: skip
    assert set(value["calibration"]) >= {"kind", "mm_per_px", "lens", "known"}
    assert value["calibration"]["kind"] == "scan"
    assert value["calibration"]["lens"] == {"k1": 0, "k2": 0}
    assert value["findings"] == [{"code": NOTE.code, "level": "note", "about": NOTE.about, "text": NOTE.text}]
    assert value["fraction"] == 0.5
    assert value["flat"] == {"mm_per_px": 0.2, "origin_mm": [0, 0]}
    assert (value["seconds"], value["files"]) == ({"read": 0.5}, {"flat.png": "00"})


def test_known_distances_are_apart_from_what_is_only_compared() -> None:
    value = told()["calibration"]

    (known,) = value["known"]
    (check,) = value["others"]
    assert known["given_mm"] == 100
    assert known["fitted_mm"] == pytest.approx(100, abs=0.02)
    assert known["residual_mm"] == pytest.approx(known["fitted_mm"] - 100, abs=1e-9)
    assert known["used"] is True
    assert (check["kind"], check["used"]) == ("check length", False)
    assert value["mm_per_px"] == pytest.approx(0.1, rel=1e-3)


def test_parts_are_measured_at_build_size() -> None:
    f, disc = told()["outlines"]

    # By hand: an F of 1000 mm2, 35 x 60 and 220 around; a ring of radii 20 and 10. Half size: lengths / 2, areas / 4.
    assert (f["id"], f["name"], f["kind"], f["holes"], f["nodes"]) == (1, "bracket", "part", 0, 10)
    assert (f["area_mm2"], f["width_mm"], f["height_mm"], f["perimeter_mm"]) == pytest.approx((250, 17.5, 30, 110))
    assert (disc["holes"], disc["nodes"]) == (1, 4)
    assert disc["area_mm2"] == pytest.approx(math.pi * (20**2 - 10**2) / 4)
    assert (disc["width_mm"], disc["perimeter_mm"]) == pytest.approx((20, 20 * math.pi))


def test_bounds_and_tiles_are_at_build_size() -> None:
    value = told()

    assert value["drawing"]["bounds_mm"] == pytest.approx([15, 10, 60, 40])
    pages = value["pages"]
    assert (pages["paper"], pages["count"], pages["rows"], pages["cols"], pages["overlap_mm"]) == ("A4", 2, 1, 1, 10)
    (tile,) = pages["tiles"]
    assert set(tile) == {"page", "label", "origin_mm", "at_page_mm", "size_mm"}
    # The drawing lies on the tile.
    assert tile["origin_mm"][0] <= 15
    assert tile["origin_mm"][0] + tile["size_mm"][0] >= 60


def test_the_drawn_border_is_no_part() -> None:
    build = Drawing((outline(1, letter_f()), outline(2, letter_f(x_mm=90), kind=Kind.BORDER)), ())

    assert [part["id"] for part in told(build=build)["outlines"]] == [1]


def test_what_is_not_known_is_null_and_the_text_stays_valid() -> None:
    build = Drawing((replace(outline(1, letter_f()), u95_mm=math.inf, deviation_mm=math.nan),), ())

    assert told(build=build)["outlines"][0]["u95_mm"] is None


def test_a_third_is_told_to_the_last_digit_that_matters() -> None:
    value = json.loads(report_json(facts(fraction=Fraction(1, 3))))

    assert value["fraction"] == pytest.approx(1 / 3, abs=1e-12)
