import tomllib
from dataclasses import replace
from fractions import Fraction

import pytest

from drawing.drawing import Drawing
from report.choice_lines import choice_lines
from report.facts import ReportFacts
from tests.report.reported import F_AT_MM, HEIGHT_PX, PX_PER_MM, facts


def choices(given: ReportFacts) -> list[dict]:
    return tomllib.loads(choice_lines(given))["choices"]


# By hand: the F has 1000 mm2 and the disc a radius of 20 mm, at 10 px to a mm; its hole is not taken off.
@pytest.mark.parametrize("fraction", [Fraction(1), Fraction(1, 2), Fraction(3)])
def test_areas_are_those_in_the_picture(fraction: Fraction) -> None:
    bracket, disc = choices(facts(fraction=fraction))

    assert bracket["area_px2"] == pytest.approx(1000 * PX_PER_MM**2, rel=0.01)
    assert disc["area_px2"] == pytest.approx(3.14159 * 400 * PX_PER_MM**2, rel=0.01)


def test_each_point_lies_in_the_wood_of_its_part() -> None:
    bracket, disc = choices(facts())

    x, y = (bracket["inside_px"][0] / PX_PER_MM, (HEIGHT_PX - bracket["inside_px"][1]) / PX_PER_MM)
    x, y = x - F_AT_MM[0], y - F_AT_MM[1]
    assert any(x0 < x < x1 and y0 < y < y1 for x0, y0, x1, y1 in [(0, 0, 10, 60), (10, 25, 25, 35), (10, 50, 35, 60)])
    x, y = (disc["inside_px"][0] / PX_PER_MM - 100, (HEIGHT_PX - disc["inside_px"][1]) / PX_PER_MM - 50)
    assert 10 < (x * x + y * y) ** 0.5 < 20


def test_the_other_half_is_chosen_in_the_same_picture() -> None:
    given = facts()

    other = replace(given, build=given.build.mirrored(), mirrored=True)

    assert [c["area_px2"] for c in choices(other)] == [c["area_px2"] for c in choices(given)]
    for turned, plain in zip(choices(other), choices(given), strict=True):
        assert abs(turned["inside_px"][1] - plain["inside_px"][1]) < 200
        assert 0 < turned["inside_px"][0] < 1500


def test_a_name_comes_back_as_it_was() -> None:
    name = 'the "long" \\ one\n'
    given = facts()
    build = Drawing((replace(given.build.outlines[0], name=name),), ())

    assert choices(replace(given, build=build))[0]["name"] == name
    assert {choice["action"] for choice in choices(given)} == {"take"}
