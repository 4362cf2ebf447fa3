import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drawing.errors import DrawingError
from drawing.lengths import parse_length, parse_size

EXACT_MM = 1e-9

# The inch is 25.4 mm exactly (international yard and pound agreement, 1959); the foot is twelve.
AS_WRITTEN = [
    ("36 in", 914.4),
    ('36"', 914.4),
    ("36in", 914.4),
    ("36 inches", 914.4),
    ("36 in.", 914.4),
    ("1 inch", 25.4),
    ('7-1/2"', 190.5),
    ("7 1/2 in", 190.5),
    ("7½ in", 190.5),
    ("7 ½″", 190.5),
    ("7-½ in", 190.5),
    ("7–1/2 in", 190.5),
    ("½ in", 12.7),
    ("1/2 in", 12.7),
    ("47-1/4 in / 2", 600.075),
    ('47-1/4"/2', 600.075),
    ("(47-1/4 in) / 2", 600.075),
    ("2' 6\"", 762.0),
    ("2'6\"", 762.0),
    ("2′ 6″", 762.0),
    ("2’ 6”", 762.0),
    ("2' 6''", 762.0),
    ("2'-6 1/2\"", 774.7),
    ("2 ft 6-1/2 in", 774.7),
    ("2 feet 6 inches", 762.0),
    ("2 ft", 609.6),
    ("2.5 ft", 762.0),
    ("5 ft / 2", 762.0),
    ("190.5 mm", 190.5),
    ("190.5mm", 190.5),
    ("1,5 cm", 15.0),
    ("91.4 cm.", 914.0),
    ("0,125 m", 125.0),
    (".5 m", 500.0),
    ("1.2 m", 1200.0),
    ("1.234 m", 1234.0),
    ("1234,5 mm", 1234.5),
    ("990\u00a0MM", 990.0),
    ("  36 in  ", 914.4),
]


@pytest.mark.parametrize(("text", "mm"), AS_WRITTEN)
def test_a_length_is_read_as_people_write_it(text: str, mm: float) -> None:
    length = parse_length(text)

    assert length.mm == pytest.approx(mm, abs=EXACT_MM)
    assert length.give_mm is None
    assert length.text == text.strip()


@pytest.mark.parametrize(
    ("text", "mm", "give_mm"),
    [
        ("36 in ± 1/8 in", 914.4, 3.175),
        ("36 in +- 1/8 in", 914.4, 3.175),
        ("36 in +/- 2 mm", 914.4, 2.0),
        ("36 in ± 1/8", 914.4, 3.175),
        ("2' 6\" ± 1/8", 762.0, 3.175),
        ("914 mm ±2", 914.0, 2.0),
        ("914 mm ± ½ cm", 914.0, 5.0),
        ("914 mm ± 0.5 %", 914.0, 4.57),
        ("2 ft ± 1/4 in", 609.6, 6.35),
        ("47-1/4 in / 2 ± 1/8 in", 600.075, 3.175),
        ("(47-1/4 in ± 1/8 in) / 2", 600.075, 1.5875),
    ],
)
def test_give_or_take_is_read_in_the_lengths_own_unit_unless_it_has_one(text: str, mm: float, give_mm: float) -> None:
    length = parse_length(text)

    assert length.mm == pytest.approx(mm, abs=EXACT_MM)
    assert length.give_mm == pytest.approx(give_mm, abs=EXACT_MM)


