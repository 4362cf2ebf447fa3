import re
import xml.etree.ElementTree as ElementTree
from pathlib import Path as FilePath

import numpy as np
import pytest
import svgelements
from hypothesis import given

from drawing.drawing import Drawing, Kind
from drawing.errors import DrawingError
from drawing.path_measures import bounds_together, path_bounds_mm
from drawing.paths import Arc, Path, Points, polyline, sampled
from drawing.svg import svg_text, write_svg
from tests.drawing.shapes import HALF, circle, closed_paths, letter_f, outline, parts
from tests.drawing.test_paths import distance_to_polyline_mm

# CSS: 1 in = 96 px and 25.4 mm, exactly (CSS Values and Units, 6.2).
MM_PER_PX = 25.4 / 96
NS = {"svg": "http://www.w3.org/2000/svg"}

# Half the last digit written, for x and for y, and as much again for an arc's radius.
ROUNDED_MM = 2e-4
CHORD_MM = 1e-3


def read_mm(file: FilePath) -> dict[str, Points]:
    """Points in mm, y down, along each path of a file, by its id, as another library draws them."""
    drawn = svgelements.SVG.parse(str(file), ppi=96)
    return {
        path.id: MM_PER_PX * path.npoint(np.linspace(0, 1, 4000))
        for path in drawn.elements()
        if isinstance(path, svgelements.Path)
    }


def test_the_size_is_the_drawings_in_mm_and_one_unit_is_one_mm(tmp_path: FilePath) -> None:
    write_svg(parts(), tmp_path / "o.svg", stamp=None, title="Test")

    root = ElementTree.parse(tmp_path / "o.svg").getroot()
    # By hand: x from the F's -20 to the rib's 110 and its end cap of radius 1, which bulges right; y by the line's end.
    x_min, y_min, x_max, y_max = parts().bounds_mm() or (0, 0, 0, 0)
    assert (x_min, x_max, y_max) == pytest.approx((-20, 111, 90))
    assert root.get("width") == "131mm"
    assert root.get("height", "").endswith("mm")
    # Under the drawing 8 mm to the bar, half a tick of 4, a gap of 1, letters of 4, and 1 to the edge.
    assert float(root.get("height", "")[:-2]) == pytest.approx(90 - y_min + 8 + 2 + 1 + 4 + 1, abs=ROUNDED_MM)
    assert root.get("viewBox", "").split() == ["0", "0", "131", root.get("height", "")[:-2]]


def test_a_bar_of_100_mm_lies_under_the_drawing_within_the_box(tmp_path: FilePath) -> None:
    small = Drawing((outline(1, letter_f()),), ())
    write_svg(small, tmp_path / "o.svg", stamp=None, title="F")

    root = ElementTree.parse(tmp_path / "o.svg").getroot()
    (bar,) = root.findall("svg:g[@id='marks']/svg:path", NS)
    points = read_mm(tmp_path / "o.svg")[bar.get("id", "")]
    assert np.ptp(points[:, 0]) == pytest.approx(100, abs=ROUNDED_MM)
    assert points[:, 1].min() > 60
    assert (root.get("width"), float(root.get("height", "")[:-2]) > points[:, 1].max()) == ("100mm", True)


def test_an_f_stands_upright_and_reads_as_an_f(tmp_path: FilePath) -> None:
    write_svg(Drawing((outline(1, letter_f(x_mm=700, y_mm=-300)),), ()), tmp_path / "o.svg", stamp=None, title="F")

    points = read_mm(tmp_path / "o.svg")["part-1"]
    # y down from the top: the long arm on top to the right, the short one below its middle, the foot at the left.
    assert points.min(axis=0) == pytest.approx((0, 0), abs=ROUNDED_MM)
    assert points.max(axis=0) == pytest.approx((35, 60), abs=ROUNDED_MM)
    assert points[points[:, 0] > 26][:, 1].max() == pytest.approx(10, abs=0.1)
    assert points[points[:, 1] > 36][:, 0].max() == pytest.approx(10, abs=0.1)


def test_every_part_reads_back_where_it_was(tmp_path: FilePath) -> None:
    drawing = parts()
    write_svg(drawing, tmp_path / "o.svg", stamp=None, title="Test")

    x_min, _, _, y_max = drawing.bounds_mm() or (0, 0, 0, 0)
    drawn = read_mm(tmp_path / "o.svg")
    for part in (drawing.outlines[0], drawing.outlines[2]):
        ours = sampled(part.boundary, tolerance_mm=CHORD_MM) * (1, -1) + (-x_min, y_max)
        closed = np.vstack([ours, ours[:1]])
        assert distance_to_polyline_mm(drawn[f"part-{part.number}"], closed).max() < CHORD_MM + ROUNDED_MM
    line = sampled(drawing.lines[0], tolerance_mm=CHORD_MM) * (1, -1) + (-x_min, y_max)
    assert distance_to_polyline_mm(drawn["line-1"], line).max() < CHORD_MM + ROUNDED_MM


