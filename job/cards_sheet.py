"""cards: a PDF of cards to print, cut out and lay on the plan before it is photographed."""

import io
import math
from dataclasses import dataclass
from pathlib import Path

from reportlab.pdfgen.canvas import Canvas

from calibration.card_design import LONG_BAR_MM, NUMBERS, QUIET_MM, SHORT_BAR_MM, CardDesign
from drawing.format import format_mm
from drawing.papers import Paper
from drawing.units import MM_PER_PT
from printing.errors import PrintingError
from printing.pen import BLACK, GREY, PALE, Face, Pen, text_width_mm
from printing.write_pages import plain_streams

FEWEST_CARDS = 4
"""One near each corner of the plan: as many sheets are made as give them."""

MARGIN_MM = 6.0
"""What home printers leave blank."""

GAP_MM = 3.0
"""Between cards: cut on either line."""

HEAD_MM = 24.0
"""Height of the words on top."""

BAR_BAND_MM = 9.0
"""Width of the band at the left and at the foot with the sheet's own bars."""

TICK_MM = 3.0
BAR_LINE_MM = 0.25

STEPS = (
    '1. Print at "actual size" or 100 %, not fitted to the page, on plain white paper that is not glossy.',
    f"2. Measure the bar up the left side with a good rule, to 0.1 mm: it was drawn {LONG_BAR_MM:g} mm long.",
    "3. Cut out four cards or more. Lay them flat on the plan near its corners, covering no line that you need.",
    '4. Photograph all of it. Then: scantling make photo.jpg --card-bar "200.0 mm", with what your bar measures.',
)


@dataclass(frozen=True, slots=True)
class CardSheets:
    """The file written, and what is on it."""

    path: Path
    paper: Paper
    size_mm: float
    cards: int
    sheets: int


def write_cards(path: Path, *, paper: Paper, size_mm: float) -> CardSheets:
    """Write sheets of cards of one size; the same arguments give the same bytes.

    Raises
    ------
    CalibrationError
        For a size that cards do not come in.
    PrintingError
        If the paper holds no card or not the bar to be measured, or the file cannot be written.
    """
    places = card_places_mm(paper, size_mm)
    sheets = math.ceil(FEWEST_CARDS / len(places))
    buffer = io.BytesIO()
    page = paper.width_mm, paper.height_mm
    with plain_streams():
        canvas = Canvas(buffer, pagesize=(page[0] / MM_PER_PT, page[1] / MM_PER_PT), pageCompression=1, invariant=1)
        canvas.setTitle(f"Cards of {size_mm:g} mm")
        canvas.setSubject("Cards to print at 100 %, cut out and lay on a plan")
        canvas.setAuthor("")
        canvas.setCreator("Scantling")
        canvas.setProducer("Scantling")
        canvas.setViewerPreference("PrintScaling", "None")
        canvas.setViewerPreference("Duplex", "Simplex")
        pen = Pen(canvas)
        for sheet in range(sheets):
            pen.begin_page()
            _draw_head(pen, page, f"Cards of {size_mm:g} mm, sheet {sheet + 1} of {sheets}")
            _draw_bars(pen, page)
            for place, (x_mm, y_mm) in enumerate(places):
                pen.move(x_mm, y_mm)
                draw_card(pen, CardDesign(sheet * len(places) + place + 1, size_mm))
                pen.release()
            pen.end_page()
        canvas.save()
    try:
        path.write_bytes(buffer.getvalue())
    except OSError as error:
        why = (error.strerror or str(error)).lower()
        raise PrintingError(f"{path} cannot be written ({why}); name another place with -o.") from error
    return CardSheets(path, paper, size_mm, sheets * len(places), sheets)


def card_places_mm(paper: Paper, size_mm: float) -> list[tuple[float, float]]:
    """Give where the middles of cards' patterns lie on a sheet, from its lower-left corner.

    Raises
    ------
    CalibrationError, PrintingError
        As `write_cards` does.
    """
    columns, rows = _grid(paper, size_mm)
    left, lower, right, upper = CardDesign(1, size_mm).outline_mm()
    x = MARGIN_MM + BAR_BAND_MM - left
    y = paper.height_mm - MARGIN_MM - HEAD_MM - upper
    places = [
        (x + column * (right - left + GAP_MM), y - row * (upper - lower + GAP_MM))
        for row in range(rows)
        for column in range(columns)
    ]
    return places[:NUMBERS]


def draw_card(pen: Pen, design: CardDesign) -> None:
    """Draw a card about its pattern's middle, where the pen's origin is."""
    left, lower, right, upper = design.outline_mm()
    pen.line_style(0.13, PALE)
    pen.box(left, lower, right - left, upper - lower)
    side = design.square_mm
    boxes = [(x, y, side, side) for x, y in design.dark_squares_mm().tolist()]
    for corners, cells in zip(design.markers_mm(), design.marker_cells(), strict=True):
        (x0, y1), (x1, _) = corners[0].tolist(), corners[1].tolist()
        step = (x1 - x0) / len(cells)
        for row, dark in enumerate(cells):
            # Runs of cells as one box: between two boxes a hairline would show.
            column = 0
            while column < len(dark):
                run = column
                while run < len(dark) and dark[run]:
                    run += 1
                if run > column:
                    boxes.append((x0 + column * step, y1 - (row + 1) * step, (run - column) * step, step))
                column = max(run, column + 1)
    pen.filled_boxes(boxes, BLACK)
    _draw_card_words(pen, design)


