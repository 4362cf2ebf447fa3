from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drawing.build_fraction import format_fraction, parse_fraction, speak_fraction
from drawing.errors import DrawingError


@pytest.mark.parametrize(
    "text", ["1/2", "0.5", ".5", "0,5", "50 %", "50%", "1:2", "1 : 2", "½", "1 / 2", "2/4", "1:2.0", "50 percent"]
)
def test_one_half_is_one_value_however_it_is_written(text: str) -> None:
    assert parse_fraction(text) == Fraction(1, 2)


@pytest.mark.parametrize(
    ("text", "fraction"),
    [
        ("2", Fraction(2)),
        ("2:1", Fraction(2)),
        ("200 %", Fraction(2)),
        ("1-1/2", Fraction(3, 2)),
        ("33.3 %", Fraction(333, 1000)),
        ("1:72", Fraction(1, 72)),
        ("3/4", Fraction(3, 4)),
        ("1/2.5", Fraction(2, 5)),
    ],
)
def test_a_fraction_is_exact(text: str, fraction: Fraction) -> None:
    assert parse_fraction(text) == fraction


@pytest.mark.parametrize(
    "text",
    [
        "0", "0 %", "0/2", "0:2", "1/0", "1:0", "-1/2", "+0.5", "-50 %", "half", "", "1/2/3", "nan", "inf", "1e3",
        "1000", "1/100000", "1,234", "50 mm", "9" * 90,
    ],
)  # fmt: skip
def test_what_is_no_fraction_to_build_at_is_refused(text: str) -> None:
    with pytest.raises(DrawingError) as refused:
        parse_fraction(text)

    assert "\n" not in str(refused.value)


@given(st.fractions(min_value=Fraction(1, 2000), max_value=100))
def test_a_fraction_reads_back_as_itself(fraction: Fraction) -> None:
    text = format_fraction(fraction)

    if len(text) <= 80:
        assert parse_fraction(text) == fraction


def test_a_fraction_is_written_shortest() -> None:
    written = [format_fraction(parse_fraction(text)) for text in ("50 %", "1:1", "2", "49.876 %", "0.00525")]

    assert written == ["1/2", "1", "2", "0.49876", "0.00525"]


def test_a_fraction_is_spoken_as_people_say_it() -> None:
    spoken = [speak_fraction(Fraction(text)) for text in ("1", "2", "1/2", "0.49876")]

    assert spoken == ["full size", "2 times full size", "1/2 of full size", "49.88 % of full size"]
