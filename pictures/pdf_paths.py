"""The paths a PDF page is drawn with: its own curves, without drawing it as a picture."""

import ctypes
import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pypdfium2
import pypdfium2.raw as pdfium
from numpy.typing import NDArray

from drawing.units import PT_PER_INCH
from pictures.native_output import captured_messages
from pictures.page_paths import Floats, PageDrawing, PagePath, TooManyPaths
from pictures.pdf_structure import page_unit
from pictures.picture import Medium, PictureError, Source

MOST_SEGMENTS = 400_000
"""Path pieces that are taken one by one: a full A0 plan has a tenth. Beyond it a page is hatching or a map, and finding
its crossings would take minutes where looking at its picture takes seconds."""

MOST_DEPTH = 16
"""How deep drawings may lie within drawings; the PDF library stops sooner where they lie within themselves."""

FAR_PX = 1e6
"""No place on a page lies farther from its corner: beyond it numbers are broken, or meant to be unseen."""

CLIP_STEPS = 24
"""Straight steps that stand for a curve of a clip's edge: within 0.1 % of its size."""


def read_page_paths(source: Source) -> PageDrawing | TooManyPaths:
    """Give the paths of the page a picture was drawn from, in that picture's px.

    Lines and curves come as cubics, exactly; drawings within drawings (form XObjects) by their own transforms, the
    page's turn and crop box as displayed. Text is no path; what a page merely clips with is none either.

    Parameters
    ----------
    source : Source
        Of a picture with medium PDF_PAGE.

    Raises
    ------
    PictureError
        If the file has gone or changed so that its page cannot be opened again.
    """
    if source.medium is not Medium.PDF_PAGE or source.render_dpi is None:
        raise ValueError("Only a drawn PDF page has paths.")
    with captured_messages():
        try:
            document = pypdfium2.PdfDocument(source.path)
        except (pypdfium2.PdfiumError, OSError) as error:
            raise PictureError(
                f"{source.path.name} could be read a moment ago and cannot be opened now; the same PDF was needed: "
                "put it back and start again."
            ) from error
        try:
            page = document[source.page - 1]
            per_unit = source.render_dpi / PT_PER_INCH * page_unit(source.path, len(document))
            return _read(page, _display(page, per_unit))
        finally:
            document.close()


def _display(page: Any, px_per_unit: float) -> Floats:
    """The matrix (3, 3) from the page's own units to picture px: crop box, turn and scale as displayed."""
    left, bottom, right, top = page.get_bbox()
    turned = {
        0: [[1, 0, -left], [0, -1, top]],
        90: [[0, 1, -bottom], [1, 0, -left]],
        180: [[-1, 0, right], [0, 1, -bottom]],
        270: [[0, -1, top], [-1, 0, right]],
    }[page.get_rotation()]
    matrix = np.vstack([np.array(turned, dtype=np.float64) * px_per_unit, [0.0, 0.0, 1.0]])
    # The page's corner is the outer corner of the first pixel.
    matrix[:2, 2] -= 0.5
    return matrix


@dataclass(slots=True)
class _Found:
    strokes: list[PagePath] = field(default_factory=list)
    fills: list[PagePath] = field(default_factory=list)
    clips: list[tuple[tuple[Floats, ...], ...]] = field(default_factory=list)
    clip_numbers: dict[bytes, int] = field(default_factory=dict)
    texts: list[Floats] = field(default_factory=list)
    images: list[Floats] = field(default_factory=list)
    segments: int = 0
    paths: int = 0
    broken: int = 0
    shadings: int = 0


def _read(page: Any, display: Floats) -> PageDrawing | TooManyPaths:
    found = _Found()
    count = max(0, pdfium.FPDFPage_CountObjects(page))
    objects = (pdfium.FPDFPage_GetObject(page, index) for index in range(count))
    if not _walk(objects, display, (), found, 0):
        return TooManyPaths(found.segments)
    return PageDrawing(
        tuple(found.strokes),
        tuple(found.fills),
        tuple(found.clips),
        np.array(found.texts).reshape(-1, 4),
        np.array(found.images).reshape(-1, 4),
        found.segments,
        found.broken,
        found.shadings,
    )


def _walk(
    objects: Iterator[Any], to_px: Floats, clip: tuple[tuple[Floats, ...], ...], found: _Found, depth: int
) -> bool:
    """Take in objects whose container's units `to_px` maps; False where there are too many."""
    for item in objects:
        match pdfium.FPDFPageObj_GetType(item):
            case pdfium.FPDF_PAGEOBJ_PATH:
                if not _take_path(item, to_px, clip, found):
                    return False
            case pdfium.FPDF_PAGEOBJ_FORM:
                if depth >= MOST_DEPTH:
                    found.broken += 1
                    continue
                inner = to_px @ _matrix(item)
                within = clip + _clip_paths(item, to_px)
                count = max(0, pdfium.FPDFFormObj_CountObjects(item))
                parts = (pdfium.FPDFFormObj_GetObject(item, index) for index in range(count))
                if not _walk(parts, inner, within, found, depth + 1):
                    return False
            case pdfium.FPDF_PAGEOBJ_TEXT:
                _take_box(item, to_px, found.texts)
            case pdfium.FPDF_PAGEOBJ_IMAGE:
                _take_box(item, to_px, found.images)
            case _:
                found.shadings += 1
    return True


