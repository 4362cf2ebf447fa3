"""A grey, colour or two-level scan of the plan."""

from collections.abc import Sequence

import numpy as np

from sample_scans.camera import Scanner
from sample_scans.photo import Pixels, Rgb, encoded, slow_field
from sample_scans.render import ink_coverage, inside_coverage
from sample_scans.truth import InkStroke, Points

_BLUR_PX = 0.6
_PAPER, _LID, _INK = 0.86, 0.62, 0.05  # linear light: paper, the scanner's lid beyond it, what ink leaves of the paper
_BLOTCHES = 0.012
_NOISE = 0.5  # grey levels of 255
_THRESHOLD = 128
_SPECKS_PER_MPX = 4.0  # of a two-level scan: dust, one to three px


def scanned(strokes: tuple[InkStroke, ...], sheet_mm: Points, scanner: Scanner, *, rng: np.random.Generator) -> Pixels:
    """Give a grey scan, (H, W) uint8, of strokes on a sheet of paper under a scanner's lid."""
    size = (scanner.height_px, scanner.width_px)
    ink = ink_coverage(strokes, scanner, blur_px=_BLUR_PX)
    sheet = inside_coverage(sheet_mm, scanner, blur_px=_BLUR_PX)
    paper = _PAPER * (1 + _BLOTCHES * slow_field(size, rng, cells=9)) * (1 - (1 - _INK) * ink)
    levels = encoded(paper * sheet + _LID * (1 - sheet)) * 255
    levels += rng.standard_normal(size, dtype=np.float32) * np.float32(_NOISE)
    return np.clip(np.round(levels), 0, 255).astype(np.uint8)


def scanned_inks(
    inks: Sequence[tuple[tuple[InkStroke, ...], Rgb]], sheet_mm: Points, scanner: Scanner, *, rng: np.random.Generator
) -> Pixels:
    """Give a colour scan, (H, W, 3) uint8 RGB; strokes come with what their ink leaves of the paper's light."""
    size = (scanner.height_px, scanner.width_px)
    covers = [(ink_coverage(strokes, scanner, blur_px=_BLUR_PX), left) for strokes, left in inks]
    sheet = inside_coverage(sheet_mm, scanner, blur_px=_BLUR_PX)
    tone = _PAPER * (1 + _BLOTCHES * slow_field(size, rng, cells=9))
    picture = np.empty((*size, 3), dtype=np.uint8)
    for channel in range(3):
        paper = tone
        for cover, left in covers:
            paper = paper * (1 - (1 - left[channel]) * cover)
        levels = encoded((paper * sheet + _LID * (1 - sheet)).astype(np.float32, copy=False)) * 255
        levels += rng.standard_normal(size, dtype=np.float32) * np.float32(_NOISE)
        picture[..., channel] = np.clip(np.round(levels), 0, 255)
    return picture


def bilevel(grey: Pixels, *, rng: np.random.Generator) -> Pixels:
    """Give the scan as a two-level scanner writes it, 0 or 255, with dust."""
    levels: Pixels = np.where(grey < _THRESHOLD, 0, 255).astype(np.uint8)
    height, width = levels.shape
    count = int(_SPECKS_PER_MPX * height * width / 1e6)
    for x, y, across, up in zip(
        rng.integers(2, width - 5, count),
        rng.integers(2, height - 5, count),
        rng.integers(1, 4, count),
        rng.integers(1, 3, count),
        strict=True,
    ):
        levels[y : y + up, x : x + across] = 0
    return levels
