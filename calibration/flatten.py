"""The flat picture: a plan's picture resampled to the plan's true shape."""

import math
from typing import Protocol

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.observations import CalibrationError
from pictures.flat import FlatPicture

Points = NDArray[np.float64]

NODE_STEP_PX = 16
"""The map is computed at every 16th flat px and interpolated: far below 0.01 px off for a phone's lens."""

BLOCK_ROWS_PX = 512
BLOCK_COLS_PX = 4096
"""Flat px resampled at once: 17 MB of maps, whatever the picture's size. Multiples of NODE_STEP_PX."""

REMAP_LIMIT_PX = 32_000
"""cv2.remap keeps source positions in 16 bits (32 767); a block that reads from a wider window is halved."""

MOST_PX_PER_SOURCE_PX = 2.0
"""A steep view's far end would blow the flat picture up without end; beyond twice the source's px nothing is gained."""

GHOST_PX = 2.0
"""Flat px whose place in the picture maps back to elsewhere by more than this lie beyond the lens: left blank."""

_OUTSIDE_PX = -1e4
"""A source position outside any window, for flat px that no source px maps to."""


class PlanMap(Protocol):
    """The part of a calibration that flattening needs; (N, 2) arrays, plan mm (y up) and picture px (y down)."""

    def to_plan(self, points_px: Points, /) -> Points:
        """Give plan mm for picture px."""

    def to_picture(self, points_mm: Points, /) -> Points:
        """Give picture px for plan mm; the inverse of `to_plan`."""

    @property
    def mm_per_px(self) -> float:
        """Full-size mm a picture px covers at the picture's middle."""


def flatten(
    source_pixels: NDArray[np.uint8],
    calibration: PlanMap,
    *,
    bounds_mm: tuple[float, float, float, float],
    px_per_m: int | None = None,
    fill: int = 255,
) -> FlatPicture:
    """Resample a picture to the plan's true shape, square px, at full size.

    Works block by block, so that memory stays at the source, the result and some 40 MB.

    Parameters
    ----------
    source_pixels : (H, W) or (H, W, 3) uint8
        The picture as displayed upright, any side length.
    calibration : PlanMap
        Where plan and picture correspond.
    bounds_mm : (x min, y min, x max, y max)
        What to show, plan frame, y up. The flat picture's outer lower-left corner lies
        exactly at (x min, y min); its other sides lie at most one px beyond.
    px_per_m : int, optional
        Flat px per metre at full size. By default the picture's own resolution at its
        middle, less where that makes more than twice the source's px.
    fill : int
        Grey level where the picture shows nothing, 0-255.

    Raises
    ------
    CalibrationError
        If the bounds are empty or not finite.
    """
    x0, y0, x1, y1 = bounds_mm
    if not (all(map(math.isfinite, bounds_mm)) and x0 < x1 and y0 < y1):
        raise CalibrationError(
            f"The plan's bounds came out as x {x0:g} to {x1:g} and y {y0:g} to {y1:g} mm; a flat picture needs finite "
            "bounds: check the corners and known distances, or photograph the plan from more nearly above."
        )
    source_height, source_width = source_pixels.shape[:2]
    if px_per_m is None:
        px_per_m = _own_px_per_m(calibration, x1 - x0, y1 - y0, source_height * source_width)
    # A hair less than a whole px is no px: 100 mm at 10 px/mm is 1000 px wide, whatever rounding says.
    width = max(1, math.ceil((x1 - x0) * px_per_m / 1000 - 1e-6))
    height = max(1, math.ceil((y1 - y0) * px_per_m / 1000 - 1e-6))
    flat = np.full((height, width, *source_pixels.shape[2:]), fill, np.uint8)
    frame = FlatPicture(flat, px_per_m, (x0, y0))
    for top in range(0, height, BLOCK_ROWS_PX):
        for left in range(0, width, BLOCK_COLS_PX):
            block = flat[top : top + BLOCK_ROWS_PX, left : left + BLOCK_COLS_PX]
            nodes = _source_nodes(frame, calibration, left, top, block.shape, (source_width, source_height))
            _resample(source_pixels, nodes, block, fill)
    return frame


def whole_plan_bounds_mm(
    calibration: PlanMap, *, width_px: int, height_px: int, sheet_px: Points | None = None
) -> tuple[float, float, float, float]:
    """Give (x min, y min, x max, y max), plan mm, of the paper's edge `sheet_px` (K, 2), or of the whole picture."""
    if sheet_px is None:
        right, bottom = width_px - 0.5, height_px - 0.5
        sheet_px = np.array([[-0.5, -0.5], [right, -0.5], [right, bottom], [-0.5, bottom]])
    # A lens bows the sides, so an extreme may lie between two corners.
    t = np.linspace(0, 1, 64, endpoint=False)[:, None]
    outline_px = np.concatenate([a + t * (b - a) for a, b in zip(sheet_px, np.roll(sheet_px, -1, axis=0), strict=True)])
    outline_mm = calibration.to_plan(outline_px)
    low, high = outline_mm.min(axis=0), outline_mm.max(axis=0)
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def _own_px_per_m(calibration: PlanMap, width_mm: float, height_mm: float, source_px: int) -> int:
    own = 1000 / calibration.mm_per_px
    most = 1000 * math.sqrt(MOST_PX_PER_SOURCE_PX * source_px / (width_mm * height_mm))
    return max(1, math.ceil(own) if own < most else math.floor(most))