def test_a_span_over_dihedral_is_that_of_its_panels_laid_flat() -> None:
    """A right-angled triangle's hypotenuse: 36 in / cos 6 deg = 919.4368 mm (Euclid; cosine from the library)."""
    assert parse_length("36 in over dihedral 6 deg").mm == pytest.approx(
        914.4 / math.cos(math.radians(6)), abs=EXACT_MM
    )
    half = parse_length("(36 in ± 1/4) / 2 over dihedral of 6°")
    assert half.mm == pytest.approx(457.2 / math.cos(math.radians(6)), abs=EXACT_MM)
    assert half.give_mm == pytest.approx(3.175 / math.cos(math.radians(6)), abs=EXACT_MM)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("36", "write 36 mm or 36 in"),
        ("7-1/2", "write 7-1/2 mm or 7-1/2 in"),
        ("", "empty"),
        ("in", "not a length"),
        ("-36 in", "sign"),
        ("−36 in", "sign"),
        ("+36 in", "sign"),
        ("0 mm", "zero"),
        ("0/3 in", "zero"),
        ("nan mm", "not a length"),
        ("inf in", "not a length"),
        ("1e3 mm", "not a length"),
        ("2 km", '"km"'),
        ("1001 m", "between"),
        ("99999999999999999999 in", "between"),
        ("9" * 5000 + " mm", "characters"),
        ("1,234 mm", "may be 1234 or 1.234"),
        ("12,345 mm", "may be 12345 or 12.345"),
        ("1,234,567 mm", "may be 1234567"),
        ("1.234,5 mm", "not a number"),
        ("7-3/2 in", "below one"),
        ("7-1/0 in", "divides by zero"),
        ("36 in / 0", "divided by zero"),
        ("47-1/4 / 2 in", "not a length"),
        ("2' 6", "with no unit"),
        ("2' 6 mm", 'in "mm"'),
        ("2.5' 6\"", "whole"),
        ("2' 14\"", "below 12"),
        ("36 in 20 mm", "not a length"),
        ("36 in ± 0", "between zero and the length"),
        ("36 in ± 40 in", "between zero and the length"),
        ("36 in ± 1/8 ± 1/8", "2 times"),
        ("2 ft ± 1/4", "after feet"),
        ("36 in ±", "not a length"),
        ("thirty six inches", "not a length"),
        ("36 in over dihedral", "not a length"),
        ("36 in over dihedral 0 deg", "between 0 and 45"),
        ("36 in over dihedral 45 deg", "between 0 and 45"),
        ("36 over dihedral 6 deg", "no unit"),
        ("over dihedral 6 deg", "empty"),
        ("36 in over dihedral 6 deg over dihedral 6 deg", "not a length"),
        ("36 in" + " over dihedral 6 deg" * 2000, "characters"),
    ],
)
def test_what_is_not_one_clear_length_is_refused_in_one_sentence(text: str, says: str) -> None:
    with pytest.raises(DrawingError) as refused:
        parse_length(text)

    assert says in str(refused.value)
    assert "\n" not in str(refused.value)


@given(st.text(max_size=100))
def test_any_text_is_read_or_refused_and_never_breaks(text: str) -> None:
    for parse in (parse_length, parse_size):
        try:
            result = parse(text)
        except DrawingError:
            continue
        sides = result if isinstance(result, tuple) else (result.mm,)
        assert all(0 < side < math.inf for side in sides)


@given(st.text(alphabet="0123456789 -/.,'\"±+inftmc½×x()%", max_size=20))
def test_any_heap_of_figures_and_units_is_read_or_refused(text: str) -> None:
    try:
        length = parse_length(text)
    except DrawingError:
        return
    assert 0 < length.mm < math.inf


@given(st.integers(0, 500), st.integers(1, 63))
def test_a_mixed_number_of_sixty_fourths_is_exact(whole: int, part: int) -> None:
    length = parse_length(f"{whole}-{part}/64 in")

    assert length.mm == float((whole + Fraction(part, 64)) * Fraction(254, 10))


# A3 is 297 x 420 mm (ISO 216); Letter is 8.5 x 11 in (ASME Y14.1).
@pytest.mark.parametrize(
    ("text", "size_mm"),
    [
        ("420 x 297 mm", (420.0, 297.0)),
        ("420x297mm", (420.0, 297.0)),
        ("420 mm × 29.7 cm", (420.0, 297.0)),
        ("420 by 297 mm", (420.0, 297.0)),
        ('16-1/2 x 11"', (419.1, 279.4)),
        ("2' 6\" x 4'", (762.0, 1219.2)),
        ("A4", (210.0, 297.0)),
        ("a3 landscape", (420.0, 297.0)),
        ("A3 portrait", (297.0, 420.0)),
        ("Letter landscape", (279.4, 215.9)),
    ],
)
def test_a_size_is_width_then_height(text: str, size_mm: tuple[float, float]) -> None:
    assert parse_size(text) == pytest.approx(size_mm, abs=EXACT_MM)


@pytest.mark.parametrize(
    "text", ["420 x 297", "420 mm", "A9", "A4 sideways", "420 x 297 x 3 mm", "0 x 297 mm", "420 x 297 mm ± 1", "x", ""]
)
def test_what_is_no_size_is_refused(text: str) -> None:
    with pytest.raises(DrawingError):
        parse_size(text)
