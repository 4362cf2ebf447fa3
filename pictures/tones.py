"""What kind of tones does a picture hold: blank, two levels, light lines on a dark ground, colour."""

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

BLANK_LEVELS = 12
"""Grey levels from darkest to lightest under which nothing is drawn: the faintest pencil on a scan has some 20."""

LEVELS_STEP_PX = 8
"""Every eighth pixel each way is enough to see that there are more than two levels, with a 64th of the work."""

TILE_PX = 192
"""Side of the squares looked at for light lines, px: at full resolution, or thin lines fade."""

TILES = 64
"""How many squares, spread evenly: 2.4 MP in all, whatever the picture's size."""

GROUND_PX = 31
"""Side of the square whose median is the local ground, px: follows shadows and a sheet's edge, ignores lines of up to
half its side (0.6 mm at 600 dpi)."""

LINE_LEVELS = 25
"""Least contrast of a line against its ground, grey levels: well above a phone's noise of 3-8."""

LINE_PART = 0.002
"""Least part of a square that its lines must cover; less is dust."""

LIGHT_LEAD = 3.0
"""How many times more light line than dark line there must be. Photos of anything else come near 1; blueprints exceed
10."""

BRIGHT_GROUND = 110
"""Grey level from which a ground with dark lines is taken for white paper, dimly lit or not."""

BRIGHT_SHEET = 0.15
"""Part of the squares with lines that, bright with dark lines, make it a white sheet on something dark."""

DARK_GROUND = 170
"""Lightest ground of a blueprint, grey level: a faded one is 140-150, white paper in good light 200 and more."""

DARK_PART = 0.25
"""Least part of a picture under DARK_GROUND that is looked at more closely: a blueprint on a white table has more."""

CHROMA = 16
"""Distance from the paper's own tint, of 128, that is a colour: JPEG noise and uneven light stay under 8."""

TINT_SAMPLES = 20_000
"""Pixels from which the paper's tint is taken."""

_LUMA_CHROMA = cv2.COLOR_BGR2YCrCb

COLOUR_PART = 0.001
"""Part of the picture that must be coloured: less is a speck, and grey shows it as well."""


@dataclass(frozen=True, slots=True)
class Levels:
    """The darkest and lightest grey level, and whether these are the only two."""

    darkest: int
    lightest: int
    two: bool

    @property
    def blank(self) -> bool:
        """Nothing can be told from the paper."""
        return self.lightest - self.darkest < BLANK_LEVELS


def grey_levels(grey: NDArray[np.uint8]) -> Levels:
    """Give which grey levels an (H, W) picture holds; of one that is neither blank nor of two levels, by a sample."""
    step = LEVELS_STEP_PX
    for part in (np.ascontiguousarray(grey[::step, ::step]), grey):
        held = np.flatnonzero(cv2.calcHist([part], [0], None, [256], [0, 256]).ravel())
        levels = Levels(int(held[0]), int(held[-1]), len(held) == 2)
        if len(held) > 2 and not levels.blank:
            break
    return levels


def has_light_lines(grey: NDArray[np.uint8]) -> bool:
    """Tell whether lines are light on a dark ground, as on a blueprint.

    Looks at how lines differ from the ground around them (a median filter; Tukey 1977), not at the mean tone: a white
    sheet on a dark table and a sheet in dim light have dark lines.

    Parameters
    ----------
    grey : (H, W) uint8
        0 black to 255 white.
    """
    some = grey[:: max(1, grey.shape[0] // 500), :: max(1, grey.shape[1] // 500)]
    if np.count_nonzero(some < DARK_GROUND) < DARK_PART * some.size:
        return False
    light = dark = 0.0
    grounds: list[float] = []
    line_tiles = bright_tiles = 0
    tiles = _tiles(grey)
    for left, tile in zip(reversed(range(len(tiles))), tiles, strict=True):
        around = np.asarray(cv2.medianBlur(tile, GROUND_PX), np.uint8)
        light_lines = _lines(np.asarray(cv2.subtract(tile, around), np.uint8))
        dark_lines = _lines(np.asarray(cv2.subtract(around, tile), np.uint8))
        if light_lines + dark_lines == 0:
            continue
        ground = median_level(tile, levels=256)
        line_tiles += 1
        bright_tiles += ground >= BRIGHT_GROUND and dark_lines > light_lines
        if bright_tiles >= BRIGHT_SHEET * (line_tiles + left):
            # Whatever the tiles left hold; of a plan on white paper most are.
            return False
        light += light_lines
        dark += dark_lines
        if light_lines > dark_lines:
            grounds.append(ground)
    if not grounds or bright_tiles >= BRIGHT_SHEET * line_tiles:
        return False
    return light > LIGHT_LEAD * dark and float(np.median(grounds)) < DARK_GROUND


def median_level(values: NDArray[np.uint8] | NDArray[np.uint16], *, levels: int) -> float:
    """Give the median of whole numbers from 0 to under `levels`, as `np.median` does; counted, not sorted."""
    plane: NDArray[np.integer[Any]] = np.ascontiguousarray(values.reshape(len(values), -1))
    counts = cv2.calcHist([plane], [0], None, [levels], [0, levels]).ravel()
    upto = np.cumsum(counts, dtype=np.float64)
    # The middle one, or the middle two.
    middle = np.array([(values.size - 1) // 2, values.size // 2])
    return float(np.searchsorted(upto, middle, side="right").mean())


def holds_colour(small_bgr: NDArray[np.uint8]) -> bool:
    """Tell whether a picture holds colour beyond the tone of its paper and its light.

    The paper's tint is taken as proportional to brightness and removed first: yellowed paper and lamp light are no
    colour.

    Parameters
    ----------
    small_bgr : (H, W, 3) uint8
        A reduced picture, blue first as OpenCV has it; averaged, not thinned, so that noise is small.
    """
    brightness, *chroma = (part.astype(np.float32).ravel() for part in cv2.split(cv2.cvtColor(small_bgr, _LUMA_CHROMA)))
    some = slice(None, None, max(1, len(brightness) // TINT_SAMPLES))
    bright = brightness[some] >= max(1.0, float(np.median(brightness[some])))
    away = np.zeros_like(brightness)
    for part in chroma:
        part -= 128
        tint = np.float32(np.median(part[some][bright] / brightness[some][bright])) if bright.any() else np.float32(0)
        part -= tint * brightness
        away += part * part
    return bool(np.count_nonzero(away > CHROMA**2) > COLOUR_PART * len(away))


def _tiles(grey: NDArray[np.uint8]) -> list[NDArray[np.uint8]]:
    """Squares of TILE_PX spread evenly over the picture; all of it if it is small."""
    height, width = grey.shape
    if height * width <= TILES * TILE_PX * TILE_PX:
        rows = range(0, height, TILE_PX)
        columns = range(0, width, TILE_PX)
    else:
        across = max(1, round(np.sqrt(TILES * width / height)))
        down = max(1, round(TILES / across))
        rows = range(0, max(1, height - TILE_PX), max(TILE_PX, height // down))
        columns = range(0, max(1, width - TILE_PX), max(TILE_PX, width // across))
    tiles = [grey[row : row + TILE_PX, column : column + TILE_PX] for row in rows for column in columns]
    return [tile for tile in tiles if min(tile.shape) > 2]


def _lines(contrast: NDArray[np.uint8]) -> float:
    """Sum of contrast over what stands out as a line; 0 if it is no more than dust."""
    strong = contrast[contrast >= LINE_LEVELS]
    return float(strong.sum(dtype=np.int64)) if strong.size >= LINE_PART * contrast.size else 0.0
