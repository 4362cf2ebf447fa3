import math
import re
import time
from itertools import pairwise
from pathlib import Path as FilePath

import ezdxf
import numpy as np
import pytest
from ezdxf import bbox
from ezdxf.entities import DXFGraphic
from ezdxf.lldxf.encoding import decode_dxf_unicode
from ezdxf.math import bulge_to_arc
from hypothesis import HealthCheck, given, settings

from drawing.drawing import Drawing, Kind
from drawing.dxf import write_dxf
from drawing.errors import DrawingError
from drawing.paths import Path, Points, sampled
from tests.drawing.shapes import circle, closed_paths, letter_f, outline, parts
from tests.drawing.test_paths import distance_to_polyline_mm

CHORD_MM = 1e-3
# What an arc among cubics may be off, and coordinates ending at a nanometre.
WRITTEN_MM = 1.1e-4


def read(drawing: Drawing, file: FilePath) -> list[DXFGraphic]:
    """The entities to cut or draw of a written file, after the library's own audit of it."""
    write_dxf(drawing, file, stamp=None)
    return [entity for entity in audited(file) if entity.dxf.layer != "MARKS"]


def audited(file: FilePath) -> list[DXFGraphic]:
    document = ezdxf.readfile(file)
    audit = document.audit()
    assert not audit.errors
    assert not audit.fixes
    return list(document.modelspace())


def marks(drawing: Drawing, file: FilePath, *, stamp: str | None) -> list[DXFGraphic]:
    """The entities that are not to be cut."""
    write_dxf(drawing, file, stamp=stamp)
    return [entity for entity in audited(file) if entity.dxf.layer == "MARKS"]


def on_curve(entity: DXFGraphic) -> Points:
    """Points on an entity as the other library computes it from what the file holds."""
    if entity.dxftype() == "CIRCLE":
        angles = np.linspace(0, math.tau, 400)
        middle = np.array([entity.dxf.center.x, entity.dxf.center.y])
        return np.asarray(middle + entity.dxf.radius * np.column_stack([np.cos(angles), np.sin(angles)]))
    if entity.dxftype() == "SPLINE":
        at = np.linspace(0, entity.knots[-1], 40 * len(entity.control_points))
        return np.array([(point.x, point.y) for point in entity.construction_tool().points(at)])
    vertices = list(entity.get_points("xyb"))
    if entity.closed:
        vertices.append(vertices[0])
    runs = [np.array([vertex[:2] for vertex in vertices])]
    for (x, y, bulge), (end_x, end_y, _) in pairwise(vertices):
        # Below this the other library's own centre has lost its digits; the vertices are compared all the same.
        if abs(bulge) > 1e-6 and (x, y) != (end_x, end_y):
            centre, low, high, radius = bulge_to_arc((x, y), (end_x, end_y), bulge)
            angles = np.linspace(low, high + math.tau * (high < low), 200)
            runs.append(radius * np.column_stack([np.cos(angles), np.sin(angles)]) + (centre.x, centre.y))
    return np.concatenate(runs)


def farthest_mm(entity: DXFGraphic, path: Path) -> float:
    """Largest distance of an entity, as the other library reads it, from chords of ours."""
    ours = sampled(path, tolerance_mm=CHORD_MM)
    if path.closed:
        ours = np.vstack([ours, ours[:1]])
    return float(distance_to_polyline_mm(on_curve(entity), ours).max())


def test_units_are_mm_and_layers_are_named(tmp_path: FilePath) -> None:
    write_dxf(parts(), tmp_path / "o.dxf", stamp=None)

    document = ezdxf.readfile(tmp_path / "o.dxf")
    # DXF reference, header variables: $INSUNITS 4 = millimetres, $MEASUREMENT 1 = metric.
    assert document.header["$INSUNITS"] == 4
    assert document.header["$MEASUREMENT"] == 1
    assert {"OUTLINES", "HOLES", "LINES", "MARKS"} <= {layer.dxf.name for layer in document.layers}


def test_every_loop_is_one_closed_entity_on_its_layer(tmp_path: FilePath) -> None:
    entities = read(parts(), tmp_path / "o.dxf")

    found = [(entity.dxftype(), entity.dxf.layer, entity.dxftype() == "CIRCLE" or entity.closed) for entity in entities]
    # Holes, then outlines by size: the F is 1000 mm2, the rib some 1100, the disc 1257.
    assert found == [
        ("CIRCLE", "HOLES", True),
        ("LWPOLYLINE", "OUTLINES", True),
        ("SPLINE", "OUTLINES", True),
        ("CIRCLE", "OUTLINES", True),
        ("LWPOLYLINE", "LINES", False),
    ]


def test_a_circle_is_a_circle(tmp_path: FilePath) -> None:
    hole, _, _, disc, _ = read(parts(), tmp_path / "o.dxf")

    assert (hole.dxf.center.x, hole.dxf.center.y, hole.dxf.radius) == (60, 40, 12.5)
    assert (disc.dxf.center.x, disc.dxf.center.y, disc.dxf.radius) == (60, 40, 20)


