"""A phone photo of the plan on a table: paper, light, shadow, lens, noise."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, TypeAlias

import cv2
import numpy as np
from numpy.typing import NDArray

from sample_scans.camera import Camera
from sample_scans.render import Floats, ink_coverage, inside_coverage
from sample_scans.truth import InkStroke, Points

Pixels: TypeAlias = NDArray[np.uint8]
Rgb: TypeAlias = tuple[float, float, float]
"""Red, green and blue shares of linear light."""

_COARSE_PX = 16  # light and paper tone change slowly: computed at every 16th px


@dataclass(frozen=True, slots=True)
class PhotoLook:
    """What paper, light and sensor do; light is linear, 1 is white."""

    paper: Rgb = (0.80, 0.76, 0.66)
    """Yellowed paper, red green blue."""
    ink: Rgb = (0.045, 0.05, 0.075)
    """What the ink leaves of the paper's light."""
    table: Rgb = (0.21, 0.125, 0.07)
    blotches: float = 0.03
    fold: float = 0.05
    """How much darker the paper is in the trough of a fold."""
    falloff: float = 0.30
    """How much light the far side of the room loses."""
    shadow: float = 0.35
    """How much light the soft cast shadow takes."""
    blur_px: float = 0.75
    noise: float = 1.6
    """Sigma of a pixel's noise in grey levels of 255, after the phone's own smoothing."""


def photograph(
    strokes: tuple[InkStroke, ...],
    sheet_mm: Points,
    camera: Camera,
    *,
    look: PhotoLook,
    rng: np.random.Generator,
) -> Pixels:
    """Give a colour photo, (H, W, 3) uint8 RGB, of strokes on a sheet of paper on a wooden table."""
    return photograph_inks([(strokes, look.ink)], sheet_mm, camera, look=look, rng=rng)


def photograph_inks(
    inks: Sequence[tuple[tuple[InkStroke, ...], Rgb]],
    sheet_mm: Points,
    camera: Camera,
    *,
    look: PhotoLook,
    rng: np.random.Generator,
) -> Pixels:
    """Give the same of strokes in several inks.

    Strokes come with what their ink leaves of the paper's light; where inks lie over one another, each takes its part.
    """
    covers = [(ink_coverage(strokes, camera, blur_px=look.blur_px), left) for strokes, left in inks]
    sheet = inside_coverage(sheet_mm, camera, blur_px=look.blur_px)
    size = (camera.height_px, camera.width_px)
    tone = 1 + look.blotches * slow_field(size, rng, cells=7)
    tone *= 1 - look.fold * _folds(sheet_mm, camera)
    light = _light(size, look, rng)
    # The sheet's own shadow: its edge lifts a little and light comes from one side.
    under = cv2.GaussianBlur(sheet, (0, 0), camera.width_px / 250)
    away = np.array([[1, 0, camera.width_px / 400], [0, 1, camera.width_px / 300]])
    under = cv2.warpAffine(under, away, (size[1], size[0]), flags=cv2.INTER_LINEAR).astype(np.float32, copy=False)
    grain = (1 + _grain(size, rng)) * (1 - 0.55 * under)
    picture = np.empty((*size, 3), dtype=np.uint8)
    shared = smooth_noise(size, rng) * look.noise
    for channel in range(3):
        paper = look.paper[channel] * tone
        for cover, left in covers:
            paper = paper * (1 - (1 - left[channel]) * cover)
        seen = (paper * sheet + look.table[channel] * grain * (1 - sheet)) * light
        levels = encoded(seen.astype(np.float32, copy=False)) * 255 + shared
        levels += rng.standard_normal(size, dtype=np.float32) * (0.35 * look.noise)
        picture[..., channel] = np.clip(np.round(levels), 0, 255)
    return picture


