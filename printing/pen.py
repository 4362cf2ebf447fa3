"""A page to draw on in mm, and the few strokes that everything on a page is made of."""

import math
import unicodedata
from collections.abc import Iterable
from enum import Enum
from typing import Any

from reportlab.pdfbase.pdfdoc import PDFDictionary, PDFName, PDFStream, xObjectName
from reportlab.pdfbase.pdfmetrics import stringWidth

from drawing.drawing import Outline
from drawing.paths import Arc, Cubic, Line, Path, Point
from drawing.units import MM_PER_PT
from printing.tile_picture import TilePicture

Colour = tuple[float, float, float]
BLACK: Colour = (0.0, 0.0, 0.0)
GREY: Colour = (0.45, 0.45, 0.45)
PALE: Colour = (0.80, 0.80, 0.80)
WHITE: Colour = (1.0, 1.0, 1.0)
# Prints dark on a black-and-white printer, and is told from black ink on a colour one.
BLUE: Colour = (0.0, 0.22, 0.75)
RED: Colour = (0.75, 0.05, 0.05)


class Face(Enum):
    """Two of the typefaces every PDF reader has (ISO 32000, 9.6.2.2)."""

    PLAIN = "Helvetica"
    BOLD = "Helvetica-Bold"


# Height of a capital over the size of the type, Helvetica's own metrics.
CAPITAL = 0.718

# An arc is drawn as cubics of at most this sweep: radius error 4.2e-6 R at 1/8 turn.
_MOST_SWEEP_RAD = math.pi / 4


class Pen:
    """Draws on one reportlab canvas, everything in mm from the page's lower-left corner, y up."""

    def __init__(self, canvas: Any) -> None:
        self._canvas = canvas

    def begin_page(self) -> None:
        """Turn points into mm for the page about to be drawn."""
        self._canvas.transform(1 / MM_PER_PT, 0, 0, 1 / MM_PER_PT, 0, 0)
        self._canvas.setLineCap(0)
        self._canvas.setLineJoin(1)

    def end_page(self) -> None:
        """Finish the page."""
        self._canvas.showPage()

    def line_style(self, width_mm: float, colour: Colour, *, dash_mm: tuple[float, ...] = ()) -> None:
        """Set how lines are drawn from here on."""
        self._canvas.setLineWidth(width_mm)
        self._canvas.setStrokeColorRGB(*colour)
        self._canvas.setDash(list(dash_mm))

    def lines(self, ends_mm: Iterable[tuple[Point, Point]]) -> None:
        """Draw straight lines, all as one object."""
        path = self._canvas.beginPath()
        for start, end in ends_mm:
            path.moveTo(*start)
            path.lineTo(*end)
        self._canvas.drawPath(path, stroke=1, fill=0)

    def box(self, x_mm: float, y_mm: float, width_mm: float, height_mm: float) -> None:
        """Draw a rectangle's sides."""
        self._canvas.rect(x_mm, y_mm, width_mm, height_mm, stroke=1, fill=0)

    def filled_box(self, x_mm: float, y_mm: float, width_mm: float, height_mm: float, colour: Colour) -> None:
        """Fill a rectangle."""
        self._canvas.setFillColorRGB(*colour)
        self._canvas.rect(x_mm, y_mm, width_mm, height_mm, stroke=0, fill=1)

    def filled_boxes(self, boxes_mm: Iterable[tuple[float, float, float, float]], colour: Colour) -> None:
        """Fill rectangles (x, y, width, height), all as one object: no hairline shows where two touch."""
        path = self._canvas.beginPath()
        for x_mm, y_mm, width_mm, height_mm in boxes_mm:
            path.rect(x_mm, y_mm, width_mm, height_mm)
        self._canvas.setFillColorRGB(*colour)
        self._canvas.drawPath(path, stroke=0, fill=1, fillMode=1)

    def disc(self, centre_mm: Point, radius_mm: float) -> None:
        """Draw a circle, white inside."""
        self._canvas.setFillColorRGB(*WHITE)
        self._canvas.circle(*centre_mm, radius_mm, stroke=1, fill=1)

    def text(
        self,
        text: str,
        at_mm: Point,
        *,
        size_mm: float,
        face: Face = Face.PLAIN,
        colour: Colour = BLACK,
        turn_deg: float = 0.0,
        align: float = 0.0,
    ) -> None:
        """Write a line of text whose capitals' half height lies at `at_mm`; `align` is the share of it before there."""
        text = printable(text)
        canvas = self._canvas
        canvas.saveState()
        canvas.translate(*at_mm)
        if turn_deg:
            canvas.rotate(turn_deg)
        canvas.setFillColorRGB(*colour)
        canvas.setFont(face.value, size_mm)
        canvas.drawString(-align * text_width_mm(text, size_mm=size_mm, face=face), -size_mm * CAPITAL / 2, text)
        canvas.restoreState()

    def hollow_text(
        self, text: str, at_mm: Point, *, size_mm: float, width_mm: float, colour: Colour, turn_deg: float
    ) -> None:
        """Write a centred line of bold letters as their edges only, which leaves what is under them readable."""
        canvas = self._canvas
        canvas.saveState()
        canvas.translate(*at_mm)
        canvas.rotate(turn_deg)
        canvas.setStrokeColorRGB(*colour)
        canvas.setLineWidth(width_mm)
        canvas.setDash([])
        written = canvas.beginText()
        written.setTextRenderMode(1)
        written.setFont(Face.BOLD.value, size_mm)
        width = text_width_mm(text, size_mm=size_mm, face=Face.BOLD)
        written.setTextOrigin(-width / 2, -size_mm * CAPITAL / 2)
        written.textOut(text)
        written.setTextRenderMode(0)
        canvas.drawText(written)
        canvas.restoreState()

    def keep_within(self, x_mm: float, y_mm: float, width_mm: float, height_mm: float) -> None:
        """Cut off all that follows, until `release`, at a rectangle."""
        self._canvas.saveState()
        path = self._canvas.beginPath()
        path.rect(x_mm, y_mm, width_mm, height_mm)
        self._canvas.clipPath(path, stroke=0, fill=0)

    def move(self, x_mm: float, y_mm: float, *, scale: float = 1.0) -> None:
        """Put the origin elsewhere until `release`; everything that follows is drawn at `scale`."""
        self._canvas.saveState()
        self._canvas.transform(scale, 0, 0, scale, x_mm, y_mm)

    def release(self) -> None:
        """End the last `keep_within` or `move`."""
        self._canvas.restoreState()

    def strokes(self, operators: str) -> None:
        """Draw what `path_operators` gave, all as one object."""
        self._canvas.addLiteral(f"n {operators} S", escaped=1)

    def picture(self, picture: TilePicture, *, name: str) -> None:
        """Put a packed picture on its own box; `name` is used once in a file."""
        canvas = self._canvas
        canvas._doc.Reference(_picture_object(picture), xObjectName(name))
        x0, y0, x1, y1 = picture.box_mm
        canvas.saveState()
        canvas.transform(x1 - x0, 0, 0, y1 - y0, x0, y0)
        canvas.doForm(name)
        canvas.restoreState()


