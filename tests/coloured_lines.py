"""Pictures of lines in several inks: light by Beer's product of what each ink leaves, coded as sRGB (IEC 61966-2-1)."""

from collections.abc import Sequence
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from benchmarks.render_lines import TrueLine, coverage
from pictures.ink import Ink, find_ink, ink_mask
from pictures.picture import Medium, Picture, Source
from pictures.tints import Tints, tell_tints
from sample_scans.photo import Rgb, encoded

PAPER: Rgb = (0.80, 0.76, 0.66)
BLACK: Rgb = (0.045, 0.05, 0.075)
RED: Rgb = (0.62, 0.07, 0.06)
GREEN: Rgb = (0.08, 0.34, 0.13)
CYAN: Rgb = (0.02, 0.88, 0.93)

BLUR_PX = 0.7


def in_colours(
    inks: Sequence[tuple[Sequence[TrueLine], Rgb]], *, width: int, height: int, noise: float = 2.0
) -> NDArray[np.uint8]:
    """Give an (H, W, 3) RGB picture of lines, given with what their ink leaves of the paper's light."""
    light = np.ones((height, width, 3)) * PAPER
    for lines, left in inks:
        cover = cv2.GaussianBlur(coverage(lines, width=width, height=height), (0, 0), BLUR_PX)
        light *= 1 - (1 - np.array(left)) * cover[..., None]
    levels = encoded(light.astype(np.float32)) * 255 + np.random.default_rng(7).normal(0, noise, light.shape)
    return np.clip(np.round(levels), 0, 255).astype(np.uint8)


def ink_and_tints(rgb: NDArray[np.uint8]) -> tuple[Ink, Tints | None]:
    """Give the ink of a picture and its inks."""
    grey = np.asarray(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY), np.uint8)
    ink = find_ink(Picture(grey, Source(Path("drawn.png"), "", Medium.RASTER, colour=True)))
    return ink, tell_tints(rgb, ink_mask(ink, None))
