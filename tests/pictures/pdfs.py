"""PDF pages for tests: drawn, with a scan placed on them, or written object by object."""

import zlib
from pathlib import Path
from typing import Any

import numpy as np
from reportlab.pdfgen.canvas import Canvas

DPI_ROUNDING = 1e-4
"""Relative error that 32-bit page coordinates leave in a dpi figure."""


def drawn(tmp_path: Path, draw: Any, *, size_pt: tuple[float, float] = (300, 200), **options: Any) -> Path:
    path = tmp_path / "plan.pdf"
    canvas = Canvas(str(path), pagesize=size_pt, **options)
    draw(canvas)
    canvas.showPage()
    canvas.save()
    return path


def placed(
    tmp_path: Path,
    pixels: np.ndarray,
    matrix: tuple[float, ...],
    *,
    size_pt: tuple[float, float],
    rotation: int = 0,
    crop_pt: tuple[float, ...] | None = None,
    text: bytes = b"",
) -> Path:
    """A page with one grey image, written by hand (ISO 32000-1, 7.7.3.3 and 8.9): the matrix maps the unit square."""
    height, width = pixels.shape
    image = zlib.compress(pixels.tobytes())
    content = b"q " + b" ".join(b"%g" % value for value in matrix) + b" cm /I Do Q " + text
    crop = b"" if crop_pt is None else b"/CropBox[" + b" ".join(b"%g" % value for value in crop_pt) + b"]"
    objects = [
        b"<</Type/Catalog/Pages 2 0 R>>",
        b"<</Type/Pages/Kids[3 0 R]/Count 1>>",
        b"<</Type/Page/Parent 2 0 R/MediaBox[0 0 %g %g]/Rotate %d%s/Contents 4 0 R" % (*size_pt, rotation, crop)
        + b"/Resources<</XObject<</I 5 0 R>>/Font<</F<</Type/Font/Subtype/Type1/BaseFont/Helvetica>>>>>>>>",
        b"<</Length %d>>stream\n%s\nendstream" % (len(content), content),
        b"<</Type/XObject/Subtype/Image/Width %d/Height %d/ColorSpace/DeviceGray/BitsPerComponent 8" % (width, height)
        + b"/Filter/FlateDecode/Length %d>>stream\n%s\nendstream" % (len(image), image),
    ]
    return written(tmp_path, objects)


def written(tmp_path: Path, objects: list[bytes], *, version: bytes = b"1.6") -> Path:
    data, starts = b"%PDF-" + version + b"\n", []
    for number, body in enumerate(objects, 1):
        starts.append(len(data))
        data += b"%d 0 obj" % number + body + b"endobj\n"
    table = len(data)
    data += b"xref\n0 %d\n0000000000 65535 f \n" % (len(objects) + 1)
    data += b"".join(b"%010d 00000 n \n" % start for start in starts)
    data += b"trailer<</Root 1 0 R/Size %d>>\nstartxref\n%d\n%%%%EOF\n" % (len(objects) + 1, table)
    path = tmp_path / "hand.pdf"
    path.write_bytes(data)
    return path


# ISO 32000-1, 8.3.2.3: the unit is 1/72 inch. A box over 36 to 252 pt and 30 to 150 pt has these edges at 300 dpi.
