"""How dark the ink is on a picture, whatever the light: paper 0, ink up to 255."""

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from pictures.picture import Picture
from pictures.tones import median_level

Polygon = NDArray[np.float64]

PAPER_CELL_PX = 8
"""Side of a cell in which the paper's brightness is taken, px: several line widths of any plan would still be few
cells."""

PAPER_MEDIAN_CELLS = 21
"""Cells each way of the median that sees past lines, lettering and hatching to the paper: about 170 px."""

PAPER_BLUR_CELLS = 2.0
"""Blur of the cells, one sigma: a median's steps would show as lines."""

BEND_MEDIAN_CELLS, BEND_BLUR_CELLS = 9, 1.5
"""The same for the little that is left of the paper's brightness where the light bends: about 70 px, finer than the
shade of a hand or a fold, and still wider than what a line's ink leaves in its cells."""

MOST_BEND = 20
"""The wide median is off by no more where the light bends, in levels; what differs more is ink."""

MIDDLE_GREY = 128
"""Differences of levels are kept in bytes about this one."""

BILEVEL_PART = 0.995
"""Part of a picture that must be pure black or white for it to count as bilevel; a grey scan has edges of 1 % or
more."""

STAIR_BLUR_PX = 0.7
"""Blur of a bilevel picture's darkness, one sigma, px: that of a good grey scan."""

STRIP_ROWS = 1024
"""Rows worked on at a time: bounds what is needed beside the picture and its darkness."""

MASK_ROWS = 128
"""The same where ink is told from paper, in several steps over the same rows: these then stay in the processor's
cache."""

FIRM_SIGMAS = 5.0
"""Ink stands this far above the noise. At 4 a noisy 12 MP photo has hundreds of specks; at 7 thin grey lines break."""

LEAST_DARKNESS = 10
"""Darkness (of 255) that is ink wherever noise allows, however uneven the paper: JPEG ripples reach 5."""

FAINT_DARKNESS, FAINT_SIGMAS, FAINT_CELL_PX = 4.0, 10.0, 16
"""A fainter pixel is still ink where it is so much darker than its surroundings, a cell and half its neighbours, as
neither shadows nor JPEG ripples are, and stands so far above the noise: else a faint line's grain breaks it."""

HALO_PART = 0.45
"""Part of the darkest ink near by that a pixel must reach: cuts the blur around lines. Half would break thin line
joints."""

HALO_SIDE_PX = 9
"""Side of the square that is near by, px: beyond the blur of any usable photo, below the gap between most lines."""

NOISE_CELL_PX = 64
"""Side of a cell in which the noise is compared with the whole picture's, px: enough pixels to tell, finer than a
shadow."""

NOISE_RISE = 8.0
"""How many times the picture's noise a cell may have before the cell is taken to be full of ink rather than of
noise."""

SMOOTH_PX = 0.8
"""Blur before deciding, one sigma, px: joins the dots of noise and of bilevel scans, narrower than a hairline."""


@dataclass(frozen=True, slots=True)
class Ink:
    """The ink of a picture, in its own px.

    `darkness` is (H, W) uint8: 0 paper, 255 black, the light divided out. `noise` is one sigma of the
    darkness on blank paper. `bilevel` tells that every pixel
    of the picture is black or white; the darkness then is softened by half a px or so. `hidden` (H, W) is 1 where this
    is one ink of several and another lies over what it may have, None where it is the only one.
    """

    darkness: NDArray[np.uint8]
    noise: float
    bilevel: bool
    hidden: NDArray[np.uint8] | None = None


def find_ink(picture: Picture) -> Ink:
    """Give the darkness of the ink with uneven light, shadows, yellowed paper and soft folds divided out.

    The paper's brightness is a wide median over small cells, each as bright as its brightest parts, and what that
    leaves where the light bends; darkness is
    255 - 255 I / B. All in uint8, in strips, so that it needs little beside the picture and the result.

    Parameters
    ----------
    picture : Picture
        Dark lines on light paper, (H, W) uint8.

    Returns
    -------
    Ink
        Darkness (H, W) uint8, its noise on blank paper, and whether the picture is bilevel.
    """
    grey = picture.grey
    if picture.source.bilevel or _is_bilevel(grey):
        # Stairs softened: sampled between pixels, a step of a whole px would count all or nothing.
        soft = cv2.GaussianBlur(cv2.bitwise_not(grey), (5, 5), STAIR_BLUR_PX)
        return Ink(np.asarray(soft, np.uint8), 0.0, True)
    height, width = grey.shape
    # The paper over the whole picture, one byte a pixel: becomes the darkness strip by strip.
    darkness = np.asarray(cv2.resize(_paper(grey), (width, height), interpolation=cv2.INTER_LINEAR), np.uint8)
    noise = []
    for top in range(0, height, STRIP_ROWS):
        strip = darkness[top : top + STRIP_ROWS]
        rows = grey[top : top + STRIP_ROWS]
        noise.append(_noise(rows, strip))
        cv2.divide(rows, np.maximum(strip, 1), dst=strip, scale=255)
        cv2.bitwise_not(strip, dst=strip)
    return Ink(darkness, float(np.median(noise)), False)


