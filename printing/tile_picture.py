"""The flat picture's piece for one page: paper made white, encoded small."""

import math
import zlib
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction

import cv2
import numpy as np
from numpy.typing import NDArray

from drawing.units import MM_PER_INCH
from pictures.flat import FlatPicture
from printing.content import Box

Pixels = NDArray[np.uint8]

# Paper is looked for on a copy this long; shading varies over far more than one of its px. On the page plan it is
# 150 dpi on A4 in the width left beside the words.
_SMALL_LONG_SIDE_PX = 1024
# Ink narrower than this on that copy (4 % of the plan) is not taken for paper; wider dark areas print pale.
_PAPER_WINDOW_PX = 41

# A printer shows no more; finer flat pictures, as of a plan built small, only make the file large.
MOST_DPI = 600

# Grey pixels, paper already white: 80 shows no fringes at 2 times magnified, 90 is half as large again.
JPEG_QUALITY = 80
# The small plan on the first page is only looked at.
_SMALL_JPEG_QUALITY = 50

# With more of its px than this purely black or white, Flate may be the smaller; otherwise it never was.
_CLEAN_SHARE = 0.97


# Rows whitened at a time: the paper's shade under a whole page would need as much memory as the page.
_STRIP_ROWS = 512


class Encoding(StrEnum):
    """How a picture's bytes are packed: names of PDF filters (ISO 32000, 7.4)."""

    JPEG = "DCTDecode"
    FLATE = "FlateDecode"


@dataclass(frozen=True, slots=True)
class TilePicture:
    """A packed picture and the box it fills, build mm."""

    data: bytes
    encoding: Encoding
    width_px: int
    height_px: int
    bits: int
    channels: int
    box_mm: Box


@dataclass(frozen=True, slots=True)
class PaperWhite:
    """What the plan's paper looks like, so that it can be printed white: one judgement for all pages.

    `small` is a small copy of the flat picture, `paper` the same without ink; None where the paper is white already.
    `levels` maps darkness relative to it, 256 values.
    """

    small: Pixels
    paper: Pixels | None
    levels: Pixels


