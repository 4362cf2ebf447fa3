import pytest

from job.errors import JobError
from job.points import TypedCorners, TypedLength, parse_corners, parse_length_between, parse_pair, parse_width_mm


def test_a_known_distance_names_numbers_or_pixels() -> None:
    typed = parse_length_between('12 310.5,95 = 7-1/2"', option="--known")

    assert typed == TypedLength(12, (310.5, 95.0), '7-1/2"')


def test_a_known_distance_may_be_along_a_line() -> None:
    typed = parse_length_between("12 47 along 3 310.5,95 = 36 in / 2", option="--known")

    assert typed == TypedLength(12, 47, "36 in / 2", (3, (310.5, 95.0)))


def test_a_blank_after_the_comma_is_still_one_point() -> None:
    assert parse_pair("10, 20  30 ,40", option="--across") == ((10.0, 20.0), (30.0, 40.0))


def test_corners_come_with_or_without_a_size() -> None:
    assert parse_corners("1 2 3 4", option="--corners") == TypedCorners((1, 2, 3, 4), None)
    assert parse_corners("1 2 3 4 = 420 x 297 mm", option="--corners").size_text == "420 x 297 mm"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("12 47", "2 points and no length"),
        ("12 = 36 in", "1 point"),
        ("12 13 14 = 36 in", "3 points"),
        ("12 47 =", "needs two points and a length"),
        ("12 x7 = 36 in", "'x7'"),
        ("1e999,3 4 = 36 in", "'1e999,3'"),
        ("nan,3 4 = 36 in", "'nan,3'"),
        ("", "0 points"),
        ("12 47 along 3 = 36 in", "1 point after along"),
        ("12 47 along = 36 in", "0 points after along"),
        ("12 along 3 4 = 36 in", "1 point"),
    ],
)
def test_what_is_no_known_distance_is_named(text: str, said: str) -> None:
    with pytest.raises(JobError, match=r"--known") as told:
        parse_length_between(text, option="--known")

    assert said in str(told.value)


def test_a_margin_may_be_nothing_at_all() -> None:
    assert parse_width_mm("0 mm") == 0.0
    assert parse_width_mm("1/4 in") == pytest.approx(6.35, abs=1e-12)
