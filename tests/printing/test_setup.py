import pytest

from drawing.papers import PAPERS
from printing.errors import PrintingError
from printing.setup import PageSetup, parse_paper


# ISO 216 (trimmed sizes) and ANSI/ASME Y14.1 A and B, as listed in those standards.
@pytest.mark.parametrize(
    ("name", "width_mm", "height_mm"),
    [
        ("A0", 841, 1189),
        ("A1", 594, 841),
        ("A2", 420, 594),
        ("A3", 297, 420),
        ("A4", 210, 297),
        ("a5", 148, 210),
        ("Letter", 215.9, 279.4),
        ("TABLOID", 279.4, 431.8),
    ],
)
def test_named_papers_have_their_standard_size(name, width_mm, height_mm):
    paper = parse_paper(name)

    assert (paper.width_mm, paper.height_mm) == pytest.approx((width_mm, height_mm), abs=1e-9)


@pytest.mark.parametrize(
    ("text", "width_mm", "height_mm"),
    [("300x400mm", 300, 400), ("400 x 300 mm", 300, 400), ("11 x 17 in", 279.4, 431.8), ("30 cm by 0.5 m", 300, 500)],
)
def test_a_paper_may_be_given_by_its_size(text, width_mm, height_mm):
    paper = parse_paper(text)

    assert (paper.width_mm, paper.height_mm) == pytest.approx((width_mm, height_mm), abs=1e-9)


def test_a_size_that_has_a_name_gets_it():
    assert parse_paper("11 x 8.5 in").name == "Letter"
    assert parse_paper("A4 landscape") is PAPERS["a4"]


@pytest.mark.parametrize("text", ["", "A9", "300x400", "two by four", "-1 x 5 mm", "0 x 5 mm"])
def test_what_is_no_paper_is_refused_with_what_to_write(text):
    with pytest.raises(PrintingError, match="write it as A4"):
        parse_paper(text)


def test_the_tile_fills_the_printable_area_and_cores_step_by_it_less_the_overlap():
    setup = PageSetup(PAPERS["a4"], margin_mm=6, overlap_mm=10)

    assert setup.at_page_mm == (6, 6)
    assert setup.tile_size_mm(landscape=False) == (198, 285)
    assert setup.core_size_mm(landscape=True) == (275, 188)


def test_without_an_overlap_the_band_for_marks_stays():
    setup = PageSetup(PAPERS["a4"], margin_mm=6, overlap_mm=0)

    assert setup.band_mm == 5
    assert setup.at_page_mm == (11, 11)
    assert setup.tile_size_mm(landscape=False) == setup.core_size_mm(landscape=False) == (188, 275)


@pytest.mark.parametrize(
    ("settings", "says"),
    [
        ({"margin_mm": 80.0}, "leaves 40.0 mm for the plan.*at least 60 mm"),
        ({"margin_mm": 500.0}, "leaves 0.0 mm for the plan"),
        ({"overlap_mm": 150.0}, "larger paper, or a smaller margin or overlap"),
        ({"margin_mm": -1.0}, "margin is -1 mm; it must be zero or more"),
        ({"overlap_mm": float("nan")}, "overlap is nan mm"),
        ({"margin_mm": float("inf")}, "margin is inf mm"),
    ],
)
def test_a_sheet_smaller_than_its_margins_is_refused(settings, says):
    with pytest.raises(PrintingError, match=says):
        PageSetup(PAPERS["a4"], **settings)


# ISO 32000, annex C: 14 400 units of 1/72 inch are 5080 mm.
def test_paper_beyond_the_format_s_limit_is_refused():
    with pytest.raises(PrintingError, match="at most 5080 mm"):
        PageSetup(parse_paper("1 x 6 m"))
