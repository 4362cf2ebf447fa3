"""The surveyor's sheet in the report: figures, units, letters, and the same facts in report.json."""

import json
import math
from dataclasses import replace

import numpy as np
import pytest

from calibration.adjustment import Adjustment, Agreed, ObservedRow, Seen, Shown, Unit, UnknownRow, Use
from printing.shown_flat import shown_flat
from report.facts import ReportFacts
from report.report_json import report_json
from report.scale_figure import scale_figure
from report.survey import survey
from report.write_report import html_page
from tests.report.reported import facts, flat


def observed() -> ReportFacts:
    """The small run with a corner 2 px off and a line that bows by 3 px put into its sheet."""
    given = facts()
    t = np.linspace(0, 1, 9)
    line = np.column_stack([200 + 1000 * t, np.full(9, 500.0)])
    off = np.column_stack([np.zeros(9), -3.0 * 4 * t * (1 - t)])
    adjustment = Adjustment(
        (
            ObservedRow("known distance 1 (100 mm)", Seen.KNOWN, Use.FITTED, Unit.MM, 100.0, 99.9, -0.1, -1.0, 0.05,
                        -2.5),
            ObservedRow("corners, upper-left", Seen.CORNER, Use.LEFT_OUT, Unit.MM, None, None, 0.2, 2.0, 0.05, 4.0,
                        Shown(np.array([[400.0, 300.0]]), np.array([[2.0, 0.0]]))),
            ObservedRow("straight line 1", Seen.LINE, Use.FITTED, Unit.MM, None, None, 0.15, 1.5, 0.1, 1.1,
                        Shown(line + off, off), 3.0),
            ObservedRow("drawn lines", Seen.AXES, Use.FITTED, Unit.RAD, math.pi / 2, math.radians(90.1),
                        math.radians(0.1), None, math.radians(0.05), None),
        ),
        (UnknownRow("scale", Unit.MM_PER_PX, 0.1, 0.0001, 0.1, math.inf, True),
         UnknownRow("tilt", Unit.RAD, math.radians(3), math.radians(0.1), 0.0, math.radians(20), True),
         UnknownRow("stretch", Unit.PART, 0.0, 0.0, 0.0, math.inf, False)),
        12, 5, Agreed(4.0, 1.2, 4.6), Agreed(3.0, 0.9, 5.4), Agreed(0.0, 1.0, 1.0), 1.0,
    )  # fmt: skip
    return replace(given, calibration=replace(given.calibration, adjustment=adjustment))


def test_figures_are_in_their_own_units() -> None:
    sheet = survey(observed().calibration)

    assert sheet is not None
    known, corner, line, axes = sheet.rows
    assert (known.given, known.off, known.off_px, known.standardized) == ("100.000 mm", "−0.100 mm", "−1.00", "−2.50")
    assert (corner.off, corner.large, corner.used) == ("0.200 mm", True, "left out: the rest does not agree with it")
    assert (line.letter, line.kind) == ("A", "straight line; bows 3.0 px in the picture")
    assert (axes.given, axes.off, axes.standardized) == ("90.000°", "+0.100°", "")
    scale, tilt, stretch = sheet.unknowns
    assert (scale.prior, tilt.prior) == ("nothing", "0.000° ± 20.000°")
    assert stretch.sigma == "not solved for"
    assert ("Redundancy", "7") in sheet.summary


def test_the_page_holds_the_sheet_folded_and_no_figure_of_json_is_lost() -> None:
    page = html_page(observed(), shown_flat(flat())).decode()
    value = json.loads(report_json(observed()))["calibration"]["adjustment"]

    assert '<details class="survey">' in page
    assert "straight line; bows 3.0 px" in page
    assert [one["label"] for one in value["observations"]] == [
        "known distance 1 (100 mm)", "corners, upper-left", "straight line 1", "drawn lines"
    ]  # fmt: skip
    assert value["observations"][1]["used"] is False
    assert value["observations"][3]["given"] == pytest.approx(90.0)
    assert value["observations"][3]["unit"] == "deg"
    assert value["unknowns"][0]["prior_sigma"] is None
    assert (value["equations"], value["unknown_count"], value["redundancy"]) == (12, 5, 7)
    assert value["agreement"]["lines"]["variance_factor"] == pytest.approx(0.9)


def test_a_bow_and_a_corners_way_are_drawn_as_many_times_too_large_as_said() -> None:
    figure = scale_figure(observed())

    (bowed,) = figure.bowed
    bow = np.array(bowed.bow)
    # The line runs level at 500 px, half a px further from the picture's outer corner; its bow points up by 3 px.
    assert bow[:, 1].min() == pytest.approx(500.5 - 3.0 * figure.bow_times)
    assert (bowed.start[1], bowed.end[1]) == pytest.approx((500.5, 500.5))
    assert bowed.letter == "A"
    # At most 3 % of the longer side, and at least a fifth of that: steps are 1, 2, 5.
    assert 0.006 * 1500 <= 3.0 * figure.bow_times <= 0.03 * 1500
    (place,) = figure.places
    # The mark lies 2 px to the right of where the rest puts it: the arrow leads back.
    assert place.start == pytest.approx((400.5, 300.5))
    assert place.end == pytest.approx((400.5 - 2.0 * figure.times, 300.5))
