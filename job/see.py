"""What a sheet's picture shows before anything is known of its scale."""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.border import Border, border_among, find_border
from calibration.card_finder import FoundCard, find_cards
from calibration.kind import Kind
from calibration.line_runs import Reduced, reduce_ink
from calibration.observations import Skew
from calibration.sheet import find_sheet
from calibration.skew import find_skew
from calibration.tell_kind import tell_kind
from digitize.strokes import Strokes
from drawing.findings import Finding, Level
from job.cards import blanked, cards_noted, seen_by_camera
from job.job import Found, LinesFrom, Sheet, SheetKind
from job.long_lines import LongLine, long_lines
from job.paper import paper_noted
from job.progress import INK, LINES, READING, WORDS, Progress
from pictures.ink import Ink, find_ink, ink_mask
from pictures.picture import Medium, Picture
from pictures.read import read_colour, read_picture
from pictures.shown_through import shown_through, without_shown_through
from pictures.squared_paper import SquaredPaper, find_squared_paper, without_squared_paper
from pictures.tints import Tints, tell_tints
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
        mask = ink_mask(plain, sheet_px)
        tints = _tints(picture, mask, ignore)
        # Nothing shines through a page that a program drew; of several inks one may be pale.
        looks = picture.source.render_dpi is None and Found.SHOWN_THROUGH not in ignore and tints is None
        through = shown_through(plain, within=sheet_px) if looks else None
        if through is not None:
            plain = without_shown_through(plain, through)
            mask = ink_mask(plain, sheet_px)
    # What finds lines takes as long to load as all that is above: `make` loads it meanwhile.
    from job.drawn_lines import drawn_lines

    with progress.stage(LINES), ThreadPoolExecutor(max_workers=1) as beside:
        # Half of the search for a border is one call of OpenCV that uses one core. The ink is reduced first: that and
        # following lines would both need a few bytes for every pixel.
        reduced = None if Found.BORDER in ignore else reduce_ink(mask)
        bordered = beside.submit(_border, ink, plain, reduced, sheet_px)
        del mask
        kept = Found.SQUARED_PAPER in ignore
        drawn = drawn_lines(picture, sheet, plain, sheet_px=sheet_px, paper=paper, tints=tints, keep_paper=kept)
        border = bordered.result()
    kind, told = _kind(picture, sheet, border, sheet_px)
    if sheet.kind is SheetKind.AUTO and kind is Kind.SCAN and seen_by_camera(cards):
        kind, told = Kind.PHOTO, (_photo_by_cards(),)
    skew = find_skew(ink) if kind is not Kind.PHOTO and Found.SKEW not in ignore else None
    lines: tuple[LongLine, ...] = ()
    if kind is Kind.PHOTO and Found.STRAIGHT_LINES not in ignore:
        sides = () if border is None else border.sides
        lines = long_lines(drawn.strokes, size_px=(picture.width_px, picture.height_px), sides=sides)
    words: tuple[Word, ...] = ()
    if Found.NAMES not in ignore and reader_installed():
        with progress.stage(WORDS):
            words = read_words(picture.grey)
    noted: tuple[Finding, ...] = () if paper is None else (paper_noted(paper),)
    noted += () if through is None else (_shown_through(),)
    return Seen(
        picture=picture,
        kind=kind,
        sheet_px=sheet_px,
        border=border,
        skew=skew,
        strokes=drawn.strokes,
        landmarks_px=drawn.landmarks_px,
        landmark_sigmas_px=drawn.landmark_sigmas_px,
        findings=(*picture.findings, *told, *drawn.findings, *noted, *cards_noted(cards)),
        cards=cards,
        paper=paper,
        long_lines=lines,
        words=words,
    )


def _border(ink: Ink, plain: Ink, reduced: Reduced | None, sheet_px: NDArray[np.float64] | None) -> Border | None:
    """The drawn border, in the ink without the lines of squared paper, or else with them; None if not `reduced`."""
    if reduced is None:
        return None
    border = border_among(plain, reduced)
    # A border drawn along the paper's lines may have suffered with them.
    return find_border(ink, sheet_px=sheet_px) if border is None and plain is not ink else border


def _squared_paper(
    picture: Picture, sheet: Sheet, ink: Ink, sheet_px: NDArray[np.float64] | None, ignore: tuple[Found, ...]
) -> SquaredPaper | None:
    """Squared paper under the drawing; on a page drawn by a program, whose lines are known, it is not looked for."""
    own = picture.source.render_dpi is not None and sheet.lines is LinesFrom.AUTO
    return None if own or Found.SQUARED_PAPER in ignore else find_squared_paper(ink, within=sheet_px)


def _shown_through() -> Finding:
    return Finding(
        "shown-through",
        Level.NOTE,
        "the paper",
        "Lines less than a third as dark as the plan's own were taken for what shines through from the back of the "
        'paper, and left out. If they belong to the plan, give found = "shown through" under [[ignore]] in job.toml.',
    )


def _tints(picture: Picture, mask: NDArray[np.uint8], ignore: tuple[Found, ...]) -> Tints | None:
    """The inks of a picture in several colours; a page drawn by a program keeps its lines apart itself."""
    source = picture.source
    if Found.INKS in ignore or not source.colour or source.render_dpi is not None:
        return None
    return tell_tints(read_colour(source), mask)


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
