"""The printed pages as one PDF: the page plan, then each tile at true size."""

import io
import os
from collections import deque
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import numpy as np
from reportlab import rl_config
from reportlab.pdfgen.canvas import Canvas

from drawing.build_fraction import speak_fraction
from drawing.drawing import Drawing, Kind
from drawing.paths import Path as PlanPath
from drawing.paths import sampled
from drawing.units import MM_PER_PT
from printing.content import Box
from printing.errors import PrintingError
from printing.ink_under import ink_under
from printing.page_marks import (
    LABEL_MM,
    WORDS_MM,
    Frame,
    Side,
    draw_bar,
    draw_joint,
    draw_stamp,
    draw_words,
    shortened,
)
from printing.page_plan_sheet import draw_page_plan
from printing.page_title import PageTitle
from printing.part_labels import (
    RING_GAP_MM,
    ROOM_MM,
    InkUnder,
    PartLabel,
    PartShape,
    label_half_mm,
    part_labels,
    part_shapes,
)
from printing.pen import BLACK, BLUE, WHITE, Colour, Face, Pen, outline_paths, path_operators, text_width_mm
from printing.plan_pages import PagePlan, Tile
from printing.shown_flat import ShownFlat
from printing.tile_picture import TilePicture, small_picture, tile_picture

__all__ = ["PageTitle", "write_pages"]

# Outlines over the picture are thin, so that the plan's own line shows on both sides of them.
_OVER_PICTURE_MM = 0.13
_OUTLINE_MM = 0.25
_LINE_MM = 0.18

_WORKERS = max(1, min(4, os.cpu_count() or 1))


def write_pages(
    path: Path,
    page_plan: PagePlan,
    drawing: Drawing,
    shown: ShownFlat | None,
    *,
    title: PageTitle,
    progress: Callable[[float], None] | None = None,
) -> None:
    """Write a PDF with the page plan first and then every tile at true size.

    A page shows the flat picture with its paper made white, and the outlines thin over it; without
    a picture, outlines and lines. The same input gives the same bytes.

    Parameters
    ----------
    path : Path
        The file to write.
    page_plan : PagePlan
        Of this drawing.
    drawing : Drawing
        At build size.
    shown : ShownFlat or None
        The flat picture at full size; mirrored when the drawing is (see `printing.mirror`).
    title : PageTitle
        `title.fraction` is build size / full size.
    progress : callable, optional
        Called with 0-1.

    Raises
    ------
    PrintingError
        If the file cannot be written.
    """
    buffer = io.BytesIO()
    with plain_streams():
        page_pt = page_plan.page_size_mm[0] / MM_PER_PT, page_plan.page_size_mm[1] / MM_PER_PT
        canvas = Canvas(buffer, pagesize=page_pt, pageCompression=1, invariant=1)
        canvas.setTitle(title.job_name)
        canvas.setSubject("Plan pages to print at 100 %")
        canvas.setAuthor("")
        canvas.setCreator("Scantling")
        canvas.setProducer("Scantling")
        canvas.setViewerPreference("PrintScaling", "None")
        canvas.setViewerPreference("Duplex", "Simplex")
        pen = Pen(canvas)
        shapes = part_shapes(drawing)
        whole, under = None, None
        if shown is not None:
            whole = small_picture(shown.flat, shown.white, fraction=title.fraction)
            under = ink_under(shown, fraction=title.fraction)
        pen.begin_page()
        draw_page_plan(pen, page_plan, drawing, whole, shapes, title=title)
        pen.end_page()
        inks = tuple(_over_picture(drawing)) if shown is not None else tuple(_lines_only(drawing))
        for done, (tile, picture) in enumerate(_pictures(page_plan, shown, title.fraction)):
            pen.begin_page()
            _draw_plan(pen, page_plan, tile, picture, inks, shapes, under, stamp=title.stamp)
            _draw_furniture(pen, page_plan, tile, title)
            pen.end_page()
            if progress is not None:
                progress((done + 1) / (len(page_plan.tiles) + 1))
        canvas.save()
    try:
        path.write_bytes(buffer.getbuffer())
    except OSError as error:
        raise PrintingError(
            f"The pages could not be written to {path} ({error.strerror}); a folder with room that may be written to "
            "was needed: choose another place with -o."
        ) from error
    if progress is not None:
        progress(1.0)


@contextmanager
def plain_streams() -> Iterator[None]:
    """Keep reportlab from writing bytes as base-85 text, which makes a file a quarter larger."""
    before = rl_config.useA85
    rl_config.useA85 = 0
    try:
        yield
    finally:
        rl_config.useA85 = before


@dataclass(frozen=True, slots=True)
class _Inked:
    """Paths drawn alike, and the box they lie in, build mm."""

    operators: str
    box_mm: Box
    width_mm: float
    colour: Colour


def _over_picture(drawing: Drawing) -> Iterator[_Inked]:
    """Outlines to lie over the picture, the border left to the picture itself."""
    for outline in drawing.outlines:
        if outline.kind is not Kind.BORDER:
            yield _inked(outline_paths(outline), _OVER_PICTURE_MM, BLUE)


def _lines_only(drawing: Drawing) -> Iterator[_Inked]:
    for line in drawing.lines:
        yield _inked((line,), _LINE_MM, BLACK)
    for outline in drawing.outlines:
        yield _inked(outline_paths(outline), _LINE_MM if outline.kind is Kind.BORDER else _OUTLINE_MM, BLACK)


