import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from pictures.tones import grey_levels, has_light_lines, holds_colour, median_level
from tests.pictures.plans import plan

SIZES = [(310, 210), (1500, 900), (4000, 2500)]


def noisy(grey: NDArray[np.uint8], *, sigma: float, seed: int = 3) -> NDArray[np.uint8]:
    rng = np.random.default_rng(seed)
    return np.clip(grey + rng.normal(0, sigma, grey.shape), 0, 255).astype(np.uint8)


def lit_from_the_left(grey: NDArray[np.uint8], *, darkest: float) -> NDArray[np.uint8]:
    return (grey * np.linspace(1, darkest, grey.shape[1])).astype(np.uint8)


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize(("paper", "ink"), [(45, 220), (90, 230), (145, 225), (0, 255), (60, 120)])
def test_blueprints_are_told(size: tuple[int, int], paper: int, ink: int) -> None:
    assert has_light_lines(plan(*size, paper=paper, ink=ink))


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize(("paper", "ink"), [(240, 20), (200, 150), (70, 15), (95, 30), (255, 0), (130, 60)])
def test_dark_lines_are_left_however_dim_the_light(size: tuple[int, int], paper: int, ink: int) -> None:
    assert not has_light_lines(plan(*size, paper=paper, ink=ink))


def test_noisy_unevenly_lit_blueprint() -> None:
    sheet = lit_from_the_left(plan(2000, 1300, paper=70, ink=210), darkest=0.6)

    assert has_light_lines(noisy(sheet, sigma=6))


def test_noisy_dim_photo_of_a_white_sheet() -> None:
    sheet = lit_from_the_left(plan(2000, 1300, paper=120, ink=40), darkest=0.4)

    assert not has_light_lines(noisy(sheet, sigma=6))


@pytest.mark.parametrize("part", [0.45, 0.7])
def test_white_sheet_on_a_dark_table_with_light_grain(part: float) -> None:
    rng = np.random.default_rng(11)
    table = np.full((1500, 2300), 45, np.uint8)
    for _ in range(60):
        row = int(rng.integers(1500))
        cv2.line(table, (0, row), (2299, row + int(rng.integers(-30, 30))), 85, 3)
    height, width = int(1500 * part), int(2300 * part)
    table[200 : 200 + height, 300 : 300 + width] = plan(width, height, paper=225, ink=40)

    assert not has_light_lines(noisy(table, sigma=4))


def test_blueprint_with_a_white_margin_on_a_white_table() -> None:
    table = np.full((1500, 2300), 215, np.uint8)
    table[200:1300, 300:2000] = plan(1700, 1100, paper=60, ink=215)

    assert has_light_lines(noisy(table, sigma=4))


def test_drawing_with_a_black_title_block_is_left() -> None:
    sheet = plan(1500, 900)
    sheet[700:880, 1100:1480] = plan(380, 180, paper=10, ink=250)

    assert not has_light_lines(sheet)


def test_black_hatching_is_left() -> None:
    sheet = plan(1500, 900)
    for column in range(700, 1300, 12):
        sheet[300:700, column : column + 7] = 15

    assert not has_light_lines(sheet)


def test_nothing_drawn_is_no_blueprint() -> None:
    assert not has_light_lines(noisy(np.full((700, 1100), 40, np.uint8), sigma=8))


def test_levels() -> None:
    assert grey_levels(np.full((70, 90), 200, np.uint8)).blank
    assert not grey_levels(plan()).blank
    assert grey_levels(np.where(plan() < 99, 0, 255).astype(np.uint8)).two
    assert not grey_levels(np.arange(90 * 70).reshape(70, 90).astype(np.uint8)).two


@pytest.mark.parametrize("size", [(1, 1), (1, 2), (7, 9), (8, 9), (300, 400)])
def test_a_counted_median_is_the_sorted_one(size: tuple[int, int]) -> None:
    rng = np.random.default_rng(size[1])
    for levels in (2, 3, 256, 1021):
        values = rng.integers(0, levels, size).astype(np.uint16)

        assert median_level(values, levels=levels) == np.median(values)


def tinted(grey: NDArray[np.uint8], blue: float, green: float, red: float) -> NDArray[np.uint8]:
    return np.dstack([grey * blue, grey * green, grey * red]).astype(np.uint8)


@pytest.mark.parametrize("tint", [(1, 1, 1), (0.8, 0.95, 1), (1, 0.97, 0.9), (0.6, 0.85, 1)])
def test_toned_paper_is_no_colour(tint: tuple[float, float, float]) -> None:
    assert not holds_colour(tinted(lit_from_the_left(plan(), darkest=0.5), *tint))


@pytest.mark.parametrize("ink", [(60, 60, 210), (200, 90, 40), (60, 160, 60)])
def test_lines_in_a_second_ink_are_colour(ink: tuple[int, int, int]) -> None:
    sheet = tinted(plan(), 0.85, 0.95, 1)
    cv2.line(sheet, (40, 150), (250, 180), ink, 2)

    assert holds_colour(sheet)
