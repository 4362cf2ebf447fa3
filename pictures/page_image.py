"""Is a PDF page one scanned image, and where do its pixels lie on the page as displayed?"""

import ctypes
import dataclasses
import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import pypdfium2.raw as pdfium

from pictures.read_jpeg import jpeg_ends

COVERS_ALONE = 0.5
"""Part of the page that an image must cover if nothing else is on the page: scans set within wide margins."""

COVERS_WITH_OTHERS = 0.9
"""The same if there are stamps, page numbers or notes beside it: else it is a picture in a text or a drawing."""

MOST_OTHERS = 30
"""Visible objects beside the image that may be stamps and notes. More are a drawing, the image its background."""

LEAST_PX_PER_PT = 0.7
"""Coarsest image that counts as a scan, px per 1/72 inch (50 dpi): a coarser one is a background or a logo."""

OFF_AXIS_PX = 0.5
"""How far an image's far end may lie off its row: a tilted placement comes out right only if the page is drawn."""

INSET_PX = 0.1
"""How far inside its whole pixels an image is placed, px. The renderer rounds its corners outward to whole pixels and
copies it unchanged if that gives its own size; without this, the last digit of a 32-bit number adds a pixel."""

DEEPEST = 4
"""Levels of nested forms looked into; writers of scans use at most two."""

Matrix = tuple[float, float, float, float, float, float]


@dataclass(frozen=True, slots=True)
class PixelGrid:
    """Pixels to draw a page on: a point (x, y) pt of the page as displayed, y down, is drawn at scale * pt + shift px.

    Here (0, 0) px is the outer corner of the first pixel.
    """

    width_px: int
    height_px: int
    scale_x: float
    scale_y: float
    shift_x_px: float = 0.0
    shift_y_px: float = 0.0


@dataclass(frozen=True, slots=True)
class PageImage:
    """The one image that a page is: how many of its pixels the page shows, and how they lie on it.

    `item` is the renderer's image object, valid while the page is open; `first_px` is the upper-left pixel shown, of
    the image as turned by `turn`, an EXIF orientation. `turn` is None if other things are drawn on the page. `whole`
    is False if a JPEG has no end.
    """

    grid: PixelGrid
    px_per_pt_x: float
    px_per_pt_y: float
    whole: bool
    item: Any
    turn: int | None
    first_px: tuple[int, int]


def page_image(sheet: Any) -> PageImage | None:
    """Give the grid of the one image that a page is, cut to what the page shows; None if the page is anything else.

    Hidden text (from text recognition) does not count. The image may be turned by quarters, mirrored, and of unequal
    scale; one placed at another angle gives None.

    Parameters
    ----------
    sheet : pypdfium2.PdfPage
    """
    image, others = None, 0
    for item, matrix in _objects(sheet, (1, 0, 0, 1, 0, 0), 0):
        kind = pdfium.FPDFPageObj_GetType(item)
        if kind == pdfium.FPDF_PAGEOBJ_IMAGE and image is None:
            image = item, matrix
        elif kind != pdfium.FPDF_PAGEOBJ_TEXT or (
            pdfium.FPDFTextObj_GetTextRenderMode(item) != pdfium.FPDF_TEXTRENDERMODE_INVISIBLE
        ):
            others += 1
        if others > MOST_OTHERS:
            return None
    if image is None:
        return None
    found = _grid(sheet, *image, covers=COVERS_WITH_OTHERS if others else COVERS_ALONE)
    covered = others or pdfium.FPDFPage_GetAnnotCount(sheet) > 0
    return dataclasses.replace(found, turn=None) if found is not None and covered else found


def _objects(holder: Any, outer: Matrix, depth: int) -> Iterator[tuple[Any, Matrix]]:
    """Walk a page's objects, forms opened: (object, its matrix to the page)."""
    if depth == 0:
        count, get = pdfium.FPDFPage_CountObjects(holder), pdfium.FPDFPage_GetObject
    else:
        count, get = pdfium.FPDFFormObj_CountObjects(holder), pdfium.FPDFFormObj_GetObject
    for index in range(count):
        item = get(holder, index)
        own = pdfium.FS_MATRIX()
        if not item or not pdfium.FPDFPageObj_GetMatrix(item, own):
            continue
        matrix = _product((own.a, own.b, own.c, own.d, own.e, own.f), outer)
        if pdfium.FPDFPageObj_GetType(item) == pdfium.FPDF_PAGEOBJ_FORM and depth < DEEPEST:
            yield from _objects(item, matrix, depth + 1)
        else:
            yield item, matrix


