"""Squared paper under a drawing: found, left out, and its crossings told."""

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from pictures.ink import find_ink, ink_mask
from pictures.picture import Medium, Picture, Source
from pictures.read import read_picture
from pictures.squared_paper import SquaredPaper, find_squared_paper, without_squared_paper
from sample_scans.files import sample_path
from sample_scans.generate import PHOTO, SCAN
from tests.pictures.plans import real_file

WIDTH, HEIGHT, PITCH_PX = 1500, 1100, 31.7
FINE = 4
"""Lines are drawn this many times finer and reduced, so that their places are known to 0.1 px."""

Floats = NDArray[np.float64]

# A plane seen in perspective: rows of a matrix that takes squares to px.
VIEW = np.array([[30.0, 5.0, 60.0], [-2.5, 27.0, 160.0], [-0.0035, 0.003, 1.0]])


def seen(square: Floats) -> Floats:
    """Where places counted in squares are on the picture, px."""
    return np.asarray(cv2.perspectiveTransform(square[None], VIEW)[0])


def sheet(lines: list[tuple[Floats, int, float]], *, noise: float = 1.5, blur_px: float = 0.7) -> Picture:
    """A picture of polylines (px, darkness, width px) on white paper."""
    paper = np.full((HEIGHT * FINE, WIDTH * FINE), 230.0, np.float32)
    for darkness, width in sorted({line[1:] for line in lines}):
        ink = np.zeros(paper.shape, np.uint8)
        alike = [points for points, *rest in lines if tuple(rest) == (darkness, width)]
        at = [np.round((points + 0.5) * FINE * 16 - 8).astype(np.int32) for points in alike]
        cv2.polylines(ink, at, False, 255, max(1, round(width * FINE)), cv2.LINE_AA, 4)
        paper *= 1 - ink.astype(np.float32) * (darkness / 255**2)
    small = cv2.GaussianBlur(cv2.resize(paper, (WIDTH, HEIGHT), interpolation=cv2.INTER_AREA), (0, 0), blur_px)
    grain = np.random.default_rng(4).normal(0, noise, small.shape)
    return Picture(
        np.clip(np.round(small + grain), 0, 255).astype(np.uint8), Source(Path("drawn.png"), "", Medium.RASTER)
    )


def squares(columns: int, rows: int, *, darkness: int = 60, heavy: int = 60) -> list[tuple[Floats, int, float]]:
    """Squared paper in perspective, every fifth line as heavy as told."""
    lines = []
    for k in range(columns + 1):
        run = np.column_stack([np.full(40, float(k)), np.linspace(0, rows, 40)])
        lines.append((seen(run), heavy if k % 5 == 0 else darkness, 1.2))
    for k in range(rows + 1):
        run = np.column_stack([np.linspace(0, columns, 40), np.full(40, float(k))])
        lines.append((seen(run), heavy if k % 5 == 0 else darkness, 1.2))
    return lines


def found(picture: Picture) -> tuple[SquaredPaper, NDArray[np.uint8]]:
    """The paper, and the mask of ink without it."""
    ink = find_ink(picture)
    paper = find_squared_paper(ink, within=None)
    assert paper is not None
    return paper, ink_mask(without_squared_paper(ink, paper), None)


CIRCLE = 600 + 140 * np.column_stack([np.cos(np.linspace(0, 7, 400)), np.sin(np.linspace(0, 7, 400))])


@pytest.mark.parametrize("heavy", [60, 120])
def test_squares_in_perspective_are_left_out_and_what_is_drawn_on_them_stays(heavy: int) -> None:
    along = seen(np.array([[12.0, 8.0], [12.0, 20.0]]))
    drawn = [(CIRCLE, 215, 3.0), (along, 215, 3.0)]

    _, mask = found(sheet(squares(34, 24, heavy=heavy) + drawn))

    true = ink_mask(find_ink(sheet(drawn)), None)
    grown = cv2.dilate(true, np.ones((5, 5), np.uint8))
    # Some grains in a hundred thousand px are specks; one line of the paper alone has 1500 px.
    assert (mask & ~grown & 1).sum() < 120
    for line in (CIRCLE, along):
        x, y = np.round(line).astype(int).T
        assert mask[y, x].all()


def test_millimetre_paper_is_left_out() -> None:
    # A scan at 200 dpi has 7.87 px to a mm.
    fine = np.arange(40.0, WIDTH - 40, 7.87), np.arange(40.0, HEIGHT - 40, 7.87)
    lines = []
    for places, end, swapped in ((fine[0], HEIGHT - 40.0, False), (fine[1], WIDTH - 40.0, True)):
        for k, place in enumerate(places.tolist()):
            run = np.array([[place, 40.0], [place, end]])
            lines.append((run[:, ::-1] if swapped else run, 90 if k % 5 == 0 else 30, 1.0))

    picture = sheet([*lines, (CIRCLE, 215, 3.0)])
    _, mask = found(picture)

    true = ink_mask(find_ink(sheet([(CIRCLE, 215, 3.0)])), None)
    left = mask & ~cv2.dilate(true, np.ones((5, 5), np.uint8)) & 1
    # Single px where heavy lines cross; specks that no line is made of.
    assert left.sum() < 0.01 * ink_mask(find_ink(picture), None).sum()
    x, y = np.round(CIRCLE).astype(int).T
    assert mask[y, x].mean() > 0.99