@given(closed_paths())
def test_any_loop_reads_back_within_the_digits_written(path: Path) -> None:
    text = svg_text(Drawing((outline(1, path),), ()), stamp=None, title="")

    x_min, _, _, y_max = bounds_together([path_bounds_mm(path)])
    data = re.search(r' d="([^"]*)"', text)
    assert data is not None
    drawn = svgelements.Path(data[1])
    points = np.array([(at.x, at.y) for segment in drawn for at in map(segment.point, np.linspace(0, 1, 30)) if at])
    ours = sampled(path, tolerance_mm=CHORD_MM) * (1, -1) + (-x_min, y_max)
    assert distance_to_polyline_mm(points, np.vstack([ours, ours[:1]])).max() < CHORD_MM + 2 * ROUNDED_MM


@pytest.mark.parametrize("radius_mm", [0.05, 3.0, 77.777777, 12345.678901])
@pytest.mark.parametrize("bulge", [HALF, -HALF])
def test_a_circle_stays_on_its_circle_at_any_size(radius_mm: float, bulge: float) -> None:
    # A half circle written as one arc moves by sqrt(radius x rounding), 0.1 mm and more: this finds it.
    disc = circle(1 / 3, 2 / 3, radius_mm, bulge=bulge)

    text = svg_text(Drawing((outline(1, disc),), ()), stamp=None, title="")
    data = re.search(r' d="([^"]*)"', text)
    assert data is not None
    points = [segment.point(t) for segment in svgelements.Path(data[1]) for t in (0.25, 0.5, 0.75, 1) if segment.end]
    radii = [abs(complex(at.x, at.y) - complex(radius_mm, radius_mm)) for at in points if at]
    assert radii == pytest.approx([radius_mm] * len(radii), abs=ROUNDED_MM)


def test_each_part_is_one_path_with_its_holes_and_open_lines_lie_apart() -> None:
    root = ElementTree.fromstring(svg_text(parts(), stamp=None, title="Test").encode())

    outlines = root.find("svg:g[@id='outlines']", NS)
    lines = root.find("svg:g[@id='lines']", NS)
    assert outlines is not None
    assert lines is not None
    assert [path.get("id") for path in outlines] == ["part-1", "part-2", "part-3"]
    assert [path.get("d", "").count("M") for path in outlines] == [1, 2, 1]
    assert [path.get("d", "").count("Z") for path in outlines] == [1, 2, 1]
    assert outlines.get("fill-rule") == "evenodd"
    assert outlines.get("fill") == "none"
    assert [path.get("id") for path in lines] == ["line-1"]
    assert "Z" not in lines[0].get("d", "")


def test_the_drawn_border_is_no_part() -> None:
    drawing = Drawing((*parts().outlines, outline(4, letter_f(x_mm=300), kind=Kind.BORDER)), ())
    root = ElementTree.fromstring(svg_text(drawing, stamp=None, title="").encode())

    lines = root.find("svg:g[@id='lines']", NS)
    assert lines is not None
    assert [path.get("id") for path in lines] == ["border-4"]


def test_names_are_escaped() -> None:
    root = ElementTree.fromstring(svg_text(parts(), stamp="<&\x00>", title='a < b & "c"\x07').encode())

    titles = [title.text for title in root.iter(f"{{{NS['svg']}}}title")]
    assert titles[:2] == ['a < b & "c" ', '1 rib "A" & <B>']
    assert [text.text for text in root.iter(f"{{{NS['svg']}}}text")][1:] == ["<& >"]


def test_the_stamp_is_there_when_given_and_only_then() -> None:
    assert "SCALE NOT SETTLED" in svg_text(parts(), stamp="SCALE NOT SETTLED", title="")
    assert 'id="stamp"' not in svg_text(parts(), stamp=None, title="")


def test_the_same_drawing_gives_the_same_bytes(tmp_path: FilePath) -> None:
    for name in ("a.svg", "b.svg"):
        write_svg(parts(), tmp_path / name, stamp="S", title="Test")

    assert (tmp_path / "a.svg").read_bytes() == (tmp_path / "b.svg").read_bytes()


def test_a_lone_level_line_still_has_a_box() -> None:
    text = svg_text(Drawing((), (polyline(np.array([[0.0, 5.0], [10.0, 5.0]]), closed=False),)), stamp=None, title="")

    # As wide as the bar, as high as what a thin line takes, 8 mm, and the bar with its words.
    assert 'viewBox="0 0 100 16"' in text


def test_a_flat_arc_is_written_as_a_line() -> None:
    path = Path((0.0, 0.0), (Arc((10.0, 0.0), 1e-7),), False)

    assert 'd="M0 0L10 0"' in svg_text(Drawing((), (path,)), stamp=None, title="")


def test_a_drawing_with_nothing_in_it_is_refused(tmp_path: FilePath) -> None:
    with pytest.raises(DrawingError, match="no outline and no line"):
        write_svg(Drawing((), ()), tmp_path / "o.svg", stamp=None, title="")

    assert not (tmp_path / "o.svg").exists()