def path_operators(paths: Iterable[Path]) -> str:
    """Give paths of the drawing as PDF operators (ISO 32000, 8.5.2), to 0.001 mm, to be drawn on any number of pages.

    Arcs become cubics within 5 millionths of their radius.
    """
    words: list[str] = []
    for path in paths:
        words.append(f"{_numbers(path.start_mm)} m")
        for start, segment in path.pieces():
            match segment:
                case Line():
                    words.append(f"{_numbers(segment.end_mm)} l")
                case Cubic():
                    words.append(_cubic_operator(segment))
                case Arc():
                    words += [_cubic_operator(cubic) for cubic in _arc_cubics(start, segment)]
        if path.closed:
            words.append("h")
    return " ".join(words)


def _cubic_operator(cubic: Cubic) -> str:
    return f"{_numbers(cubic.control1_mm)} {_numbers(cubic.control2_mm)} {_numbers(cubic.end_mm)} c"


def _numbers(point: Point) -> str:
    return f"{point[0]:.3f} {point[1]:.3f}"


def outline_paths(outline: Outline) -> tuple[Path, ...]:
    """Give an outline's boundary and holes."""
    return (outline.boundary, *outline.holes)


def text_width_mm(text: str, *, size_mm: float, face: Face = Face.PLAIN) -> float:
    """Give how long a line of text comes out."""
    return float(stringWidth(printable(text), face.value, size_mm))


def printable(text: str) -> str:
    """Give text in the letters the page's typefaces have: accents they lack are left off, other signs become `?`."""

    def nearest(sign: str) -> str:
        if _has(sign):
            return sign
        plain = "".join(part for part in unicodedata.normalize("NFKD", sign) if not unicodedata.combining(part))
        return plain if plain and all(map(_has, plain)) else "?"

    words = " ".join(text.split())
    return words if _has(words) else "".join(map(nearest, words))


def _has(text: str) -> bool:
    try:
        text.encode("cp1252")
    except UnicodeEncodeError:
        return False
    return text.isprintable()


def _arc_cubics(start: Point, arc: Arc) -> list[Cubic]:
    """Cubics along an arc, each with handles of 4/3 tan(sweep/4) of the radius along its end tangents."""
    a, b = complex(*start), complex(*arc.end_mm)
    if arc.bulge == 0 or a == b:
        return [Cubic(start, arc.end_mm, arc.end_mm)]
    sweep = 4 * math.atan(arc.bulge)
    centre = (a + b) / 2 + (b - a) / 2 * 1j * (1 - arc.bulge**2) / (2 * arc.bulge)
    count = math.ceil(abs(sweep) / _MOST_SWEEP_RAD)
    each = sweep / count
    turn = complex(math.cos(each), math.sin(each))
    handle = 4 / 3 * math.tan(each / 4) * 1j
    arm, cubics = a - centre, []
    for index in range(count):
        after = arm * turn
        end = b if index == count - 1 else centre + after
        first, second = centre + arm + handle * arm, end - handle * after
        cubics.append(Cubic((first.real, first.imag), (second.real, second.imag), (end.real, end.imag)))
        arm = after
    return cubics


def _picture_object(picture: TilePicture) -> PDFStream:
    """A PDF image object with its bytes as they are: reportlab's own would unpack grey to RGB."""
    return PDFStream(
        PDFDictionary(
            {
                "Type": PDFName("XObject"),
                "Subtype": PDFName("Image"),
                "Width": picture.width_px,
                "Height": picture.height_px,
                "BitsPerComponent": picture.bits,
                "ColorSpace": PDFName("DeviceGray" if picture.channels == 1 else "DeviceRGB"),
                "Filter": PDFName(picture.encoding.value),
            }
        ),
        picture.data,
        filters=[],
    )
