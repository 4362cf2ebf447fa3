"""Scale bars and tables whose letters touch their rules are no parts; webs, panels and strips that look so are."""

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from digitize.find_strokes import find_strokes
from digitize.lettering import lettering_links
from digitize.loop import Loop, Role
from digitize.loops import find_loops
from digitize.ruled import ruled
from digitize.scale_bars import even_step_px
from pictures.ink import find_ink
from pictures.picture import Medium, Picture, Source
from sample_scans.curves import turned
from sample_scans.lettering import text
from sample_scans.plan import plan_of
from sample_scans.rendered import rendered_scan
from sample_scans.truth import InkStroke, Piece, joined

Lines = list[NDArray[np.float64]]

SURE = 0.65
"""Confidence from which an outline is a part without a word."""


def grid(across_mm: list[float], up_mm: list[float]) -> Lines:
    """A box and the lines inside of it, from edge to edge."""
    left, right, low, high = across_mm[0], across_mm[-1], up_mm[0], up_mm[-1]
    box = np.array([[left, low], [right, low], [right, high], [left, high], [left, low]])
    uprights = [np.array([[x, low], [x, high]]) for x in across_mm[1:-1]]
    return [box, *uprights, *(np.array([[left, y], [right, y]]) for y in up_mm[1:-1])]


def found(lines: Lines, words: list[tuple[str, float, float]], *, turn_deg: float = 0.0) -> list[Loop]:
    """The loops taken for parts on a scan of a drawing: its lines, and words as (word, middle, base line), 2.5 mm."""
    piece = Piece(tuple(InkStroke(turned(line, turn_deg), 0.35, False, "outline") for line in lines))
    for word, x, y in words:
        at_x, at_y = turned(np.array([[x, y]]), turn_deg)[0].tolist()
        piece += text(word, (at_x, at_y), height_mm=2.5, anchor=0.5, turn_deg=turn_deg)
    plan = plan_of("ruled", joined([piece.at(45.0, 45.0)]), width_mm=190.0, height_mm=150.0)
    scan = rendered_scan(4, plan=plan, dpi=200)
    strokes = find_strokes(find_ink(Picture(scan.pixels, Source(Path("ruled"), "", Medium.RASTER))))
    lettering = lettering_links(strokes)
    loops = find_loops(strokes, lettering=lettering, border_px=scan.camera.to_picture(plan.border_mm))
    return [loop for loop in loops.loops if loop.role is Role.PART]


def numbers(lines_mm: list[float], base_mm: float, *, first: int = 0) -> list[tuple[str, float, float]]:
    return [(str(10 * (n + first)), x, base_mm) for n, x in enumerate(lines_mm)]


TENS = [10.0 * n for n in range(8)]


@pytest.mark.parametrize("turn_deg", [0.0, 31.0])
@pytest.mark.parametrize(
    ("across", "up"),
    [
        (TENS, [0.0, 3.0]),
        (TENS, [0.0, 1.6, 3.2]),
        ([0.0, 2.0, 4.0, 6.0, 8.0, *TENS[1:]], [0.0, 3.0]),
    ],
    ids=["one row", "a line along its middle", "its first cell divided"],
)
def test_a_slim_row_of_cells_with_numbers_at_its_lines_is_no_part(
    across: list[float], up: list[float], turn_deg: float
) -> None:
    assert found(grid(across, up), numbers(TENS, -4.0), turn_deg=turn_deg) == []


@pytest.mark.parametrize(
    "words",
    [
        [("SPAR WEB", 35.0, -4.0)],
        [(str(10 * n), 10.0 * n + 5.0, -4.0) for n in range(7)],
        [],
    ],
    ids=["its name", "numbers between its uprights", "nothing"],
)
def test_a_slim_web_with_even_uprights_is_a_part(words: list[tuple[str, float, float]]) -> None:
    (web,) = found(grid(TENS, [0.0, 4.0]), words)

    assert web.confidence > SURE


