"""A small plan drawn for these tests: a frame, a plate with a round hole, a strip, at 8 px per mm."""

from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

PX_PER_MM = 8.0
WIDTH_MM, HEIGHT_MM = 190.0, 130.0
FINE = 4
"""Drawn this many times finer and averaged, so that a line's middle is true to a few thousandths of a px."""


@dataclass(frozen=True)
class SmallPlan:
    """The picture's file, and px of points known in mm (x right, y up from the frame's lower-left corner)."""

    path: Path

    def px(self, x_mm: float, y_mm: float) -> tuple[float, float]:
        return _px(x_mm, y_mm)

    def typed(self, x_mm: float, y_mm: float) -> str:
        x, y = _px(x_mm, y_mm)
        return f"{x:.2f},{y:.2f}"


FRAME_MM = (10.0, 10.0, 180.0, 120.0)
PLATE_MM = (30.0, 30.0, 110.0, 70.0)
HOLE_MM = (70.0, 50.0, 12.0)
STRIP_MM = (30.0, 85.0, 160.0, 100.0)


def _px(x_mm: float, y_mm: float) -> tuple[float, float]:
    """From the frame's lower-left corner, y up, to the picture."""
    x, y = x_mm + FRAME_MM[0], y_mm + FRAME_MM[1]
    return x * PX_PER_MM - 0.5, (HEIGHT_MM - y) * PX_PER_MM - 0.5


def draw_small_plan() -> np.ndarray:
    """Give the plan as a scanner would show it, (H, W) uint8."""
    scale = PX_PER_MM * FINE
    sheet = np.full((round(HEIGHT_MM * scale), round(WIDTH_MM * scale)), 245, np.uint8)
    width = round(0.4 * scale) | 1

    def box(x0: float, y0: float, x1: float, y1: float) -> None:
        corners = np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])
        at = np.column_stack([corners[:, 0], HEIGHT_MM - corners[:, 1]]) * scale
        cv2.polylines(sheet, [np.rint(at - 0.5).astype(np.int32)], True, 30, width)

    box(*FRAME_MM)
    box(*PLATE_MM)
    box(*STRIP_MM)
    centre = np.rint(np.array([HOLE_MM[0], HEIGHT_MM - HOLE_MM[1]]) * scale - 0.5).astype(int)
    cv2.circle(sheet, (int(centre[0]), int(centre[1])), round(HOLE_MM[2] * scale), 30, width)
    rng = np.random.default_rng(3)
    small = cv2.resize(sheet, None, fx=1 / FINE, fy=1 / FINE, interpolation=cv2.INTER_AREA).astype(float)
    grainy = cv2.GaussianBlur(small, (0, 0), 0.7) + rng.normal(0, 2, small.shape)
    pixels: np.ndarray = np.clip(grainy, 0, 255).astype(np.uint8)
    return pixels
