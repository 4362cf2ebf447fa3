"""Printed pages read back by pypdfium2, and drawings to print."""

import ctypes
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

import numpy as np
import pypdfium2 as pdfium
import pypdfium2.raw as raw
import pytest

from drawing.drawing import Drawing, Kind, Outline
from drawing.paths import polyline
from printing.page_title import PageTitle
from printing.shown_flat import shown_flat
from printing.write_pages import write_pages

MM_PER_PT = 25.4 / 72


class ReadBack:
    """A PDF as another program sees it, in mm from each page's lower-left corner."""

    def __init__(self, path: Path) -> None:
        self.data = path.read_bytes()
        self.document = pdfium.PdfDocument(self.data)

    def __len__(self):
        return len(self.document)

    def print_scaling(self):
        return raw.FPDF_VIEWERREF_GetPrintScaling(self.document)

    def size_mm(self, page):
        width, height = self.document[page - 1].get_size()
        return width * MM_PER_PT, height * MM_PER_PT

    def text(self, page):
        return self.document[page - 1].get_textpage().get_text_range()

    def paths_mm(self, page):
        """Each path object's points (N, 2) in page mm, curves as their control points."""
        found = []
        for item in self.document[page - 1].get_objects(filter=[raw.FPDF_PAGEOBJ_PATH]):
            matrix = item.get_matrix()
            points = []
            for index in range(raw.FPDFPath_CountSegments(item)):
                x, y = ctypes.c_float(), ctypes.c_float()
                raw.FPDFPathSegment_GetPoint(raw.FPDFPath_GetPathSegment(item, index), x, y)
                points.append(matrix.on_point(x.value, y.value))
            found.append(np.array(points) * MM_PER_PT)
        return found

    def texts_mm(self, page):
        """(matrix, (left, bottom, right, top) mm) of each text object."""
        items = self.document[page - 1].get_objects(filter=[raw.FPDF_PAGEOBJ_TEXT])
        return [(item.get_matrix(), tuple(v * MM_PER_PT for v in item.get_bounds())) for item in items]

    def darkness(self, page, *, dpi):
        """(H, W) 0-255 ink, and px per mm in x and y: bitmap over page size, since bitmaps are rounded up."""
        bitmap = self.document[page - 1].render(scale=dpi / 72, grayscale=True).to_numpy()
        ink = 255 - bitmap.reshape(bitmap.shape[:2])
        width, height = self.size_mm(page)
        return ink, (ink.shape[1] / width, ink.shape[0] / height)


@pytest.fixture
def printed(tmp_path: Path) -> Callable[..., ReadBack]:
    """Write pages and read them back."""

    def write(plan, drawing, flat=None, *, fraction=Fraction(1), stamp=None, name="Otterwing", cautions=()):
        path = tmp_path / "pages.pdf"
        title = PageTitle(name, fraction, "2024-02-29", stamp, cautions)
        write_pages(path, plan, drawing, None if flat is None else shown_flat(flat), title=title)
        return ReadBack(path)

    return write


def box_outline(number, x, y, width, height, *, kind=Kind.PART):
    corners = np.array([[x, y], [x + width, y], [x + width, y + height], [x, y + height]], float)
    return Outline(number, polyline(corners, closed=True), (), (0.0, 0.0), 0.0, kind=kind)


@pytest.fixture
def boxes() -> Callable[..., Drawing]:
    """Make a drawing of boxes given as (x, y, width, height), mm."""

    def make(*sides, border=None):
        outlines = [box_outline(number, *box) for number, box in enumerate(sides, 1)]
        if border is not None:
            outlines.append(box_outline(len(sides) + 1, *border, kind=Kind.BORDER))
        return Drawing(tuple(outlines), ())

    return make