def _source_nodes(
    frame: FlatPicture,
    calibration: PlanMap,
    left: int,
    top: int,
    shape: tuple[int, ...],
    source_size: tuple[int, int],
) -> NDArray[np.float64]:
    """Source px (rows, cols, 2) at a block's nodes, NaN where the map does not come back to the same place.

    Node k lies at block px 16 k - 0.5: `_fine` reproduces a plane through such nodes exactly.
    """
    cols = left - 0.5 + NODE_STEP_PX * np.arange(math.ceil(shape[1] / NODE_STEP_PX) + 1)
    rows = top - 0.5 + NODE_STEP_PX * np.arange(math.ceil(shape[0] / NODE_STEP_PX) + 1)
    flat_px = np.stack(np.meshgrid(cols, rows), axis=-1).reshape(-1, 2)
    plan_mm = frame.flat_px_to_plan(flat_px)
    source_px = np.array(calibration.to_picture(plan_mm), dtype=np.float64)
    # Beyond its range a lens polynomial folds back and would show a place twice.
    reach = np.array(source_size)
    inside = ((source_px > -0.1 * reach) & (source_px < 1.1 * reach)).all(axis=1)
    back_mm = calibration.to_plan(source_px[inside])
    ghost: NDArray[np.bool_] = np.logical_not(np.isfinite(source_px).all(axis=1))
    ghost[inside] = ~(np.abs(back_mm - plan_mm[inside]).max(axis=1) < GHOST_PX * frame.mm_per_px)
    source_px[ghost] = np.nan
    return source_px.reshape(len(rows), len(cols), 2)


def _resample(source: NDArray[np.uint8], nodes: NDArray[np.float64], block: NDArray[np.uint8], fill: int) -> None:
    """Fill `block`, a view into the flat picture, from the source window its nodes span."""
    height, width = source.shape[:2]
    finite = np.isfinite(nodes).all(axis=2)
    if not finite.any():
        return
    seen = nodes[finite]
    # Two px beyond, so that the neighbours which interpolation reads are inside the window.
    x0, y0 = np.clip(np.floor(seen.min(axis=0)) - 2, 0, [width, height]).astype(int)
    x1, y1 = np.clip(np.ceil(seen.max(axis=0)) + 3, 0, [width, height]).astype(int)
    if x0 >= x1 or y0 >= y1:
        return
    if max(x1 - x0, y1 - y0) > REMAP_LIMIT_PX and max(block.shape[:2]) > NODE_STEP_PX:
        _resample_halves(source, nodes, block, fill)
        return
    x_map = _fine(nodes[..., 0] - x0, block.shape)
    y_map = _fine(nodes[..., 1] - y0, block.shape)
    if not finite.all():
        x_map[~np.isfinite(x_map)] = _OUTSIDE_PX
    border = (fill,) * (source.shape[2] if source.ndim == 3 else 1)
    block[...] = cv2.remap(
        source[y0:y1, x0:x1], x_map, y_map, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=border
    )


def _resample_halves(
    source: NDArray[np.uint8], nodes: NDArray[np.float64], block: NDArray[np.uint8], fill: int
) -> None:
    """Fill a block in two parts, divided at a node across its longer side."""
    if block.shape[1] >= block.shape[0]:
        middle = (nodes.shape[1] - 1) // 2
        _resample(source, nodes[:, : middle + 1], block[:, : middle * NODE_STEP_PX], fill)
        _resample(source, nodes[:, middle:], block[:, middle * NODE_STEP_PX :], fill)
    else:
        middle = (nodes.shape[0] - 1) // 2
        _resample(source, nodes[: middle + 1], block[: middle * NODE_STEP_PX], fill)
        _resample(source, nodes[middle:], block[middle * NODE_STEP_PX :], fill)


def _fine(nodes: NDArray[np.float64], shape: tuple[int, ...]) -> NDArray[np.float32]:
    """Source px along one axis, (H, W) float32, of every px of a block, bilinear between its nodes.

    cv2.resize by 16 puts source node k at 16 k + 7.5; half a step is cut off, which leaves it at 16 k - 0.5.
    """
    rows, cols = nodes.shape
    fine = cv2.resize(
        nodes.astype(np.float32), (cols * NODE_STEP_PX, rows * NODE_STEP_PX), interpolation=cv2.INTER_LINEAR
    )
    half = NODE_STEP_PX // 2
    return np.asarray(fine[half : half + shape[0], half : half + shape[1]], dtype=np.float32)
