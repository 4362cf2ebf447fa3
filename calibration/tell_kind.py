"""Whether a picture is a photo, a scan or a drawn page, and why."""

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.border import Border
from calibration.kind import Kind
from drawing.findings import Finding, Level
from pictures.picture import Medium, Picture

Points = NDArray[np.float64]

CONVERGES_DEG = 0.4
"""Opposite sides of a border further off parallel than this were seen by a camera: drawn ones lean by 0.1 to 0.36."""

CONVERGES_UNEVEN_DEG = 0.15
"""The same where the light is uneven too: a careful photo from right above."""

BOWS = 0.0015
"""A side that bows by more than this part of its length went through a lens: a roller scanner wavers by a third."""

SHEET_CONVERGES_DEG = 1.5
"""The same for the paper's edge, which is cut by hand and curls."""

UNEVEN = 0.82
"""Paper whose dimmest parts are below this part of its brightest is lit by a room or window, not by a scanner."""

LIGHT_CELLS = 40
"""Cells along the longer side in which the paper's brightness is taken."""


def tell_kind(picture: Picture, *, border: Border | None, sheet_px: Points | None) -> tuple[Kind, Finding]:
    """Tell how a picture was made, with a note that says why and how to say otherwise.

    What the file states comes first, then what only a camera does to straight lines, then the light.

    Parameters
    ----------
    picture : Picture
        The whole picture.
    border : Border or None
        Its drawn border, if one was found.
    sheet_px : (K, 2) float or None
        The paper's edge, if it is to be seen, px.
    """
    kind, why = _told(picture, border, sheet_px)
    others = [other for other in (Kind.PHOTO, Kind.SCAN) if other is not kind]
    otherwise = f" If it is a {others[0]}, say --kind {others[0]}." if kind is not Kind.PAGE else ""
    name = "drawn page" if kind is Kind.PAGE else kind.value
    return kind, Finding("picture-kind", Level.NOTE, "picture", f"Taken as a {name} because {why}.{otherwise}")


def _told(picture: Picture, border: Border | None, sheet_px: Points | None) -> tuple[Kind, str]:
    source = picture.source
    if source.medium is Medium.PDF_PAGE:
        return Kind.PAGE, "it is a PDF page of drawn lines"
    if source.bilevel:
        return Kind.SCAN, "it is pure black and white, as only scanners write"
    if source.focal_35mm is not None:
        return Kind.PHOTO, f"its file names a lens of {source.focal_35mm:g} mm (35 mm equivalent)"
    uneven = _unevenness(picture.grey, sheet_px)
    if border is not None:
        return _told_by_border(border, uneven)
    four = None if sheet_px is None else _four_corners(sheet_px)
    if four is not None and convergence_deg(four) > SHEET_CONVERGES_DEG:
        return Kind.PHOTO, f"the paper's edges converge by {convergence_deg(four):.1f} degrees"
    if uneven < UNEVEN:
        return Kind.PHOTO, f"its light is uneven: the dimmest paper is {100 * uneven:.0f} % as bright as the brightest"
    if source.camera:
        return Kind.PHOTO, f"its file names a camera ({source.camera})"
    return Kind.SCAN, "its light is even and nothing in it shows a camera's view"


def _told_by_border(border: Border, uneven: float) -> tuple[Kind, str]:
    converges = convergence_deg(border.corners_px)
    side = np.hypot(*(np.roll(border.corners_px, -1, axis=0) - border.corners_px).T)
    bows = border.bow_px / float(side.max())
    limit = CONVERGES_UNEVEN_DEG if uneven < UNEVEN else CONVERGES_DEG
    # A border's corners are good to tenths of a px: on a small picture that alone turns a side.
    limit += math.degrees(3 * border.sigma_px / float(side.min()))
    if converges > limit:
        return Kind.PHOTO, f"its border's sides converge by {converges:.1f} degrees"
    if bows > BOWS and border.bow_px > 3 * border.side_sigma_px:
        return Kind.PHOTO, f"its border's sides bow by {border.bow_px:.1f} px, as a lens makes them"
    return Kind.SCAN, f"its border's sides are straight and parallel to {max(converges, 0.01):.2f} degrees"


def convergence_deg(corners_px: Points) -> float:
    """Give the larger angle between opposite sides of a quadrilateral (4, 2), degrees."""
    side = np.roll(corners_px, -1, axis=0) - corners_px
    angle = np.arctan2(side[:, 1], side[:, 0])
    between = [(angle[n + 2] - angle[n]) % (2 * math.pi) - math.pi for n in (0, 1)]
    return math.degrees(max(abs(between[0]), abs(between[1])))


def _four_corners(sheet_px: Points) -> Points | None:
    """Give a sheet's outline with the corners between its nearly straight sides alone, (4, 2), or None."""
    outline = sheet_px.astype(np.float32)
    for part in np.arange(0.002, 0.03, 0.002):
        corners = cv2.approxPolyDP(outline, float(part) * cv2.arcLength(outline, True), True)[:, 0]
        if len(corners) == 4:
            return np.asarray(corners, dtype=np.float64)
    return None


def _unevenness(grey: NDArray[np.uint8], sheet_px: Points | None) -> float:
    """Give the paper's dimmest part's brightness (20th part) relative to its brightest."""
    height, width = grey.shape
    factor = max(1.0, max(height, width) / (4 * LIGHT_CELLS))
    size = (max(1, round(width / factor)), max(1, round(height / factor)))
    small = cv2.resize(grey, size, interpolation=cv2.INTER_AREA)
    # The brightest of each neighbourhood is paper, whatever is drawn on it.
    paper = np.asarray(cv2.dilate(small, np.ones((5, 5), np.uint8)), dtype=np.uint8)
    inside = np.full(paper.shape, 1, np.uint8)
    if sheet_px is not None:
        inside[:] = 0
        cv2.fillPoly(inside, [np.round(sheet_px / factor).astype(np.int32)], 1)
        inside = np.asarray(cv2.erode(inside, np.ones((7, 7), np.uint8)), dtype=np.uint8)
    levels = paper[inside > 0]
    if len(levels) < 10:
        return 1.0
    dim, bright = np.percentile(levels, [5, 95])
    return float(dim / max(bright, 1))
