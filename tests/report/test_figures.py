import re
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from printing.mirror import mirrored_flat
from printing.shown_flat import shown_flat
from report.pages_figure import pages_figure
from report.plan_figure import plan_figure
from report.scale_figure import scale_figure
from tests.report.reported import F_AT_MM, facts, flat


def corners(data: str) -> np.ndarray:
    return np.array([[float(x), float(y)] for x, y in re.findall(r"[ML](-?[\d.]+) (-?[\d.]+)", data)])


@pytest.mark.parametrize("fraction", [Fraction(1, 2), Fraction(1), Fraction(3)])
def test_outlines_lie_on_their_ink_at_any_build_size(fraction: Fraction) -> None:
    figure = plan_figure(facts(fraction=fraction), shown_flat(flat()))

    # The flat picture is 150 x 100 mm, and the F 35 x 60 at 30 right and 20 up.
    mm = figure.width / 150
    assert figure.height == pytest.approx(100 * mm)
    drawn = corners(figure.shapes[0].data) / mm
    assert drawn.min(axis=0) == pytest.approx((F_AT_MM[0], 100 - 80), abs=0.01)
    assert drawn.max(axis=0) == pytest.approx((F_AT_MM[0] + 35, 100 - 20), abs=0.01)
    # Each corner of the F has ink on its inner side and paper on its outer: the picture is neither turned nor mirrored.
    assert _ink_share(drawn) == 1.0


def _ink_share(drawn_mm: np.ndarray) -> float:
    """The share of boundary points with ink just to the left (counter-clockwise, y down) and paper to the right."""
    pixels = flat().pixels
    good = []
    for (x0, y0), (x1, y1) in zip(drawn_mm, np.roll(drawn_mm, -1, axis=0), strict=True):
        along = np.array([x1 - x0, y1 - y0])
        left = np.array([along[1], -along[0]]) / np.hypot(*along)
        middle = np.array([(x0 + x1) / 2, (y0 + y1) / 2])
        inside, outside = (middle + way * left for way in (1, -1))
        good.append(_at(pixels, inside) == 0 and _at(pixels, outside) == 255)
    return float(np.mean(good))


def _at(pixels: np.ndarray, at_mm: np.ndarray) -> int:
    return int(pixels[int(at_mm[1] * 5), int(at_mm[0] * 5)])


def test_a_mirrored_build_lies_on_a_mirrored_picture() -> None:
    given = facts()
    figure = plan_figure(replace(given, build=given.build.mirrored(), mirrored=True), shown_flat(mirrored_flat(flat())))

    drawn = corners(figure.shapes[0].data) / (figure.width / 150)
    assert drawn.min(axis=0) == pytest.approx((150 - 65, 20), abs=0.01)


def test_every_part_has_its_number_inside_its_own_box() -> None:
    figure = plan_figure(facts(), shown_flat(flat()))

    for number, shape in zip(figure.numbers, figure.shapes, strict=True):
        low, high = corners(re.sub(r"A[\d.]+ [\d.]+ 0 0 \d ", "L", shape.data)), None
        low, high = low.min(axis=0), low.max(axis=0)
        assert low[0] < number.x < high[0]
        assert low[1] < number.y < high[1]
        assert number.number == shape.number


def test_an_arrow_points_back_when_a_length_comes_out_too_short() -> None:
    # 50 mm are between the marks; 51 were said, so it comes out 1 mm short, pointing down from its upper end.
    figure = scale_figure(facts(check_mm=51.0))

    check = figure.lines[1]
    assert check.style == "check"
    assert check.arrow is not None
    assert check.arrow[0] == pytest.approx(check.end[0])
    assert check.arrow[1] > check.end[1]
    # Drawn as many times too large as is said: 1 mm is 10 px.
    assert (check.arrow[1] - check.end[1]) / figure.times == pytest.approx(10, rel=0.01)
    assert 0.02 * 1500 < check.arrow[1] - check.end[1] <= 0.1 * 1500 * 1.001


def test_an_arrow_points_on_when_a_length_comes_out_too_long() -> None:
    figure = scale_figure(facts(check_mm=49.5))

    arrow = figure.lines[1].arrow
    assert arrow is not None
    assert arrow[1] < figure.lines[1].end[1]
    assert str(figure.times).strip("0") in {"1", "2", "5"}


def test_what_fits_has_no_arrow() -> None:
    figure = scale_figure(facts())

    assert [line.arrow for line in figure.lines] == [None, None]
    # Half a pixel: marks count from a pixel's centre, the figure from the picture's outer corner.
    assert figure.lines[0].start == (200.5, 900.5)


def test_numbers_of_lengths_that_cross_stand_apart() -> None:
    given = facts()
    calibration = given.calibration
    ends = [((0.0, 500.0), (1499.0, 500.0)), ((749.5, 0.0), (749.5, 999.0)), ((0.0, 501.0), (1499.0, 499.0))]
    crossing = [replace(calibration.observed[0], start_px=start, end_px=end) for start, end in ends]
    figure = scale_figure(replace(given, calibration=replace(calibration, observed=tuple(crossing))))

    places = np.array([line.at for line in figure.lines])
    gaps = np.linalg.norm(places[:, None] - places, axis=2)[np.triu_indices(3, 1)]
    assert gaps.min() > 1500 / 37.5


def test_the_page_plan_shows_each_cell_once_and_the_drawing_inside() -> None:
    given = facts(fraction=Fraction(5))
    figure = pages_figure(given)

    assert len(figure.boxes) == given.pages.grid.rows * given.pages.grid.cols
    assert [box.label for box in figure.boxes if box.page] == [tile.label for tile in given.pages.tiles]
    assert sum(box.width * box.height for box in figure.boxes) == pytest.approx(figure.width * figure.height)
    points = corners(figure.shapes[0].data)
    assert points.min() >= -1e-3
    assert points[:, 0].max() <= figure.width + 1e-3
    assert points[:, 1].max() <= figure.height + 1e-3
