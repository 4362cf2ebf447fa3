import pytest
from hypothesis import given
from hypothesis import strategies as st

from drawing.format import (
    format_area,
    format_give,
    format_inches,
    format_inches_near,
    format_length,
    format_mm,
    format_numbers,
    format_off,
)
from drawing.lengths import parse_length


@pytest.mark.parametrize(
    ("mm", "said"),
    [
        (190.5, "7-1/2 in"),
        (914.4, "36 in"),
        (12.7, "1/2 in"),
        (190.9, "7-1/2 in + 0.4 mm"),
        (190.1, "7-1/2 in − 0.4 mm"),
        (190.52, "7-1/2 in"),
        (0.5, "0 in + 0.5 mm"),
        (-12.7, "-1/2 in"),
    ],
)
def test_inches_are_what_a_rule_shows_and_the_rest_in_mm(mm: float, said: str) -> None:
    assert format_inches(mm) == said


@given(st.floats(1.0, 5000.0))
def test_inches_and_their_rest_add_up_to_the_length(mm: float) -> None:
    inches, *rest = format_inches(mm).removesuffix(" mm").replace(" − ", " + -").split(" + ")
    total = (parse_length(inches).mm if inches != "0 in" else 0.0) + sum(float(part) for part in rest)

    assert total == pytest.approx(mm, abs=0.0501)  # the rest is said to 0.1 mm


def test_lengths_areas_and_errors_are_said_plainly() -> None:
    assert format_mm(914.44) == "914.4 mm"
    assert format_mm(-0.001) == "0.0 mm"
    assert format_length(190.5) == "190.5 mm (7-1/2 in)"
    assert format_area(4130.4) == "41.3 cm²"
    assert format_area(99.0) == "99.0 mm²"
    assert format_off(-0.123) == "−0.12 mm"
    assert format_off(1.44) == "+1.4 mm"
    assert format_off(-0.001) == "0.00 mm"


@pytest.mark.parametrize(
    ("u95_mm", "said"),
    [(0.3, "± 0.3 mm"), (0.31, "± 0.4 mm"), (0.04, "± 0.04 mm"), (12.0, "± 12 mm"), (float("inf"), "± unknown")],
)
def test_give_or_take_is_rounded_up(u95_mm: float, said: str) -> None:
    assert format_give(u95_mm) == said


# By hand: 264.5 mm is 10.413 in, between 10-6/16 and 10-7/16, nearer the latter.
def test_a_headline_has_inches_without_the_rest() -> None:
    assert [format_inches_near(mm) for mm in (264.5, 190.5, 0.4, 25.4)] == ["10-7/16 in", "7-1/2 in", "0 in", "1 in"]


@pytest.mark.parametrize(
    ("numbers", "words"),
    [
        ([7], "7"),
        ([2, 3], "2 and 3"),
        ([1, 2, 3], "1 to 3"),
        ([1, 2, 3, 4, 6, 9], "1 to 4, 6 and 9"),
        ([1, 3, 4], "1, 3 and 4"),
    ],
)
def test_numbers_in_words(numbers: list[int], words: str) -> None:
    assert format_numbers(numbers) == words
