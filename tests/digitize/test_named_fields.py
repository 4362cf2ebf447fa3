"""Parts drawn side by side, with common edges, against panels with lines on them."""

from pathlib import Path

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray

from digitize.find_strokes import find_strokes
from digitize.lettering import lettering_links
from digitize.loop import Role
from digitize.loops import find_loops
from pictures.ink import find_ink
from pictures.picture import Medium, Picture, Source
from sample_scans.curves import turned
from sample_scans.dimensions import line
from sample_scans.lettering import text
from sample_scans.plan import plan_of
from sample_scans.rendered import rendered_scan
from sample_scans.truth import InkStroke, PartTruth, Piece, joined

SAME = 0.97

OUTSIDE = np.array([[0.0, 0.0], [90.0, 0.0], [94.0, 35.0], [-3.0, 35.0]])
ACROSS = (((28.0, 0.0), (24.0, 35.0)), ((57.0, 0.0), (61.0, 35.0)))


def fields() -> list[NDArray[np.float64]]:
    """The outlines of the three plates."""
    (a, b), (c, d) = (np.array(ends) for ends in ACROSS)
    corners = OUTSIDE
    return [np.array([corners[0], a, b, corners[3]]), np.array([a, c, d, b]), np.array([c, corners[1], corners[2], d])]


def drawn(names: tuple[str, str, str], *, holes: tuple[int, ...] = (), turn_deg: float, width_mm: float = 0.5) -> Piece:
    """A row of plates: what is written in each, and those that have a hole in their middle."""
    strokes = [InkStroke(turned(OUTSIDE, turn_deg), 0.5, True, "outline")]
    for start, end in ACROSS:
        a, b = (tuple(at) for at in turned(np.array([start, end]), turn_deg).tolist())
        strokes.append(line(a, b, width_mm=width_mm, role="outline"))
    middles = [np.asarray(shapely.Polygon(field).centroid.coords)[0] for field in fields()]
    for which in holes:
        angles = np.linspace(0, 2 * np.pi, 90, endpoint=False)
        ring = middles[which] + 4.0 * np.column_stack([np.cos(angles), np.sin(angles)])
        strokes.append(InkStroke(turned(ring, turn_deg), 0.5, True, "outline"))
    piece = Piece(tuple(strokes), (PartTruth("ROW", turned(OUTSIDE, turn_deg)),))
    for name, middle in zip(names, middles, strict=True):
        if name:
            x, y = turned(middle[None], turn_deg)[0].tolist()
            piece += text(name, (x, y - 1.5), height_mm=3.0, anchor=0.5, width_mm=0.35)
    return piece


def found(piece: Piece, *, dpi: float = 200) -> list[float]:
    """For each plate of the row, and last for the whole row, how well a part found agrees with it: shared over joint
    area."""
    plan = plan_of("row", joined([piece.at(40.0, 40.0)]), width_mm=190.0, height_mm=130.0)
    scan = rendered_scan(3, plan=plan, dpi=dpi)
    strokes = find_strokes(find_ink(Picture(scan.pixels, Source(Path("row"), "", Medium.RASTER))))
    loops = find_loops(strokes, lettering=lettering_links(strokes), border_px=scan.camera.to_picture(plan.border_mm))
    parts = [loop.polygon for loop in loops.loops if loop.role is Role.PART]
    return [
        max((float(shapely.area(one & true) / shapely.area(one | true)) for one in parts), default=0.0)
        for true in (shapely.Polygon(scan.camera.to_picture(outline)) for outline in placed(plan.parts[0].boundary_mm))
    ]


def placed(outside: NDArray[np.float64]) -> list[NDArray[np.float64]]:
    """The plates' outlines and the row's where the row's outside lies on the plan."""
    move, _, _, _ = np.linalg.lstsq(np.column_stack([OUTSIDE, np.ones(4)]), outside, rcond=None)
    return [np.column_stack([one, np.ones(len(one))]) @ move for one in (*fields(), OUTSIDE)]


@pytest.mark.parametrize("turn_deg", [0.0, 24.0])
@pytest.mark.parametrize(
    ("names", "holes"),
    [(("A1", "A2", "A3"), ()), (("K4", "", "K6"), (1,)), (("2", "5", "3"), ()), (("2", "I", "3"), ())],
)
def test_plates_with_names_in_a_row_are_parts(
    names: tuple[str, str, str], holes: tuple[int, ...], turn_deg: float
) -> None:
    *each, whole = found(drawn(names, holes=holes, turn_deg=turn_deg))

    assert min(each) > SAME
    assert whole < SAME


@pytest.mark.parametrize(
    ("names", "holes", "width_mm"),
    [(("", "WING", ""), (), 0.5), (("", "", ""), (0, 1, 2), 0.5), (("A1", "A2", "A3"), (), 0.2)],
    ids=["one name", "holes alone", "thin lines"],
)
def test_a_panel_with_lines_across_is_one_part(
    names: tuple[str, str, str], holes: tuple[int, ...], width_mm: float
) -> None:
    *each, whole = found(drawn(names, holes=holes, turn_deg=0.0, width_mm=width_mm))

    assert whole > SAME
    assert max(each) < SAME


def test_a_panel_with_a_spar_is_one_part_though_its_bays_are_named() -> None:
    spar = line((-2.2, 26.0), (92.9, 26.0), width_mm=0.5, role="outline")
    named = drawn(("A1", "A2", "A3"), turn_deg=0.0)

    *each, whole = found(named + Piece((spar,)))

    assert whole > SAME
    assert max(each) < SAME
