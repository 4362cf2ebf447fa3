"""Lines of two pens, and ends that only nearly meet: where one stops and the other begins."""

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from benchmarks.render_lines import Camera, TrueLine, photograph
from digitize.find_strokes import find_strokes
from digitize.strokes import NodeKind, Strokes
from digitize.thin_ends import finer_end
from pictures.ink import find_ink
from pictures.picture import Medium, Picture, Source

CLEAN = Camera(blur_px=0.7, noise=2.0)
PLACE_PX = 0.6
"""Where a line that stops short of another would meet it is told by its own direction alone."""


def blunt(*points: tuple[float, float], width: float) -> TrueLine:
    return TrueLine(np.array(points, dtype=float), width, False, "mitre", "flat")


def strokes_of(*lines: TrueLine) -> Strokes:
    grey = photograph(list(lines), CLEAN, width=300, height=220)
    return find_strokes(find_ink(Picture(grey, Source(Path("drawn.png"), "", Medium.RASTER))))


def nearest(strokes: Strokes, place: tuple[float, float]) -> float:
    return float(np.hypot(*(strokes.nodes_px - place).T).min())


@pytest.mark.parametrize("apart_px", [1.5, 2.0, 2.5])
def test_ends_that_nearly_meet_at_a_right_angle_make_a_corner(apart_px: float) -> None:
    strokes = strokes_of(
        blunt((40, 160), (150, 160), width=3.0), blunt((150, 160 + 1.5 + apart_px), (150, 205), width=3.0)
    )

    assert len(strokes.links) == 2
    assert nearest(strokes, (150, 160)) < PLACE_PX


def test_a_dash_that_begins_where_a_thicker_line_stops_is_a_line_of_its_own() -> None:
    outline = [(120.0, 50.0), (120.0, 80.0), (150.0, 150.0), (250.0, 180.0)]

    strokes = strokes_of(blunt(*outline, width=6.0), blunt((70, 51.2), (118, 51.2), width=2.4))

    thin = [link for link in strokes.links if link.width_px < 3.5]
    assert len(thin) == 1
    assert np.hypot(*(thin[0].points_px[0] - thin[0].points_px[-1])) == pytest.approx(50, abs=3)
    assert np.abs(thin[0].points_px[:, 1] - 51.2).max() < 1.0


def test_the_side_of_a_box_between_two_thin_lines_is_no_merged_ink() -> None:
    box = TrueLine(np.array([(100, 84), (160, 84), (160, 120), (100, 120)], dtype=float), 6.0, True, "mitre")
    thin = [blunt((126, 60), (126, 94), width=3.0), blunt((85, 102), (112, 102), width=3.0)]

    strokes = strokes_of(box, *thin)

    assert nearest(strokes, (100, 84)) < PLACE_PX
    assert nearest(strokes, (126, 84)) < 1.5
    assert nearest(strokes, (100, 102)) < 1.5
    assert np.count_nonzero(strokes.kinds == NodeKind.CORNER) == 4


def widths(*runs: tuple[int, float]) -> NDArray[np.float64]:
    return np.concatenate([np.full(count, width) for count, width in runs])


@pytest.mark.parametrize(
    ("ink_px", "count"),
    [
        pytest.param(widths((40, 2.5), (3, 4.0), (300, 6.0)), 41, id="a finer line"),
        pytest.param(widths((300, 6.0)), None, id="one line"),
        pytest.param(widths((6, 2.5), (300, 6.0)), None, id="a faded end"),
        pytest.param(np.concatenate([np.linspace(2.0, 6.0, 80), np.full(300, 6.0)]), None, id="a tapering end"),
        pytest.param(
            np.concatenate([np.linspace(2.0, 3.4, 24), widths((6, 4.6), (300, 6.0))]), None, id="a mitre's spike"
        ),
        pytest.param(widths((30, 5.0), (300, 6.0)), None, id="the same pen"),
        pytest.param(widths((300, 2.5), (20, 6.0)), None, id="a thick end"),
    ],
)
def test_a_finer_line_at_a_lines_end_is_told_by_its_width(ink_px: NDArray[np.float64], count: int | None) -> None:
    found = finer_end(ink_px, np.ones(len(ink_px), dtype=np.bool_), float(np.median(ink_px)))

    assert found == count if count is None else found == pytest.approx(count, abs=2)