def _grid(sheet: Any, item: Any, matrix: Matrix, *, covers: float) -> PageImage | None:
    """Place the image's pixels on the page as displayed."""
    columns, rows = ctypes.c_uint(), ctypes.c_uint()
    if not pdfium.FPDFImageObj_GetImagePixelSize(item, columns, rows) or not (columns.value and rows.value):
        return None
    a, b, c, d, e, f = _product(matrix, _display(sheet))
    width_pt, height_pt = sheet.get_size()
    left, right = min(e, e + a, e + c, e + a + c), max(e, e + a, e + c, e + a + c)
    top, bottom = min(f, f + b, f + d, f + b + d), max(f, f + b, f + d, f + b + d)
    if right <= left or bottom <= top:
        return None
    # Quarter turns put the image's rows along the page's columns.
    across, down = (columns.value, rows.value) if abs(a) >= abs(b) else (rows.value, columns.value)
    off_x, off_y = (abs(c), abs(b)) if abs(a) >= abs(b) else (abs(a), abs(d))
    scale_x, scale_y = across / (right - left), down / (bottom - top)
    if off_x * scale_x > OFF_AXIS_PX or off_y * scale_y > OFF_AXIS_PX or min(scale_x, scale_y) < LEAST_PX_PER_PT:
        return None
    # Whole pixels that the page shows; a hundredth of a pixel is the placement's rounding.
    first_x = max(0, math.floor((0 - left) * scale_x + 0.01))
    first_y = max(0, math.floor((0 - top) * scale_y + 0.01))
    last_x = min(across, math.ceil((width_pt - left) * scale_x - 0.01))
    last_y = min(down, math.ceil((height_pt - top) * scale_y - 0.01))
    seen_pt2 = max(0, last_x - first_x) / scale_x * max(0, last_y - first_y) / scale_y
    if seen_pt2 < covers * width_pt * height_pt:
        return None
    inner_x, inner_y = (across - 2 * INSET_PX) / (right - left), (down - 2 * INSET_PX) / (bottom - top)
    grid = PixelGrid(
        width_px=last_x - first_x,
        height_px=last_y - first_y,
        scale_x=inner_x,
        scale_y=inner_y,
        shift_x_px=INSET_PX - first_x - left * inner_x,
        shift_y_px=INSET_PX - first_y - top * inner_y,
    )
    return PageImage(grid, scale_x, scale_y, _whole(item), item, _turn(a, b, c, d), (first_x, first_y))


def _turn(a: float, b: float, c: float, d: float) -> int:
    """EXIF orientation that turns the stored image as displayed: (a, b) is where its rows run, (-c, -d) its columns."""
    if abs(a) >= abs(b):
        return {(True, True): 1, (False, True): 2, (False, False): 3, (True, False): 4}[a > 0, d < 0]
    return {(True, True): 5, (True, False): 6, (False, False): 7, (False, True): 8}[b > 0, c < 0]


def _whole(item: Any) -> bool:
    """Tell whether an image's data, if it is a JPEG, has its end: the renderer fills what is missing in silence."""
    count = pdfium.FPDFImageObj_GetImageFilterCount(item)
    if count != 1:
        return True
    name = ctypes.create_string_buffer(64)
    pdfium.FPDFImageObj_GetImageFilter(item, 0, name, len(name))
    if name.value != b"DCTDecode":
        return True
    size = pdfium.FPDFImageObj_GetImageDataRaw(item, None, 0)
    data = ctypes.create_string_buffer(size)
    pdfium.FPDFImageObj_GetImageDataRaw(item, data, size)
    return jpeg_ends(data.raw)


def _display(sheet: Any) -> Matrix:
    """Page space (y up) to the page as displayed (y down, its shown box's upper left at 0, 0), pt."""
    left, bottom, right, top = sheet.get_bbox()
    turns: dict[int, Matrix] = {
        0: (1, 0, 0, -1, -left, top),
        90: (0, 1, 1, 0, -bottom, -left),
        180: (-1, 0, 0, 1, right, -bottom),
        270: (0, -1, -1, 0, top, right),
    }
    return turns[sheet.get_rotation()]


def _product(first: Matrix, second: Matrix) -> Matrix:
    """Apply `first`, then `second` (ISO 32000-1, 8.3.4: row vectors)."""
    a, b, c, d, e, f = first
    p, q, r, s, t, u = second
    return (a * p + b * r, a * q + b * s, c * p + d * r, c * q + d * s, e * p + f * r + t, e * q + f * s + u)