def test_a_panel_with_numbers_at_its_ribs_is_a_part() -> None:
    (panel,) = found(grid(TENS, [0.0, 30.0]), numbers(TENS, -4.0, first=1))

    assert panel.confidence > SURE


def test_uneven_cells_with_numbers_are_a_part() -> None:
    across = [0.0, 10.0, 17.0, 32.0, 40.0, 55.0, 70.0]

    (strip,) = found(grid(across, [0.0, 4.0]), numbers(across, -4.0))

    assert strip.confidence > SURE


def test_a_title_over_a_row_of_cells_is_a_table() -> None:
    box, *lines = grid([0.0, 80.0], [0.0, 7.0, 18.0])
    uprights = [np.array([[x, 0.0], [x, 7.0]]) for x in (25.0, 52.0)]
    words = [("SANDPIPER", 40.0, 11.0), ("SCALE 1:2", 12.0, 2.0), ("SHEET 2", 38.0, 2.0), ("REV B", 66.0, 2.0)]

    assert found([box, *lines, *uprights], words) == []


TABLE = grid([0.0, 25.0, 60.0], [0.0, 4.2, 8.4, 12.6, 16.8])


@pytest.mark.parametrize("base_mm", [0.1, 0.9, 1.6], ids=["on the rules", "clear of them", "under them"])
def test_a_table_is_no_part_though_its_letters_touch_its_rules(base_mm: float) -> None:
    rows = [0.0, 4.2, 8.4, 12.6]
    words = [("SPRUCE", 12.0, y + base_mm) for y in rows] + [("QTY 3", 42.0, y + base_mm) for y in rows[1:]]

    assert found(TABLE, words) == []


def test_a_column_of_lettered_cells_is_unsure() -> None:
    words = [("SHEET", 15.0, 0.1), ("MATERIAL", 15.0, 4.3), ("DATE", 15.0, 8.5)]

    assert all(loop.confidence < SURE for loop in found(grid([0.0, 30.0], [0.0, 4.2, 8.4, 12.6]), words))


def test_a_fuselage_side_with_longerons_and_its_name_is_a_part() -> None:
    across = [15.0 * n for n in range(7)]

    (side,) = found(grid(across, [0.0, 3.0, 18.0, 21.0]), [("SIDE", 22.5, 9.0), ("K 3", 67.5, 9.0)])

    assert side.confidence > SURE


def test_cells_are_told_through_letters_on_the_rules_and_at_a_slant() -> None:
    corners = np.array([[10.0, 20.0], [410.0, 35.0], [395.0, 150.0], [20.0, 120.0]])
    middle = np.array([(corners[0] + corners[3]) / 2, (corners[1] + corners[2]) / 2])
    letter = np.array([middle[0] + [60, -25], middle[0] + [60, 2]])

    figure = ruled(corners, [middle, letter], width_px=3.0)

    assert figure is not None
    assert len(figure.cells) == 2
    assert figure.is_on_rule(middle, within_px=3.0)
    assert not figure.is_on_rule(letter, within_px=3.0)


def test_what_has_not_four_sides_is_not_ruled() -> None:
    around = np.linspace(0, 2 * np.pi, 60, endpoint=False)

    assert ruled(100 * np.column_stack([np.cos(around), np.sin(around)]), [], width_px=2.0) is None


@pytest.mark.parametrize(
    ("lines", "step"),
    [
        ([0, 10, 20, 30], 10),
        ([0, 2, 4, 6, 8, 10, 20, 30], 10),
        ([0, 10, 20, 25, 30], 10),
        ([0, 10, 20], None),
        ([0, 10, 22, 38, 50], None),
        ([0, 10, 12, 14, 16, 18, 20, 30, 40], None),
        ([0, 2, 10, 20, 30], None),
    ],
    ids=["even", "first divided", "last halved", "two cells", "uneven", "divided in the middle", "one end short"],
)
def test_the_length_of_a_bars_cells(lines: list[float], step: float | None) -> None:
    assert even_step_px(np.array(lines, dtype=np.float64)) == step