def ink_mask(ink: Ink, within: Polygon | None) -> NDArray[np.uint8]:
    """Tell which pixels are ink: (H, W) uint8, 1 or 0.

    Parameters
    ----------
    ink : Ink
        As found by `find_ink`.
    within : (K, 2) float or None
        Polygon in picture px outside of which nothing counts: off the sheet, light divided out makes noise into ink.

    Returns
    -------
    (H, W) uint8
        1 for ink.
    """
    return _mask(ink, within, np.maximum(_firm_least(ink), LEAST_DARKNESS))


def faint_ink_mask(ink: Ink, within: Polygon | None) -> NDArray[np.uint8]:
    """Tell which pixels are ink, as `ink_mask`, and which may be a faint line's.

    A faint line's grain breaks it into dashes in `ink_mask`; here it is whole. What is a line is for its darkness
    along it to tell.
    """
    return _mask(ink, within, _faint_least(ink))


def _mask(ink: Ink, within: Polygon | None, least_cells: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Pixels darker than the least, given in cells over the picture, and than the blur of darker ink near by."""
    darkness = ink.darkness
    height, width = darkness.shape
    table = (HALO_PART * np.arange(256)).astype(np.uint8)
    near = np.ones((HALO_SIDE_PX, HALO_SIDE_PX), np.uint8)
    # The least over the whole picture, one byte a pixel: becomes the mask strip by strip.
    mask = np.asarray(cv2.resize(least_cells, (width, height), interpolation=cv2.INTER_LINEAR), np.uint8)
    sheet = None if within is None else np.round(np.asarray(within) * 16).astype(np.int32)
    margin = HALO_SIDE_PX
    for top in range(0, height, MASK_ROWS):
        bottom = min(top + MASK_ROWS, height)
        first, last = max(0, top - margin), min(height, bottom + margin)
        smooth = cv2.GaussianBlur(darkness[first:last], (5, 5), SMOOTH_PX)
        floor = cv2.LUT(cv2.dilate(smooth, near), table)
        here = slice(top - first, bottom - first)
        floor = np.maximum(floor[here], mask[top:bottom])
        firm = cv2.compare(np.ascontiguousarray(smooth[here]), floor, cv2.CMP_GT)
        inside = np.ones_like(firm)
        if sheet is not None:
            inside[:] = 0
            cv2.fillPoly(inside, [sheet - np.array([0, 16 * top], np.int32)], 1, shift=4)
        np.bitwise_and(firm, inside, out=mask[top:bottom])
    return mask


def _faint_least(ink: Ink) -> NDArray[np.uint8]:
    """The least darkness of faint ink in cells of FAINT_CELL_PX."""
    darkness = ink.darkness
    height, width = darkness.shape
    columns, rows = -(-width // FAINT_CELL_PX), -(-height // FAINT_CELL_PX)
    noise = cv2.resize(_firm_least(ink), (columns, rows), interpolation=cv2.INTER_LINEAR).astype(np.float32)
    around = cv2.blur(cv2.resize(darkness, (columns, rows), interpolation=cv2.INTER_AREA), (3, 3))
    faint = around + np.maximum(FAINT_SIGMAS / FIRM_SIGMAS * noise, FAINT_DARKNESS)
    return np.asarray(np.maximum(noise, np.minimum(faint, LEAST_DARKNESS)), np.uint8)


def _firm_least(ink: Ink) -> NDArray[np.uint8]:
    """What stands out of the noise, in cells of NOISE_CELL_PX: where little light fell, dividing it out raised the
    noise."""
    darkness = ink.darkness
    height, width = darkness.shape
    columns, rows = -(-width // NOISE_CELL_PX), -(-height // NOISE_CELL_PX)
    if ink.noise == 0 or min(height, width) < 3:
        return np.full((rows, columns), LEAST_DARKNESS, np.uint8)
    some = np.arange(1, height - 1, NOISE_CELL_PX // 8)
    rough = np.abs(_bent(darkness, some)).astype(np.float32)
    cells = cv2.resize(np.minimum(rough, 20 * ink.noise), (columns, rows), interpolation=cv2.INTER_AREA)
    if min(rows, columns) >= 5:
        padded = cv2.copyMakeBorder(cells, 2, 2, 2, 2, cv2.BORDER_REFLECT)
        cells = cv2.medianBlur(padded, 5)[2:-2, 2:-2]
    else:
        cells = np.full_like(cells, np.median(cells))
    middle = float(np.median(cells))
    relative = np.clip(cells / middle, 0.7, NOISE_RISE) if middle > 0 else np.ones_like(cells)
    least = np.clip(FIRM_SIGMAS * ink.noise * _left_by_blur(SMOOTH_PX) * relative, 0, 250)
    return np.asarray(least, np.uint8)


def roughness(darkness: NDArray[np.uint8]) -> float:
    """Give how rough a picture's darkness is, by its neighbours' middle difference: 1 for noise of one sigma 1."""
    height, width = darkness.shape
    if height < 3 or width < 3:
        return 0.0
    rows = np.arange(1, height - 1, max(1, height // 64))
    return 1.4826 * float(np.median(np.abs(_bent(darkness, rows)))) / math.sqrt(20)


def _is_bilevel(grey: NDArray[np.uint8]) -> bool:
    """Whether nearly all of a picture is pure black or white; a sample of rows tells."""
    some = grey[:: max(1, grey.shape[0] // 400)]
    counts = np.bincount(some.ravel(), minlength=256)
    return bool(counts[0] + counts[255] >= BILEVEL_PART * some.size and counts[0] > 0 and counts[255] > 0)


def _paper(grey: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Brightness of the paper in cells of PAPER_CELL_PX."""
    return paper_of_cells(reduced_cells(grey))


def reduced_cells(pixels: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Give the mean of each cell of PAPER_CELL_PX, of (H, W) or (H, W, 3)."""
    height, width = pixels.shape[:2]
    columns, rows = max(1, -(-width // PAPER_CELL_PX)), max(1, -(-height // PAPER_CELL_PX))
    return np.asarray(cv2.resize(pixels, (columns, rows), interpolation=cv2.INTER_AREA), np.uint8)


def paper_of_cells(cells: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Give the brightness of the paper in cells of which some hold ink."""
    # Dark dents filled: among lettering and hatching a mean is part ink. Slopes stay where they are.
    cells = np.asarray(cv2.morphologyEx(cells, cv2.MORPH_CLOSE, np.ones((3, 3), np.uint8)), np.uint8)
    wide = _middle_of_cells(cells, most=PAPER_MEDIAN_CELLS, blur_cells=PAPER_BLUR_CELLS)
    # Where the light bends, a wide median is off by the bend: what it leaves tells by how much (Tukey's "twicing",
    # Exploratory Data Analysis, 1977), and the middle of that over fewer cells bends along.
    left = cells.astype(np.int16) - wide
    left[np.abs(left) > MOST_BEND] = 0
    bend = _middle_of_cells((left + MIDDLE_GREY).astype(np.uint8), most=BEND_MEDIAN_CELLS, blur_cells=BEND_BLUR_CELLS)
    return np.asarray(np.clip(wide + bend.astype(np.int16) - MIDDLE_GREY, 1, 255), np.uint8)


def _middle_of_cells(cells: NDArray[np.uint8], *, most: int, blur_cells: float) -> NDArray[np.uint8]:
    """The median of the cells around each, at most so many each way, blurred."""
    odd = max(1, min(most, (min(cells.shape) - 1) | 1))
    reach = odd // 2
    # Continued beyond the edge as it slopes there: mirrored, the light would seem level at the edge.
    padded = np.pad(cells.astype(np.int16), reach, mode="reflect", reflect_type="odd")
    wide = cv2.medianBlur(np.clip(padded, 1, 255).astype(np.uint8), odd)
    wide = cv2.GaussianBlur(wide, (0, 0), blur_cells)
    return np.asarray(wide[reach : reach + cells.shape[0], reach : reach + cells.shape[1]], np.uint8)


def _noise(grey: NDArray[np.uint8], paper: NDArray[np.uint8]) -> float:
    """One sigma of darkness on blank paper: most of any plan is blank, so a median of differences sees only that."""
    height, width = grey.shape
    if height < 3 or width < 3:
        return 0.0
    bent = _bent(grey, np.arange(1, height - 1, max(1, height // 64)))
    sigma = 1.4826 * median_level(np.abs(bent).view(np.uint16), levels=BENT_LEVELS) / math.sqrt(20)
    return sigma * 255 / max(median_level(paper, levels=256), 1.0)


BENT_LEVELS = 4 * 255 + 1
"""What a pixel can differ by from its four neighbours, four times, and none."""


def _bent(grey: NDArray[np.uint8], rows: NDArray[np.int64]) -> NDArray[np.int16]:
    """Four times a pixel less its four neighbours, on some rows: neither light nor folds count, noise does by sqrt
    20."""
    bent = 4 * grey[rows, 1:-1].astype(np.int16)
    bent -= grey[rows, :-2]
    bent -= grey[rows, 2:]
    bent -= grey[rows - 1, 1:-1]
    bent -= grey[rows + 1, 1:-1]
    return bent


def _left_by_blur(sigma_px: float) -> float:
    """How much of white noise a Gaussian blur leaves: 1 / (2 sqrt(pi) sigma), never more than all."""
    return min(1.0, 1 / (2 * math.sqrt(math.pi) * sigma_px))