def encoded(light: Floats) -> Floats:
    """Give sRGB values from linear light (IEC 61966-2-1), both from 0 to 1."""
    clipped = np.clip(light, 0, 1)
    values: Floats = np.where(
        clipped <= np.float32(0.0031308),
        clipped * np.float32(12.92),
        np.float32(1.055) * clipped ** np.float32(1 / 2.4) - np.float32(0.055),
    )
    return values


def slow_field(size: tuple[int, int], rng: np.random.Generator, *, cells: int) -> Floats:
    """Give smooth random values of about unit spread, (H, W) float32, with `cells` bumps along the longer side."""
    longer = max(size)
    grid = rng.standard_normal((max(4, cells * size[0] // longer + 3), max(4, cells * size[1] // longer + 3)))
    coarse = cv2.resize(grid.astype(np.float32), _coarse(size), interpolation=cv2.INTER_CUBIC)
    return _enlarged(coarse, size)


def smooth_noise(size: tuple[int, int], rng: np.random.Generator) -> Floats:
    """Give noise of unit spread whose neighbours are alike, as demosaicing leaves it."""
    noise = cv2.GaussianBlur(rng.standard_normal(size, dtype=np.float32), (5, 5), 0.6)
    spread: Floats = noise / np.float32(noise[:256, :256].std())
    return spread


def _coarse(size: tuple[int, int]) -> tuple[int, int]:
    """Width and height of the coarse grid."""
    return max(8, size[1] // _COARSE_PX), max(8, size[0] // _COARSE_PX)


def _enlarged(coarse: NDArray[Any], size: tuple[int, int]) -> Floats:
    full = cv2.resize(coarse.astype(np.float32), (size[1], size[0]), interpolation=cv2.INTER_LINEAR)
    return full.astype(np.float32, copy=False)


def _light(size: tuple[int, int], look: PhotoLook, rng: np.random.Generator) -> Floats:
    """A window to one side, the lens's falloff, and a soft-edged shadow (an arm, the phone) across one corner."""
    width, height = _coarse(size)
    y, x = np.mgrid[0:height, 0:width].astype(np.float32)
    x, y = x / width - 0.5, y / height - 0.5
    angle = rng.uniform(0, 2 * np.pi)
    side = x * np.cos(angle) + y * np.sin(angle)
    light = 1.12 * (1 - look.falloff * (side + 0.5)) * (1 - 0.25 * (x**2 + y**2))
    corner = np.array([rng.choice([-0.5, 0.5]), 0.5])
    lean = rng.uniform(0.5, 1.1)
    across = (x - corner[0]) * -np.sign(corner[0]) * np.cos(lean) + (corner[1] - y) * np.sin(lean)
    wave = 0.03 * np.sin(9 * (x + y) + rng.uniform(0, 6))
    edge = (0.42 + wave - across) / 0.04
    light *= 1 - look.shadow / (1 + np.exp(-np.clip(edge, -30, 30)))
    return _enlarged(light, size)


def _folds(sheet_mm: Points, camera: Camera) -> Floats:
    """The sheet was once folded in four: two soft troughs, 0 to 1."""
    middle = sheet_mm.mean(axis=0)
    low, high = sheet_mm.min(axis=0), sheet_mm.max(axis=0)
    creases = (
        InkStroke(np.array([[middle[0], low[1]], [middle[0], high[1]]]), 0.9, False, "fold"),
        InkStroke(np.array([[low[0], middle[1]], [high[0], middle[1]]]), 0.9, False, "fold"),
    )
    return ink_coverage(creases, camera, blur_px=max(0.5, camera.width_px / 1300))


def _grain(size: tuple[int, int], rng: np.random.Generator) -> Floats:
    """Wood: streaks along the table with slow bands between them."""
    streaks = rng.standard_normal((size[0] // 3 + 2, 12)).astype(np.float32)
    fine = _enlarged(streaks, size)
    bands = slow_field((size[0], size[1]), rng, cells=5)
    grain: Floats = np.clip(0.09 * fine + 0.12 * bands, -0.6, 0.6)
    return grain
