"""The flat picture of a job: the whole plan, or what its regions leave of it."""

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray

from calibration.calibration import Calibration
from calibration.flatten import flatten, whole_plan_bounds_mm
from digitize.choices import Region, RegionKind
from job.see import Seen
from pictures.flat import FlatPicture
from pictures.read import read_colour

PAPER = 255
"""What lies outside the regions is printed as bare paper."""

EDGE_INSET_MM = 1.0
"""The paper's edge is found to some tenths of a mm; its shadow and curl reach a little in."""

EDGE_STEP_PX = 20.0
"""A region's straight edge in the picture bends in the plan by far less than a line width between such points."""


def flat_picture(seen: Seen, calibration: Calibration, regions: tuple[Region, ...]) -> FlatPicture:
    """Flatten a picture at full size; colour where the picture has any."""
    source = seen.picture.source
    pixels = read_colour(source) if source.colour else seen.picture.grey
    kept, left_out = (
        [_edge_mm(np.array(region.points_px), calibration) for region in regions if region.keep is keep]
        for keep in (RegionKind.IN, RegionKind.OUT)
    )
    if kept:
        corners = np.concatenate(kept)
        bounds = (*corners.min(axis=0), *corners.max(axis=0))
    else:
        bounds = whole_plan_bounds_mm(
            calibration,
            width_px=seen.picture.width_px,
            height_px=seen.picture.height_px,
            sheet_px=seen.sheet_px,
        )
    x0, y0, x1, y1 = (float(value) for value in bounds)
    flat = flatten(pixels, calibration, bounds_mm=(x0, y0, x1, y1))
    if seen.sheet_px is not None:
        # The table beside the paper is no part of the plan, and would cost ink.
        _blank(flat, [_inside_mm(seen.sheet_px, calibration)], [])
    left_out += [_edge_mm(card.outline_px, calibration) for card in seen.cards]
    if kept or left_out:
        _blank(flat, kept, left_out)
    return flat


def _inside_mm(sheet_px: NDArray[np.float64], calibration: Calibration) -> NDArray[np.float64]:
    """The paper's edge, plan mm, drawn in by what its own shadow and curl take."""
    edge = _edge_mm(sheet_px, calibration)
    inner = shapely.Polygon(edge).buffer(-EDGE_INSET_MM)
    return np.array(inner.exterior.coords) if inner.geom_type == "Polygon" and not inner.is_empty else edge


def _edge_mm(corners: NDArray[np.float64], calibration: Calibration) -> NDArray[np.float64]:
    runs = []
    for start, end in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        count = max(2, int(np.hypot(*(end - start)) / EDGE_STEP_PX))
        runs.append(start + (end - start) * np.arange(count)[:, None] / count)
    return calibration.to_plan(np.concatenate(runs))


def _blank(flat: FlatPicture, kept: list[NDArray[np.float64]], left_out: list[NDArray[np.float64]]) -> None:
    """Whiten, in place, what the regions leave out of a picture just made."""
    height, width = flat.pixels.shape[:2]
    blank = np.full((height, width), 1 if kept else 0, np.uint8)
    for value, edges in ((0, kept), (1, left_out)):
        for edge in edges:
            cv2.fillPoly(blank, [np.rint(flat.plan_to_flat_px(edge)).astype(np.int32)], value)
    # All bits set is paper's white; numpy's own way through a mask takes ten times as long.
    cv2.bitwise_or(flat.pixels, np.full((4, 1), PAPER, np.float64), dst=flat.pixels, mask=blank)