def test_crossings_lie_where_they_were_drawn() -> None:
    paper, _ = found(sheet([*squares(34, 24), (CIRCLE, 215, 3.0)]))

    crossings = paper.crossings_px()
    column, row = np.meshgrid(np.arange(35.0), np.arange(25.0))
    true = seen(np.column_stack([column.ravel(), row.ravel()]))
    far = np.hypot(*(crossings[:, None] - true[None]).transpose(2, 0, 1))
    assert (far.min(axis=0) < 0.3).mean() > 0.9
    assert far.min(axis=1).max() < 0.3


# 0.2 in squares; pitches of 59.93 px in x and 60.04 in y, the first column at x = 378.5 where y = 600 and the first row
# at y = 322 were measured by the collection.
def test_a_real_sheets_squares_have_the_measured_pitch() -> None:
    paper = find_squared_paper(find_ink(read_picture(real_file("graph_paper_scan.jpg"))), within=None)

    assert paper is not None
    assert paper.down is not None
    assert paper.across is not None
    assert paper.down.pitch_px == pytest.approx(59.93, abs=0.05)
    assert paper.across.pitch_px == pytest.approx(60.04, abs=0.05)
    columns = paper.down.at(np.arange(len(paper.down.number)), np.full(len(paper.down.number), 600.0))
    rows = paper.across.at(np.arange(len(paper.across.number)), np.full(len(paper.across.number), 378.0))
    assert np.abs(columns - 378.5).min() < 1.0
    assert np.abs(rows - 322.0).min() < 1.5


def test_a_wings_ribs_and_stringers_are_no_squared_paper() -> None:
    ribs = [(np.array([[80.0 + 42 * k, 200.0], [80.0 + 42 * k, 900.0]]), 210, 2.0) for k in range(33)]
    edges = [(np.array([[80.0, y], [80.0 + 42 * 32, y]]), 210, 3.0) for y in (200.0, 380.0, 420.0, 900.0)]

    assert find_squared_paper(find_ink(sheet(ribs + edges)), within=None) is None


def test_a_small_lattice_drawn_in_the_drawings_own_ink_stays() -> None:
    across = [(np.array([[300.0, 300.0 + 30 * k], [720.0, 300.0 + 30 * k]]), 210, 2.0) for k in range(15)]
    down = [(line[:, ::-1], darkness, width) for line, darkness, width in across]

    assert find_squared_paper(find_ink(sheet(across + down + [(CIRCLE, 210, 2.0)])), within=None) is None


@pytest.mark.parametrize("pitch_px", [28.0, 48.0])
def test_ruled_paper_is_left_out_under_darker_ink(pitch_px: float) -> None:
    ruled = [(np.array([[5.0, y], [WIDTH - 6.0, y + 9.0]]), 55, 1.2) for y in np.arange(60.0, HEIGHT - 30, pitch_px)]

    paper, mask = found(sheet([*ruled, (CIRCLE, 215, 3.0)]))

    assert paper.down is None
    assert len(paper.crossings_px()) == 0
    true = ink_mask(find_ink(sheet([(CIRCLE, 215, 3.0)])), None)
    assert (mask & ~cv2.dilate(true, np.ones((5, 5), np.uint8)) & 1).sum() < 120


@pytest.mark.parametrize("name", [PHOTO, SCAN])
def test_the_bundled_plan_has_no_squared_paper(name: str) -> None:
    assert find_squared_paper(find_ink(read_picture(sample_path(name))), within=None) is None


@pytest.mark.filterwarnings("error")
def test_a_line_of_the_paper_that_leaves_the_picture_takes_nothing_from_the_drawing() -> None:
    picture = sheet([*squares(34, 24), (CIRCLE, 215, 3.0)])
    paper, mask = found(picture)
    down = paper.down
    assert down is not None
    beside = replace(
        down,
        number=np.append(down.number, down.number[-1] + 1),
        x=np.vstack([down.x, np.full((1, down.x.shape[1]), WIDTH + 9.0)]),
        seen=np.vstack([down.seen, np.ones((1, down.x.shape[1]), np.bool_)]),
        spans=np.vstack([down.spans, np.ones((1, down.x.shape[1]), np.bool_)]),
    )

    left = ink_mask(without_squared_paper(find_ink(picture), replace(paper, down=beside)), None)

    assert np.array_equal(left, mask)


def test_a_small_sheet_of_large_squares_is_squared_paper() -> None:
    lines = [(np.array([(at, 0.0), (at + 8, HEIGHT)]), 60, 1.5) for at in np.arange(20.0, WIDTH, 78.7)]
    lines += [(np.array([(0.0, at), (WIDTH, at - 8)]), 60, 1.5) for at in np.arange(30.0, HEIGHT, 78.7)]

    _, mask = found(sheet([*lines, (CIRCLE, 215, 3.0)]))

    true = ink_mask(find_ink(sheet([(CIRCLE, 215, 3.0)])), None)
    assert (mask & ~cv2.dilate(true, np.ones((5, 5), np.uint8)) & 1).sum() < 120


def test_of_fine_sharp_lines_nothing_stays_where_they_run_on_a_row_of_pixels() -> None:
    lines = [(np.array([(at, 0.0), (at + 7, HEIGHT)]), 60, 1.0) for at in np.arange(20.0, WIDTH, 31.7)]
    lines += [(np.array([(0.0, at), (WIDTH, at - 9)]), 60, 1.0) for at in np.arange(30.0, HEIGHT, 31.7)]
    picture = sheet(lines, noise=0.5, blur_px=0.3)
    ink = find_ink(picture)
    paper = find_squared_paper(ink, within=None)
    assert paper is not None

    left = without_squared_paper(ink, paper).darkness[40:-40, 40:-40]

    assert (left > 12).mean() < 1e-4
