"""Ways over parts drawn with their middle left out, and over what is no break; lines drawn by the tests themselves."""

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from benchmarks.render_lines import Camera, TrueLine, photograph
from digitize.break_lines import Break, breaks_crossed
from digitize.break_shapes import Manner
from digitize.find_strokes import find_strokes
from digitize.strokes import Strokes
from pictures.ink import find_ink
from pictures.picture import Medium, Picture, Source

Floats = NDArray[np.float64]
WIDE_PX, THIN_PX = 4.0, 2.2  # 0.5 and 0.25 mm lines at about 200 dpi
TOP, BOTTOM = 100.0, 220.0


def zigzag(x: float) -> Floats:
    """The standard's narrow line with a zigzag (ISO 128-2), a little beyond both edges."""
    return np.array([[x, 80], [x, 145], [x + 14, 154], [x - 14, 166], [x, 175], [x, 240]], dtype=float)


def freehand(x: float) -> Floats:
    """A wavy line from edge to edge."""
    y = np.linspace(TOP, BOTTOM, 200)
    return np.column_stack([x + 6 * np.sin((y - TOP) / 8.5), y])


def piece(x_end: float, x_break: float) -> Floats:
    """A part's outline from its break round its end and back."""
    return np.array([[x_break, TOP], [x_end, TOP], [x_end, BOTTOM], [x_break, BOTTOM]])


def drawn(thin: list[Floats], wide: list[Floats]) -> Strokes:
    """The lines found in a picture of these."""
    lines = [TrueLine(points, THIN_PX, False, "round", "round") for points in thin]
    lines += [TrueLine(points, WIDE_PX, False, "mitre", "round") for points in wide]
    grey = photograph(lines, Camera(blur_px=0.7, noise=2.0), width=700, height=320)
    return find_strokes(find_ink(Picture(grey, Source(Path("drawn.png"), "", Medium.RASTER))))


def crossed(strokes: Strokes, start: tuple[float, float], end: tuple[float, float]) -> tuple[Break, ...]:
    return breaks_crossed(strokes, np.array(start), np.array(end))


WAYS = [((50, TOP), (650, TOP)), ((650, 160), (50, 160)), ((50, TOP), (650, BOTTOM))]


@pytest.mark.parametrize(("line", "manner"), [(zigzag, Manner.ZIGZAG), (freehand, Manner.FREEHAND)])
def test_a_way_over_a_break_crosses_both_its_lines(line, manner) -> None:
    strokes = drawn([line(320), line(365)], [piece(50, 320), piece(650, 365)])

    for start, end in WAYS:
        (found,) = crossed(strokes, start, end)

        assert found.manner is manner
        assert sorted(x for x, _ in found.places_px) == pytest.approx([320, 365], abs=8)


@pytest.mark.parametrize("line", [zigzag, freehand])
def test_a_way_within_one_piece_and_one_that_begins_on_the_break_cross_none(line) -> None:
    strokes = drawn([line(320), line(365)], [piece(50, 320), piece(650, 365)])

    assert crossed(strokes, (50, TOP), (300, BOTTOM)) == ()
    assert crossed(strokes, (320, TOP), (50, TOP)) == ()
    assert crossed(strokes, (342, 20), (342, 300)) == ()


def test_one_zigzag_on_which_a_part_ends_is_a_break_and_one_drawn_over_a_part_is_not() -> None:
    ends = drawn([zigzag(320)], [piece(50, 320)])
    over = drawn([zigzag(320)], [piece(50, 650)])

    assert [len(found.places_px) for found in crossed(ends, (50, 130), (600, 130))] == [1]
    assert crossed(over, (50, 130), (600, 130)) == ()


# A rung, a step, one and two square notches, a V notch: none leaves anything out.
@pytest.mark.parametrize(
    "shape",
    [
        [[320, TOP], [320, BOTTOM]],
        [[320, TOP], [320, 160], [350, 160], [350, BOTTOM]],
        [[320, TOP], [320, 140], [340, 140], [340, 180], [320, 180], [320, BOTTOM]],
        [
            [320, TOP],
            [320, 120],
            [340, 120],
            [340, 140],
            [320, 140],
            [320, 180],
            [340, 180],
            [340, 200],
            [320, 200],
            [320, BOTTOM],
        ],
        [[320, TOP], [320, 145], [340, 160], [320, 175], [320, BOTTOM]],
    ],
)
def test_plain_lines_steps_and_notches_are_no_break_lines(shape) -> None:
    line = np.array(shape, dtype=float)
    strokes = drawn([line, line + np.array([45, 0])], [piece(50, 320), piece(650, shape[-1][0] + 45)])

    assert all(crossed(strokes, start, end) == () for start, end in WAYS)


def test_wavy_grain_is_no_break() -> None:
    grain = [freehand(x) for x in range(200, 500, 40)]
    strokes = drawn(grain, [np.vstack([piece(50, 650), [[50, BOTTOM], [50, TOP]]])])

    assert all(crossed(strokes, start, end) == () for start, end in WAYS)