def _inked(paths: tuple[PlanPath, ...], width_mm: float, colour: Colour) -> _Inked:
    points = np.concatenate([sampled(path, tolerance_mm=width_mm) for path in paths])
    (x0, y0), (x1, y1) = points.min(axis=0) - 2 * width_mm, points.max(axis=0) + 2 * width_mm
    return _Inked(path_operators(paths), (float(x0), float(y0), float(x1), float(y1)), width_mm, colour)


def _pictures(
    page_plan: PagePlan, shown: ShownFlat | None, fraction: Fraction
) -> Iterator[tuple[Tile, TilePicture | None]]:
    """Give each tile with its picture, packed a few pages ahead by other threads: the packing leaves them running."""
    if shown is None:
        yield from ((tile, None) for tile in page_plan.tiles)
        return
    with ThreadPoolExecutor(_WORKERS) as pool:
        ahead: deque[tuple[Tile, Future[TilePicture | None]]] = deque()
        for tile in page_plan.tiles:
            ahead.append((tile, pool.submit(tile_picture, shown.flat, shown.white, _tile_box(tile), fraction=fraction)))
            if len(ahead) > _WORKERS:
                first, picture = ahead.popleft()
                yield first, picture.result()
        for first, picture in ahead:
            yield first, picture.result()


def _tile_box(tile: Tile) -> Box:
    (x, y), (width, height) = tile.origin_mm, tile.size_mm
    return x, y, x + width, y + height


def _draw_plan(
    pen: Pen,
    page_plan: PagePlan,
    tile: Tile,
    picture: TilePicture | None,
    inks: tuple[_Inked, ...],
    shapes: tuple[PartShape, ...],
    under: InkUnder | None,
    *,
    stamp: str | None,
) -> None:
    """Draw the tile's piece of the plan, cut off at the tile's edges, the stamp, and the numbers of its parts."""
    pen.keep_within(*tile.at_page_mm, *tile.size_mm)
    pen.move(tile.at_page_mm[0] - tile.origin_mm[0], tile.at_page_mm[1] - tile.origin_mm[1])
    if picture is not None:
        pen.picture(picture, name=f"plan{tile.label}")
    core = page_plan.core_mm(tile.row, tile.col)
    if stamp:
        # Under the outlines: it must shout, not hide the line to cut along.
        draw_stamp(pen, core, stamp)
    x0, y0, x1, y1 = _tile_box(tile)
    for ink in inks:
        left, low, right, top = ink.box_mm
        if left < x1 and right > x0 and low < y1 and top > y0:
            pen.line_style(ink.width_mm, ink.colour)
            pen.strokes(ink.operators)
    for label in part_labels(shapes, core, ink=under):
        _draw_label(pen, label)
    pen.release()
    pen.release()


def _draw_label(pen: Pen, label: PartLabel) -> None:
    text = str(label.number)
    pen.line_style(_LINE_MM, BLUE)
    if label.leader_mm is not None:
        pen.lines([(label.at_mm, label.leader_mm)])
    half_width, half_height = label_half_mm(label.number, label.size_mm)
    if label.radius_mm >= ROOM_MM:
        pen.disc(label.at_mm, max(half_width, half_height) + RING_GAP_MM)
    else:
        corner = label.at_mm[0] - half_width, label.at_mm[1] - half_height
        pen.filled_box(*corner, 2 * half_width, 2 * half_height, WHITE)
    pen.text(text, label.at_mm, size_mm=label.size_mm, face=Face.BOLD, colour=BLUE, align=0.5)


def _draw_furniture(pen: Pen, page_plan: PagePlan, tile: Tile, title: PageTitle) -> None:
    """Draw joints, bars, words and stamp."""
    frame = Frame.of(page_plan.setup, page_plan.page_size_mm)
    says: dict[Side, tuple[str, ...]] = dict.fromkeys(Side, ())
    for side, (down, right) in _STEPS.items():
        neighbour = page_plan.tile_at(tile.row + down, tile.col + right)
        if neighbour is not None:
            draw_joint(pen, frame, side)
            words = f"cut here, then lay over {neighbour.label}" if side.is_cut else f"{neighbour.label} joins here"
            says[side] = (words,)
    draw_bar(pen, frame, Side.LEFT, says[Side.LEFT])
    draw_bar(pen, frame, Side.BOTTOM, says[Side.BOTTOM])
    draw_words(
        pen,
        frame,
        Side.TOP,
        ((tile.label, Face.BOLD, LABEL_MM), *((words, Face.PLAIN, WORDS_MM) for words in says[Side.TOP])),
    )
    about = f"{speak_fraction(title.fraction)}, {title.date}, page {tile.page} of {page_plan.page_count}"
    low, high = frame.free_mm(Side.RIGHT)
    used = sum(text_width_mm(words, size_mm=WORDS_MM) for words in (*says[Side.RIGHT], about)) + 14
    name = shortened(title.job_name, width_mm=max(20.0, high - low - used), size_mm=WORDS_MM)
    along = ((words, Face.PLAIN, WORDS_MM) for words in (*says[Side.RIGHT], name, about))
    draw_words(pen, frame, Side.RIGHT, tuple(along))


_STEPS = {Side.LEFT: (0, -1), Side.RIGHT: (0, 1), Side.TOP: (-1, 0), Side.BOTTOM: (1, 0)}
"""Rows down and columns right to the neighbour on each side."""
