"""What a sheet's picture shows before anything is known of its scale."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.border import Border, find_border
from calibration.card_finder import FoundCard, find_cards
from calibration.kind import Kind
from calibration.observations import SETTLED_SIGMA_PX, Skew
from calibration.sheet import find_sheet
from calibration.skew import find_skew
from calibration.tell_kind import tell_kind
from digitize.find_strokes import find_strokes
from digitize.landmark_sigmas import landmark_sigmas_px
from digitize.landmarks import landmarks_px
from digitize.strokes import Strokes
from drawing.findings import Finding, Level
from job.cards import blanked, cards_noted, seen_by_camera
from job.job import Found, LinesFrom, Sheet, SheetKind
from job.long_lines import LongLine, long_lines
from job.paper import clear_crossings_px, paper_noted
from job.progress import INK, LINES, READING, WORDS, Progress
from pictures.ink import Ink, find_ink
from pictures.picture import Medium, Picture
from pictures.read import read_picture
from pictures.squared_paper import SquaredPaper, find_squared_paper, without_squared_paper
from pictures.words import Word, read_words, reader_installed


@dataclass(frozen=True, slots=True)
class Seen:
    """A picture with what was found in it; all in picture px.

    `landmarks_px` is (N, 2): crossings, corners and line ends; landmark number n, as `look` prints it, is row n - 1;
    those of squared paper come last. `landmark_sigmas_px` is one sigma of each. Nothing was looked for under `cards`.
    `paper` is the squared or ruled paper whose lines are not among the strokes. `long_lines` of a photo may be straight
    on the paper. `words` is the lettering, where a reader is installed.
    """

    picture: Picture
    kind: Kind
    sheet_px: NDArray[np.float64] | None
    border: Border | None
    skew: Skew | None
    strokes: Strokes
    landmarks_px: NDArray[np.float64]
    landmark_sigmas_px: NDArray[np.float64]
    findings: tuple[Finding, ...]
    cards: tuple[FoundCard, ...] = ()
    paper: SquaredPaper | None = None
    long_lines: tuple[LongLine, ...] = ()
    words: tuple[Word, ...] = ()


def see(sheet: Sheet, ignore: tuple[Found, ...], progress: Progress) -> Seen:
    """Read a sheet's picture and find its paper, border, skew and strokes.

    The paper's edge only keeps the table's grain out of the ink; it is never a scale.
    """
    with progress.stage(READING):
        picture = read_picture(sheet.file, page=sheet.page)
    return see_picture(picture, sheet, ignore, progress)


def see_picture(picture: Picture, sheet: Sheet, ignore: tuple[Found, ...], progress: Progress) -> Seen:
    """Find paper, border, skew and strokes of a sheet whose picture has been read."""
    with progress.stage(INK):
        # A page drawn by a program has no cards lying on it.
        cards = () if picture.source.medium is Medium.PDF_PAGE else find_cards(picture.grey)
        ink = blanked(find_ink(picture), cards)
        sheet_px = None if Found.SHEET in ignore else find_sheet(picture)
        paper = _squared_paper(picture, sheet, ink, sheet_px, ignore)
        plain = ink if paper is None else without_squared_paper(ink, paper)
        border = None if Found.BORDER in ignore else find_border(plain, sheet_px=sheet_px)
        if border is None and paper is not None and Found.BORDER not in ignore:
            # A border drawn along the paper's lines may have suffered with them.
            border = find_border(ink, sheet_px=sheet_px)
    kind, told = _kind(picture, sheet, border, sheet_px)
    if sheet.kind is SheetKind.AUTO and kind is Kind.SCAN and seen_by_camera(cards):
        kind, told = Kind.PHOTO, (_photo_by_cards(),)
    skew = find_skew(ink) if kind is not Kind.PHOTO and Found.SKEW not in ignore else None
    with progress.stage(LINES):
        strokes, said = _strokes(picture, sheet, plain, sheet_px)
        wanted = kind is Kind.PHOTO and Found.STRAIGHT_LINES not in ignore
        sides = () if border is None else border.sides
        lines = long_lines(strokes, size_px=(picture.width_px, picture.height_px), sides=sides) if wanted else ()
    words: tuple[Word, ...] = ()
    if Found.NAMES not in ignore and reader_installed():
        with progress.stage(WORDS):
            words = read_words(picture.grey)
    noted = () if paper is None else (paper_noted(paper),)
    findings = (*picture.findings, *told, *said, *noted, *cards_noted(cards))
    drawn, ruled = landmarks_px(strokes), clear_crossings_px(paper, strokes)
    marks = np.concatenate([drawn, ruled])
    sigmas = np.append(landmark_sigmas_px(strokes, drawn, plain.darkness), np.full(len(ruled), SETTLED_SIGMA_PX))
    return Seen(picture, kind, sheet_px, border, skew, strokes, marks, sigmas, findings, cards, paper, lines, words)


def _squared_paper(
    picture: Picture, sheet: Sheet, ink: Ink, sheet_px: NDArray[np.float64] | None, ignore: tuple[Found, ...]
) -> SquaredPaper | None:
    """Squared paper under the drawing; on a page drawn by a program, whose lines are known, it is not looked for."""
    own = picture.source.render_dpi is not None and sheet.lines is LinesFrom.AUTO
    return None if own or Found.SQUARED_PAPER in ignore else find_squared_paper(ink, within=sheet_px)


def _strokes(
    picture: Picture, sheet: Sheet, ink: Ink, sheet_px: NDArray[np.float64] | None
) -> tuple[Strokes, tuple[Finding, ...]]:
    """The drawn lines: a PDF page's own, where they are what it shows, else those found in the ink."""
    said: tuple[Finding, ...] = ()
    dpi = picture.source.render_dpi
    if dpi is not None and sheet.lines is LinesFrom.AUTO:
        # Only a page needs them, and they load the PDF library.
        from digitize.vector_strokes import vector_strokes
        from pictures.pdf_paths import read_page_paths

        own = vector_strokes(read_page_paths(picture.source), ink, render_dpi=dpi)
        said = own.findings
        if own.strokes is not None:
            return own.strokes, said
    return find_strokes(ink, within=sheet_px), said


def _photo_by_cards() -> Finding:
    return Finding(
        "picture-kind",
        Level.NOTE,
        "picture",
        "Taken as a photo because the cards on it show a camera's view. If it is a scan, say --kind scan.",
    )


def _kind(
    picture: Picture, sheet: Sheet, border: Border | None, sheet_px: NDArray[np.float64] | None
) -> tuple[Kind, tuple[Finding, ...]]:
    if sheet.kind is SheetKind.AUTO:
        kind, told = tell_kind(picture, border=border, sheet_px=sheet_px)
        return kind, (told,)
    if picture.source.medium is Medium.PDF_PAGE:
        finding = Finding(
            "kind-not-used",
            Level.NOTE,
            "the picture",
            f"Asked to take it as a {sheet.kind}, but it is a drawn PDF page and has neither tilt nor skew of its own; "
            "it was taken as a page.",
        )
        return Kind.PAGE, (finding,)
    return Kind(sheet.kind), ()
