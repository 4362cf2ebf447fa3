"""The drawn lines of a picture and the points on them that a person may name; loaded while the ink is found."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.observations import SETTLED_SIGMA_PX
from digitize.find_strokes import find_strokes
from digitize.inks_apart import drawn_to, together
from digitize.landmark_sigmas import landmark_sigmas_px
from digitize.landmarks import landmarks_px
from digitize.strokes import Strokes
from drawing.findings import Finding, Level
from job.job import LinesFrom, Sheet
from job.paper import clear_crossings_px
from pictures.ink import Ink
from pictures.picture import Picture
from pictures.squared_paper import SquaredPaper
from pictures.tints import Tints, inks_of


@dataclass(frozen=True, slots=True)
class DrawnLines:
    """Strokes, the (N, 2) landmarks on them and on squared paper, and one sigma of each; all in picture px."""

    strokes: Strokes
    landmarks_px: NDArray[np.float64]
    landmark_sigmas_px: NDArray[np.float64]
    findings: tuple[Finding, ...]


def drawn_lines(
    picture: Picture,
    sheet: Sheet,
    ink: Ink,
    *,
    sheet_px: NDArray[np.float64] | None,
    paper: SquaredPaper | None,
    tints: Tints | None = None,
    keep_paper: bool = False,
) -> DrawnLines:
    """Find the lines in a picture's `ink`, from which the lines of squared `paper` have been taken.

    `tints` tells inks of several colours apart. `keep_paper` says that evenly spaced lines over a whole page belong to
    its drawing.
    """
    strokes, said = _own_strokes(picture, sheet, ink, keep_paper=keep_paper)
    if strokes is None:
        strokes, told = _found_strokes(ink, sheet_px, tints)
        said = (*said, *told)
    drawn, ruled = landmarks_px(strokes), clear_crossings_px(paper, strokes)
    sigmas = np.append(landmark_sigmas_px(strokes, drawn, ink.darkness), np.full(len(ruled), SETTLED_SIGMA_PX))
    return DrawnLines(strokes, np.concatenate([drawn, ruled]), sigmas, said)


def _own_strokes(
    picture: Picture, sheet: Sheet, ink: Ink, *, keep_paper: bool
) -> tuple[Strokes | None, tuple[Finding, ...]]:
    """A PDF page's own lines, where they are what it shows."""
    dpi = picture.source.render_dpi
    if dpi is None or sheet.lines is not LinesFrom.AUTO:
        return None, ()
    # Only a page needs them, and they load the PDF library.
    from digitize.vector_strokes import vector_strokes
    from pictures.pdf_paths import read_page_paths

    own = vector_strokes(read_page_paths(picture.source), ink, render_dpi=dpi, keep_paper=keep_paper)
    return own.strokes, own.findings


def _found_strokes(
    ink: Ink, sheet_px: NDArray[np.float64] | None, tints: Tints | None
) -> tuple[Strokes, tuple[Finding, ...]]:
    """The lines found in the ink; of several inks each by itself, but for inks that draw on the same figures."""
    while tints is not None and tints.count > 1:
        layers = [find_strokes(one, within=sheet_px) for one in inks_of(ink, tints)]
        same = drawn_to(layers)
        if same is None:
            return together(layers), (inks_noted(tints.count),)
        tints = tints.with_one_for(*same)
    return find_strokes(ink, within=sheet_px), ()


def inks_noted(count: int) -> Finding:
    """Say that lines were told apart by their colour."""
    return Finding(
        "inks",
        Level.NOTE,
        "the picture",
        f"Lines in {count} colours were found and looked at one colour after another, as where patterns are printed "
        "over one another: no outline goes from one colour to the next. If a part's outline has several colours, give "
        'found = "inks" under [[ignore]] in job.toml.',
    )
