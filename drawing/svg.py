"""Write a drawing as SVG in mm."""

from collections.abc import Iterator
from html import escape
from pathlib import Path as FilePath

from drawing.arcs import arc_circle, split_arc
from drawing.check_bar import LABEL, LETTER_MM, check_bar
from drawing.drawing import Drawing, Kind, Outline
from drawing.errors import DrawingError
from drawing.path_measures import Bounds
from drawing.paths import Arc, Cubic, Line, Path, Point

# 0.0001 mm: a hundredth of what the finest cutter resolves. Radii get two digits more, because an arc's middle
# moves by up to 1.4 times an error of its radius.
COORDINATE_DIGITS = 4
RADIUS_DIGITS = 6

# An arc flatter than this is a line at the digits written.
FLAT_MM = 10**-COORDINATE_DIGITS / 2

# SVG gives an arc by its radius. Near a half circle a rounded radius moves the middle far: arcs are split to a quarter.
LONGEST_SWEEP_RAD = 1.5708

# ISO 128 line width for fine lines; only what a viewer shows, cutters follow the path.
STROKE_MM = 0.13


def write_svg(drawing: Drawing, path: FilePath, *, stamp: str | None, title: str) -> None:
    """Write a drawing so that one user unit is one mm; see `svg_text`.

    Raises
    ------
    DrawingError
        If there is nothing in the drawing.
    """
    path.write_bytes(svg_text(drawing, stamp=stamp, title=title).encode())


def svg_text(drawing: Drawing, *, stamp: str | None, title: str) -> str:
    """Give a drawing as SVG 1.1: `width` and `height` in mm, `viewBox` from 0 0 in mm, y turned down.

    `<g id="outlines">` holds one `<path>` a part, its holes first, as subpaths (even-odd); `<g id="lines">` holds
    the open strokes, and the plan's drawn border, which is no part; `<g id="marks">` what is not to be cut: a bar of
    100 mm under the drawing, and `stamp`, in red across its middle. The box holds the drawing from 0 0 on, and under
    it the bar. The same drawing always gives the same text.
    """
    bounds = drawing.bounds_mm()
    if bounds is None:
        raise DrawingError(
            "The drawing has no outline and no line; at least one is needed to write a file: take a part."
        )
    x_min, y_min, x_max, y_max = bounds
    # A lone straight line has no width or no height, and a box without either shows nothing.
    width, height = max(x_max - x_min, STROKE_MM), max(y_max - y_min, STROKE_MM)
    bar = check_bar(bounds)
    _, low, right, _ = bar.bounds_mm
    words_x, words_y = bar.words_at_mm
    whole = _number(right - x_min), _number(y_max - low)
    box = f'width="{whole[0]}mm" height="{whole[1]}mm" viewBox="0 0 {whole[0]} {whole[1]}"'
    parts = [outline for outline in drawing.outlines if outline.kind is not Kind.BORDER]
    borders = [outline for outline in drawing.outlines if outline.kind is Kind.BORDER]
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<svg xmlns="http://www.w3.org/2000/svg" version="1.1" {box} overflow="visible">',
        f"<title>{_words(title)}</title>",
        f'<g id="outlines" fill="none" fill-rule="evenodd" stroke="#000000" stroke-width="{STROKE_MM}" '
        'stroke-linejoin="round">',
        *(_part(outline, f"part-{outline.number}", bounds) for outline in parts),
        "</g>",
        f'<g id="lines" fill="none" stroke="#0050a0" stroke-width="{STROKE_MM}" stroke-linecap="round" '
        'stroke-linejoin="round">',
        *(_part(outline, f"border-{outline.number}", bounds) for outline in borders),
        *(f'<path id="line-{n}" d="{path_data(line, bounds)}"/>' for n, line in enumerate(drawing.lines, start=1)),
        "</g>",
        f'<g id="marks" fill="none" stroke="#c000c0" stroke-width="{STROKE_MM}">',
        f'<path id="bar-100-mm" d="{"".join(path_data(line, bounds) for line in bar.lines)}"/>',
        f'<text x="{_number(words_x - x_min)}" y="{_number(y_max - words_y)}" font-family="sans-serif" '
        f'font-size="{_number(LETTER_MM)}" fill="#c000c0" stroke="none">{LABEL}</text>',
        "</g>",
        *([_stamp(stamp, width, height)] if stamp else []),
        "</svg>",
        "",
    ]
    return "\n".join(lines)


def path_data(path: Path, bounds_mm: Bounds) -> str:
    """Give a path's `d`: x from the left bound, y down from the upper one, mm."""
    x_min, _, _, y_max = bounds_mm

    def turned(point: Point) -> str:
        return f"{_number(point[0] - x_min)} {_number(y_max - point[1])}"

    commands = [f"M{turned(path.start_mm)}"]
    for start, segment in path.pieces():
        match segment:
            case Line():
                commands.append(f"L{turned(segment.end_mm)}")
            case Arc():
                commands.extend(f"{how}{turned(end)}" for how, end in _arc_commands(start, segment))
            case Cubic():
                points = (segment.control1_mm, segment.control2_mm, segment.end_mm)
                commands.append("C" + " ".join(turned(point) for point in points))
    if path.closed:
        # Z draws a last straight line by itself.
        commands[-1:] = ["Z"] if isinstance(path.segments[-1], Line) else [commands[-1], "Z"]
    return "".join(commands)


def _arc_commands(start: Point, arc: Arc) -> Iterator[tuple[str, Point]]:
    """Each quarter or less as an A command; counter-clockwise with y up is SVG's sweep 0."""
    circle = arc_circle(start, arc)
    if circle is None:
        yield "L", arc.end_mm
        return
    for piece in split_arc(start, arc, count=max(1, -int(-abs(circle.sweep_rad) // LONGEST_SWEEP_RAD))):
        sagitta_mm = circle.radius_mm * abs(piece.bulge) * 2 * abs(piece.bulge) / (1 + piece.bulge**2)
        if sagitta_mm < FLAT_MM:
            yield "L", piece.end_mm
            continue
        radius = _number(circle.radius_mm, RADIUS_DIGITS)
        yield f"A{radius} {radius} 0 0 {0 if arc.bulge > 0 else 1} ", piece.end_mm


def _part(outline: Outline, name: str, bounds: Bounds) -> str:
    data = "".join(path_data(loop, bounds) for loop in (*outline.holes, outline.boundary))
    title = f"{outline.number} {outline.name}".strip()
    return f'<path id="{name}" d="{data}"><title>{_words(title)}</title></path>'


def _stamp(stamp: str, width_mm: float, height_mm: float) -> str:
    # Letters are about 0.7 of their size wide: the stamp spans nine tenths of the drawing, at most half its height.
    size_mm = max(1.0, min(0.9 * width_mm / (0.7 * max(1, len(stamp))), 0.5 * height_mm))
    return (
        f'<g id="stamp"><text x="{_number(width_mm / 2)}" y="{_number(height_mm / 2)}" font-family="sans-serif" '
        f'font-weight="bold" font-size="{_number(size_mm)}" text-anchor="middle" fill="#d00000">'
        f"{_words(stamp)}</text></g>"
    )


def _number(value: float, digits: int = COORDINATE_DIGITS) -> str:
    """Fixed digits, without idle zeros and without minus zero."""
    text = f"{value:.{digits}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _words(text: str) -> str:
    """Text as XML has it, without the control characters that it forbids."""
    return escape("".join(sign if sign.isprintable() else " " for sign in text), quote=False)