def _draw_card_words(pen: Pen, design: CardDesign) -> None:
    """A bar as long as the pattern beside and below it, the card's number, what it is for."""
    half, tick = design.size_mm / 2, 1.2
    below, beside = -half - QUIET_MM / 2 - 0.6, -half - QUIET_MM / 2
    pen.line_style(0.18, GREY)
    pen.lines([((-half, below), (half, below)), ((beside, -half), (beside, half))])
    pen.lines([((x, below - tick), (x, below + tick)) for x in (-half, half)])
    pen.lines([((beside - tick, y), (beside + tick, y)) for y in (-half, half)])
    low = -half - QUIET_MM
    number = f"Card {design.number}"
    pen.text(number, (-half, low - 2.6), size_mm=5.0, face=Face.BOLD)
    bars = f"both bars {design.size_mm:g} mm"
    pen.text(bars, (half, low - 2.6), size_mm=2.4, colour=GREY, align=1.0)
    words = "Lay flat on the plan, near a corner; cover no line you need."
    size = min(2.6, 2 * half / text_width_mm(words, size_mm=1.0))
    pen.text(words, (-half, low - 7.6), size_mm=size)


def _draw_head(pen: Pen, page: tuple[float, float], title: str) -> None:
    top = page[1] - MARGIN_MM
    pen.text(title, (MARGIN_MM, top - 2.6), size_mm=5.0, face=Face.BOLD)
    room = page[0] - 2 * MARGIN_MM
    size = min(3.2, room / max(text_width_mm(step, size_mm=1.0) for step in STEPS))
    for line, step in enumerate(STEPS):
        pen.text(step, (MARGIN_MM, top - 8.4 - 4.2 * line), size_mm=size)


def _draw_bars(pen: Pen, page: tuple[float, float]) -> None:
    """The bar to be measured, up the sheet, and one across it for those who want both."""
    x, y = MARGIN_MM + BAR_BAND_MM / 2 - 0.5, MARGIN_MM + BAR_BAND_MM
    pen.line_style(BAR_LINE_MM, BLACK)
    pen.lines([((x, y), (x, y + LONG_BAR_MM))])
    # A tick's outer edges would be measured: its middle lies on the bar's end.
    pen.lines([((x - TICK_MM, at), (x + TICK_MM, at)) for at in (y, y + LONG_BAR_MM)])
    _bar_words(
        pen, f"long bar: {LONG_BAR_MM:g} mm between the middles of its end lines", (x, y + LONG_BAR_MM / 2), 90.0
    )
    x, y = MARGIN_MM + BAR_BAND_MM, MARGIN_MM + BAR_BAND_MM / 2 - 0.5
    pen.line_style(BAR_LINE_MM, BLACK)
    pen.lines([((x, y), (x + SHORT_BAR_MM, y))])
    pen.lines([((at, y - TICK_MM), (at, y + TICK_MM)) for at in (x, x + SHORT_BAR_MM)])
    _bar_words(
        pen, f"short bar: {SHORT_BAR_MM:g} mm; measured too, it makes widths as sure", (x + SHORT_BAR_MM / 2, y), 0.0
    )


def _bar_words(pen: Pen, words: str, at_mm: tuple[float, float], turn_deg: float) -> None:
    size = 2.4
    long, high = text_width_mm(words, size_mm=size) + 3, 3.4
    x, y = at_mm
    corner = (x - high / 2, y - long / 2, high, long) if turn_deg else (x - long / 2, y - high / 2, long, high)
    pen.filled_box(*corner, (1.0, 1.0, 1.0))
    pen.text(words, at_mm, size_mm=size, turn_deg=turn_deg, align=0.5)


def _grid(paper: Paper, size_mm: float) -> tuple[int, int]:
    """Give columns and rows of cards on a sheet.

    Raises
    ------
    PrintingError
        In one sentence.
    """
    left, lower, right, upper = CardDesign(1, size_mm).outline_mm()
    room_x = paper.width_mm - 2 * MARGIN_MM - BAR_BAND_MM
    room_y = paper.height_mm - 2 * MARGIN_MM - BAR_BAND_MM - HEAD_MM
    tall = paper.height_mm - 2 * MARGIN_MM - BAR_BAND_MM - HEAD_MM
    if tall < LONG_BAR_MM or room_x < SHORT_BAR_MM:
        raise PrintingError(
            f"{paper.name} paper of {paper.width_mm:g} x {paper.height_mm:g} mm leaves {format_mm(max(tall, 0.0))} up "
            f"the sheet and {format_mm(max(room_x, 0.0))} across it; the bars to be measured need {LONG_BAR_MM:g} and "
            f"{SHORT_BAR_MM:g} mm: take A4 or larger."
        )
    columns, rows = (
        int((room_x + GAP_MM) // (right - left + GAP_MM)),
        int((room_y + GAP_MM) // (upper - lower + GAP_MM)),
    )
    if not columns or not rows:
        raise PrintingError(
            f"A card of {size_mm:g} mm is {right - left:g} x {upper - lower:g} mm with its rim; {paper.name} paper has "
            f"room for {format_mm(room_x)} x {format_mm(room_y)}: take larger paper or a smaller card."
        )
    return columns, rows