def paper_white(flat: FlatPicture) -> PaperWhite:
    """Find a flat picture's paper: a closing of a small copy removes the ink, dividing by it removes the shading."""
    small = reduced(flat.pixels, _SMALL_LONG_SIDE_PX)
    window = np.ones((_PAPER_WINDOW_PX, _PAPER_WINDOW_PX), np.uint8)
    paper = cv2.morphologyEx(small, cv2.MORPH_CLOSE, window)
    paper = np.maximum(cv2.blur(paper, (_PAPER_WINDOW_PX // 2, _PAPER_WINDOW_PX // 2)), 1)
    # Every 7th px of every 7th row holds the noise as the whole picture does.
    sparse = flat.pixels[::7, ::7]
    under = cv2.resize(paper, (sparse.shape[1], sparse.shape[0]), interpolation=cv2.INTER_LINEAR)
    relative = np.asarray(cv2.divide(np.ascontiguousarray(sparse), under, scale=255), np.uint8)
    if int(paper.min()) == 255 and _share_clean(relative) > _CLEAN_SHARE:
        return PaperWhite(small, None, np.arange(256, dtype=np.uint8))
    return PaperWhite(small, np.asarray(paper, np.uint8), _levels(relative))


def tile_picture(flat: FlatPicture, white: PaperWhite, box_mm: Box, *, fraction: Fraction) -> TilePicture | None:
    """Crop, whiten and pack what a page shows of the flat picture; None where that is only white.

    Parameters
    ----------
    flat : FlatPicture
        Full size.
    white : PaperWhite
        Of the same flat picture.
    box_mm : (x min, y min, x max, y max)
        The tile in the build frame. The picture given covers it to the next whole px outward.
    fraction : Fraction
        Build size / full size.
    """
    height, width = flat.pixels.shape[:2]
    build_mm_per_px = flat.mm_per_px * float(fraction)
    left, low = (origin * float(fraction) for origin in flat.origin_mm)
    top = low + height * build_mm_per_px
    # To the next px that dividing by the size of a px cannot leave out.
    x0 = max(0, math.floor((box_mm[0] - left) / build_mm_per_px + 1e-6))
    x1 = min(width, math.ceil((box_mm[2] - left) / build_mm_per_px - 1e-6))
    y0 = max(0, math.floor((top - box_mm[3]) / build_mm_per_px + 1e-6))
    y1 = min(height, math.ceil((top - box_mm[1]) / build_mm_per_px - 1e-6))
    if x0 >= x1 or y0 >= y1:
        return None
    pixels = whitened(flat.pixels, white, (x0, y0, x1, y1))
    if int(pixels.min()) == 255:
        return None
    least_mm_per_px = MM_PER_INCH / MOST_DPI
    if build_mm_per_px < least_mm_per_px:
        # The outer edges stay where they are, so nothing moves.
        factor = build_mm_per_px / least_mm_per_px
        size = max(1, round((x1 - x0) * factor)), max(1, round((y1 - y0) * factor))
        pixels = _resized(pixels, size)
    box = (
        left + x0 * build_mm_per_px,
        top - y1 * build_mm_per_px,
        left + x1 * build_mm_per_px,
        top - y0 * build_mm_per_px,
    )
    data, encoding, bits = _packed(pixels)
    channels = 1 if pixels.ndim == 2 else 3
    return TilePicture(data, encoding, pixels.shape[1], pixels.shape[0], bits, channels, box)


def small_picture(flat: FlatPicture, white: PaperWhite, *, fraction: Fraction) -> TilePicture:
    """Give the whole flat picture, whitened, from its small copy: for the page plan."""
    height, width = flat.pixels.shape[:2]
    size = white.small.shape[1], white.small.shape[0]
    pixels = whitened(white.small, white, (0, 0, *size))
    x, y = (origin * float(fraction) for origin in flat.origin_mm)
    build_mm_per_px = flat.mm_per_px * float(fraction)
    data, encoding, bits = _packed(pixels, quality=_SMALL_JPEG_QUALITY)
    channels = 1 if pixels.ndim == 2 else 3
    box = (x, y, x + width * build_mm_per_px, y + height * build_mm_per_px)
    return TilePicture(data, encoding, size[0], size[1], bits, channels, box)


def whitened(pixels: Pixels, white: PaperWhite, window_px: tuple[int, int, int, int]) -> Pixels:
    """Give the window (x0, y0, x1, y1) px of a flat picture's pixels, divided by its paper and clipped to white."""
    x0, y0, x1, y1 = window_px
    clean = np.array(pixels[y0:y1, x0:x1], order="C")
    if white.paper is None:
        return clean
    for top in range(y0, y1, _STRIP_ROWS):
        bottom = min(top + _STRIP_ROWS, y1)
        strip = clean[top - y0 : bottom - y0]
        cv2.divide(strip, _paper_under(white.paper, pixels.shape, (x0, top, x1, bottom)), dst=strip, scale=255)
        cv2.LUT(strip, white.levels, dst=strip)
    return clean


def reduced(pixels: Pixels, long_side_px: int) -> Pixels:
    """Give a copy no longer than `long_side_px`, told from every px, or of a much larger picture from every few."""
    height, width = pixels.shape[:2]
    factor = min(1.0, long_side_px / max(height, width))
    size = max(1, round(width * factor)), max(1, round(height * factor))
    # Averaging all of 140 MP takes half a second; two px a side are as many as show.
    stride = max(1, int(1 / (2 * factor)))
    sparse = np.ascontiguousarray(pixels[::stride, ::stride])
    return _resized(sparse, size)


def _resized(pixels: Pixels, size: tuple[int, int]) -> Pixels:
    """Give pixels at a smaller (width, height), its outer edges where they were."""
    # Less than halved, a copy sampled linearly has seen every px as well, in a fifth of the time.
    how = cv2.INTER_AREA if 2 * max(size) < max(pixels.shape[:2]) else cv2.INTER_LINEAR
    return np.asarray(cv2.resize(pixels, size, interpolation=how), np.uint8)


def _paper_under(paper: Pixels, shape: tuple[int, ...], window_px: tuple[int, int, int, int]) -> Pixels:
    """Enlarge the part of the small paper that lies under a window of the full picture, to within a px of its place.

    Paper's shade does not change over a px, and cv2.resize is three times as fast as an exact warp.
    """
    x0, y0, x1, y1 = window_px
    starts, sides, counts = [], [], []
    for low, high, small, full in ((y0, y1, paper.shape[0], shape[0]), (x0, x1, paper.shape[1], shape[1])):
        enlarge = full / small
        first, last = max(0, int(low / enlarge) - 1), min(small, int(np.ceil(high / enlarge)) + 1)
        counts.append(slice(first, last))
        starts.append(low - int(first * enlarge))
        sides.append(max(int(np.ceil((last - first) * enlarge)) + 1, starts[-1] + high - low))
    part = np.ascontiguousarray(paper[counts[0], counts[1]])
    large = cv2.resize(part, (sides[1], sides[0]), interpolation=cv2.INTER_LINEAR)
    window = large[starts[0] : starts[0] + y1 - y0, starts[1] : starts[1] + x1 - x0]
    return np.ascontiguousarray(np.asarray(window, np.uint8))


def _levels(relative: Pixels) -> Pixels:
    """Grey for darkness relative to the paper: paper's noise goes to white, the ink's own dark to black.

    White begins four standard deviations below the paper's middle: less leaves specks, more thins the lines.
    """
    grey = relative if relative.ndim == 2 else cv2.cvtColor(relative, cv2.COLOR_RGB2GRAY)
    paper = grey[grey > 180]
    middle = float(np.median(paper)) if paper.size else 255.0
    spread = 1.4826 * float(np.median(np.abs(paper - middle))) if paper.size else 0.0
    whitest = min(250.0, max(190.0, middle - 4 * max(spread, 2.0)))
    ink = grey[grey < 128]
    blackest = min(100.0, float(np.percentile(ink, 20))) if ink.size else 0.0
    return np.clip(np.round((np.arange(256) - blackest) * 255 / (whitest - blackest)), 0, 255).astype(np.uint8)


def _packed(pixels: Pixels, *, quality: int = JPEG_QUALITY) -> tuple[bytes, Encoding, int]:
    """The smaller of JPEG and Flate, and bits a sample: 1 where all px are black or white."""
    if pixels.ndim == 2:
        share = _share_clean(pixels)
        if share == 1.0:
            # Rows are padded to whole bytes, as PDF wants them.
            return zlib.compress(np.packbits(pixels > 127, axis=1).tobytes(), 9), Encoding.FLATE, 1
        if share > _CLEAN_SHARE:
            flate = zlib.compress(pixels.tobytes(), 6)
            jpeg = _jpeg(pixels, quality)
            return (flate, Encoding.FLATE, 8) if len(flate) < len(jpeg) else (jpeg, Encoding.JPEG, 8)
        return _jpeg(pixels, quality), Encoding.JPEG, 8
    return _jpeg(np.asarray(cv2.cvtColor(pixels, cv2.COLOR_RGB2BGR), np.uint8), quality), Encoding.JPEG, 8


def _jpeg(pixels: Pixels, quality: int) -> bytes:
    _, data = cv2.imencode(".jpg", pixels, [cv2.IMWRITE_JPEG_QUALITY, quality])
    return bytes(data.data)


def _share_clean(pixels: Pixels) -> float:
    """Share of samples that are 0 or 255."""
    counts = np.bincount(pixels.ravel(), minlength=256) if pixels.size < 1 << 16 else _histogram(pixels)
    return float((counts[0] + counts[255]) / counts.sum())


def _histogram(pixels: Pixels) -> NDArray[np.float64]:
    plane = pixels.reshape(pixels.shape[0], -1)
    return np.asarray(cv2.calcHist([plane], [0], None, [256], [0, 256]).ravel(), np.float64)