def _take_path(item: Any, to_px: Floats, clip: tuple[tuple[Floats, ...], ...], found: _Found) -> bool:
    mode, stroked = ctypes.c_int(), ctypes.c_int()
    if not pdfium.FPDFPath_GetDrawMode(item, mode, stroked) or not (mode.value or stroked.value):
        return True
    count = max(0, pdfium.FPDFPath_CountSegments(item))
    found.segments += count
    if found.segments > MOST_SEGMENTS:
        return False
    matrix = to_px @ _matrix(item)
    runs = _runs(_path_segments(item, count), matrix)
    if runs is None:
        found.broken += 1
        return True
    alpha, shade = _shade(item, stroked=bool(stroked.value))
    if alpha == 0:
        return True
    width = ctypes.c_float()
    pdfium.FPDFPageObj_GetStrokeWidth(item, width)
    scale = math.sqrt(abs(float(matrix[0, 0] * matrix[1, 1] - matrix[0, 1] * matrix[1, 0])))
    width_px = width.value * scale if math.isfinite(width.value) else 0.0
    number = _clip_number(clip + _clip_paths(item, to_px), found)
    dashed = bool(stroked.value) and pdfium.FPDFPageObj_GetDashCount(item) > 0
    to = found.strokes if stroked.value else found.fills
    to += [PagePath(controls, straight, width_px, shade, dashed, number, found.paths) for controls, straight in runs]
    found.paths += 1
    return True


def _shade(item: Any, *, stroked: bool) -> tuple[int, float]:
    """How opaque the colour is, 0..255, and how light, 0..1 (Rec. 601 luma); patterns count as black."""
    red, green, blue, alpha = (ctypes.c_uint() for _ in range(4))
    ask = pdfium.FPDFPageObj_GetStrokeColor if stroked else pdfium.FPDFPageObj_GetFillColor
    if not ask(item, red, green, blue, alpha):
        return 255, 0.0
    light = (0.299 * red.value + 0.587 * green.value + 0.114 * blue.value) / 255
    part = alpha.value / 255
    return alpha.value, 1 - part * (1 - light)


def _matrix(item: Any) -> Floats:
    """An object's own matrix (3, 3) for columns (x, y, 1)."""
    own = pdfium.FS_MATRIX()
    if not pdfium.FPDFPageObj_GetMatrix(item, own):
        return np.eye(3)
    return np.array([[own.a, own.c, own.e], [own.b, own.d, own.f], [0.0, 0.0, 1.0]])


def _path_segments(item: Any, count: int) -> Iterator[Any]:
    get = pdfium.FPDFPath_GetPathSegment
    return (get(item, index) for index in range(count))


def _points(segments: Iterator[Any]) -> tuple[Floats, list[int], list[bool]]:
    """Points (N, 2) of segments in their path's own units, their kinds, and which close a run."""
    point_of, kind_of = pdfium.FPDFPathSegment_GetPoint, pdfium.FPDFPathSegment_GetType
    closes = pdfium.FPDFPathSegment_GetClose
    x, y = ctypes.c_float(), ctypes.c_float()
    at_x, at_y = ctypes.byref(x), ctypes.byref(y)
    points: list[float] = []
    kinds: list[int] = []
    closed: list[bool] = []
    for segment in segments:
        point_of(segment, at_x, at_y)
        points += (x.value, y.value)
        kinds.append(kind_of(segment))
        closed.append(bool(closes(segment)))
    return np.array(points).reshape(-1, 2), kinds, closed


_Run = tuple[Floats, NDArray[np.bool_]]