def test_a_part_inside_another_is_cut_before_it(tmp_path: FilePath) -> None:
    around, inside = circle(0, 0, 50), circle(5, 5, 10)
    outlines = read(Drawing((outline(1, around), outline(2, inside)), ()), tmp_path / "o.dxf")

    assert [entity.dxf.radius for entity in outlines] == [10, 50]


def test_a_bar_of_100_mm_lies_on_marks_clear_of_the_drawing(tmp_path: FilePath) -> None:
    bar, *ticks, text = marks(parts(), tmp_path / "o.dxf", stamp=None)

    (x0, y0), (x1, y1) = bar.vertices()
    assert (x1 - x0, y1 - y0) == (100, 0)
    assert bbox.extents([bar, *ticks, text]).extmax.y < (parts().bounds_mm() or (0, 0))[1]
    assert "100 mm" in text.dxf.text


def test_every_loop_reads_back_where_it_was(tmp_path: FilePath) -> None:
    drawing = parts()
    f, disc, rib = drawing.outlines
    loops = [*disc.holes, f.boundary, rib.boundary, disc.boundary, *drawing.lines]

    entities = read(drawing, tmp_path / "o.dxf")

    assert max(farthest_mm(entity, loop) for entity, loop in zip(entities, loops, strict=True)) < CHORD_MM + WRITTEN_MM


def test_an_f_is_neither_mirrored_nor_upside_down(tmp_path: FilePath) -> None:
    (entity,) = read(Drawing((outline(1, letter_f(x_mm=-7, y_mm=3)),), ()), tmp_path / "o.dxf")

    points = [(x + 7, y - 3) for x, y in entity.vertices()]
    # y up, own origin: the longer arm on top to the right.
    assert points == [(0, 0), (10, 0), (10, 25), (25, 25), (25, 35), (10, 35), (10, 50), (35, 50), (35, 60), (0, 60)]
    assert bbox.extents([entity]).extmax.y == pytest.approx(63)


def test_a_spline_holds_its_cubics_exactly(tmp_path: FilePath) -> None:
    rib = parts().outlines[2].boundary
    (entity,) = read(Drawing((outline(1, rib),), ()), tmp_path / "o.dxf")

    spline = entity.construction_tool()
    # One knot span a cubic; the spline at t = piece + 0.3 is de Casteljau's point of that piece.
    start, cubic = next(iter(rib.pieces()))
    control = np.array([start, cubic.control1_mm, cubic.control2_mm, cubic.end_mm])
    by_hand = np.array([0.7**3, 3 * 0.7**2 * 0.3, 3 * 0.7 * 0.3**2, 0.3**3]) @ control
    assert entity.dxf.degree == 3
    assert not list(entity.weights)
    assert (spline.point(0.3).x, spline.point(0.3).y) == pytest.approx(tuple(by_hand), abs=2e-6)
    assert entity.control_points[0] == pytest.approx(entity.control_points[-1])


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=25)
@given(closed_paths())
def test_any_loop_reads_back_within_what_is_promised(tmp_path: FilePath, path: Path) -> None:
    (entity,) = read(Drawing((outline(1, path),), ()), tmp_path / "o.dxf")

    assert farthest_mm(entity, path) <= CHORD_MM + WRITTEN_MM


def test_the_drawn_border_lies_on_lines(tmp_path: FilePath) -> None:
    (entity,) = read(Drawing((outline(1, letter_f(), kind=Kind.BORDER),), ()), tmp_path / "o.dxf")

    assert (entity.dxf.layer, entity.closed) == ("LINES", True)


def test_the_stamp_lies_on_marks_inside_the_drawing(tmp_path: FilePath) -> None:
    *_, text = marks(parts(), tmp_path / "o.dxf", stamp="SCALE NOT SETTLED")

    assert (text.dxftype(), text.dxf.layer, text.dxf.text) == ("TEXT", "MARKS", "SCALE NOT SETTLED")


def test_a_stamp_in_any_script_is_written(tmp_path: FilePath) -> None:
    *_, text = marks(parts(), tmp_path / "o.dxf", stamp="¼ ∞ Я")

    # Signs outside the file's code page are written as the DXF reference's \\U+nnnn.
    assert decode_dxf_unicode(text.dxf.text) == "¼ ∞ Я"


def test_the_same_drawing_gives_the_same_bytes_at_another_time(tmp_path: FilePath) -> None:
    write_dxf(parts(), tmp_path / "a.dxf", stamp="S")
    time.sleep(1.1)
    write_dxf(parts(), tmp_path / "b.dxf", stamp="S")

    written = (tmp_path / "a.dxf").read_bytes()
    assert written == (tmp_path / "b.dxf").read_bytes()
    assert re.search(rb"\r\n", written)


def test_writing_leaves_the_librarys_settings_as_they_were(tmp_path: FilePath) -> None:
    write_dxf(parts(), tmp_path / "a.dxf", stamp=None)

    assert not ezdxf.options.write_fixed_meta_data_for_testing


def test_a_drawing_with_nothing_in_it_is_refused(tmp_path: FilePath) -> None:
    with pytest.raises(DrawingError, match="no outline and no line"):
        write_dxf(Drawing((), ()), tmp_path / "o.dxf", stamp=None)

    assert not (tmp_path / "o.dxf").exists()
