"""Read a PDF page: a scanned image at its own pixels, anything else drawn at 300 dpi."""

import ctypes
import dataclasses
import math
from typing import Any

import numpy as np
import pypdfium2
import pypdfium2.raw as pdfium
from numpy.typing import NDArray

from drawing.findings import Finding, Level
from drawing.units import MM_PER_PT, PT_PER_INCH
from pictures.channels import as_channels, bgr_holds_colour
from pictures.claims import Claims
from pictures.limits import MAX_MEGAPIXELS, check_page, check_size
from pictures.native_output import captured_messages
from pictures.page_image import PixelGrid, page_image
from pictures.pdf_structure import has_end_mark, user_units
from pictures.picture import Medium, PictureError
from pictures.plan_file import FileKind, PlanFile, damaged
from pictures.reading import Channels, Reading
from pictures.stored_image import stored_pixels

RENDER_DPI = 300
"""A 0.18 mm line is 2 px wide: finer gains nothing, coarser loses thin lines."""

LEAST_DPI = 100
"""Coarsest that a large page is drawn: at 75 dpi a 0.25 mm line is under a pixel wide."""

PARTS, PARTS_FROM_PX = 3, 50_000_000
"""How many parts a scanned image is drawn in, and from which size."""

SMALL_SIDE_PX = 600
"""Longer side of the page drawn small, in which colour is looked for: about 50 dpi of an A4 page."""


def read_pdf(file: PlanFile, *, page: int, channels: Channels) -> Reading:
    """Draw a page of a PDF file, pages counted from 1, as it is displayed.

    The outer upper-left corner of the page (of what its crop box shows) is at (-0.5, -0.5) px. Of a page that is
    one scanned image, each pixel of the image is one pixel of the picture; its size on the page is in `tag_dpi`.

    Raises
    ------
    PictureError
        If it needs a password, has no such page, is damaged, or the page is too large.
    """
    with captured_messages():
        document = _open(file)
        try:
            check_page(file.path, page=page, pages=len(document))
            try:
                sheet = document[page - 1]
            except pypdfium2.PdfiumError as error:
                raise damaged(file.path, FileKind.PDF, f"its page {page} cannot be opened") from error
            unit, findings = _unit(file, len(document))
            reading = _read_sheet(file, sheet, page, unit, channels)
            return dataclasses.replace(reading, pages=len(document), findings=(*findings, *reading.findings))
        finally:
            document.close()


def _open(file: PlanFile) -> Any:
    """Open the document, or say why not."""
    try:
        document = pypdfium2.PdfDocument(file.path)
    except pypdfium2.PdfiumError as error:
        # The renderer's last error may be of an earlier file.
        locked = getattr(error, "err_code", None) == pdfium.FPDF_ERR_PASSWORD and b"/Encrypt" in file.path.read_bytes()
        if locked:
            raise PictureError(
                f"{file.path.name} needs a password; an open PDF was needed: "
                "open it in a PDF reader and print or save it to a PDF without one."
            ) from error
        raise damaged(file.path, FileKind.PDF, "it cannot be opened, or has no pages") from error
    if len(document) < 1:
        document.close()
        raise PictureError(f"{file.path.name} has no pages; a PDF with a page was needed: save or fetch it again.")
    return document


def _unit(file: PlanFile, pages: int) -> tuple[float, tuple[Finding, ...]]:
    """How many 1/72 inch the page's unit is, and what to say of the file."""
    name = file.path.name
    findings: list[Finding] = []
    if not has_end_mark(file.path):
        text = f"{name} has no end mark, so it may be cut short: look whether all of the page is there."
        findings.append(Finding("pdf-cut-short", Level.DECIDE, name, text))
    units = set(user_units(file.path))
    if not units:
        return 1.0, tuple(findings)
    said = " and ".join(f"{unit:g}" for unit in sorted(units))
    if len(units) == 1 and pages == 1:
        text = f"{name} states its page in units of {said}/72 inch; the page's size is reckoned so."
        findings.append(Finding("pdf-user-unit", Level.NOTE, name, text))
        return units.pop(), tuple(findings)
    text = (
        f"{name} states units of {said}/72 inch for pages that cannot be told; this page was taken to be in 1/72 inch: "
        "check its size against a length printed on it."
    )
    findings.append(Finding("pdf-user-unit", Level.DECIDE, name, text))
    return 1.0, tuple(findings)


