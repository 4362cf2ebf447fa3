"""The drawn lines of a picture and the points on them that a person may name; loaded while the ink is found."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.observations import SETTLED_SIGMA_PX
from digitize.find_strokes import find_strokes
from digitize.landmark_sigmas import landmark_sigmas_px
from digitize.landmarks import landmarks_px
from digitize.strokes import Strokes
from drawing.findings import Finding
from job.job import LinesFrom, Sheet
from job.paper import clear_crossings_px
from pictures.ink import Ink
from pictures.picture import Picture
from pictures.squared_paper import SquaredPaper


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
    keep_paper: bool = False,
) -> DrawnLines:
    """Find the lines in a picture's `ink`, from which the lines of squared `paper` have been taken.

    `keep_paper` says that evenly spaced lines over a whole page belong to its drawing.
    """
    strokes, said = _strokes(picture, sheet, ink, sheet_px, keep_paper=keep_paper)
    drawn, ruled = landmarks_px(strokes), clear_crossings_px(paper, strokes)
    sigmas = np.append(landmark_sigmas_px(strokes, drawn, ink.darkness), np.full(len(ruled), SETTLED_SIGMA_PX))
    return DrawnLines(strokes, np.concatenate([drawn, ruled]), sigmas, said)


def _strokes(
    picture: Picture, sheet: Sheet, ink: Ink, sheet_px: NDArray[np.float64] | None, *, keep_paper: bool
) -> tuple[Strokes, tuple[Finding, ...]]:
    """The drawn lines: a PDF page's own, where they are what it shows, else those found in the ink."""
    said: tuple[Finding, ...] = ()
    dpi = picture.source.render_dpi
    if dpi is not None and sheet.lines is LinesFrom.AUTO:
        # Only a page needs them, and they load the PDF library.
        from digitize.vector_strokes import vector_strokes
        from pictures.pdf_paths import read_page_paths

        own = vector_strokes(read_page_paths(picture.source), ink, render_dpi=dpi, keep_paper=keep_paper)
        said = own.findings
        if own.strokes is not None:
            return own.strokes, said
    return find_strokes(ink, within=sheet_px), said