def _runs(segments: Iterator[Any], matrix: Floats) -> list[_Run] | None:
    """The runs of a path as cubics in px, pieces without length left out; None where a number is no place."""
    own, kinds, closed = _points(segments)
    points = own @ matrix[:2, :2].T + matrix[:2, 2]
    if not np.isfinite(points).all() or (len(points) and np.abs(points).max() > FAR_PX):
        return None
    if len(kinds) == 2 and kinds[1] == pdfium.FPDF_SEGMENT_LINETO:
        # Most paths of many a page are a single line.
        return [(_lines(points[:1], points[1:]), np.array([True]))] if (points[0] != points[1]).any() else []
    # Every piece as the numbers of its control points; those of a line are its ends twice.
    pieces: list[tuple[int, int, int, int]] = []
    starts: list[int] = []
    first = at = index = 0
    starts_anew = True
    while index < len(kinds):
        step = 1
        if kinds[index] == pdfium.FPDF_SEGMENT_MOVETO:
            first, starts_anew = index, True
        else:
            if starts_anew:
                starts.append(len(pieces))
                starts_anew = False
            if kinds[index] == pdfium.FPDF_SEGMENT_BEZIERTO and index + 2 < len(kinds):
                step = 3
                pieces.append((at, index, index + 1, index + 2))
            else:
                pieces.append((at, at, index, index))
        at = index + step - 1
        if closed[at]:
            if not starts_anew:
                pieces.append((at, at, first, first))
            at, starts_anew = first, True
        index += step
    if not pieces:
        return []
    controls = points[np.array(pieces)]
    straight = _are_straight(controls)
    # A line's inner points lie at its thirds, so that its parameter is the share of its length.
    controls[straight] = _lines(controls[straight, 0], controls[straight, 3])
    long = (controls != controls[:, :1]).any(axis=(1, 2))
    run = np.zeros(len(pieces), dtype=np.int64)
    run[starts] = 1
    run = np.cumsum(run)[long]
    cuts = np.flatnonzero(np.diff(run)) + 1
    if not len(run):
        return []
    return list(zip(np.split(controls[long], cuts), np.split(straight[long], cuts), strict=True))


def _lines(start: Floats, end: Floats) -> Floats:
    """Lines from starts to ends, (K, 2) each, as cubics."""
    controls = start[:, None] + (end - start)[:, None] * THIRDS[:, None]
    controls[:, 3] = end
    return controls


THIRDS = np.arange(4) / 3


def _are_straight(controls: Floats) -> NDArray[np.bool_]:
    """Which cubics (K, 4, 2) are straight lines that run only forward, or have no length."""
    way = controls[:, 3] - controls[:, 0]
    long = np.hypot(way[:, 0], way[:, 1])
    unit = way / np.where(long > 0, long, 1)[:, None]
    off = controls - controls[:, :1]
    along = (off * unit[:, None]).sum(axis=2)
    across = off[..., 1] * unit[:, None, 0] - off[..., 0] * unit[:, None, 1]
    forward = (np.diff(along, axis=1) >= 0).all(axis=1) & (np.abs(across).max(axis=1) < STRAIGHT_PX)
    still = (off == 0).all(axis=(1, 2))
    straight: NDArray[np.bool_] = np.where(long > 0, forward, still)
    return straight


STRAIGHT_PX = 1e-4
"""A cubic whose control points lie nearer to its chord is a line: a hundred thousandth of a millimetre."""


def _clip_paths(item: Any, to_px: Floats) -> tuple[tuple[Floats, ...], ...]:
    """The areas an object's container lets it be seen through, as rings in px."""
    clip = pdfium.FPDFPageObj_GetClipPath(item)
    count = pdfium.FPDFClipPath_CountPaths(clip) if clip else 0
    paths = []
    for index in range(max(0, count)):
        number = max(0, pdfium.FPDFClipPath_CountPathSegments(clip, index))
        parts = (pdfium.FPDFClipPath_GetPathSegment(clip, index, at) for at in range(number))
        runs = _runs(parts, to_px)
        if runs is not None:
            paths.append(tuple(_ring(*run) for run in runs))
    return tuple(paths)


def _ring(controls: Floats, straight: NDArray[np.bool_]) -> Floats:
    """A run as a ring of straight steps."""
    t = np.linspace(0, 1, CLIP_STEPS, endpoint=False)[:, None]
    u = 1 - t
    steps = [
        control[:1]
        if is_line
        else u**3 * control[0] + 3 * u * u * t * control[1] + 3 * u * t * t * control[2] + t**3 * control[3]
        for control, is_line in zip(controls, straight, strict=True)
    ]
    return np.concatenate([*steps, controls[-1, 3:]])


def _clip_number(clip: tuple[tuple[Floats, ...], ...], found: _Found) -> int:
    """The number of a clip among those found; equal ones share theirs."""
    if not clip:
        return -1
    key = b"|".join(b";".join(ring.tobytes() for ring in rings) for rings in clip)
    if key not in found.clip_numbers:
        found.clip_numbers[key] = len(found.clips)
        found.clips.append(clip)
    return found.clip_numbers[key]


def _take_box(item: Any, to_px: Floats, boxes: list[Floats]) -> None:
    left, bottom, right, top = (ctypes.c_float() for _ in range(4))
    if not pdfium.FPDFPageObj_GetBounds(item, left, bottom, right, top):
        return
    corners = np.array([[x, y, 1.0] for x in (left.value, right.value) for y in (bottom.value, top.value)])
    placed = (corners @ to_px.T)[:, :2]
    if np.isfinite(placed).all():
        boxes.append(np.concatenate([placed.min(axis=0), placed.max(axis=0)]))