def _read_sheet(file: PlanFile, sheet: Any, page: int, unit: float, channels: Channels) -> Reading:
    """Choose the grid and draw the page on it; one unit of the page is `unit` times 1/72 inch."""
    width_pt, height_pt = sheet.get_size()
    if not (0 < width_pt < math.inf and 0 < height_pt < math.inf):
        raise damaged(file.path, FileKind.PDF, f"its page {page} has no size")
    image = page_image(sheet)
    if image is not None:
        check_size(file.path, width_px=image.grid.width_px, height_px=image.grid.height_px)
        if not image.whole:
            raise damaged(file.path, FileKind.PDF, f"the picture on page {page} ends too early")
        small_bgr = _draw_small(sheet, image.grid)
        pixels = stored_pixels(image, small_bgr=small_bgr, channels=channels)
        if pixels is None:
            pixels = _draw_in_parts(sheet, image.grid, channels)
        per_inch = PT_PER_INCH / unit
        claims = Claims(tag_dpi=(image.px_per_pt_x * per_inch, image.px_per_pt_y * per_inch))
        return Reading(pixels, claims, colour=bgr_holds_colour(small_bgr), medium=Medium.PDF_IMAGE)
    dpi, findings = _render_dpi(file, page, width_pt * unit, height_pt * unit)
    scale = dpi / PT_PER_INCH * unit
    # A page size that is whole but for float32's last digits must not gain a row.
    grid = PixelGrid(math.ceil(width_pt * scale - 0.01), math.ceil(height_pt * scale - 0.01), scale, scale)
    check_size(file.path, width_px=grid.width_px, height_px=grid.height_px)
    pixels = _draw(sheet, grid, channels)
    colour = bgr_holds_colour(_draw_small(sheet, grid))
    return Reading(pixels, Claims(), colour=colour, medium=Medium.PDF_PAGE, render_dpi=float(dpi), findings=findings)


def _render_dpi(file: PlanFile, page: int, width_pt: float, height_pt: float) -> tuple[int, tuple[Finding, ...]]:
    """300 dpi, or as many tens of dpi as keep a huge page within the limit."""
    fits = math.sqrt(MAX_MEGAPIXELS * 1e6 / (width_pt * height_pt)) * PT_PER_INCH
    if fits >= RENDER_DPI:
        return RENDER_DPI, ()
    size = f"{width_pt * MM_PER_PT:.0f} x {height_pt * MM_PER_PT:.0f} mm"
    dpi = int(fits * 0.999 // 10 * 10)
    if dpi < LEAST_DPI:
        raise PictureError(
            f"Page {page} of {file.path.name} is {size}; at {LEAST_DPI} dpi it has more than the {MAX_MEGAPIXELS} "
            "megapixels that can be read: print the part that is needed to a smaller PDF page."
        )
    text = f"Page {page} of {file.path.name} is {size}, so it was drawn at {dpi} dpi instead of {RENDER_DPI}."
    return dpi, (Finding("coarse-page", Level.NOTE, file.path.name, text),)


def _draw_in_parts(sheet: Any, grid: PixelGrid, channels: Channels) -> NDArray[np.uint8]:
    """Draw a large image in parts: in one go the renderer takes 5 bytes a pixel, in three 3 and half as long again."""
    if grid.width_px * grid.height_px < PARTS_FROM_PX:
        return _draw(sheet, grid, channels)
    shape = (grid.height_px, grid.width_px) if channels is Channels.GREY else (grid.height_px, grid.width_px, 3)
    pixels = np.empty(shape, np.uint8)
    rows = math.ceil(grid.height_px / PARTS)
    for row in range(0, grid.height_px, rows):
        part = dataclasses.replace(grid, height_px=min(rows, grid.height_px - row), shift_y_px=grid.shift_y_px - row)
        pixels[row : row + rows] = _draw(sheet, part, channels)
    return pixels


def _draw(sheet: Any, grid: PixelGrid, channels: Channels) -> NDArray[np.uint8]:
    """Draw a page on a pixel grid: grey or RGB."""
    grey = channels is Channels.GREY
    kind, count = (pdfium.FPDFBitmap_Gray, 1) if grey else (pdfium.FPDFBitmap_BGR, 3)
    pixels = np.full((grid.height_px, grid.width_px, count), 255, np.uint8)
    pointer = pixels.ctypes.data_as(ctypes.c_void_p)
    bitmap = pdfium.FPDFBitmap_CreateEx(grid.width_px, grid.height_px, kind, pointer, grid.width_px * count)
    try:
        matrix = pdfium.FS_MATRIX(grid.scale_x, 0, 0, grid.scale_y, grid.shift_x_px, grid.shift_y_px)
        clip = pdfium.FS_RECTF(0, 0, grid.width_px, grid.height_px)
        flags = pdfium.FPDF_ANNOT | (pdfium.FPDF_GRAYSCALE if grey else 0)
        pdfium.FPDF_RenderPageBitmapWithMatrix(bitmap, sheet, matrix, clip, flags)
    finally:
        pdfium.FPDFBitmap_Destroy(bitmap)
    return pixels[..., 0] if grey else as_channels(pixels, Channels.COLOUR)


def _draw_small(sheet: Any, grid: PixelGrid) -> NDArray[np.uint8]:
    """Draw the same part of the page with a longer side of SMALL_SIDE_PX: (h, w, 3), blue first."""
    factor = min(1.0, SMALL_SIDE_PX / max(grid.width_px, grid.height_px))
    small = PixelGrid(
        max(1, round(grid.width_px * factor)),
        max(1, round(grid.height_px * factor)),
        grid.scale_x * factor,
        grid.scale_y * factor,
        grid.shift_x_px * factor,
        grid.shift_y_px * factor,
    )
    return np.ascontiguousarray(_draw(sheet, small, Channels.COLOUR)[..., ::-1])
