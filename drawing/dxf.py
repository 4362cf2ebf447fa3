"""Write a drawing as DXF in mm."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path as FilePath

from ezdxf import options  # type: ignore[attr-defined]  # exported, but not by name
from ezdxf.document import Drawing as Document
from ezdxf.enums import TextEntityAlignment
from ezdxf.filemanagement import new
from ezdxf.layouts.layout import Modelspace

from drawing.arcs import arc_cubics, straight_cubic, whole_circle
from drawing.check_bar import LABEL, LETTER_MM, check_bar
from drawing.drawing import Drawing, Kind
from drawing.errors import DrawingError
from drawing.path_measures import Bounds, path_area_mm2
from drawing.paths import Arc, Cubic, Line, Path, Point

OUTLINES, HOLES, LINES, MARKS = "OUTLINES", "HOLES", "LINES", "MARKS"

# Colours by the DXF colour index: 7 black or white, 1 red, 5 blue, 6 magenta.
_COLOURS = {OUTLINES: 7, HOLES: 1, LINES: 5, MARKS: 6}

# DXF's own code for mm.
_INSUNITS_MM = 4

# A nanometre: coordinates end there, so that the same drawing gives the same file on every machine.
COORDINATE_DIGITS = 6

# A bulge, an arc's bow over half its chord, ends where it moves an arc a metre long by half a nanometre.
BULGE_DIGITS = 9

# An arc beside cubics becomes cubics no farther from it; a tenth of what the finest cutter resolves.
ARC_TOLERANCE_MM = 1e-4


def write_dxf(drawing: Drawing, path: FilePath, *, stamp: str | None) -> None:
    """Write a drawing as DXF R2000, one drawing unit one mm (`$INSUNITS` 4), y up, the drawing's own origin.

    Every loop is one closed entity: a circle, a polyline with arcs where the path is lines and arcs, else one cubic
    spline that holds lines and cubics exactly and arcs to 1e-4 mm. Parts lie on OUTLINES and HOLES; open
    strokes, and the plan's drawn border, on LINES; `stamp` and a bar of 100 mm, which are not to be cut, on MARKS.
    Holes come first, then outlines, each from the smallest to the largest, so that a cutter that goes by the file
    frees nothing before what lies inside it is cut. The file holds no date and no random number: the same drawing
    always gives the same bytes.

    Raises
    ------
    DrawingError
        If there is nothing in the drawing.
    """
    bounds = drawing.bounds_mm()
    if bounds is None:
        raise DrawingError(
            "The drawing has no outline and no line; at least one is needed to write a file: take a part."
        )
    with _without_dates():
        document = _new_document(bounds)
        space = document.modelspace()
        parts = [outline for outline in drawing.outlines if outline.kind is not Kind.BORDER]
        borders = [outline for outline in drawing.outlines if outline.kind is Kind.BORDER]
        for hole in _smallest_first([hole for outline in parts for hole in outline.holes]):
            _add_path(space, hole, HOLES)
        for boundary in _smallest_first([outline.boundary for outline in parts]):
            _add_path(space, boundary, OUTLINES)
        for line in [*(loop for outline in borders for loop in (outline.boundary, *outline.holes)), *drawing.lines]:
            _add_path(space, line, LINES)
        _add_bar(space, bounds)
        if stamp:
            _add_stamp(space, stamp, bounds)
        # The same bytes on every system: CR LF is what DXF readers of every age take.
        with path.open("w", encoding="cp1252", errors="dxfreplace", newline="\r\n") as stream:
            document.write(stream)


@contextmanager
def _without_dates() -> Iterator[None]:
    """Let the library write constants for dates and random identifiers."""
    before = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True
    try:
        yield
    finally:
        options.write_fixed_meta_data_for_testing = before


def _new_document(bounds: Bounds) -> Document:
    document = new("R2000")
    document.header["$INSUNITS"] = _INSUNITS_MM
    document.header["$MEASUREMENT"] = 1
    x_min, y_min, x_max, y_max = check_bar(bounds).bounds_mm
    document.header["$EXTMIN"] = (x_min, y_min, 0)
    document.header["$EXTMAX"] = (x_max, y_max, 0)
    for layer, colour in _COLOURS.items():
        document.layers.add(layer, color=colour)
    return document


def _smallest_first(loops: list[Path]) -> list[Path]:
    return sorted(loops, key=lambda loop: abs(path_area_mm2(loop)))


def _add_path(space: Modelspace, path: Path, layer: str) -> None:
    circle = whole_circle(path)
    if circle is not None:
        x, y = _rounded(circle.centre_mm)
        space.add_circle((x, y), round(circle.radius_mm, COORDINATE_DIGITS), dxfattribs={"layer": layer})
    elif any(isinstance(segment, Cubic) for segment in path.segments):
        _add_spline(space, path, layer)
    else:
        _add_polyline(space, path, layer)


def _add_polyline(space: Modelspace, path: Path, layer: str) -> None:
    points = [
        (*_rounded(start), round(segment.bulge, BULGE_DIGITS) if isinstance(segment, Arc) else 0.0)
        for start, segment in path.pieces()
    ]
    if not path.closed:
        points.append((*_rounded(path.segments[-1].end_mm), 0.0))
    space.add_lwpolyline(points, format="xyb", close=path.closed, dxfattribs={"layer": layer})


def _add_spline(space: Modelspace, path: Path, layer: str) -> None:
    """One B-spline for a run of cubics: each inner knot three times, so that every piece keeps its own controls."""
    cubics = [cubic for start, segment in path.pieces() for cubic in _cubics(start, segment)]
    controls = [path.start_mm]
    for cubic in cubics:
        controls += [cubic.control1_mm, cubic.control2_mm, cubic.end_mm]
    count = len(cubics)
    knots = [0.0, *(float(at) for at in range(count + 1) for _ in range(3)), float(count)]
    spline = space.add_open_spline(
        [(*_rounded(point), 0.0) for point in controls], degree=3, knots=knots, dxfattribs={"layer": layer}
    )
    if path.closed:
        spline.closed = True


def _cubics(start: Point, segment: Line | Arc | Cubic) -> list[Cubic]:
    match segment:
        case Line():
            return [straight_cubic(start, segment.end_mm)]
        case Arc():
            return arc_cubics(start, segment, tolerance_mm=ARC_TOLERANCE_MM)
        case Cubic():
            return [segment]


def _add_bar(space: Modelspace, bounds: Bounds) -> None:
    bar = check_bar(bounds)
    for line in bar.lines:
        _add_path(space, line, MARKS)
    text = space.add_text(LABEL, height=LETTER_MM, dxfattribs={"layer": MARKS})
    text.set_placement(_rounded(bar.words_at_mm), align=TextEntityAlignment.LEFT)


def _add_stamp(space: Modelspace, stamp: str, bounds: Bounds) -> None:
    x_min, y_min, x_max, y_max = bounds
    # DXF letters are about 0.9 of their height wide: the stamp spans nine tenths of the drawing.
    height_mm = max(1.0, min(0.9 * (x_max - x_min) / (0.9 * max(1, len(stamp))), 0.5 * (y_max - y_min)))
    text = space.add_text(stamp, height=height_mm, dxfattribs={"layer": MARKS})
    text.set_placement(((x_min + x_max) / 2, (y_min + y_max) / 2), align=TextEntityAlignment.MIDDLE_CENTER)


def _rounded(point: Point) -> Point:
    return round(point[0], COORDINATE_DIGITS) + 0.0, round(point[1], COORDINATE_DIGITS) + 0.0
